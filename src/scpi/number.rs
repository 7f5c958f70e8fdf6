//! Decimal numeric data: NR1, NR2, NR3 (IEEE 488.2 8.7.2 to 8.7.4), and the
//! numbers that SCPI-1999 7.2.1.4 and 7.2.1.5 set apart.

use nom::branch::alt;
use nom::bytes::complete::{tag, tag_no_case};
use nom::character::complete::{digit0, digit1, one_of};
use nom::combinator::{all_consuming, opt, recognize};
use nom::{IResult, Parser};

/// Largest exponent magnitude (IEEE 488.2 7.7.2.4.1); beyond it is error -123.
const LARGEST_EXPONENT: i64 = 32_000;
/// Most digits of a mantissa without leading zeros (same clause); beyond is error -124.
const MOST_DIGITS: usize = 255;
/// SCPI-1999 7.2.1.4: INFinity is 9.9E37.
const INFINITY: f64 = 9.9e37;
/// SCPI-1999 7.2.1.5: NAN is 9.91E37.
const NOT_A_NUMBER: f64 = 9.91e37;

/// A number in a response: a value, or one that stands for something else.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Number {
    /// A value.
    Value(f64),
    /// 9.9E37 or beyond: overload.
    Infinity,
    /// -9.9E37 or beyond.
    NegativeInfinity,
    /// 9.91E37.
    NotANumber,
}

/// Why a text is no decimal number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NumberError {
    /// Not of the form.
    #[error("not a decimal number")]
    Form,
    /// Exponent beyond 32000: error -123.
    #[error("exponent too large")]
    Exponent,
    /// More than 255 digits: error -124.
    #[error("too many digits")]
    Digits,
}

impl Number {
    /// Sets the special numbers apart.
    pub fn classify(value: f64) -> Self {
        if value == NOT_A_NUMBER {
            Self::NotANumber
        } else if value >= INFINITY {
            Self::Infinity
        } else if value <= -INFINITY {
            Self::NegativeInfinity
        } else {
            Self::Value(value)
        }
    }
}

/// The longest prefix that is a decimal number: sign, digits with at most one
/// point, exponent. Accepts a space before the exponent's sign as 488.2 does not;
/// strict in everything else.
pub(super) fn decimal(input: &[u8]) -> IResult<&[u8], &[u8]> {
    let mantissa = alt((recognize((digit1, opt((tag(&b"."[..]), digit0)))), recognize((tag(&b"."[..]), digit1))));
    let exponent = (tag_no_case(&b"E"[..]), opt(one_of("+-")), digit1);
    recognize((opt(one_of("+-")), mantissa, opt(exponent))).parse(input)
}

/// Reads a whole text as a decimal number.
///
/// # Errors
/// See [`NumberError`].
pub(super) fn parse(text: &[u8]) -> Result<f64, NumberError> {
    let (_, digits) = all_consuming(decimal).parse(text).map_err(|_| NumberError::Form)?;
    value(digits)
}

/// The value of a text that [`decimal`] recognised.
pub(super) fn value(digits: &[u8]) -> Result<f64, NumberError> {
    let text = std::str::from_utf8(digits).map_err(|_| NumberError::Form)?;
    let (mantissa, exponent) = text.split_once(['e', 'E']).unwrap_or((text, "0"));
    if exponent.parse::<i64>().map_or(true, |e| e.abs() > LARGEST_EXPONENT) {
        return Err(NumberError::Exponent);
    }
    let significant = mantissa.trim_start_matches(['+', '-']).chars().filter(char::is_ascii_digit).skip_while(|c| *c == '0').count();
    if significant > MOST_DIGITS {
        return Err(NumberError::Digits);
    }
    text.parse().map_err(|_| NumberError::Form)
}
