//! A parameter, and what a header may take it for.
//!
//! Each conversion refuses with the code that the standard has for it: -1x8
//! for data of a kind that is not allowed, -131 for a suffix that is none.
//! Leaves to others: ranges (-222) and lists of accepted values (-224).

use super::suffix;
use crate::scpi::error_queue::codes;
use crate::scpi::header::Mnemonic;
use crate::units::Unit;

/// The most channels that a list may name; a range is not expanded beyond it.
const MOST_CHANNELS: usize = 1024;

/// One parameter of a program message unit, not yet taken for anything.
#[derive(Clone, Debug, PartialEq)]
pub enum Parameter {
    /// A decimal number (finite) with the suffix that followed it, in capitals.
    Number {
        /// The number without its suffix.
        value: f64,
        /// `MV`, `A`, ...
        suffix: Option<String>,
    },
    /// `#H`, `#Q` or `#B`.
    NonDecimal(u64),
    /// Character data in capitals: `MAX`, `ON`, `BUS`.
    Word(String),
    /// A string without its quotes.
    Text(String),
    /// A block's bytes.
    Block(Vec<u8>),
    /// An expression without its parentheses: `@1,3:5`.
    Expression(String),
}

/// A SCPI numeric value (SCPI-99 volume 1, 7.2.1): a number or a word in place of one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Numeric {
    /// In the unit's base: volts, amperes, seconds.
    Value(f64),
    /// `MINimum`
    Minimum,
    /// `MAXimum`
    Maximum,
    /// `DEFault`
    Default,
    /// `UP`
    Up,
    /// `DOWN`
    Down,
    /// `INFinity`
    Infinity,
    /// `NINFinity`
    NegativeInfinity,
    /// `NAN`
    NotANumber,
}

impl Parameter {
    /// A number in `unit` (bare, or with a suffix of it), or one of the words. `None`
    /// takes no suffix.
    ///
    /// # Errors
    /// -131 or -138 for the suffix, -141 for another word, -222 beyond 64 bits, -158, -168, -178 for
    /// other kinds of data.
    pub fn numeric(&self, unit: Option<Unit>) -> Result<Numeric, i32> {
        match self {
            Parameter::Number { value, suffix: None } => Ok(Numeric::Value(*value)),
            Parameter::Number { value, suffix: Some(suffix) } => {
                let unit = unit.ok_or(codes::SUFFIX_NOT_ALLOWED)?;
                let power = suffix::power(suffix, unit).ok_or(codes::INVALID_SUFFIX)?;
                let scaled = suffix::scaled(*value, power);
                if scaled.is_finite() { Ok(Numeric::Value(scaled)) } else { Err(codes::DATA_OUT_OF_RANGE) }
            }
            Parameter::NonDecimal(value) => Ok(Numeric::Value(*value as f64)),
            Parameter::Word(word) => special(word).ok_or(codes::INVALID_CHARACTER_DATA),
            other => Err(other.not_allowed()),
        }
    }

    /// `ON`, `OFF` or a number, which means on unless it rounds to zero (SCPI-99 7.3).
    ///
    /// # Errors
    /// -138 for a suffix, -141 for another word, -158, -168, -178 for other kinds of data.
    pub fn boolean(&self) -> Result<bool, i32> {
        match self {
            Parameter::Number { value, suffix: None } => Ok(value.round() != 0.0),
            Parameter::Number { .. } => Err(codes::SUFFIX_NOT_ALLOWED),
            Parameter::NonDecimal(value) => Ok(*value != 0),
            Parameter::Word(word) if word.eq_ignore_ascii_case("ON") => Ok(true),
            Parameter::Word(word) if word.eq_ignore_ascii_case("OFF") => Ok(false),
            Parameter::Word(_) => Err(codes::INVALID_CHARACTER_DATA),
            other => Err(other.not_allowed()),
        }
    }

    /// Which of `choices` the word is, by its long or its short form.
    ///
    /// # Errors
    /// -141 for another word, -128, -158, -168, -178 for other kinds of data.
    pub fn choice(&self, choices: &[Mnemonic]) -> Result<usize, i32> {
        match self {
            Parameter::Word(word) => choices.iter().position(|choice| choice.matches(word)).ok_or(codes::INVALID_CHARACTER_DATA),
            other => Err(other.not_allowed()),
        }
    }

    /// The string.
    ///
    /// # Errors
    /// -128, -148, -168, -178 for other kinds of data.
    pub fn text(&self) -> Result<&str, i32> {
        match self {
            Parameter::Text(text) => Ok(text),
            other => Err(other.not_allowed()),
        }
    }

    /// The block's bytes.
    ///
    /// # Errors
    /// -128, -148, -158, -178 for other kinds of data.
    pub fn block(&self) -> Result<&[u8], i32> {
        match self {
            Parameter::Block(bytes) => Ok(bytes),
            other => Err(other.not_allowed()),
        }
    }

    /// The channels of a list, in its order: `(@1,3:5)` is 1, 3, 4, 5 and `(@5:3)` is 5, 4,
    /// 3 (SCPI-99 volume 1, 8.3.2; one dimension only).
    ///
    /// # Errors
    /// -171 for an expression that is no such list, -223 for more than 1024 channels, -128,
    /// -148, -158, -168 for other kinds of data.
    pub fn channels(&self) -> Result<Vec<u32>, i32> {
        let Parameter::Expression(text) = self else { return Err(self.not_allowed()) };
        let list = text.trim().strip_prefix('@').ok_or(codes::INVALID_EXPRESSION)?.trim();
        let mut channels = Vec::new();
        if list.is_empty() {
            return Ok(channels);
        }
        for part in list.split(',') {
            let (from, to) = part.split_once(':').unwrap_or((part, part));
            let (from, to) = (channel(from)?, channel(to)?);
            if channels.len() + from.abs_diff(to) as usize + 1 > MOST_CHANNELS {
                return Err(codes::TOO_MUCH_DATA);
            }
            if from <= to {
                channels.extend(from..=to);
            } else {
                channels.extend((to..=from).rev());
            }
        }
        Ok(channels)
    }

    /// The code for data of this kind where another is due.
    fn not_allowed(&self) -> i32 {
        match self {
            Parameter::Number { .. } | Parameter::NonDecimal(_) => codes::NUMERIC_DATA_NOT_ALLOWED,
            Parameter::Word(_) => codes::CHARACTER_DATA_NOT_ALLOWED,
            Parameter::Text(_) => codes::STRING_DATA_NOT_ALLOWED,
            Parameter::Block(_) => codes::BLOCK_DATA_NOT_ALLOWED,
            Parameter::Expression(_) => codes::EXPRESSION_DATA_NOT_ALLOWED,
        }
    }
}

fn channel(text: &str) -> Result<u32, i32> {
    let text = text.trim();
    let digits = !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    digits.then(|| text.parse().ok()).flatten().ok_or(codes::INVALID_EXPRESSION)
}

/// Both forms of each word stand here, since a pattern would have to be compiled (SCPI-99 7.2.1).
fn special(word: &str) -> Option<Numeric> {
    Some(match word {
        "MIN" | "MINIMUM" => Numeric::Minimum,
        "MAX" | "MAXIMUM" => Numeric::Maximum,
        "DEF" | "DEFAULT" => Numeric::Default,
        "UP" => Numeric::Up,
        "DOWN" => Numeric::Down,
        "INF" | "INFINITY" => Numeric::Infinity,
        "NINF" | "NINFINITY" => Numeric::NegativeInfinity,
        "NAN" => Numeric::NotANumber,
        _ => return None,
    })
}
