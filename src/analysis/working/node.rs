//! At which leakage a node's level breaks: what is asked, from what a person names.

use super::{Refusal, Working, not_negative, positive};
use crate::analysis::node::{Leak, Question, Towards, what_if};
use crate::units::{Amperes, Ohms, Ratio, Volts};

/// A node as a person describes it.
#[derive(Clone, Debug, PartialEq)]
pub struct Described {
    /// The rail.
    pub rail: Volts,
    /// From the rail to the node.
    pub up: Option<Ohms>,
    /// From the node to ground.
    pub down: Option<Ohms>,
    /// Tolerance of the resistors.
    pub tolerance: Ratio,
    /// Where the part lies.
    pub part: Towards,
    /// The logic family.
    pub family: String,
    /// A leakage to be tried: least, largest, and the voltage that they were measured
    /// at; without it they are the same at every voltage.
    pub leakage: Option<(Amperes, Amperes, Option<Volts>)>,
    /// How many times larger, for the temperature in use.
    pub warmer: f64,
}

/// The leakage that breaks the node's level, and what a given one does.
///
/// # Errors
/// A value that cannot be, no resistor, or a family that is not known or has no levels
/// at this rail.
pub fn node(described: &Described) -> Result<Working, Refusal> {
    let d = described;
    positive("rail", d.rail)?;
    for resistor in [d.up, d.down].into_iter().flatten() {
        positive("resistor", resistor)?;
    }
    not_negative("tolerance", d.tolerance)?;
    if d.tolerance.0 >= 0.5 {
        return Err(Refusal::new(format!("the tolerance: expected less than 50 %, found {}", d.tolerance)));
    }
    if !(d.warmer > 0.0 && d.warmer.is_finite()) {
        return Err(Refusal::new(format!("the factor for the temperature: expected more than 0, found {}", d.warmer)));
    }
    let mut question =
        Question::new(d.rail, d.up, d.down, d.part, &d.family).map_err(Refusal::new)?.within(d.tolerance).warmer(d.warmer);
    if let Some((low, high, at)) = d.leakage {
        not_negative("leakage", low)?;
        if high < low {
            return Err(Refusal::new(format!("the largest leakage: expected {low}, the least, or more, found {high}")));
        }
        question = question.with(match at {
            None => Leak::Constant { low, high },
            Some(at) => Leak::Ohmic { low, high, at: positive("voltage of the leakage", at)? },
        });
    }
    let mut working = what_if(&question).working;
    if d.leakage.is_some_and(|(_, _, at)| at.is_none()) {
        working = working.caution("The leakage is taken the same at every voltage. A part leaks less at less voltage: name the voltage that it was measured at.");
    }
    working
        .caution("The levels are guaranteed ones: a given input may still read a level between them as one or the other, today.")
        .checked()
}
