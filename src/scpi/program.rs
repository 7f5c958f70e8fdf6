//! Program messages: what a controller sends, read from the device's side
//! (IEEE 488.2 clause 7, SCPI-1999 6.2.4 for the header tree).

use super::number::{self, NumberError};
use super::response::{block, non_decimal, quoted};
use nom::Parser;
use nom::bytes::complete::take_while;

/// The longest mnemonic, character datum or suffix (IEEE 488.2 7.6.1.4.1, 7.7.1.4, 7.7.3.4).
const LONGEST_WORD: usize = 12;
/// Most units in one message and most parameters of one unit: bounds on what is allocated.
const MOST_PARTS: usize = 256;

/// One unit of a program message.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// The mnemonics, the path of compound headers filled in; a common command is one with its `*`.
    pub header: Vec<String>,
    /// Whether it is a query.
    pub query: bool,
    /// Its parameters.
    pub parameters: Vec<Parameter>,
}

/// A parameter.
#[derive(Clone, Debug, PartialEq)]
pub enum Parameter {
    /// A number in the base unit, the multiplier of its suffix applied, and the suffix's unit.
    Number(f64, String),
    /// Character data, as `ON`, `MIN`, `DEF`; `INF`, `NINF` and `NAN` too.
    Word(String),
    /// A string.
    Text(String),
    /// A block.
    Block(Vec<u8>),
    /// An expression with its brackets, as `(@1,3:5)`.
    Expression(String),
}

/// An error code of SCPI-1999 21.8.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{}", super::error_queue::ErrorReport::standard(self.0))]
pub struct Refusal(pub i32);

/// Reads a message into its units. Units before the first faulty one are
/// returned beside the error, since a device carries them out.
pub fn parse(message: &[u8]) -> (Vec<Unit>, Option<Refusal>) {
    let mut units = Vec::new();
    let mut path: Vec<String> = Vec::new();
    let mut left = message.trim_ascii();
    while !left.is_empty() {
        if units.len() >= MOST_PARTS {
            return (units, Some(Refusal(-223)));
        }
        match unit(left, &mut path) {
            Ok((rest, made)) => {
                units.push(made);
                left = rest;
            }
            Err(refusal) => return (units, Some(refusal)),
        }
    }
    (units, None)
}

fn unit<'a>(input: &'a [u8], path: &mut Vec<String>) -> Result<(&'a [u8], Unit), Refusal> {
    let input = skip_space(input);
    let end = input.iter().position(|b| !(b.is_ascii_alphanumeric() || matches!(b, b'_' | b':' | b'*' | b'?'))).unwrap_or(input.len());
    let (head, mut rest) = input.split_at(end);
    let head = std::str::from_utf8(head).map_err(|_| Refusal(-101))?;
    let query = head.ends_with('?');
    let header = self::header(head.trim_end_matches('?'), path)?;
    let spaced = rest.first().is_some_and(|b| matches!(b, b' ' | b'\t'));
    rest = skip_space(rest);
    let mut parameters = Vec::new();
    if !matches!(rest.first(), None | Some(b';')) {
        if !spaced {
            return Err(Refusal(if rest.first().is_some_and(u8::is_ascii) { -111 } else { -101 }));
        }
        loop {
            if parameters.len() >= MOST_PARTS {
                return Err(Refusal(-223));
            }
            let (after, parameter) = self::parameter(rest)?;
            parameters.push(parameter);
            rest = skip_space(after);
            match rest.split_first() {
                Some((b',', more)) => rest = skip_space(more),
                None | Some((b';', _)) => break,
                Some(_) => return Err(Refusal(-103)),
            }
        }
    }
    let rest = rest.strip_prefix(b";").map_or(rest, skip_space);
    Ok((rest, Unit { header, query, parameters }))
}

/// Fills in the path: a leading colon starts at the root, a common command leaves
/// the path alone, anything else goes on where the last header left off.
fn header(text: &str, path: &mut Vec<String>) -> Result<Vec<String>, Refusal> {
    let too_long = |name: &str| name.trim_start_matches('*').len() > LONGEST_WORD;
    if let Some(common) = text.strip_prefix('*') {
        if common.is_empty() || !common.bytes().all(|b| b.is_ascii_alphabetic()) {
            return Err(Refusal(-102));
        }
        return if too_long(common) { Err(Refusal(-112)) } else { Ok(vec![format!("*{}", common.to_ascii_uppercase())]) };
    }
    let (rooted, names) = match text.strip_prefix(':') {
        Some(rest) => (true, rest),
        None => (false, text),
    };
    let names: Vec<String> = names.split(':').map(str::to_ascii_uppercase).collect();
    if names.iter().any(|n| !n.starts_with(|c: char| c.is_ascii_alphabetic()) || n.contains(['*', '?'])) {
        return Err(Refusal(-102));
    }
    if names.iter().any(|n| too_long(n)) {
        return Err(Refusal(-112));
    }
    let mut whole = if rooted { Vec::new() } else { path.clone() };
    whole.extend(names);
    *path = whole.clone();
    path.pop();
    if whole.len() > MOST_PARTS { Err(Refusal(-112)) } else { Ok(whole) }
}

