//! Program messages as a device receives them: units, headers, parameters
//! (IEEE 488.2 chapter 7, SCPI-99 volume 1, chapters 6 and 7).
//!
//! A message is cut into [`Unit`]s, each with its header resolved against the
//! one before it. What violates the grammar is a [`Fault`] with the code that
//! goes into the error queue; units before it stand, as a device has carried
//! them out by then. Leaves to others: which headers exist (-113), how many
//! parameters each takes, and what they do.
//! Holds always: lengths and counts are bounded by [`Limits`].

mod data;
mod parameter;
mod suffix;

pub use parameter::{Numeric, Parameter};
pub use suffix::factor;

use super::element;
use super::error_queue::{ErrorReport, codes};
use super::header::{LONGEST_MNEMONIC, Pattern};

/// How much a device takes in one message.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// The longest message, in bytes.
    pub bytes: usize,
    /// The most units in a message.
    pub units: usize,
    /// The most parameters in a unit.
    pub parameters: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Limits { bytes: 65536, units: 64, parameters: 256 }
    }
}

/// The deepest header that is followed; no standard header comes near.
const DEEPEST: usize = 12;

/// A violation of the grammar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("error {code} at byte {at}")]
pub struct Fault {
    /// The standard's code, for the error queue.
    pub code: i32,
    /// Where, in bytes from the start of the message.
    pub at: usize,
}

impl Fault {
    /// The entry for the error queue.
    pub fn report(&self) -> ErrorReport {
        ErrorReport::standard(self.code)
    }
}

/// A program message, as far as it could be understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Program {
    /// The units in front of the fault, or all of them.
    pub units: Vec<Unit>,
    /// What stopped the parser, if anything did.
    pub fault: Option<Fault>,
}

/// One program message unit: a command or a query.
#[derive(Clone, Debug, PartialEq)]
pub struct Unit {
    /// The full header from the root, in capitals, without colon in front and question
    /// mark behind: `SOUR:VOLT`, `*IDN`.
    pub header: String,
    /// Whether it is a query.
    pub query: bool,
    /// The parameters in their order.
    pub parameters: Vec<Parameter>,
    /// Where the unit starts, in bytes from the start of the message.
    pub at: usize,
}

impl Unit {
    /// The numeric suffixes if this unit's header fits `pattern`.
    pub fn fits(&self, pattern: &Pattern) -> Option<Vec<u32>> {
        (pattern.is_query() == self.query).then(|| pattern.matches_path(&self.header)).flatten()
    }

    /// Checks how many parameters there are.
    ///
    /// # Errors
    /// -109 for too few, -108 for too many.
    pub fn takes(&self, count: std::ops::RangeInclusive<usize>) -> Result<(), i32> {
        match self.parameters.len() {
            few if few < *count.start() => Err(codes::MISSING_PARAMETER),
            many if many > *count.end() => Err(codes::PARAMETER_NOT_ALLOWED),
            _ => Ok(()),
        }
    }

    /// The parameter at `index`, counted from zero.
    ///
    /// # Errors
    /// -109 where there is none.
    pub fn parameter(&self, index: usize) -> Result<&Parameter, i32> {
        self.parameters.get(index).ok_or(codes::MISSING_PARAMETER)
    }
}

/// Parses a program message. A newline at its end may stand or be gone.
///
/// A header without a colon in front is taken from where the one before it stood; common
/// commands leave that place alone (SCPI-99 volume 1, 6.2.4; IEEE 488.2 A.1.1). The place
/// is what was written: optional nodes that were left out are not in it.
///
/// ```
/// use rampart::scpi::program::{Limits, parse};
/// let program = parse(b":SOUR:VOLT 9;CURR 60 MA;*OPC?", &Limits::default());
/// let headers: Vec<&str> = program.units.iter().map(|unit| unit.header.as_str()).collect();
/// assert_eq!(headers, ["SOUR:VOLT", "SOUR:CURR", "*OPC"]);
/// ```
pub fn parse(message: &[u8], limits: &Limits) -> Program {
    let mut parser = Parser { message, limits, place: Vec::new() };
    let mut units = Vec::new();
    let fault = parser.units(&mut units).err();
    Program { units, fault }
}

struct Parser<'a> {
    message: &'a [u8],
    limits: &'a Limits,
    /// The mnemonics in front of which a relative header is put.
    place: Vec<&'a [u8]>,
}

impl<'a> Parser<'a> {
    fn fault(&self, code: i32, rest: &[u8]) -> Fault {
        Fault { code, at: self.message.len() - rest.len() }
    }

