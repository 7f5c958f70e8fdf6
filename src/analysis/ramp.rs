//! A ramp: current over voltage.

use super::Level;
use crate::units::{Amperes, Volts};

/// One step of a ramp.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Voltage at the supply.
    pub voltage: Option<Volts>,
    /// Current.
    pub current: Level,
    /// Whether the supply was limiting; `None` where it cannot be told.
    pub limiting: Option<bool>,
}

/// What a ramp says.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Where current can first be told from zero, for good.
    pub first_current: Option<Volts>,
    /// Largest current, and the voltage there.
    pub most: Option<(Amperes, Volts)>,
    /// Where the supply first limited.
    pub limited_at: Option<Volts>,
    /// Largest rise of the current between neighbouring steps: where, from, to.
    pub jump: Option<(Volts, Amperes, Amperes)>,
    /// Steps without any reading of the current.
    pub missing: usize,
}

/// Sums up a ramp in its order.
pub fn summarise(steps: &[Step]) -> Summary {
    let mut made = Summary { first_current: None, most: None, limited_at: None, jump: None, missing: 0 };
    let mut before: Option<Amperes> = None;
    for step in steps {
        if step.limiting == Some(true) && made.limited_at.is_none() {
            made.limited_at = step.voltage;
        }
        let now = match step.current {
            Level::Known { value, .. } => value,
            // For the size of a jump, what is below the floor counts as nothing.
            Level::BelowFloor { .. } => Amperes(0.0),
            Level::Overload => continue,
            Level::Missing => {
                made.missing += 1;
                continue;
            }
        };
        if matches!(step.current, Level::BelowFloor { .. }) {
            made.first_current = None;
        } else if made.first_current.is_none() {
            made.first_current = step.voltage;
        }
        if let Some(voltage) = step.voltage {
            if made.most.is_none_or(|(most, _)| now > most) && matches!(step.current, Level::Known { .. }) {
                made.most = Some((now, voltage));
            }
            if let Some(before) = before
                && made.jump.is_none_or(|(_, from, to)| now - before > to - from)
                && now > before
            {
                made.jump = Some((voltage, before, now));
            }
        }
        before = Some(now);
    }
    made
}
