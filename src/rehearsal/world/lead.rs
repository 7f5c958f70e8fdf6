//! The lead to the unit, with the meter's shunt and its fuse in it.

use super::wiring::OPEN;
use crate::rehearsal::circuit::Device;

/// A fast fuse melts at this multiple of its rating within the time below: IEC 60127-2,
/// sheet 1 (type F), has 2.75 times the rating for 10 ms to 1.5 s below 4 A; from memory.
const MELTS: (f64, f64) = (2.75, 50e-3);

/// A lead. Terminals: the supply's, the unit's.
#[derive(Debug)]
pub struct Lead {
    ohms: f64,
    /// Rating of the fuse, where the range has one.
    fuse: Option<f64>,
    /// The ratings of fuses that have melted.
    melted: Vec<f64>,
    melts_at: f64,
}

impl Lead {
    /// With fuses that have melted before.
    pub fn new(melted: Vec<f64>) -> Self {
        Self { ohms: 1.0, fuse: None, melted, melts_at: f64::INFINITY }
    }

    /// Another resistance and fuse are in it.
    pub fn set(&mut self, ohms: f64, fuse: Option<f64>) {
        (self.ohms, self.fuse, self.melts_at) = (ohms, fuse, f64::INFINITY);
    }

    /// The fuse that is in it melts.
    pub fn melt(&mut self) {
        self.melted.extend(self.fuse);
        self.melts_at = f64::INFINITY;
    }

    /// The ratings of fuses that have melted.
    pub fn melted(&self) -> &[f64] {
        &self.melted
    }

    fn resistance(&self) -> f64 {
        if self.fuse.is_some_and(|fuse| self.melted.contains(&fuse)) { OPEN.0 } else { self.ohms }
    }

    /// How far the current is beyond what the fuse stands, in amperes.
    fn beyond(&self, volts: &[f64]) -> f64 {
        match (self.fuse, volts) {
            (Some(fuse), &[a, b]) => ((a - b) / self.resistance()).abs() - MELTS.0 * fuse,
            _ => f64::NEG_INFINITY,
        }
    }
}

impl Device for Lead {
    fn currents(&self, _: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]) {
        let &[a, b] = volts else { return };
        let slope = 1.0 / self.resistance();
        if let ([near, far], [aa, ab, ba, bb]) = (currents, slopes) {
            (*near, *far) = (slope * (a - b), slope * (b - a));
            (*aa, *ab, *ba, *bb) = (slope, -slope, -slope, slope);
        }
    }

    fn urge(&self, _: f64, volts: &[f64]) -> f64 {
        let beyond = self.beyond(volts);
        // It cools down at once where the current falls in time: a fuse of no mass.
        if self.melts_at.is_finite() { -beyond } else { beyond }
    }

    fn next_moment(&self) -> f64 {
        self.melts_at
    }

    fn change(&mut self, time: f64, volts: &[f64]) {
        if self.melts_at <= time {
            self.melt();
        } else if self.beyond(volts) > 0.0 {
            self.melts_at = time + MELTS.1;
        } else {
            self.melts_at = f64::INFINITY;
        }
    }
}