    fn units(&mut self, units: &mut Vec<Unit>) -> Result<(), Fault> {
        if self.message.len() > self.limits.bytes {
            return Err(Fault { code: codes::INPUT_BUFFER_OVERRUN, at: self.limits.bytes });
        }
        let mut rest = skip_space(self.message);
        while !matches!(rest, [] | [b'\n']) {
            if units.len() == self.limits.units {
                return Err(self.fault(codes::TOO_MUCH_DATA, rest));
            }
            let (unit, tail) = self.unit(rest)?;
            units.push(unit);
            rest = match tail {
                [] | [b'\n'] => return Ok(()),
                [b';', next @ ..] => skip_space(next),
                // `data` ends at one of these three or fails.
                _ => return Err(self.fault(codes::SYNTAX_ERROR, tail)),
            };
        }
        Ok(())
    }

    fn unit(&mut self, start: &'a [u8]) -> Result<(Unit, &'a [u8]), Fault> {
        let (header, rest) = self.header(start)?;
        let (query, rest) = match rest {
            [b'?', rest @ ..] => (true, rest),
            _ => (false, rest),
        };
        let at = self.message.len() - start.len();
        let mut unit = Unit { header, query, parameters: Vec::new(), at };
        let mut rest = match rest.first() {
            None | Some(b';' | b'\n') => return Ok((unit, rest)),
            Some(byte) if element::is_space(*byte) => skip_space(rest),
            Some(byte) if is_odd(*byte) => return Err(self.fault(codes::INVALID_CHARACTER, rest)),
            Some(_) => return Err(self.fault(codes::HEADER_SEPARATOR_ERROR, rest)),
        };
        if matches!(rest.first(), None | Some(b';' | b'\n')) {
            return Ok((unit, rest));
        }
        loop {
            if unit.parameters.len() == self.limits.parameters {
                return Err(self.fault(codes::TOO_MUCH_DATA, rest));
            }
            let (parameter, tail) = data::parameter(rest).map_err(|(code, rest)| self.fault(code, rest))?;
            unit.parameters.push(parameter);
            rest = match tail {
                [b',', next @ ..] => skip_space(next),
                [] | [b';', ..] | [b'\n', ..] => return Ok((unit, tail)),
                _ => return Err(self.fault(codes::INVALID_SEPARATOR, tail)),
            };
        }
    }

    /// The resolved header; moves the place.
    fn header(&mut self, start: &'a [u8]) -> Result<(String, &'a [u8]), Fault> {
        if let [b'*', name @ ..] = start {
            let (name, rest) = self.mnemonic(name)?;
            return Ok((format!("*{}", capitals(name)), rest));
        }
        let mut path = match start.first() {
            Some(b':') => Vec::new(),
            _ => self.place.clone(),
        };
        let mut rest = start.strip_prefix(b":").unwrap_or(start);
        loop {
            let (name, tail) = self.mnemonic(rest)?;
            path.push(name);
            if path.len() > DEEPEST {
                return Err(self.fault(codes::COMMAND_HEADER_ERROR, rest));
            }
            match tail {
                [b':', next @ ..] => rest = next,
                _ => {
                    rest = tail;
                    break;
                }
            }
        }
        let header = path.iter().map(|name| capitals(name)).collect::<Vec<_>>().join(":");
        path.pop();
        self.place = path;
        Ok((header, rest))
    }

    fn mnemonic(&self, start: &'a [u8]) -> Result<(&'a [u8], &'a [u8]), Fault> {
        match element::mnemonic(start) {
            Ok((_, name)) if name.len() > LONGEST_MNEMONIC => Err(self.fault(codes::PROGRAM_MNEMONIC_TOO_LONG, start)),
            Ok((rest, name)) => Ok((name, rest)),
            Err(_) => Err(self.fault(
                match start.first() {
                    Some(b':') => codes::INVALID_SEPARATOR,
                    None | Some(b';' | b'\n' | b'?' | b',') => codes::SYNTAX_ERROR,
                    Some(byte) if element::is_space(*byte) => codes::SYNTAX_ERROR,
                    Some(_) => codes::INVALID_CHARACTER,
                },
                start,
            )),
        }
    }
}

/// A byte that stands nowhere in a header and starts no data.
fn is_odd(byte: u8) -> bool {
    !byte.is_ascii()
        || matches!(byte, b'!' | b'$' | b'%' | b'&' | b'@' | b'[' | b']' | b'^' | b'`' | b'{' | b'|' | b'}' | b'~' | b'\\')
}

fn skip_space(input: &[u8]) -> &[u8] {
    let end = input.iter().position(|b| !element::is_space(*b)).unwrap_or(input.len());
    &input[end..]
}

fn capitals(name: &[u8]) -> String {
    name.iter().map(|b| char::from(b.to_ascii_uppercase())).collect()
}

#[cfg(test)]
mod tests;
