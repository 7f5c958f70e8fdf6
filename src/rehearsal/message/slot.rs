//! What may stand behind a header, and taking it from the parameters of a message.

use super::order::Filled;
use crate::scpi::error_queue::codes;
use crate::scpi::program::{Numeric, Parameter};
use crate::units::Unit;

/// The last channel, whichever number it has.
pub const LAST: u32 = u32::MAX;

/// What a parameter is taken for.
#[derive(Clone, Debug, PartialEq)]
pub enum Slot {
    /// The number, or `MIN`, `MAX`, `DEF` in its place.
    First(Unit),
    /// A second number.
    Second(Unit),
    /// A second number, where it may be left out.
    SecondIfAny(Unit),
    /// `MIN`, `MAX` or `DEF` in a question; may be left out.
    Extreme,
    /// A range or a rate: a number, or a word of the dialect; may be left out where it says so.
    Choice {
        /// What a number is in; none takes no suffix.
        unit: Option<Unit>,
        /// Whether it must be there.
        needed: bool,
    },
    /// A number without a unit: a register's value.
    Bits,
    /// `ON`, `OFF` or a number.
    Flag,
    /// A channel by its number.
    Channel,
    /// A channel list, which may be left out.
    Channels,
    /// A string.
    Text,
    /// This and nothing else.
    Literal(Parameter),
}

impl Slot {
    fn may_lack(&self) -> bool {
        matches!(self, Slot::SecondIfAny(_) | Slot::Extreme | Slot::Channels | Slot::Choice { needed: false, .. })
    }

    /// Whether a parameter is for another place, since this one may be left out.
    fn passes(&self, parameter: &Parameter) -> bool {
        let is_list = matches!(parameter, Parameter::Expression(_));
        self.may_lack() && is_list != matches!(self, Slot::Channels)
    }

    fn take(&self, parameter: &Parameter, filled: &mut Filled) -> Result<(), i32> {
        match self {
            Slot::First(unit) => filled.first = Some(parameter.numeric(Some(*unit))?),
            Slot::Second(unit) | Slot::SecondIfAny(unit) => filled.second = Some(parameter.numeric(Some(*unit))?),
            Slot::Extreme => match parameter {
                Parameter::Word(_) => filled.first = Some(parameter.numeric(None)?),
                _ => return Err(codes::PARAMETER_NOT_ALLOWED),
            },
            Slot::Choice { unit, .. } => match (parameter.numeric(*unit), parameter) {
                (Ok(number), _) => filled.first = Some(number),
                (Err(codes::INVALID_CHARACTER_DATA), Parameter::Word(word)) => filled.word = Some(word.clone()),
                (Err(code), _) => return Err(code),
            },
            // IEEE 488.2 10.11, 10.34: a decimal number and nothing else.
            Slot::Bits => match parameter {
                Parameter::Number { .. } | Parameter::NonDecimal(_) => filled.first = Some(parameter.numeric(None)?),
                _ => return Err(codes::DATA_TYPE_ERROR),
            },
            Slot::Flag => filled.flag = Some(parameter.boolean()?),
            Slot::Channel => match parameter.numeric(None)? {
                Numeric::Value(number) if (0.0..1e6).contains(&number) => filled.channels = vec![number.round() as u32],
                Numeric::Minimum | Numeric::Default => filled.channels = vec![1],
                Numeric::Maximum => filled.channels = vec![LAST],
                _ => return Err(codes::DATA_OUT_OF_RANGE),
            },
            Slot::Channels => filled.channels = parameter.channels()?,
            Slot::Text => filled.word = Some(parameter.text()?.to_owned()),
            Slot::Literal(literal) => is_literal(literal, parameter)?,
        }
        Ok(())
    }
}

/// Takes all parameters.
pub fn fill(slots: &[Slot], parameters: &[Parameter], filled: &mut Filled) -> Result<(), i32> {
    let mut left = parameters.iter().peekable();
    for slot in slots {
        match left.peek() {
            None if slot.may_lack() => {}
            None => return Err(codes::MISSING_PARAMETER),
            Some(parameter) if slot.passes(parameter) => {}
            Some(parameter) => {
                slot.take(parameter, filled)?;
                left.next();
            }
        }
    }
    match left.next() {
        // Of a kind that the place which was left out does not take.
        Some(odd) if parameters.len() <= slots.len() && slots.last() == Some(&Slot::Channels) => {
            Err(odd.channels().err().unwrap_or(codes::PARAMETER_NOT_ALLOWED))
        }
        Some(_) => Err(codes::PARAMETER_NOT_ALLOWED),
        None => Ok(()),
    }
}

/// A literal that is a Boolean is met by every spelling of it.
fn is_literal(literal: &Parameter, parameter: &Parameter) -> Result<(), i32> {
    let same = match (literal, literal.boolean()) {
        (Parameter::Expression(_), _) => literal.channels()? == parameter.channels()?,
        (_, Ok(wanted)) => parameter.boolean()? == wanted,
        _ => literal == parameter,
    };
    if same { Ok(()) } else { Err(codes::ILLEGAL_PARAMETER_VALUE) }
}