fn parameter(input: &[u8]) -> Result<(&[u8], Parameter), Refusal> {
    match input.first() {
        None => Err(Refusal(-109)),
        Some(b'"' | b'\'') => match quoted(input) {
            Ok((rest, text)) => Ok((rest, Parameter::Text(text))),
            Err(_) => Err(Refusal(-151)),
        },
        Some(b'(') => {
            let end = input.iter().position(|b| *b == b')').ok_or(Refusal(-171))?;
            let (text, rest) = input.split_at(end + 1);
            Ok((rest, Parameter::Expression(String::from_utf8_lossy(text).into_owned())))
        }
        Some(b'#') => {
            if let Ok((rest, value)) = non_decimal(input) {
                #[allow(clippy::cast_precision_loss)] // a register is 64 bits at most; larger is no number of a device
                return Ok((rest, Parameter::Number(value as f64, String::new())));
            }
            match block(input) {
                Ok((rest, data)) => Ok((rest, Parameter::Block(data.to_vec()))),
                Err(_) => Err(Refusal(-161)),
            }
        }
        Some(b'0'..=b'9' | b'+' | b'-' | b'.') => numeric(input),
        Some(b) if b.is_ascii_alphabetic() => {
            let (rest, word) = word(input);
            if word.len() > LONGEST_WORD { Err(Refusal(-144)) } else { Ok((rest, Parameter::Word(word))) }
        }
        Some(b',' | b';') => Err(Refusal(-109)),
        Some(_) => Err(Refusal(-101)),
    }
}

fn numeric(input: &[u8]) -> Result<(&[u8], Parameter), Refusal> {
    let (rest, digits) = number::decimal(input).map_err(|_| Refusal(-121))?;
    let value = number::value(digits).map_err(|e| match e {
        NumberError::Exponent => Refusal(-123),
        NumberError::Digits => Refusal(-124),
        NumberError::Form => Refusal(-121),
    })?;
    let after = skip_space(rest);
    if !after.first().is_some_and(|b| b.is_ascii_alphabetic()) {
        return Ok((rest, Parameter::Number(value, String::new())));
    }
    let (rest, suffix) = word(after);
    if suffix.len() > LONGEST_WORD {
        return Err(Refusal(-134));
    }
    let (factor, unit) = suffix_factor(&suffix).ok_or(Refusal(-131))?;
    Ok((rest, Parameter::Number(value * factor, unit)))
}

/// Multiplier and unit of a suffix (IEEE 488.2 7.7.3, tables 7-1 and 7-2): M is
/// milli except in MOHM and MHZ, where it is mega; MA is mega; no multiplier
/// before PCT and DEG.
pub fn suffix_factor(suffix: &str) -> Option<(f64, String)> {
    const UNITS: [&str; 12] = ["OHM", "HZ", "PCT", "DEG", "CEL", "FAR", "V", "A", "W", "S", "J", "C"];
    const MULTIPLIERS: [(&str, f64); 14] = [
        ("EX", 1e18), ("PE", 1e15), ("MA", 1e6), ("T", 1e12), ("G", 1e9), ("K", 1e3), ("M", 1e-3), ("U", 1e-6),
        ("N", 1e-9), ("P", 1e-12), ("F", 1e-15), ("A", 1e-18), ("", 1.0), ("", 1.0),
    ];
    let upper = suffix.to_ascii_uppercase();
    if upper == "MOHM" || upper == "MHZ" {
        return Some((1e6, upper[1..].to_owned()));
    }
    // A bare unit first, so that "A" is ampere and not an atto of nothing.
    for (name, factor) in std::iter::once(("", 1.0)).chain(MULTIPLIERS) {
        if let Some(unit) = upper.strip_prefix(name)
            && UNITS.contains(&unit)
            && (name.is_empty() || !matches!(unit, "PCT" | "DEG" | "CEL"))
        {
            return Some((factor, unit.to_owned()));
        }
    }
    None
}

fn word(input: &[u8]) -> (&[u8], String) {
    let end = input.iter().position(|b| !(b.is_ascii_alphanumeric() || *b == b'_')).unwrap_or(input.len());
    let (word, rest) = input.split_at(end);
    (rest, String::from_utf8_lossy(word).to_ascii_uppercase())
}

fn skip_space(input: &[u8]) -> &[u8] {
    let skipped: nom::IResult<&[u8], &[u8]> = take_while(|b: u8| b == b' ' || b == b'\t').parse(input);
    skipped.map_or(input, |(rest, _)| rest)
}
