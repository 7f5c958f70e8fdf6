//! Messages of HiSLIP 1.0 (IVI-6.1): a header of 16 bytes, big-endian, and a payload.

/// The first two bytes of every message.
const PROLOGUE: [u8; 2] = *b"HS";
/// Bytes of a header.
pub const HEADER: usize = 16;

/// What a message is: those that a client in synchronised mode sends or understands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs, reason = "they are the standard's names")]
pub enum Kind {
    Initialize,
    InitializeResponse,
    FatalError,
    Error,
    AsyncLock,
    AsyncLockResponse,
    Data,
    DataEnd,
    DeviceClearComplete,
    DeviceClearAcknowledge,
    Interrupted,
    AsyncInterrupted,
    AsyncMaximumMessageSize,
    AsyncMaximumMessageSizeResponse,
    AsyncInitialize,
    AsyncInitializeResponse,
    AsyncDeviceClear,
    AsyncServiceRequest,
    AsyncStatusQuery,
    AsyncStatusResponse,
    AsyncDeviceClearAcknowledge,
}

/// Numbers by IVI-6.1, table 4.
const NUMBERS: [(Kind, u8); 21] = [
    (Kind::Initialize, 0),
    (Kind::InitializeResponse, 1),
    (Kind::FatalError, 2),
    (Kind::Error, 3),
    (Kind::AsyncLock, 4),
    (Kind::AsyncLockResponse, 5),
    (Kind::Data, 6),
    (Kind::DataEnd, 7),
    (Kind::DeviceClearComplete, 8),
    (Kind::DeviceClearAcknowledge, 9),
    (Kind::Interrupted, 13),
    (Kind::AsyncInterrupted, 14),
    (Kind::AsyncMaximumMessageSize, 15),
    (Kind::AsyncMaximumMessageSizeResponse, 16),
    (Kind::AsyncInitialize, 17),
    (Kind::AsyncInitializeResponse, 18),
    (Kind::AsyncDeviceClear, 19),
    (Kind::AsyncServiceRequest, 20),
    (Kind::AsyncStatusQuery, 21),
    (Kind::AsyncStatusResponse, 22),
    (Kind::AsyncDeviceClearAcknowledge, 23),
];

/// One message.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// What it is.
    pub kind: Kind,
    /// Control code.
    pub control: u8,
    /// Message parameter.
    pub parameter: u32,
    /// What follows the header.
    pub payload: Vec<u8>,
}

/// What stands at the beginning of what has arrived.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Arrived {
    /// Not enough for a whole message yet.
    More,
    /// A message, and how many bytes it took.
    Frame(Frame, usize),
    /// A message of a number that is not known here, and how many bytes it took.
    Unknown(u8, usize),
    /// No HiSLIP.
    Garbled,
    /// A payload of so many bytes: more than is taken.
    TooLong(u64),
}

impl Frame {
    /// Without a payload.
    pub fn new(kind: Kind, control: u8, parameter: u32) -> Self {
        Self { kind, control, parameter, payload: Vec::new() }
    }

    /// With a payload.
    pub fn with(kind: Kind, control: u8, parameter: u32, payload: &[u8]) -> Self {
        Self { kind, control, parameter, payload: payload.to_vec() }
    }

    /// Its bytes.
    pub fn emit(&self) -> Vec<u8> {
        let number = NUMBERS.iter().find(|(kind, _)| *kind == self.kind).map_or(0, |(_, number)| *number);
        let mut bytes = Vec::with_capacity(HEADER + self.payload.len());
        bytes.extend_from_slice(&PROLOGUE);
        bytes.extend_from_slice(&[number, self.control]);
        bytes.extend_from_slice(&self.parameter.to_be_bytes());
        bytes.extend_from_slice(&(self.payload.len() as u64).to_be_bytes());
        bytes.extend_from_slice(&self.payload);
        bytes
    }

    /// The first message of `bytes`, whose payload is at most `longest`.
    pub fn parse(bytes: &[u8], longest: usize) -> Arrived {
        let seen = bytes.len().min(2);
        if bytes.get(..seen) != PROLOGUE.get(..seen) {
            return Arrived::Garbled;
        }
        let Some(([_, _, number, control, p0, p1, p2, p3, size @ ..], rest)) = bytes.split_first_chunk::<HEADER>() else {
            return Arrived::More;
        };
        let size = u64::from_be_bytes(*size);
        let Some(length) = usize::try_from(size).ok().filter(|length| *length <= longest) else {
            return Arrived::TooLong(size);
        };
        let Some(payload) = rest.get(..length) else { return Arrived::More };
        let taken = HEADER + length;
        match NUMBERS.iter().find(|(_, n)| n == number) {
            None => Arrived::Unknown(*number, taken),
            Some((kind, _)) => {
                let parameter = u32::from_be_bytes([*p0, *p1, *p2, *p3]);
                Arrived::Frame(Frame::with(*kind, *control, parameter, payload), taken)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// IVI-6.1: frames computed from its tables by hand.
    #[test]
    fn frames_have_the_bytes_of_the_standard() {
        let hex = |frame: Frame| frame.emit().iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().join(" ");
        let hello = Frame::with(Kind::Initialize, 0, 0x0100 << 16 | 0x5858, b"hislip0");
        assert_eq!(hex(hello), "48 53 00 00 01 00 58 58 00 00 00 00 00 00 00 07 68 69 73 6c 69 70 30");
        let first = Frame::with(Kind::DataEnd, 0, 0xffff_ff00, b"*IDN?\n");
        assert_eq!(hex(first), "48 53 07 00 ff ff ff 00 00 00 00 00 00 00 00 06 2a 49 44 4e 3f 0a");
    }

    #[test]
    fn what_arrives_is_read_piece_by_piece() {
        let frame = Frame::with(Kind::Data, 1, 7, b"abc");
        let bytes = frame.emit();
        for end in 0..bytes.len() {
            assert_eq!(Frame::parse(&bytes[..end], 10), Arrived::More, "{end}");
        }
        assert_eq!(Frame::parse(&[bytes.clone(), b"H".to_vec()].concat(), 10), Arrived::Frame(frame, bytes.len()));
        assert_eq!(Frame::parse(&bytes, 2), Arrived::TooLong(3));
        assert_eq!(Frame::parse(b"HTTP/1.1 400", 10), Arrived::Garbled);
        let mut other = bytes.clone();
        other[2] = 77;
        assert_eq!(Frame::parse(&other, 10), Arrived::Unknown(77, bytes.len()));
        // Numbers by IVI-6.1, table 4, from first to last.
        assert!(NUMBERS.is_sorted_by_key(|(_, number)| *number) && NUMBERS[20].1 == 23);
    }
}
