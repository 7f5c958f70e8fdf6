//! Parameters in a program message, from bytes (IEEE 488.2 7.7).
//!
//! What is wrong is told by the standard's code and the input from there on.
//! Leaves to others: what kind of data a header takes (`parameter`).

use super::parameter::Parameter;
use super::skip_space;
use crate::scpi::element::{self, Decimal, Flaw, FlawKind};
use crate::scpi::error_queue::codes;

/// Most digits of a mantissa, leading zeros not counted (IEEE 488.2 7.7.2.4.1).
const MOST_DIGITS: usize = 255;
/// Largest magnitude of an exponent (IEEE 488.2 7.7.2.4.1).
const LARGEST_EXPONENT: u32 = 32000;
/// Longest character datum and longest suffix, in characters (IEEE 488.2 7.7.1, 7.7.3).
const LONGEST_WORD: usize = 12;

type Found<'a, T> = Result<(T, &'a [u8]), (i32, &'a [u8])>;

/// One parameter and the white space behind it.
pub(super) fn parameter(input: &[u8]) -> Found<'_, Parameter> {
    let (parameter, rest) = match input {
        [b'+' | b'-' | b'.' | b'0'..=b'9', ..] => number(input)?,
        [b'"' | b'\'', ..] => found(input, element::string(input), Parameter::Text)?,
        [b'#', b'0'..=b'9', ..] => found(input, element::block(input), |bytes| Parameter::Block(bytes.to_vec()))?,
        [b'#', ..] => non_decimal(input)?,
        [b'(', ..] => expression(input)?,
        [byte, ..] if byte.is_ascii_alphabetic() => word(input)?,
        [] | [b',' | b';' | b'\n', ..] => return Err((codes::SYNTAX_ERROR, input)),
        _ => return Err((codes::INVALID_CHARACTER, input)),
    };
    Ok((parameter, skip_space(rest)))
}

fn found<'a, T>(input: &'a [u8], parsed: element::Parsed<'a, T>, make: impl Fn(T) -> Parameter) -> Found<'a, Parameter> {
    match parsed {
        Ok((rest, value)) => Ok((make(value), rest)),
        Err(error) => {
            let Flaw { kind, .. } = element::flaw(error);
            Err((code(kind), input))
        }
    }
}

fn code(kind: FlawKind) -> i32 {
    match kind {
        FlawKind::OpenString => codes::INVALID_STRING_DATA,
        FlawKind::BlockHeader | FlawKind::BlockShort { .. } => codes::INVALID_BLOCK_DATA,
        FlawKind::NonDecimalDigits => codes::INVALID_CHARACTER_IN_NUMBER,
        FlawKind::NonDecimalTooLarge => codes::DATA_OUT_OF_RANGE,
        FlawKind::NoElement => codes::NUMERIC_DATA_ERROR,
    }
}

fn number(input: &[u8]) -> Found<'_, Parameter> {
    let (rest, decimal) = element::spaced_decimal(input).map_err(|_| (codes::NUMERIC_DATA_ERROR, input))?;
    if digits(&decimal) > MOST_DIGITS {
        return Err((codes::TOO_MANY_DIGITS, input));
    }
    if exponent(&decimal).is_none_or(|magnitude| magnitude > LARGEST_EXPONENT) {
        return Err((codes::EXPONENT_TOO_LARGE, input));
    }
    let value = decimal.value();
    if !value.is_finite() {
        return Err((codes::DATA_OUT_OF_RANGE, input));
    }
    let start = skip_space(rest);
    let end = start.iter().position(|b| !(b.is_ascii_alphanumeric() || matches!(b, b'/' | b'.' | b'-'))).unwrap_or(start.len());
    let (suffix, rest) = start.split_at(end);
    match suffix.first() {
        None if start.first() != Some(&b'+') => Ok((Parameter::Number { value, suffix: None }, start)),
        // Only behind a blank; what is missing is a separator.
        Some(b'0'..=b'9') => Ok((Parameter::Number { value, suffix: None }, start)),
        None | Some(b'.' | b'-') => Err((codes::INVALID_CHARACTER_IN_NUMBER, start)),
        Some(_) if suffix.len() > LONGEST_WORD => Err((codes::SUFFIX_TOO_LONG, start)),
        Some(_) => Ok((Parameter::Number { value, suffix: Some(super::capitals(suffix)) }, rest)),
    }
}

fn digits(decimal: &Decimal) -> usize {
    let digits = decimal.mantissa.iter().filter(|b| b.is_ascii_digit());
    digits.skip_while(|b| **b == b'0').count()
}

/// The exponent's magnitude; `None` when it is beyond 32 bits.
fn exponent(decimal: &Decimal) -> Option<u32> {
    let Some(text) = decimal.exponent else { return Some(0) };
    str::from_utf8(text).ok()?.trim_start_matches(['+', '-']).parse().ok()
}

fn non_decimal(input: &[u8]) -> Found<'_, Parameter> {
    let (parameter, rest) = match element::non_decimal(input) {
        Ok((rest, (_, value))) => (Parameter::NonDecimal(value), rest),
        Err(error) => {
            let kind = element::flaw(error).kind;
            let code = if kind == FlawKind::NoElement { codes::INVALID_CHARACTER_IN_NUMBER } else { code(kind) };
            return Err((code, input));
        }
    };
    match rest.first() {
        Some(byte) if byte.is_ascii_alphanumeric() || *byte == b'.' => Err((codes::INVALID_CHARACTER_IN_NUMBER, rest)),
        _ => Ok((parameter, rest)),
    }
}

fn word(input: &[u8]) -> Found<'_, Parameter> {
    let (rest, word) = element::mnemonic(input).map_err(|_| (codes::INVALID_CHARACTER_DATA, input))?;
    match rest.first() {
        _ if word.len() > LONGEST_WORD => Err((codes::CHARACTER_DATA_TOO_LONG, input)),
        None | Some(b',' | b';' | b'\n') => Ok((Parameter::Word(super::capitals(word)), rest)),
        Some(byte) if element::is_space(*byte) => Ok((Parameter::Word(super::capitals(word)), rest)),
        Some(_) => Err((codes::INVALID_CHARACTER_DATA, rest)),
    }
}

/// An expression (IEEE 488.2 7.7.7.2): no quotes, no semicolon, no parentheses inside.
fn expression(input: &[u8]) -> Found<'_, Parameter> {
    let inside = &input[1..];
    let odd = |b: &u8| !matches!(b, b' '..=b'~') || matches!(b, b'"' | b'#' | b'\'' | b'(' | b')' | b';');
    match inside.iter().position(odd) {
        Some(end) if inside[end] == b')' => {
            Ok((Parameter::Expression(element::text(inside[..end].to_vec())), &inside[end + 1..]))
        }
        _ => Err((codes::INVALID_EXPRESSION, input)),
    }
}
