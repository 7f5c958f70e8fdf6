//! The data elements that both directions have in common: numbers, strings,
//! blocks, character data. The only place where their grammar stands.
//!
//! Every parser takes the element from the front of its input and leaves the
//! rest. What failed is a [`Flaw`], which each direction puts in its own words:
//! a sentence for a person, or an error code for the queue.
//! Holds always: a result borrows from the input or is no longer than it; a
//! length that a block announces is never allocated before its bytes are there.

use nom::branch::alt;
use nom::bytes::complete::{tag_no_case, take, take_while, take_while1};
use nom::character::complete::{digit0, digit1, one_of};
use nom::combinator::{opt, recognize};
use nom::sequence::{preceded, terminated};
use nom::{IResult, Parser};

/// What was wrong with an element, and the input from there on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Flaw<'a> {
    pub rest: &'a [u8],
    pub kind: FlawKind,
}

/// The kinds of [`Flaw`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FlawKind {
    /// No element starts like this.
    NoElement,
    /// A string whose closing quote is missing, or with a line break inside.
    OpenString,
    /// A block's header is not `#`, a digit, and as many digits.
    BlockHeader,
    /// A block announces more bytes than there are.
    BlockShort { announced: usize, present: usize },
    /// `#H`, `#Q` or `#B` without a digit of that base.
    NonDecimalDigits,
    /// A non-decimal number beyond 64 bits.
    NonDecimalTooLarge,
}

impl<'a> nom::error::ParseError<&'a [u8]> for Flaw<'a> {
    fn from_error_kind(rest: &'a [u8], _: nom::error::ErrorKind) -> Self {
        Flaw { rest, kind: FlawKind::NoElement }
    }
    fn append(_: &'a [u8], _: nom::error::ErrorKind, other: Self) -> Self {
        other
    }
}

pub(super) type Parsed<'a, T> = IResult<&'a [u8], T, Flaw<'a>>;

/// A failure that no alternative may paper over.
fn fail<T>(rest: &[u8], kind: FlawKind) -> Parsed<'_, T> {
    Err(nom::Err::Failure(Flaw { rest, kind }))
}

/// How a decimal number is written (IEEE 488.2 8.7.2 to 8.7.4).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Form {
    /// An integer: `12`.
    Nr1,
    /// With a point: `12.5`.
    Nr2,
    /// With an exponent: `1.25E+1`.
    Nr3,
}

/// A decimal number as it stands in the message, in parts.
#[derive(Clone, Copy, Debug)]
pub(super) struct Decimal<'a> {
    /// Sign, digits and point.
    pub mantissa: &'a [u8],
    /// Sign and digits of the exponent, without the `E`.
    pub exponent: Option<&'a [u8]>,
}

impl Decimal<'_> {
    pub fn form(&self) -> Form {
        match self.exponent {
            Some(_) => Form::Nr3,
            None if self.mantissa.contains(&b'.') => Form::Nr2,
            None => Form::Nr1,
        }
    }

    /// The nearest number; infinite beyond what 64 bits hold.
    pub fn value(&self) -> f64 {
        let mut text = String::from_utf8_lossy(self.mantissa).into_owned();
        if let Some(exponent) = self.exponent {
            text.push('e');
            text.push_str(&String::from_utf8_lossy(exponent));
        }
        // The grammar admits only what the standard library reads, and neither `inf` nor `nan`.
        text.parse().unwrap_or(f64::NAN)
    }
}

fn sign(input: &[u8]) -> Parsed<'_, Option<char>> {
    opt(one_of("+-")).parse(input)
}

fn mantissa(input: &[u8]) -> Parsed<'_, &[u8]> {
    let with_digits_first = recognize((digit1, opt(preceded(one_of("."), digit0))));
    let with_point_first = recognize((one_of("."), digit1));
    recognize((sign, alt((with_digits_first, with_point_first)))).parse(input)
}

fn exponent_digits(input: &[u8]) -> Parsed<'_, &[u8]> {
    recognize((sign, digit1)).parse(input)
}

/// A decimal number without spaces inside, as responses have it.
pub(super) fn decimal(input: &[u8]) -> Parsed<'_, Decimal<'_>> {
    let exponent = preceded(one_of("eE"), exponent_digits);
    (mantissa, opt(exponent)).map(|(mantissa, exponent)| Decimal { mantissa, exponent }).parse(input)
}

/// A decimal number that may have spaces around its `E` (IEEE 488.2 7.7.2.2), as programs may.
pub(super) fn spaced_decimal(input: &[u8]) -> Parsed<'_, Decimal<'_>> {
    let exponent = preceded((space, one_of("eE"), space), exponent_digits);
    (mantissa, opt(exponent)).map(|(mantissa, exponent)| Decimal { mantissa, exponent }).parse(input)
}

/// White space inside a message: every control character and the blank, but not the
/// newline, which ends the message (IEEE 488.2 7.4.1.2).
pub(super) fn is_space(byte: u8) -> bool {
    byte <= b' ' && byte != b'\n'
}

pub(super) fn space(input: &[u8]) -> Parsed<'_, &[u8]> {
    take_while(is_space).parse(input)
}

/// The base of a non-decimal number (IEEE 488.2 7.7.4).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Radix {
    /// `#B`
    Binary,
    /// `#Q`
    Octal,
    /// `#H`
    Hexadecimal,
}

impl Radix {
    fn base(self) -> u32 {
        match self {
            Radix::Binary => 2,
            Radix::Octal => 8,
            Radix::Hexadecimal => 16,
        }
    }
}

