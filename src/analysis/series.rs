//! A log of a current: what it was on average, how far it strayed, what it summed
//! up to. Gaps are counted and stated, never bridged.

pub mod average;
pub mod story;
#[cfg(test)]
mod tests;
pub mod trend;

use super::Level;
use super::numeric::sums;
use crate::units::{Amperes, Coulombs, Seconds};

/// One moment of a log.
#[derive(Clone, Copy, Debug)]
pub struct Point {
    /// When.
    pub at: Seconds,
    /// How much.
    pub current: Level,
}

/// What a log says.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Readings with a value.
    pub values: usize,
    /// Readings below the floor.
    pub below_floor: usize,
    /// Readings beyond the range.
    pub overload: usize,
    /// No reading.
    pub missing: usize,
    /// Mean of the values.
    pub mean: Option<Amperes>,
    /// Standard deviation of the values.
    pub deviation: Option<Amperes>,
    /// Least value and when.
    pub least: Option<(Amperes, Seconds)>,
    /// Largest value and when.
    pub most: Option<(Amperes, Seconds)>,
    /// Mean standard uncertainty of the values: what averaging does not remove.
    pub u: Option<Amperes>,
    /// Charge over the spans between neighbouring values (trapezoid).
    pub charge: Coulombs,
    /// Total of those spans.
    pub covered: Seconds,
}

/// Sums up a log in order of time.
pub fn summarise(points: &[Point]) -> Summary {
    let known: Vec<(Seconds, Amperes, Amperes)> = points
        .iter()
        .filter_map(|p| match p.current {
            Level::Known { value, u } => Some((p.at, value, u)),
            _ => None,
        })
        .collect();
    let values: Vec<f64> = known.iter().map(|(_, v, _)| v.0).collect();
    let count = |want: fn(&Level) -> bool| points.iter().filter(|p| want(&p.current)).count();
    let mut charge = Coulombs(0.0);
    let mut covered = Seconds(0.0);
    for pair in points.windows(2) {
        if let [a, b] = pair
            && let (Level::Known { value: before, .. }, Level::Known { value: after, .. }) = (a.current, b.current)
        {
            let span = b.at - a.at;
            charge = charge + (before + after) / 2.0 * span;
            covered = covered + span;
        }
    }
    type Known = (Seconds, Amperes, Amperes);
    let extreme =
        |pick: fn(&Known, &Known) -> std::cmp::Ordering| known.iter().copied().min_by(pick).map(|(at, value, _)| (value, at));
    let moments = mean_and_deviation(&values);
    Summary {
        values: values.len(),
        below_floor: count(|l| matches!(l, Level::BelowFloor { .. })),
        overload: count(|l| matches!(l, Level::Overload)),
        missing: count(|l| matches!(l, Level::Missing)),
        mean: moments.map(|(mean, _)| Amperes(mean)),
        deviation: moments.and_then(|(_, sd)| sd).map(Amperes),
        least: extreme(|a, b| a.1.0.total_cmp(&b.1.0)),
        most: extreme(|a, b| b.1.0.total_cmp(&a.1.0)),
        u: (!known.is_empty()).then(|| Amperes(known.iter().map(|(_, _, u)| u.0).sum::<f64>() / known.len() as f64)),
        charge,
        covered,
    }
}

/// Mean and sample standard deviation; no deviation of a single value.
pub fn mean_and_deviation(values: &[f64]) -> Option<(f64, Option<f64>)> {
    Some((sums::mean(values)?, sums::deviation(values)))
}

/// How many values lie outside a band by more than their expanded uncertainty.
pub fn outside(points: &[Point], band: (Amperes, Amperes)) -> usize {
    points
        .iter()
        .filter(|p| match p.current {
            Level::Known { value, u } => value.0 + 2.0 * u.0 < band.0.0 || value.0 - 2.0 * u.0 > band.1.0,
            Level::BelowFloor { floor } => floor < band.0,
            Level::Overload => true,
            Level::Missing => false,
        })
        .count()
}
