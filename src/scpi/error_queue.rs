//! Entries of the error queue (SCPI-1999 21.8) and their real-life variants.

use super::response::quoted;
use super::status::EventStatus;

/// One entry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ErrorReport {
    /// 0 for "no error"; negative codes are the standard's, positive the device's.
    pub code: i32,
    /// Its text, without quotes.
    pub text: String,
}

/// The answer is no entry of an error queue.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("not an entry of an error queue")]
pub struct NotAReport;

impl ErrorReport {
    /// Reads `-222,"Data out of range"`, and what instruments make of it: `+0`,
    /// `-000`, no quotes, no text.
    ///
    /// # Errors
    /// Where no code stands at the start.
    pub fn parse(reply: &[u8]) -> Result<Self, NotAReport> {
        let reply = reply.trim_ascii();
        let end = reply.iter().position(|b| *b == b',').unwrap_or(reply.len());
        let (code, rest) = reply.split_at(end);
        let code = std::str::from_utf8(code.trim_ascii()).map_err(|_| NotAReport)?;
        let code: i32 = code.parse().map_err(|_| NotAReport)?;
        let rest = rest.strip_prefix(b",").unwrap_or(rest).trim_ascii();
        let text = match quoted(rest) {
            Ok((_, text)) => text,
            Err(_) => String::from_utf8_lossy(rest).trim_matches(['"', '\'']).to_owned(),
        };
        Ok(Self { code, text })
    }

    /// An entry with the standard's text for its code.
    pub fn standard(code: i32) -> Self {
        let text = standard_text(code).unwrap_or("Device-specific error").to_owned();
        Self { code, text }
    }

    /// Whether the queue was empty.
    pub fn is_none(&self) -> bool {
        self.code == 0
    }

    /// The bit of the event status register that an error of this class sets
    /// (SCPI-1999 21.8.9 to 21.8.16).
    pub fn class(&self) -> EventStatus {
        match self.code {
            0 => EventStatus(0),
            -199..=-100 => EventStatus::COMMAND_ERROR,
            -299..=-200 => EventStatus::EXECUTION_ERROR,
            -499..=-400 => EventStatus::QUERY_ERROR,
            -599..=-500 => EventStatus::POWER_ON,
            -699..=-600 => EventStatus::USER_REQUEST,
            -799..=-700 => EventStatus::REQUEST_CONTROL,
            -899..=-800 => EventStatus::OPERATION_COMPLETE,
            _ => EventStatus::DEVICE_ERROR,
        }
    }
}

impl std::fmt::Display for ErrorReport {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{},{}", self.code, super::emit::quoted(&self.text))
    }
}

/// The standard's text of a code (SCPI-1999 21.8; codes marked M in the check
/// table are from memory).
pub fn standard_text(code: i32) -> Option<&'static str> {
    STANDARD.iter().find(|(c, _)| *c == code).map(|(_, text)| *text)
}

const STANDARD: [(i32, &str); 60] = [
    (0, "No error"),
    (-100, "Command error"),
    (-101, "Invalid character"),
    (-102, "Syntax error"),
    (-103, "Invalid separator"),
    (-104, "Data type error"),
    (-108, "Parameter not allowed"),
    (-109, "Missing parameter"),
    (-110, "Command header error"),
    (-111, "Header separator error"),
    (-112, "Program mnemonic too long"),
    (-113, "Undefined header"),
    (-114, "Header suffix out of range"),
    (-115, "Unexpected number of parameters"),
    (-120, "Numeric data error"),
    (-121, "Invalid character in number"),
    (-123, "Exponent too large"),
    (-124, "Too many digits"),
    (-128, "Numeric data not allowed"),
    (-130, "Suffix error"),
    (-131, "Invalid suffix"),
    (-134, "Suffix too long"),
    (-138, "Suffix not allowed"),
    (-140, "Character data error"),
    (-141, "Invalid character data"),
    (-144, "Character data too long"),
    (-148, "Character data not allowed"),
    (-150, "String data error"),
    (-151, "Invalid string data"),
    (-158, "String data not allowed"),
    (-160, "Block data error"),
    (-161, "Invalid block data"),
    (-168, "Block data not allowed"),
    (-170, "Expression error"),
    (-171, "Invalid expression"),
    (-178, "Expression data not allowed"),
    (-200, "Execution error"),
    (-201, "Invalid while in local"),
    (-203, "Command protected"),
    (-211, "Trigger ignored"),
    (-213, "Init ignored"),
    (-220, "Parameter error"),
    (-221, "Settings conflict"),
    (-222, "Data out of range"),
    (-223, "Too much data"),
    (-224, "Illegal parameter value"),
    (-230, "Data corrupt or stale"),
    (-240, "Hardware error"),
    (-241, "Hardware missing"),
    (-300, "Device-specific error"),
    (-310, "System error"),
    (-313, "Calibration memory lost"),
    (-330, "Self-test failed"),
    (-350, "Queue overflow"),
    (-360, "Communication error"),
    (-400, "Query error"),
    (-410, "Query INTERRUPTED"),
    (-420, "Query UNTERMINATED"),
    (-430, "Query DEADLOCKED"),
    (-440, "Query UNTERMINATED after indefinite response"),
];
