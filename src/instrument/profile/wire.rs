//! How messages travel, and what is said beside what an instrument does: identity,
//! errors, lock, channel, numbers.

use crate::link::serial::Line;
use crate::units::Seconds;

/// How the instrument says who it is.
#[derive(Clone, Debug)]
pub struct Identity {
    /// The question, `*IDN?` by default; `None` where it has none.
    pub ask: Option<String>,
    /// Patterns (`*` stands for anything) of which the answer must fit one; empty: any.
    pub patterns: Vec<String>,
    /// Which comma field of the answer, from 1, is the serial number.
    pub serial_field: usize,
}

/// How messages travel.
#[derive(Clone, Debug)]
pub struct Wire {
    /// Appended to what is sent.
    pub send_end: String,
    /// Ends what arrives; empty: silence of `silence` ends it.
    pub receive_end: String,
    /// See `receive_end`.
    pub silence: Seconds,
    /// Shortest pause between two messages, from the end of one to the start of the next.
    pub gap: Seconds,
    /// Pause after a message that sets something, where longer than `gap`.
    pub write_gap: Seconds,
    /// How long an answer may take.
    pub timeout: Seconds,
    /// Whether every message is echoed before its answer.
    pub echo: bool,
    /// A prompt that ends every exchange.
    pub prompt: Option<String>,
    /// A line that acknowledges every message that sets something (and follows the data of a query).
    pub acknowledge: Option<String>,
    /// What stands between several commands in one message; `None`: each goes alone.
    pub join: Option<String>,
    /// How many questions one message may hold.
    pub queries: usize,
    /// How many bytes a message may have, without its end.
    pub longest: Option<usize>,
    /// It starts when it is opened.
    pub boot: Option<Boot>,
    /// What stands behind messages and answers.
    pub checksum: Option<Checksum>,
    /// Line settings for a serial port, where the bench file does not give its own.
    pub line: Line,
}

/// An interface that starts when it is opened.
#[derive(Clone, Debug)]
pub struct Boot {
    /// How long it hears nothing.
    pub wait: Seconds,
    /// Pattern of a line that says that it hears from now on.
    pub ready: Option<String>,
}

/// A checksum behind every line.
#[derive(Clone, Debug)]
pub struct Checksum {
    /// How it is calculated.
    pub kind: ChecksumKind,
    /// What stands between the text and its checksum.
    pub before: String,
}

/// How a checksum is calculated, from all bytes before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ChecksumKind {
    /// Their sum modulo 256, as two hexadecimal digits.
    Sum,
    /// Their exclusive or, as two hexadecimal digits.
    Xor,
    /// CRC-16 as in Modbus, as four hexadecimal digits.
    Crc16,
}

/// A lock that is asked for, so that nobody else sets anything.
#[derive(Clone, Debug)]
pub struct LockRequest {
    /// Asks for it.
    pub ask: String,
    /// Answers that mean: it is yours.
    pub granted: Vec<String>,
    /// Lets go of it.
    pub release: Option<String>,
    /// Whether nothing is done without it.
    pub required: bool,
}

/// How numbers are written in answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Numbers {
    /// Before the decimals.
    pub decimal: char,
    /// Between groups of three digits.
    pub group: Option<char>,
    /// Between the fields of an answer.
    pub fields: char,
}

impl Default for Numbers {
    fn default() -> Self {
        Self { decimal: '.', group: None, fields: ',' }
    }
}

/// How it reports errors.
#[derive(Clone, Debug)]
pub struct Errors {
    /// Asks for the oldest entry of the error queue; `None`: there is no queue,
    /// and writes are checked by reading back alone.
    pub ask: Option<String>,
    /// How many entries the queue holds at most.
    pub depth: usize,
    /// Patterns of error texts that come in place of an answer.
    pub in_band: Vec<String>,
}

/// A command that chooses the channel for those that follow.
#[derive(Clone, Debug)]
pub struct Select {
    /// Sent before every message that concerns a channel.
    pub send: String,
    /// Asks which is chosen.
    pub ask: Option<String>,
}
