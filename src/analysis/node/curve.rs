//! What is known of a leakage, and what follows from it for any voltage.

use crate::units::{Amperes, Volts};

/// A leakage measured at a voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// Across the part.
    pub volts: Volts,
    /// The leakage, above zero.
    pub current: Amperes,
    /// Its expanded uncertainty (k = 2); zero where none is known.
    pub expanded: Amperes,
}

/// A leakage.
#[derive(Clone, Debug, PartialEq)]
pub enum Leak {
    /// The same at every voltage, between two limits.
    Constant {
        /// Least.
        low: Amperes,
        /// Largest.
        high: Amperes,
    },
    /// Known at one voltage, in proportion to the voltage elsewhere: a resistor.
    Ohmic {
        /// Least, at that voltage.
        low: Amperes,
        /// Largest.
        high: Amperes,
        /// The voltage.
        at: Volts,
    },
    /// Measured over voltage, in rising order. Between the voltages ln I goes in a
    /// straight line over V; below the lowest the part counts as a resistor, above the
    /// highest the last slope goes on.
    Curve(Vec<Measured>),
}

/// Which end of what is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Limit {
    Nominal,
    Low,
    High,
}

impl Leak {
    /// At a voltage across the part; `None` of an empty curve.
    pub(super) fn at(&self, volts: Volts, limit: Limit) -> Option<Amperes> {
        let pick = |low: Amperes, high: Amperes| match limit {
            Limit::Nominal => (low + high) / 2.0,
            Limit::Low => low,
            Limit::High => high,
        };
        match self {
            Leak::Constant { low, high } => Some(pick(*low, *high)),
            Leak::Ohmic { low, high, at } => Some(pick(*low, *high) * (volts.0.max(0.0) / at.0)),
            Leak::Curve(points) => {
                let of = |m: &Measured| match limit {
                    Limit::Nominal => m.current.0,
                    // A curve in the logarithm needs something above zero.
                    Limit::Low => (m.current.0 - m.expanded.0).max(m.current.0 * 1e-3),
                    Limit::High => m.current.0 + m.expanded.0,
                };
                interpolated(points, volts.0.max(0.0), of).map(Amperes)
            }
        }
    }

    /// Whether it was measured around this voltage.
    pub(super) fn covers(&self, volts: Volts) -> bool {
        match self {
            Leak::Constant { .. } => true,
            Leak::Ohmic { at, .. } => volts <= *at,
            Leak::Curve(points) => {
                points.first().is_some_and(|m| m.volts <= volts) && points.last().is_some_and(|m| volts <= m.volts)
            }
        }
    }

    /// The same, so many times larger: hotter, for instance.
    #[must_use]
    pub fn times(&self, factor: f64) -> Self {
        match self {
            Leak::Constant { low, high } => Leak::Constant { low: *low * factor, high: *high * factor },
            Leak::Ohmic { low, high, at } => Leak::Ohmic { low: *low * factor, high: *high * factor, at: *at },
            Leak::Curve(points) => Leak::Curve(
                points
                    .iter()
                    .map(|m| Measured { volts: m.volts, current: m.current * factor, expanded: m.expanded * factor })
                    .collect(),
            ),
        }
    }
}

fn interpolated(points: &[Measured], voltage: f64, of: impl Fn(&Measured) -> f64) -> Option<f64> {
    let first = points.first()?;
    if voltage <= first.volts.0 || points.len() < 2 {
        return Some(of(first) * voltage / first.volts.0);
    }
    let index = points.partition_point(|m| m.volts.0 < voltage).clamp(1, points.len() - 1);
    let (a, b) = (points.get(index - 1)?, points.get(index)?);
    let span = b.volts.0 - a.volts.0;
    if span <= 0.0 {
        return Some(of(b));
    }
    let share = (voltage - a.volts.0) / span;
    Some((of(a).ln() + share * (of(b).ln() - of(a).ln())).exp())
}
