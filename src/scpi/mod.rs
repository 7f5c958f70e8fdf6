//! Messages of IEEE 488.2 and SCPI-1999, in both directions. Pure: bytes in,
//! values out; no socket, no clock.
//!
//! The driver reads responses ([`response`], [`error_queue`], [`status`]) and
//! writes programs ([`emit`]); a stand-in reads programs ([`program`],
//! [`header`]) and writes responses. Clause numbers are those of IEEE 488.2-1992
//! and SCPI-1999 volume 1.
//!
//! Holds always: no input panics; nothing is allocated beyond what the input's
//! own length accounts for; a special number is never a value.

pub mod emit;
pub mod error_queue;
pub mod header;
mod number;
pub mod program;
pub mod response;
pub mod status;
#[cfg(test)]
mod tests;

pub use number::{Number, NumberError};

/// Where a response message ends in what has arrived so far: the count of bytes
/// before `end`, if it has come.
///
/// A definite-length block (`#3120…`, IEEE 488.2 8.7.9) protects what looks like
/// an end inside it. A quoted string does not: no string holds a line's end, and
/// an unbalanced quote must not swallow the messages after it.
pub fn message_end(arrived: &[u8], end: &[u8]) -> Option<usize> {
    if end.is_empty() {
        return None;
    }
    let mut at = 0;
    let mut quote: Option<u8> = None;
    while at < arrived.len() {
        let rest = arrived.get(at..)?;
        if rest.starts_with(end) {
            return Some(at);
        }
        let byte = *rest.first()?;
        match quote {
            Some(open) if byte == open => quote = None,
            None if byte == b'"' || byte == b'\'' => quote = Some(byte),
            None if byte == b'#' && begins_element(arrived, at) => {
                if let Some((head, length)) = block_head(rest) {
                    at = at.checked_add(head)?.checked_add(length)?;
                    continue;
                }
            }
            _ => {}
        }
        at += 1;
    }
    None
}

/// A block stands at the start of a response or after a separator.
fn begins_element(arrived: &[u8], at: usize) -> bool {
    at == 0 || matches!(arrived.get(at - 1), Some(b',' | b';' | b' '))
}

/// Length of `#<d><l..l>` and of the data that follow; `None` for an indefinite
/// block, or when the head is not complete.
fn block_head(bytes: &[u8]) -> Option<(usize, usize)> {
    if bytes.first() != Some(&b'#') {
        return None;
    }
    let count = match bytes.get(1)? {
        digit @ b'1'..=b'9' => usize::from(digit - b'0'),
        _ => return None,
    };
    let digits = bytes.get(2..2 + count)?;
    let length = std::str::from_utf8(digits).ok()?.parse::<usize>().ok()?;
    Some((2 + count, length))
}
