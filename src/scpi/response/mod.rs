//! Response data of IEEE 488.2 (chapter 8): parsed strictly, emitted exactly.
//!
//! A response is a list of [`Datum`], comma between them. The special numbers
//! of SCPI-99 7.2.1.4 and .5 are values of their own: [`Datum::reading`] is the
//! only way to a number, and refuses them. Words such as `OL` are character
//! data, never numbers.
//! Leaves to others: finding the end of the message ([`super::message_end`]),
//! and dialects that wrap a value in something else (`instrument`).
//! Holds always: a decimal comma is never read as a decimal mark.

mod emit;
mod error;
mod identity;

pub use super::element::{Form, Radix};
pub use emit::{emit_list, nr2, nr3};
pub use error::{ParseError, Problem};
pub use identity::Identity;

use super::element::{self, Decimal as DecimalElement, Parsed, lexeme};
use error::{explained, trailing};
use nom::Parser;
use nom::branch::alt;

/// What SCPI sends where there is no number to send (SCPI-99 7.2.1.4, 7.2.1.5).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Special {
    /// `9.9E37`: positive infinity, or overload.
    Infinity,
    /// `-9.9E37`: negative infinity, or overload.
    NegativeInfinity,
    /// `9.91E37`: not a number, or nothing measured.
    NotANumber,
}

impl Special {
    /// What `value` stands for if it is no number but one of these.
    ///
    /// Anything from 9.9E37 on, either way, is no data. The comparison is made in
    /// single precision: an instrument that computes in it and prints all its
    /// digits sends a value just below 9.9E37.
    pub(super) fn of(value: f64) -> Option<Special> {
        let single = value as f32;
        match single {
            _ if single == 9.91e37 => Some(Special::NotANumber),
            _ if single >= 9.9e37 => Some(Special::Infinity),
            _ if single <= -9.9e37 => Some(Special::NegativeInfinity),
            _ if single.is_nan() => Some(Special::NotANumber),
            _ => None,
        }
    }

    /// The number that SCPI sends for it.
    pub fn value(self) -> f64 {
        match self {
            Special::Infinity => 9.9e37,
            Special::NegativeInfinity => -9.9e37,
            Special::NotANumber => 9.91e37,
        }
    }
}

/// One element of response data.
#[derive(Clone, Debug, PartialEq)]
pub enum Datum {
    /// NR1: an integer.
    Integer(i64),
    /// NR2 or NR3, or an integer beyond 64 bits: finite and below 9.9E37 either way.
    Decimal {
        /// The number.
        value: f64,
        /// How it was, or is to be, written.
        form: Form,
    },
    /// One of the special numbers: never a reading.
    Special(Special),
    /// `#H`, `#Q` or `#B`.
    NonDecimal {
        /// The base it was written in.
        radix: Radix,
        /// The number.
        value: u64,
    },
    /// A quoted string, without its quotes.
    Text(String),
    /// Character data: a word such as `CV`, as it was sent.
    Word(String),
    /// A definite-length or indefinite-length block.
    Block(Vec<u8>),
}

/// Why a datum is not a reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NoReading {
    /// The instrument said that there is no number to give.
    #[error("the instrument sent {} ({})", .0.value(), match .0 {
        Special::Infinity => "overload or infinity",
        Special::NegativeInfinity => "negative overload or infinity",
        Special::NotANumber => "not a number",
    })]
    Special(Special),
    /// Something else than a decimal number.
    #[error("expected a decimal number, found {0}")]
    NotNumeric(String),
}

impl Datum {
    /// The decimal number that was sent, if it was one.
    ///
    /// # Errors
    /// The special numbers and every other kind of data.
    pub fn reading(&self) -> Result<f64, NoReading> {
        match self {
            Datum::Integer(value) => Ok(*value as f64),
            Datum::Decimal { value, .. } => Ok(*value),
            Datum::Special(special) => Err(NoReading::Special(*special)),
            other => Err(NoReading::NotNumeric(other.described())),
        }
    }

    /// `0` or `1`, as a device answers for a Boolean (SCPI-99 7.3); nothing else is one.
    pub fn boolean(&self) -> Option<bool> {
        match self {
            Datum::Integer(0) => Some(false),
            Datum::Integer(1) => Some(true),
            _ => None,
        }
    }

    /// A whole number not below zero, as registers and counts are sent, in any base.
    pub fn register(&self) -> Option<u64> {
        match self {
            Datum::Integer(value) => u64::try_from(*value).ok(),
            Datum::NonDecimal { value, .. } => Some(*value),
            _ => None,
        }
    }

    /// The datum in a message for a person; long data are cut.
    pub fn described(&self) -> String {
        match self {
            Datum::Block(bytes) => format!("a block of {} bytes", bytes.len()),
            Datum::Text(text) => format!("the string {:?}", shortened(text)),
            Datum::Word(word) => format!("the word {}", shortened(word)),
            Datum::Special(special) => format!("{} (no number)", special.value()),
            Datum::Integer(value) => format!("the integer {value}"),
            Datum::Decimal { value, .. } => format!("the number {value}"),
            Datum::NonDecimal { value, .. } => format!("the non-decimal number {value}"),
        }
    }
}

