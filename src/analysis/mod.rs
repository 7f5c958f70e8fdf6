//! From numbers to findings. Pure: slices in, values out; no files, no clock.
//!
//! Every formula stands with its source. What is not known goes in as
//! [`Level`], not as a number, and comes out as "not known".

pub mod absorption;
pub mod battery;
pub mod burden;
pub mod changes;
pub mod compare;
pub mod dependence;
pub mod energy;
pub mod finding;
pub mod inspection;
pub mod known_load;
pub mod leakage;
pub mod logic;
pub mod marks;
pub mod node;
pub mod numeric;
pub mod proportion;
pub mod ramp;
pub mod rank;
pub mod rejection;
pub mod sampling;
pub mod sequential;
pub mod series;
pub mod shock;
pub mod signature;
pub mod start;
pub mod starts;
pub mod states;
#[cfg(test)]
mod tests;
pub mod uncertainty;
pub mod working;

use crate::units::Amperes;

/// What is known of a current at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Level {
    /// A value with its standard uncertainty.
    Known {
        /// The value.
        value: Amperes,
        /// Its standard uncertainty.
        u: Amperes,
    },
    /// It cannot be told from zero: its magnitude is below the floor.
    BelowFloor {
        /// The floor.
        floor: Amperes,
    },
    /// It is beyond the instrument's range.
    Overload,
    /// Nothing is known.
    Missing,
}

impl Level {
    /// The value, where there is one.
    pub fn value(self) -> Option<Amperes> {
        match self {
            Level::Known { value, .. } => Some(value),
            _ => None,
        }
    }
}

impl std::fmt::Display for Level {
    /// With its expanded uncertainty (k = 2), or in words.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Level::Known { value, u } => {
                f.write_str(&crate::units::with_uncertainty(value.0, 2.0 * u.0, crate::units::Unit::Ampere))
            }
            Level::BelowFloor { floor } => write!(f, "below {floor}, not distinguishable from zero with this instrument"),
            Level::Overload => f.write_str("beyond the instrument's range"),
            Level::Missing => f.write_str("no reading"),
        }
    }
}
