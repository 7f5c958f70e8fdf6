//! What a part's leakage does to the node that it stands at: a resistor from a
//! rail to the node, the part from the node to ground, a logic input listening.

use super::logic::{Reads, Thresholds};
use crate::units::{Amperes, Ohms, Volts};

/// A node.
#[derive(Clone, Copy, Debug)]
pub struct Node {
    /// The rail.
    pub rail: Volts,
    /// From the rail to the node.
    pub resistor: Ohms,
    /// The input's levels.
    pub thresholds: Thresholds,
}

/// What the leakage does there.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// Where the node comes to rest.
    pub level: Volts,
    /// The leakage at that level.
    pub leakage: Amperes,
    /// What the input makes of it.
    pub reads: Reads,
    /// Whether the level lies between voltages at which the leakage was measured.
    pub within_measured: bool,
}

impl Node {
    /// The level at a given leakage: V = rail - I R, not below ground.
    pub fn level(&self, leakage: Amperes) -> Volts {
        (self.rail - leakage * self.resistor).max(Volts(0.0))
    }

    /// The leakage from which on the input is no longer certainly high:
    /// I = (rail - VIH) / R.
    pub fn undefined_from(&self) -> Amperes {
        (self.rail - self.thresholds.high).max(Volts(0.0)) / self.resistor
    }

    /// The leakage from which on the input is certainly low: I = (rail - VIL) / R.
    pub fn low_from(&self) -> Amperes {
        (self.rail - self.thresholds.low).max(Volts(0.0)) / self.resistor
    }

    /// Where the node rests when the leakage depends on its voltage: the level at
    /// which what the resistor gives and what the part takes are the same. Between
    /// the measured voltages ln I is interpolated linearly over V; below the lowest
    /// the part counts as a resistor, above the highest the last slope goes on, and
    /// [`Effect::within_measured`] says so. `measured` in rising order of voltage,
    /// every current above zero. `None` without any.
    pub fn settle(&self, measured: &[(Volts, Amperes)]) -> Option<Effect> {
        let (first, last) = (measured.first()?, measured.last()?);
        let (mut low, mut high) = (0.0_f64, self.rail.0);
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            let given = (self.rail.0 - middle) / self.resistor.0;
            if given > leakage_at(measured, middle) { low = middle } else { high = middle }
        }
        let level = Volts(0.5 * (low + high));
        Some(Effect {
            level,
            leakage: Amperes((self.rail.0 - level.0) / self.resistor.0),
            reads: self.thresholds.read(level),
            within_measured: level >= first.0 && level <= last.0,
        })
    }
}

fn leakage_at(measured: &[(Volts, Amperes)], voltage: f64) -> f64 {
    let Some((first, first_current)) = measured.first() else { return 0.0 };
    if voltage <= first.0 || measured.len() < 2 {
        return first_current.0 * voltage / first.0;
    }
    let index = measured.partition_point(|(v, _)| v.0 < voltage).clamp(1, measured.len() - 1);
    let (Some(a), Some(b)) = (measured.get(index - 1), measured.get(index)) else { return first_current.0 };
    let share = (voltage - a.0.0) / (b.0.0 - a.0.0);
    (a.1.0.ln() + share * (b.1.0.ln() - a.1.0.ln())).exp()
}