fn shortened(text: &str) -> String {
    match text.char_indices().nth(40) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text.to_owned(),
    }
}

/// Parses one response message unit: data separated by commas, blanks around them allowed.
///
/// ```
/// use rampart::scpi::response::{Datum, parse_list};
/// let list = parse_list(b"+1.5E-3,\"A, B\",CV")?;
/// assert_eq!(list[0].reading(), Ok(0.0015));
/// assert_eq!(list[1], Datum::Text("A, B".into()));
/// # Ok::<(), rampart::scpi::response::ParseError>(())
/// ```
///
/// # Errors
/// Anything that is not response data from the first byte to the last, with its place.
pub fn parse_list(message: &[u8]) -> Result<Vec<Datum>, ParseError> {
    let (list, rest) = unit(message, message)?;
    match rest.first() {
        None => Ok(list),
        Some(_) => Err(trailing(message, rest)),
    }
}

/// Parses a response message of several units, semicolon between them: the answers to a
/// message of several queries, in their order.
///
/// # Errors
/// As [`parse_list`].
pub fn parse_message(message: &[u8]) -> Result<Vec<Vec<Datum>>, ParseError> {
    let mut units = Vec::new();
    let mut rest = message;
    loop {
        let (list, tail) = unit(message, rest)?;
        units.push(list);
        match tail {
            [] => return Ok(units),
            [b';', next @ ..] => rest = next,
            _ => return Err(trailing(message, tail)),
        }
    }
}

/// Parses a response that has to be one datum.
///
/// # Errors
/// As [`parse_list`], and [`Problem::Count`] for `9,99`.
pub fn parse_one(message: &[u8]) -> Result<Datum, ParseError> {
    let mut list = parse_list(message)?;
    match (list.len(), list.pop()) {
        (1, Some(datum)) => Ok(datum),
        (count, _) => Err(ParseError { at: 0, problem: Problem::Count { count } }),
    }
}

/// Parses a number with the unit that some instruments send behind it: `1.234A`,
/// `101.2e-3 V DC`. The unit is returned as it stands, and is empty if there is none.
///
/// # Errors
/// No number at the front, or something behind it that is no unit, as a comma.
pub fn parse_with_unit(message: &[u8]) -> Result<(Datum, String), ParseError> {
    let (rest, datum) = (element::space, lexeme(decimal))
        .map(|(_, datum)| datum)
        .parse(message)
        .map_err(|e| explained(message, element::flaw(e)))?;
    let unit = element::text(rest.trim_ascii_end().to_vec());
    let starts_well = unit.chars().next().is_none_or(|c| c.is_alphabetic() || matches!(c, '%' | '°' | 'µ' | 'Ω'));
    let goes_on_well = unit.chars().all(|c| c.is_alphanumeric() || matches!(c, '%' | '°' | 'µ' | 'Ω' | ' ' | '/'));
    if starts_well && goes_on_well { Ok((datum, unit)) } else { Err(trailing(message, rest)) }
}

fn unit<'a>(message: &'a [u8], input: &'a [u8]) -> Result<(Vec<Datum>, &'a [u8]), ParseError> {
    let explain = |e| explained(message, element::flaw(e));
    let (mut rest, _) = element::space(input).map_err(explain)?;
    let mut list = Vec::new();
    loop {
        let (tail, found) = lexeme(datum).parse(rest).map_err(explain)?;
        list.push(found);
        match tail {
            [b',', next @ ..] => (rest, _) = element::space(next).map_err(explain)?,
            // The terminator of a message whose link left it there.
            [b'\n'] => return Ok((list, &[])),
            _ => return Ok((list, tail)),
        }
    }
}

fn datum(input: &[u8]) -> Parsed<'_, Datum> {
    alt((
        decimal,
        element::non_decimal.map(|(radix, value)| Datum::NonDecimal { radix, value }),
        element::string.map(Datum::Text),
        element::mnemonic.map(|word| Datum::Word(element::text(word.to_vec()))),
        element::block.map(|bytes| Datum::Block(bytes.to_vec())),
    ))
    .parse(input)
}

fn decimal(input: &[u8]) -> Parsed<'_, Datum> {
    element::decimal.map(|number| numeric(&number)).parse(input)
}

fn numeric(number: &DecimalElement) -> Datum {
    let form = number.form();
    let integer = str::from_utf8(number.mantissa).ok().and_then(|text| text.parse::<i64>().ok());
    if let (Form::Nr1, Some(integer)) = (form, integer) {
        return Datum::Integer(integer);
    }
    let value = number.value();
    match Special::of(value) {
        Some(special) => Datum::Special(special),
        None => Datum::Decimal { value, form },
    }
}

#[cfg(test)]
mod tests;