/// `#HA2F`, `#Q62`, `#B01011`, in capitals or not.
pub(super) fn non_decimal(input: &[u8]) -> Parsed<'_, (Radix, u64)> {
    let (digits, radix) = alt((
        tag_no_case("#H").map(|_| Radix::Hexadecimal),
        tag_no_case("#Q").map(|_| Radix::Octal),
        tag_no_case("#B").map(|_| Radix::Binary),
    ))
    .parse(input)?;
    let mut value: u64 = 0;
    let mut rest = digits;
    while let Some((digit, tail)) = rest.split_first().and_then(|(&b, tail)| Some((char::from(b).to_digit(radix.base())?, tail)))
    {
        let grown = value.checked_mul(u64::from(radix.base())).and_then(|v| v.checked_add(u64::from(digit)));
        let Some(grown) = grown else { return fail(digits, FlawKind::NonDecimalTooLarge) };
        value = grown;
        rest = tail;
    }
    if rest.len() == digits.len() {
        return fail(digits, FlawKind::NonDecimalDigits);
    }
    Ok((rest, (radix, value)))
}

/// A quoted string: `"..."` or `'...'`, the delimiter doubled inside
/// (IEEE 488.2 7.7.5). No line break may stand in it.
pub(super) fn string(input: &[u8]) -> Parsed<'_, String> {
    let (mut rest, quote) = one_of("\"'").parse(input)?;
    let quote = quote as u8;
    let mut bytes = Vec::new();
    loop {
        let (tail, piece) = take_while(|b| b != quote && b != b'\n' && b != b'\r').parse(rest)?;
        bytes.extend_from_slice(piece);
        if tail.first() != Some(&quote) {
            return fail(input, FlawKind::OpenString);
        }
        if tail.get(1) != Some(&quote) {
            return Ok((&tail[1..], text(bytes)));
        }
        bytes.push(quote);
        rest = &tail[2..];
    }
}

/// Text from a message: UTF-8 where it is, else one character a byte (Latin-1), since
/// instruments write their degree and micro signs as they like.
pub(super) fn text(bytes: Vec<u8>) -> String {
    String::from_utf8(bytes).unwrap_or_else(|e| e.into_bytes().into_iter().map(char::from).collect())
}

/// What the header of a block says about its length (IEEE 488.2 7.7.6).
pub(super) enum BlockLength {
    /// `#` d L..L: this many bytes follow.
    Definite(usize),
    /// `#0`: up to the end of the message.
    Indefinite,
}

/// The header of a block. An input that ends inside it is `Err(Incomplete)`.
pub(super) fn block_header(input: &[u8]) -> Parsed<'_, BlockLength> {
    let more = Err(nom::Err::Incomplete(nom::Needed::Unknown));
    match input {
        [] | [b'#'] => more,
        [b'#', b'0', rest @ ..] => Ok((rest, BlockLength::Indefinite)),
        [b'#', count @ b'1'..=b'9', rest @ ..] => {
            let count = usize::from(count - b'0');
            let digits = &rest[..count.min(rest.len())];
            if !digits.iter().all(u8::is_ascii_digit) {
                fail(input, FlawKind::BlockHeader)
            } else if digits.len() < count {
                more
            } else {
                let length = digits.iter().fold(0usize, |sum, d| sum.saturating_mul(10).saturating_add(usize::from(d - b'0')));
                Ok((&rest[count..], BlockLength::Definite(length)))
            }
        }
        _ => fail(input, FlawKind::BlockHeader),
    }
}

/// A block with its bytes. An indefinite one takes the whole rest, less one newline at its end.
pub(super) fn block(input: &[u8]) -> Parsed<'_, &[u8]> {
    if input.first() != Some(&b'#') {
        return Err(nom::Err::Error(Flaw { rest: input, kind: FlawKind::NoElement }));
    }
    match block_header(input) {
        Err(nom::Err::Incomplete(_)) => fail(input, FlawKind::BlockHeader),
        Err(e) => Err(e),
        Ok((rest, BlockLength::Indefinite)) => Ok((&[], rest.strip_suffix(b"\n").unwrap_or(rest))),
        Ok((rest, BlockLength::Definite(announced))) => match take(announced).parse(rest) {
            Ok(taken) => Ok(taken),
            Err(nom::Err::Error(Flaw { .. })) => fail(input, FlawKind::BlockShort { announced, present: rest.len() }),
            Err(e) => Err(e),
        },
    }
}

/// A mnemonic: a letter, then letters, digits and underscores (IEEE 488.2 7.6.1.4.1).
pub(super) fn mnemonic(input: &[u8]) -> Parsed<'_, &[u8]> {
    recognize((take_while1(|b: u8| b.is_ascii_alphabetic()), take_while(|b: u8| b.is_ascii_alphanumeric() || b == b'_')))
        .parse(input)
}

/// An element with the white space behind it.
pub(super) fn lexeme<'a, T>(
    element: impl Parser<&'a [u8], Output = T, Error = Flaw<'a>>,
) -> impl Parser<&'a [u8], Output = T, Error = Flaw<'a>> {
    terminated(element, space)
}

/// The flaw inside a nom error.
pub(super) fn flaw<'a>(error: nom::Err<Flaw<'a>>) -> Flaw<'a> {
    match error {
        nom::Err::Error(flaw) | nom::Err::Failure(flaw) => flaw,
        nom::Err::Incomplete(_) => Flaw { rest: &[], kind: FlawKind::NoElement },
    }
}
