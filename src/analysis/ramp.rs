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
    /// Largest rise of the current between neighbouring steps, of those in which it
    /// more than doubles what a resistor would draw.
    pub jump: Option<Jump>,
    /// Steps without any reading of the current.
    pub missing: usize,
}

/// A rise of the current from one step to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// The voltage that was gone to.
    pub at: Volts,
    /// The current before; `None`: it could not be told from zero.
    pub from: Option<Amperes>,
    /// The current after.
    pub to: Amperes,
}

impl Jump {
    fn size(&self) -> Amperes {
        self.to - self.from.unwrap_or_default()
    }
}

/// Sums up a ramp in its order.
pub fn summarise(steps: &[Step]) -> Summary {
    let mut made = Summary { first_current: None, most: None, limited_at: None, jump: None, missing: 0 };
    let mut before: Option<(Volts, Level)> = None;
    for step in steps {
        if step.limiting == Some(true) && made.limited_at.is_none() {
            made.limited_at = step.voltage;
        }
        let now = match step.current {
            Level::Known { value, .. } => value,
            // For the size of a jump, what is below the floor counts as nothing.
            Level::BelowFloor { .. } => Amperes(0.0),
            Level::Overload | Level::Missing => {
                made.missing += usize::from(matches!(step.current, Level::Missing));
                before = None;
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
            if let Some((volts, level)) = before {
                let jump = Jump { at: voltage, from: level.value(), to: now };
                let resistor = jump.from.map_or(0.0, |from| from.0 * (voltage.0 / volts.0));
                let larger = made.jump.is_none_or(|largest| jump.size() > largest.size());
                if now.0 > 2.0 * resistor && larger {
                    made.jump = Some(jump);
                }
            }
        }
        // From zero volts every current comes up; a jump starts from a voltage.
        before = step.voltage.filter(|v| v.0 > 0.0).map(|v| (v, step.current));
    }
    made
}
