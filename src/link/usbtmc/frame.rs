//! Bulk messages of USBTMC 1.0: a header of 12 bytes, little-endian, and what follows it.

/// Bytes of a header.
pub const HEADER: usize = 12;

/// Names a transfer: 1 to 255, and then from 1 again (USBTMC 1.0, table 1).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tag(u8);

impl Tag {
    /// The first.
    pub const FIRST: Self = Self(1);

    /// The one after it.
    #[must_use]
    pub fn next(self) -> Self {
        Self(self.0.checked_add(1).unwrap_or(1))
    }

    /// As it is sent.
    pub fn byte(self) -> u8 {
        self.0
    }
}

fn header(message: u8, tag: Tag, size: u32, attributes: u8, character: u8) -> Vec<u8> {
    let mut bytes = vec![message, tag.0, !tag.0, 0];
    bytes.extend_from_slice(&size.to_le_bytes());
    bytes.extend_from_slice(&[attributes, character, 0, 0]);
    bytes
}

/// DEV_DEP_MSG_OUT (table 3): a piece of a message, filled up to a multiple of four;
/// `last` where it ends the message.
pub fn out(tag: Tag, piece: &[u8], last: bool) -> Vec<u8> {
    let mut bytes = header(1, tag, u32::try_from(piece.len()).unwrap_or(u32::MAX), u8::from(last), 0);
    bytes.extend_from_slice(piece);
    bytes.resize(bytes.len().next_multiple_of(4), 0);
    bytes
}

/// REQUEST_DEV_DEP_MSG_IN (table 4): up to `most` bytes are asked for; with
/// `terminator` the instrument may end its answer there.
pub fn request(tag: Tag, most: usize, terminator: Option<u8>) -> Vec<u8> {
    header(2, tag, u32::try_from(most).unwrap_or(u32::MAX), u8::from(terminator.is_some()) << 1, terminator.unwrap_or(0))
}

/// The header of an answer, as far as it is one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Answer {
    /// How many bytes follow, by its own words: it may say more than was asked for.
    pub size: usize,
    /// Whether the message ends with them.
    pub last: bool,
}

/// Reads DEV_DEP_MSG_IN's header (table 9); `None` where it is none, or another
/// transfer's.
pub fn answer(tag: Tag, bytes: &[u8]) -> Option<Answer> {
    let ([message, of, inverse, _, s0, s1, s2, s3, attributes, ..], _) = bytes.split_first_chunk::<HEADER>()?;
    let size = usize::try_from(u32::from_le_bytes([*s0, *s1, *s2, *s3])).ok()?;
    (*message == 2 && *of == tag.0 && *inverse == !tag.0).then_some(Answer { size, last: attributes & 1 == 1 })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// USBTMC 1.0, tables 1 to 4 and 9: frames computed from them by hand.
    #[test]
    fn frames_have_the_bytes_of_the_standard() {
        let one = Tag::FIRST;
        let hex = |bytes: &[u8]| bytes.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().join(" ");
        assert_eq!(hex(&out(one, b"*IDN?\n", true)), "01 01 fe 00 06 00 00 00 01 00 00 00 2a 49 44 4e 3f 0a 00 00");
        assert_eq!(hex(&request(one.next(), 1024, Some(b'\n'))), "02 02 fd 00 00 04 00 00 02 0a 00 00");
        let reply = [2, 2, 0xfd, 0, 5, 0, 0, 0, 1, 0, 0, 0];
        assert_eq!(answer(one.next(), &reply), Some(Answer { size: 5, last: true }));
        assert_eq!(answer(one, &reply), None);
        assert_eq!(answer(one.next(), &reply[..11]), None);
        assert_eq!(Tag(255).next(), one);
    }
}
