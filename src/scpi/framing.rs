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
    let mut place = Place::UnitStart;
    let mut at = 0;
    while let Some(&byte) = arrived.get(at) {
        let rest = &arrived[at..];
        if rest.starts_with(terminator) {
            return Some(at);
        }
        if byte == b'#' && matches!(place, Place::UnitStart | Place::Start | Place::AfterHeader) {
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
    /// At the start of a unit: before a header or a datum.
    UnitStart,
    /// Before a datum.
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
            _ if byte == b';' => Place::UnitStart,
            _ if byte == b',' => Place::Start,
            Place::UnitStart | Place::Start | Place::AfterHeader if is_space(byte) => self,
            Place::UnitStart | Place::Start | Place::AfterHeader if matches!(byte, b'"' | b'\'') => Place::Quoted(byte),
            Place::UnitStart | Place::Header if byte.is_ascii_alphanumeric() || matches!(byte, b':' | b'_' | b'*') => {
                Place::Header
            }
            Place::Header if is_space(byte) => Place::AfterHeader,
            _ => Place::Inside,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn end(arrived: &[u8]) -> Option<usize> {
        message_end(arrived, b"\n")
    }

    #[test]
    fn terminators_of_two_bytes_are_matched_whole() {
        assert_eq!(message_end(b"1\r\n2\r\n", b"\r\n"), Some(1));
        assert_eq!(message_end(b"a\rb\r\n", b"\r\n"), Some(3));
        assert_eq!(message_end(b"abc\r", b"\r\n"), None);
        assert_eq!(message_end(b"abc", b""), None);
    }

    #[test]
    fn a_message_ends_at_its_first_terminator() {
        for (arrived, expected) in
            [(&b""[..], None), (b"1.5", None), (b"1.5\n", Some(3)), (b"\n1\n", Some(0)), (b"1\n2\n", Some(1))]
        {
            assert_eq!(end(arrived), expected, "{}", arrived.escape_ascii());
        }
    }

    #[test]
    fn a_terminator_inside_a_block_is_data() {
        // IEEE 488.2 8.7.9
        let message = b"1.5,#15a\nb\nc,\"x\", #12\n\n,2;#11\n\n";
        assert_eq!(end(message), Some(message.len() - 1));
        // and until the last byte has come there is no end
        for cut in 0..message.len() {
            assert_eq!(end(&message[..cut]), None, "{cut}");
        }
        // behind a response header: IEEE 488.2 8.4
        assert_eq!(end(b":CURV:DATA #12\n\n\n"), Some(16));
    }

    #[test]
    fn what_only_looks_like_a_block_protects_nothing() {
        for reply in
            ["\"unit #15\"", "ORCHARD WORKS,FROST #15,0,0", "\"a\"\",#15\"", "#A5", "#2x1", "#1", "1#15", "#H5", "#", "'#15'"]
        {
            let arrived = format!("{reply}\nnext\n");
            assert_eq!(end(arrived.as_bytes()), Some(reply.len()), "{reply}");
        }
    }

    #[test]
    fn a_quote_too_few_does_not_hide_the_end() {
        assert_eq!(end(b"-113,\"Undefined header\n0,\"No error\"\n"), Some(22));
        assert_eq!(end(b"don't\n"), Some(5));
    }

    #[test]
    fn an_indefinite_block_ends_at_the_newline() {
        // CHECKS 1.2 row 13
        assert_eq!(end(b"#0abc#15\n"), Some(8));
        assert_eq!(end(b"#0abc"), None);
    }

    #[test]
    fn a_block_longer_than_anything_is_awaited_without_space_for_it() {
        assert_eq!(end(b"#9999999999x\n"), None);
        assert_eq!(end(b"#9\n"), Some(2));
    }
}
