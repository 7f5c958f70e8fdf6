//! What a part's leakage does to the node that it stands at: resistors from a rail
//! and to ground hold the node, the part lies from it to ground or to the rail, and
//! a logic input listens.
//!
//! All of it is Kirchhoff's current law at one node: what the resistors give at a
//! level is what the part takes. [`working::what_if`] shows the steps.

mod curve;
pub mod working;

pub use curve::{Leak, Measured};
pub use working::{Question, Told, Tried, WhatIf, levels, what_if, word};

use super::logic::{Reads, Thresholds};
use crate::units::{Amperes, Ohms, Ratio, Volts};

/// Where the part lies, from the node.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Towards {
    /// From the node to ground: its leakage pulls the node down.
    Ground,
    /// From the rail to the node: its leakage pulls the node up.
    Rail,
}

/// A node. One of the two resistors at least.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Node {
    /// The rail; the input is supplied by it too.
    pub rail: Volts,
    /// Resistor from the rail to the node.
    pub up: Option<Ohms>,
    /// Resistor from the node to ground.
    pub down: Option<Ohms>,
    /// Tolerance of the resistors: each may be off by so much, either way.
    pub tolerance: Ratio,
    /// Where the part lies.
    pub part: Towards,
    /// The input's levels.
    pub thresholds: Thresholds,
}

/// A value and the limits between which it lies in the worst case.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Between<Q> {
    /// With everything at its nominal value.
    pub nominal: Q,
    /// Least.
    pub low: Q,
    /// Largest.
    pub high: Q,
}

/// What the leakage does there.
#[derive(Clone, Debug, PartialEq)]
pub struct Effect {
    /// Where the node comes to rest; its limits with the leakage's limits and the
    /// resistors' tolerance at their worst together.
    pub level: Between<Volts>,
    /// The leakage at that level.
    pub leakage: Amperes,
    /// What the input makes of it.
    pub reads: Reads,
    /// What it makes of the lowest and of the highest level.
    pub worst: (Reads, Reads),
    /// Whether the part's voltage lies between those at which the leakage was measured.
    pub within_measured: bool,
}

impl Effect {
    /// Whether the input reads the same over the whole interval.
    pub fn is_certain(&self) -> bool {
        self.worst == (self.reads, self.reads)
    }
}

impl Node {
    /// A resistor from the rail to the node and the part from the node to ground.
    pub fn pulled_up(rail: Volts, resistor: Ohms, thresholds: Thresholds) -> Self {
        Self { rail, up: Some(resistor), down: None, tolerance: Ratio(0.0), part: Towards::Ground, thresholds }
    }

    /// A resistor from the node to ground and the part from the rail to the node.
    pub fn pulled_down(rail: Volts, resistor: Ohms, thresholds: Thresholds) -> Self {
        Self { rail, up: None, down: Some(resistor), tolerance: Ratio(0.0), part: Towards::Rail, thresholds }
    }

    /// With resistors of a tolerance.
    #[must_use]
    pub fn within(mut self, tolerance: Ratio) -> Self {
        self.tolerance = tolerance;
        self
    }

    /// Conductances of the two resistors; a factor for each resistance.
    fn conductances(&self, up: f64, down: f64) -> (f64, f64) {
        let of = |r: Option<Ohms>, factor: f64| r.map_or(0.0, |r| 1.0 / (r.0 * factor));
        (of(self.up, up), of(self.down, down))
    }

    /// The four corners of the tolerance, and the nominal values before them.
    fn corners(&self) -> [(f64, f64); 5] {
        let t = self.tolerance.0.abs().min(0.99);
        let of = |a: f64, b: f64| self.conductances(1.0 + a * t, 1.0 + b * t);
        [of(0.0, 0.0), of(-1.0, -1.0), of(-1.0, 1.0), of(1.0, -1.0), of(1.0, 1.0)]
    }

    /// The current that the part takes, when the node stands at `level`: what comes
    /// through one resistor and does not leave through the other,
    /// (rail − V) / up − V / down for a part to ground, the opposite for one to the rail.
    fn taken(&self, (up, down): (f64, f64), level: f64) -> f64 {
        let given = (self.rail.0 - level) * up - level * down;
        match self.part {
            Towards::Ground => given,
            Towards::Rail => -given,
        }
    }

    /// The leakage that holds the node at `level`; with the tolerance.
    pub fn leakage_for(&self, level: Volts) -> Between<Amperes> {
        between(self.corners().map(|c| Amperes(self.taken(c, level.0))))
    }

