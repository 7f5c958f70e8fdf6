//! Where a response message ends in a stream of bytes.
//!
//! Binary data may contain the terminator, so the bytes of a definite-length
//! block are stepped over. Quotes protect nothing: no string contains a line
//! break (CHECKS 1.2 row 9), and a garbled reply with one quote too few has to
//! end nevertheless. An indefinite block ends at the first terminator, since a
//! byte stream has no END signal.
//! Holds always: one pass over the bytes, no allocation.

use super::element::{BlockLength, block_header, is_space};

/// The count of bytes before the `terminator` of the first message in
/// `arrived`, or `None` while it has not ended. An empty terminator ends nothing.
///
/// Its signature is that of `link::ReceiveEnd::Bytes::scan`.
pub fn message_end(arrived: &[u8], terminator: &[u8]) -> Option<usize> {
    if terminator.is_empty() {
        return None;
    }
    let mut place = Place::Start;
    let mut at = 0;
    while let Some(&byte) = arrived.get(at) {
        let rest = &arrived[at..];
        if rest.starts_with(terminator) {
            return Some(at);
        }
        if byte == b'#' && matches!(place, Place::Start | Place::AfterHeader) {
            match block_header(rest) {
                Ok((data, BlockLength::Definite(length))) => {
                    at = arrived.len() - data.len() + length.min(data.len());
                    if length > data.len() {
                        return None;
                    }
                    place = Place::Inside;
                    continue;
                }
                // The rest of the header may hold a byte of the terminator's value by
                // chance only if it is no header; so waiting is right.
                Err(nom::Err::Incomplete(_)) => return None,
                Ok((_, BlockLength::Indefinite)) | Err(_) => {}
            }
        }
        place = place.after(byte);
        at += 1;
    }
    None
}

/// Where in a response unit a byte stands; a block begins only where a datum does.
#[derive(Clone, Copy, PartialEq)]
enum Place {
    /// Before a datum (and before a header, at the start of a unit).
    Start,
    /// In what may be a response header (IEEE 488.2 8.4).
    Header,
    /// After the header and its space.
    AfterHeader,
    /// In a datum.
    Inside,
    /// In a string; what it holds is no block.
    Quoted(u8),
    /// After a quote that ends the string, unless the same quote follows.
    Unquoted(u8),
}

impl Place {
    fn after(self, byte: u8) -> Place {
        match self {
            Place::Quoted(quote) if byte == quote => Place::Unquoted(quote),
            Place::Quoted(_) => self,
            Place::Unquoted(quote) if byte == quote => Place::Quoted(quote),
            _ if byte == b',' || byte == b';' => Place::Start,
            Place::Start | Place::AfterHeader if byte == b'"' || byte == b'\'' => Place::Quoted(byte),
            Place::Start | Place::AfterHeader if is_space(byte) => self,
            Place::Start | Place::Header if byte.is_ascii_alphanumeric() || matches!(byte, b':' | b'_' | b'*') => {
                Place::Header
            }
            Place::Header if is_space(byte) => Place::AfterHeader,
            _ => Place::Inside,
        }
    }
}
