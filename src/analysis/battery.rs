//! How long a battery lasts at a duty of currents and times.

use crate::units::{AmpereHours, Amperes, Coulombs, Ratio, Seconds};

/// A current for a time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Phase {
    /// What is drawn.
    pub current: Amperes,
    /// For how long.
    pub lasts: Seconds,
}

impl Phase {
    /// Q = I t.
    pub fn charge(self) -> Coulombs {
        self.current * self.lasts
    }
}

/// Mean current of a duty, sum of I t over sum of t. `None` where it lasts no time.
pub fn mean(duty: &[Phase]) -> Option<Amperes> {
    let charge: f64 = duty.iter().map(|p| p.charge().0).sum();
    let time: f64 = duty.iter().map(|p| p.lasts.0).sum();
    (time > 0.0).then(|| Amperes(charge / time))
}

/// Seconds in a year of 365.25 days.
const YEAR: f64 = 365.25 * 86_400.0;

/// The current that a loss of `share` of the capacity in a year amounts to.
pub fn self_discharge(capacity: AmpereHours, share: Ratio) -> Amperes {
    Amperes(capacity.0 * 3600.0 * share.0 / YEAR)
}

/// t = capacity / current.
pub fn life(capacity: AmpereHours, mean: Amperes) -> Seconds {
    Seconds(capacity.0 * 3600.0 / mean.0)
}

/// Cells whose capacity by drain has been published.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cell {
    /// AA (LR6), alkaline, to 0.8 V at 21 degC.
    AaAlkaline,
}

/// Drain and capacity of an AA alkaline cell to 0.8 V at 21 degC, read from a maker's
/// curve. Two readings of it differ by up to 14 % between the ends; these are the lower.
const AA_ALKALINE: [(f64, f64); 4] = [(0.025, 3.0), (0.1, 2.45), (0.5, 1.375), (1.0, 1.0)];

impl Cell {
    /// Where its capacities come from.
    pub fn source(self) -> &'static str {
        match self {
            Cell::AaAlkaline => "maker's curve of an AA alkaline cell, to 0.8 V at 21 degC, read from the graph",
        }
    }

    /// Its capacity at a constant drain: between the published points linear over
    /// the drain's logarithm. Below the first point the capacity is the first's;
    /// `None` above the last.
    pub fn capacity_at(self, drain: Amperes) -> Option<AmpereHours> {
        let Cell::AaAlkaline = self;
        let mut rows = AA_ALKALINE.windows(2);
        if drain.0 <= AA_ALKALINE[0].0 {
            return Some(AmpereHours(AA_ALKALINE[0].1));
        }
        rows.find_map(|pair| match pair {
            [(low, most), (high, least)] if drain.0 <= *high => {
                let share = (drain.0 / low).ln() / (high / low).ln();
                Some(AmpereHours(most + share * (least - most)))
            }
            _ => None,
        })
    }

    /// The heaviest drain with a published capacity.
    pub fn heaviest(self) -> Amperes {
        let Cell::AaAlkaline = self;
        Amperes(AA_ALKALINE[AA_ALKALINE.len() - 1].0)
    }
}
