//! Response data: what an instrument answers (IEEE 488.2 clause 8.7).

use super::number::{self, NumberError};
pub use super::number::Number;
use nom::branch::alt;
use nom::bytes::complete::{tag, tag_no_case, take, take_while, take_while1};
use nom::character::complete::one_of;
use nom::combinator::{map, map_opt, recognize, rest, verify};
use nom::multi::separated_list1;
use nom::sequence::{delimited, preceded};
use nom::{IResult, Parser};

/// One element of a response.
#[derive(Clone, Debug, PartialEq)]
pub enum Datum {
    /// NR1, NR2 or NR3, special numbers set apart.
    Number(Number),
    /// `#H`, `#Q` or `#B`.
    NonDecimal(u64),
    /// A quoted string, unquoted.
    Text(String),
    /// Character data, as `CV` or `ON`.
    Word(String),
    /// A definite or indefinite block.
    Block(Vec<u8>),
}

/// Why a response could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("not IEEE 488.2 response data from byte {at} on")]
pub struct ResponseError {
    /// Where the first element that could not be read begins, in bytes.
    pub at: usize,
}

/// Reads one decimal number and nothing else; space around it is allowed.
///
/// # Errors
/// See [`NumberError`].
pub fn number(text: &[u8]) -> Result<Number, NumberError> {
    number::parse(text.trim_ascii()).map(Number::classify)
}

/// Reads a response: elements separated by commas (or, between units, semicolons).
///
/// # Errors
/// The place of the first element that is none.
pub fn list(message: &[u8]) -> Result<Vec<Datum>, ResponseError> {
    let separator = delimited(space, one_of(",;"), space);
    let (left, data) = separated_list1(separator, delimited(space, datum, space))
        .parse(message)
        .map_err(|_| ResponseError { at: 0 })?;
    if left.is_empty() { Ok(data) } else { Err(ResponseError { at: message.len() - left.len() }) }
}

fn space(input: &[u8]) -> IResult<&[u8], &[u8]> {
    take_while(|b: u8| b == b' ' || b == b'\t').parse(input)
}

fn datum(input: &[u8]) -> IResult<&[u8], Datum> {
    alt((
        map(map_opt(number::decimal, |d| number::value(d).ok()), |v| Datum::Number(Number::classify(v))),
        map(non_decimal, Datum::NonDecimal),
        map(block, |b: &[u8]| Datum::Block(b.to_vec())),
        map(quoted, Datum::Text),
        map(word, |w: &[u8]| Datum::Word(String::from_utf8_lossy(w).into_owned())),
    ))
    .parse(input)
}

/// `#HA2F`, `#Q62`, `#B01011` (IEEE 488.2 8.7.5 to 8.7.7).
pub(super) fn non_decimal(input: &[u8]) -> IResult<&[u8], u64> {
    fn digits<'a>(letter: &'static [u8], base: u32) -> impl Parser<&'a [u8], Output = u64, Error = nom::error::Error<&'a [u8]>> {
        map_opt(
            preceded(tag_no_case(letter), take_while1(move |b: u8| char::from(b).is_digit(base))),
            move |d: &[u8]| std::str::from_utf8(d).ok().and_then(|t| u64::from_str_radix(t, base).ok()),
        )
    }
    alt((digits(&b"#H"[..], 16), digits(&b"#Q"[..], 8), digits(&b"#B"[..], 2))).parse(input)
}

/// A definite block, or an indefinite one that takes all that is left (8.7.9, 8.7.10).
pub(super) fn block(input: &[u8]) -> IResult<&[u8], &[u8]> {
    let mut indefinite = preceded(tag(&b"#0"[..]), rest);
    if let Some((head, length)) = super::block_head(input) {
        return preceded(take(head), take(length)).parse(input);
    }
    indefinite.parse(input)
}

/// A string in single or double quotes, the quote doubled inside.
pub(super) fn quoted(input: &[u8]) -> IResult<&[u8], String> {
    let (_, open) = alt((tag(&b"\""[..]), tag(&b"'"[..]))).parse(input)?;
    let open = open[0];
    let mut text = Vec::new();
    let mut at = 1;
    while let Some(byte) = input.get(at) {
        if *byte == open {
            if input.get(at + 1) == Some(&open) {
                at += 1;
            } else {
                return Ok((&input[at + 1..], String::from_utf8_lossy(&text).into_owned()));
            }
        }
        text.push(*byte);
        at += 1;
    }
    Err(nom::Err::Error(nom::error::Error::new(input, nom::error::ErrorKind::Escaped)))
}

/// Character data: a letter, then letters, digits and underscores.
pub(super) fn word(input: &[u8]) -> IResult<&[u8], &[u8]> {
    recognize(verify(take_while1(|b: u8| b.is_ascii_alphanumeric() || b == b'_'), |w: &[u8]| w[0].is_ascii_alphabetic())).parse(input)
}
