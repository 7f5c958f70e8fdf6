//! Why bytes are not response data, in words for a person.
//!
//! Holds always: the place is counted in bytes from the start of the message
//! and lies within it or just behind it.

use crate::scpi::element::{Flaw, FlawKind};

/// Why bytes are not response data.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("at byte {at}: {problem}")]
pub struct ParseError {
    /// Where, in bytes from the start of the message.
    pub at: usize,
    /// What was expected and what was found.
    pub problem: Problem,
}

/// What is wrong with response data.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Problem {
    /// The message is empty.
    #[error("expected data, found an empty message")]
    Empty,
    /// No element starts here.
    #[error("expected a number, a word, a string or a block, found {found}")]
    NoElement {
        /// The byte in question, or the end.
        found: String,
    },
    /// An element is followed by something other than a separator.
    #[error("expected a comma, a semicolon or the end after the value, found {found}")]
    Trailing {
        /// The byte in question.
        found: String,
    },
    /// A string without its closing quote.
    #[error("expected the closing quote of a string, found a line break or the end")]
    OpenString,
    /// A block's header makes no sense.
    #[error("expected the header of a block, as #13, #210 or #0")]
    BlockHeader,
    /// A block was cut short.
    #[error("expected a block of {announced} bytes, found {present}")]
    BlockShort {
        /// What its header says.
        announced: usize,
        /// What is there.
        present: usize,
    },
    /// `#H`, `#Q` or `#B` and no digits.
    #[error("expected digits of the base after #H, #Q or #B")]
    NonDecimalDigits,
    /// A non-decimal number that 64 bits do not hold.
    #[error("expected a number of at most 64 bits")]
    NonDecimalTooLarge,
    /// Not one value but several.
    #[error("expected one value, found {count}; a comma separates values and is never a decimal mark")]
    Count {
        /// How many there are.
        count: usize,
    },
}

fn found(rest: &[u8]) -> String {
    match rest.first() {
        None => "the end".into(),
        Some(byte) if byte.is_ascii_graphic() => format!("{:?}", char::from(*byte)),
        Some(b' ') => "a blank".into(),
        Some(byte) => format!("byte {byte:#04x}"),
    }
}

pub(super) fn trailing(message: &[u8], rest: &[u8]) -> ParseError {
    ParseError { at: message.len() - rest.len(), problem: Problem::Trailing { found: found(rest) } }
}

pub(super) fn explained(message: &[u8], flaw: Flaw) -> ParseError {
    let problem = match flaw.kind {
        FlawKind::NoElement if message.trim_ascii().is_empty() => Problem::Empty,
        FlawKind::NoElement => Problem::NoElement { found: found(flaw.rest) },
        FlawKind::OpenString => Problem::OpenString,
        FlawKind::BlockHeader => Problem::BlockHeader,
        FlawKind::BlockShort { announced, present } => Problem::BlockShort { announced, present },
        FlawKind::NonDecimalDigits => Problem::NonDecimalDigits,
        FlawKind::NonDecimalTooLarge => Problem::NonDecimalTooLarge,
    };
    ParseError { at: message.len() - flaw.rest.len(), problem }
}