    /// The voltage across the part when the node stands at `level`.
    pub fn across_part(&self, level: Volts) -> Volts {
        match self.part {
            Towards::Ground => level,
            Towards::Rail => self.rail - level,
        }
    }

    /// The level at a leakage that does not depend on it; not below ground and not
    /// above the rail.
    pub fn level(&self, leakage: Amperes) -> Volts {
        self.level_at(self.conductances(1.0, 1.0), leakage.0)
    }

    fn level_at(&self, (up, down): (f64, f64), leakage: f64) -> Volts {
        let sign = match self.part {
            Towards::Ground => -1.0,
            Towards::Rail => 1.0,
        };
        let sum = up + down;
        let level = if sum > 0.0 { (self.rail.0 * up + sign * leakage) / sum } else { 0.0 };
        Volts(level.clamp(0.0, self.rail.0.max(0.0)))
    }

    /// The level without any leakage.
    pub fn at_rest(&self) -> Between<Volts> {
        between(self.corners().map(|c| self.level_at(c, 0.0)))
    }

    /// What the input is meant to read: without leakage.
    pub fn meant(&self) -> Reads {
        self.thresholds.read(self.at_rest().nominal)
    }

    /// The border that a growing leakage meets first, and the one after it: VIH and VIL
    /// for a part to ground, VIL and VIH for one to the rail. `None` where the leakage
    /// pulls the node further to where it is meant to be, and so cannot spoil it.
    pub fn borders(&self) -> Option<(Volts, Volts)> {
        let Thresholds { low, high } = self.thresholds;
        match (self.part, self.meant()) {
            (Towards::Ground, Reads::High) => Some((high, low)),
            (Towards::Rail, Reads::Low) => Some((low, high)),
            _ => None,
        }
    }

    /// The leakage from which on the level is no longer certain; with the tolerance.
    pub fn undefined_from(&self) -> Option<Between<Amperes>> {
        Some(self.leakage_for(self.borders()?.0))
    }

    /// The leakage from which on the level is wrong for certain; with the tolerance.
    pub fn wrong_from(&self) -> Option<Between<Amperes>> {
        Some(self.leakage_for(self.borders()?.1))
    }

    /// Where the node rests with a leakage that may depend on the voltage across the
    /// part: the level at which the resistors give what the part takes. The interval
    /// puts the leakage's limits and the resistors' tolerance together at their worst.
    /// `None` where nothing of the leakage is known.
    pub fn settle(&self, leak: &Leak) -> Option<Effect> {
        let corners = self.corners();
        let rest = |c: (f64, f64), limit| self.balance(c, |v| leak.at(Volts(v), limit).map(|i| i.0));
        let nominal = rest(corners[0], curve::Limit::Nominal)?;
        let mut levels = vec![nominal];
        for corner in corners {
            levels.extend([rest(corner, curve::Limit::Low)?, rest(corner, curve::Limit::High)?]);
        }
        let low = levels.iter().copied().fold(nominal, f64::min);
        let high = levels.iter().copied().fold(nominal, f64::max);
        let level = Volts(nominal);
        Some(Effect {
            level: Between { nominal: level, low: Volts(low), high: Volts(high) },
            leakage: leak.at(self.across_part(level), curve::Limit::Nominal)?,
            reads: self.thresholds.read(level),
            worst: (self.thresholds.read(Volts(low)), self.thresholds.read(Volts(high))),
            within_measured: leak.covers(self.across_part(level)),
        })
    }

    /// Bisection on the level: what the part takes grows with the voltage across it,
    /// what the resistors leave for it falls.
    fn balance(&self, corner: (f64, f64), leakage: impl Fn(f64) -> Option<f64>) -> Option<f64> {
        let (mut low, mut high) = (0.0_f64, self.rail.0);
        for _ in 0..100 {
            let middle = 0.5 * (low + high);
            let surplus = self.taken(corner, middle) - leakage(self.across_part(Volts(middle)).0)?;
            // A part to ground pulls down: a surplus of the resistors lets the node rise.
            let rises = match self.part {
                Towards::Ground => surplus > 0.0,
                Towards::Rail => surplus < 0.0,
            };
            if rises { low = middle } else { high = middle }
        }
        Some(0.5 * (low + high))
    }
}

fn between<Q: crate::units::Quantity>(values: [Q; 5]) -> Between<Q> {
    let all = values.map(Q::value);
    Between {
        nominal: values[0],
        low: Q::of(all.into_iter().fold(f64::INFINITY, f64::min)),
        high: Q::of(all.into_iter().fold(f64::NEG_INFINITY, f64::max)),
    }
}
