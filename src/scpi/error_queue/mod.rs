//! The error queue: its reply, as the standard has it and as it is met, its
//! codes, and the queue itself as a device keeps it (SCPI-99 volume 2, 21.8).
//!
//! The code alone says whether there was an error; texts differ between makers.
//! Leaves to others: when to ask, and what follows from an answer.
//! Holds always: a reply without a code is an error of its own, never "none".

pub mod codes;
mod queue;

pub use queue::ErrorQueue;

use super::element::{self, Form};
use super::response::{Datum, parse_list};
use super::status::EventStatus;

/// The longest text of an entry, with its device-dependent part (from memory: SCPI-99 21.8.2).
pub const LONGEST_TEXT: usize = 255;

/// One entry of the error queue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ErrorReport {
    /// Zero: none. Negative: of the standard. Positive: the instrument's own.
    pub code: i32,
    /// The text as sent; what stands behind a semicolon is the instrument's own addition.
    pub text: String,
}

/// What kind of error a code tells of, and so which event bit goes with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ErrorClass {
    /// -1xx: the message was not understood.
    Command,
    /// -2xx: understood, but could not be carried out.
    Execution,
    /// -3xx and the instrument's own positive codes.
    Device,
    /// -4xx: a query was interrupted, or nothing was asked.
    Query,
    /// -5xx: the instrument was switched on.
    PowerOn,
    /// -6xx: someone pressed a key.
    UserRequest,
    /// -7xx: control of the bus is asked for.
    RequestControl,
    /// -8xx: an operation is complete.
    OperationComplete,
}

impl ErrorClass {
    /// The class of a code; `None` for 0 and for codes that the standard reserves.
    /// (Classes -5xx to -8xx from memory.)
    pub fn of(code: i32) -> Option<ErrorClass> {
        match code {
            1.. => Some(ErrorClass::Device),
            -199..=-100 => Some(ErrorClass::Command),
            -299..=-200 => Some(ErrorClass::Execution),
            -399..=-300 => Some(ErrorClass::Device),
            -499..=-400 => Some(ErrorClass::Query),
            -599..=-500 => Some(ErrorClass::PowerOn),
            -699..=-600 => Some(ErrorClass::UserRequest),
            -799..=-700 => Some(ErrorClass::RequestControl),
            -899..=-800 => Some(ErrorClass::OperationComplete),
            _ => None,
        }
    }

    /// The bit of the standard event status register that an error of the class sets.
    pub fn bit(self) -> EventStatus {
        match self {
            ErrorClass::Command => EventStatus::COMMAND_ERROR,
            ErrorClass::Execution => EventStatus::EXECUTION_ERROR,
            ErrorClass::Device => EventStatus::DEVICE_ERROR,
            ErrorClass::Query => EventStatus::QUERY_ERROR,
            ErrorClass::PowerOn => EventStatus::POWER_ON,
            ErrorClass::UserRequest => EventStatus::USER_REQUEST,
            ErrorClass::RequestControl => EventStatus::REQUEST_CONTROL,
            ErrorClass::OperationComplete => EventStatus::OPERATION_COMPLETE,
        }
    }
}

/// A reply to the error query that holds no code.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("expected an error code and its text, as 0,\"No error\", found {reply:?}")]
pub struct NotAReport {
    /// What was sent, cut to 80 characters.
    pub reply: String,
}

impl ErrorReport {
    /// An entry with the standard's text; a code that it does not know gets the text of its class.
    pub fn standard(code: i32) -> ErrorReport {
        let of_its_class = match code {
            1.. => codes::text(codes::DEVICE_SPECIFIC_ERROR),
            -99..=0 => None,
            _ => codes::text(code / 100 * 100),
        };
        let text = codes::text(code).or(of_its_class);
        ErrorReport { code, text: text.unwrap_or("Error").into() }
    }

    /// An entry with the instrument's addition behind the standard's text.
    pub fn with_detail(code: i32, detail: &str) -> ErrorReport {
        let mut report = Self::standard(code);
        report.text = cut(&format!("{};{detail}", report.text), LONGEST_TEXT);
        report
    }

    /// Parses the reply to the error query: `-222,"Data out of range"`, and the variants
    /// that are met: `+0`, `-000`, single quotes, no quotes, a quote missing, no text.
    ///
    /// # Errors
    /// A reply that does not begin with an integer of at most 32 bits that stands alone.
    pub fn parse(reply: &[u8]) -> Result<ErrorReport, NotAReport> {
        let reply = reply.trim_ascii();
        let wrong = || NotAReport { reply: cut(&element::text(reply.to_vec()), 80) };
        let (rest, number) = element::decimal(reply).map_err(|_| wrong())?;
        let digits = str::from_utf8(number.mantissa).map_err(|_| wrong())?;
        let code = digits.parse().map_err(|_| wrong())?;
        if number.form() != Form::Nr1 {
            return Err(wrong());
        }
        let text = match rest.trim_ascii_start() {
            [] => b"",
            [b',', text @ ..] => text.trim_ascii(),
            text if text.len() < rest.len() || matches!(rest[0], b'"' | b'\'') => text,
            _ => return Err(wrong()),
        };
        Ok(ErrorReport { code, text: unquoted(text) })
    }

    /// Whether the queue was empty. Decided by the code alone.
    pub fn is_none(&self) -> bool {
        self.code == codes::NO_ERROR
    }

    /// The class of the code.
    pub fn class(&self) -> Option<ErrorClass> {
        ErrorClass::of(self.code)
    }

    /// The entry as a device sends it: `-222,"Data out of range"`.
    pub fn emit(&self) -> Vec<u8> {
        super::response::emit_list(&[Datum::Integer(i64::from(self.code)), Datum::Text(cut(&self.text, LONGEST_TEXT))])
    }
}

impl std::fmt::Display for ErrorReport {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.code, self.text)
    }
}

/// The text without its quotes, if it has them; one without a partner is taken off as well.
fn unquoted(text: &[u8]) -> String {
    if let Ok([Datum::Text(text)]) = parse_list(text).as_deref() {
        return text.clone();
    }
    let quotes: &[char] = &['"', '\''];
    let text = element::text(text.to_vec());
    let text = text.strip_prefix(quotes).unwrap_or(&text);
    text.strip_suffix(quotes).unwrap_or(text).to_owned()
}

fn cut(text: &str, longest: usize) -> String {
    text.chars().take(longest).collect()
}

#[cfg(test)]
mod tests;
