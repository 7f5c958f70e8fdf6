//! States of a unit: how many distinct levels its current has, from the ends of many
//! starts or from a log.
//!
//! What lies below the instrument's floor is one state, called so. The rest is a mixture
//! of normal distributions on a scale that is linear near zero and logarithmic above the
//! floor, or on the linear one where that describes the readings better; how many
//! components it has is decided by Schwarz's information criterion (BIC), and components
//! that do not stand apart (see [`choose`]) are one level.
//!
//! How sure: of levels three spreads apart, two are told apart from some 200 readings on
//! and four from some 1000; with fewer readings the answer is rather one level too few.
//! Readings of a ripple, taken at random moments, look like two levels; a log, which
//! knows the order, is judged by its segments instead.

pub mod choose;
pub mod declared;
mod interval;
pub mod mixture;
pub mod scale;
#[cfg(test)]
mod tests;

pub use scale::Scale;

use super::Level;
use crate::units::Amperes;
use choose::{Candidate, Group};
use mixture::Weighted;

/// Confidence of the intervals.
pub const CONFIDENCE: f64 = 0.95;

/// Where a state's current lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// It cannot be told from zero with this instrument: asleep, or dead.
    BelowFloor {
        /// The floor.
        floor: Amperes,
    },
    /// Around a current.
    At {
        /// The middle of the readings.
        middle: Amperes,
        /// Interval of the middle, by the scatter of the readings.
        within: (Amperes, Amperes),
        /// Standard uncertainty of the instrument there, which no number of readings removes.
        u: Amperes,
        /// Standard deviation of the readings about it.
        spread: Amperes,
        /// Interval of the spread.
        spread_within: (Amperes, Amperes),
        /// Where the state below gives way to this one, and this one to the next.
        from: Amperes,
        /// The upper end.
        to: Amperes,
    },
}

/// A state that was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Where its current lies.
    pub place: Place,
    /// Share of all readings that have a value or lie below the floor.
    pub share: f64,
    /// Interval of the share.
    pub share_within: (f64, f64),
    /// Readings that belong to it.
    pub readings: f64,
}

/// What was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// The states, by rising current.
    pub states: Vec<State>,
    /// Readings of no state: far from all, or too few to be one.
    pub strays: f64,
    /// Readings beyond the range.
    pub overload: usize,
    /// The mixture that the states above the floor were drawn from.
    pub mixture: Option<Candidate>,
}

/// Fewer readings than this say nothing about states.
pub const LEAST: usize = 8;

/// The states of readings, each standing for itself. `None` for fewer than [`LEAST`].
pub fn find(levels: &[Level]) -> Option<Found> {
    find_weighted(&levels.iter().map(|l| (*l, 1.0)).collect::<Vec<_>>())
}

/// The states of readings that stand for so many each, as a log's segments do.
pub fn find_weighted(levels: &[(Level, f64)]) -> Option<Found> {
    let mut points = Vec::new();
    let (mut below, mut overload, mut floor, mut noise) = (0.0, 0, 0.0_f64, Vec::new());
    for (level, weight) in levels {
        match level {
            Level::Known { value, u } if value.0.is_finite() && u.0.is_finite() => {
                points.push(Weighted { at: value.0, weight: *weight, grain: 0.0 });
                noise.push(u.0);
            }
            Level::BelowFloor { floor: at } => {
                below += weight;
                floor = floor.max(at.0);
            }
            Level::Overload => overload += 1,
            Level::Known { .. } | Level::Missing => {}
        }
    }
    let above: f64 = points.iter().map(|p| p.weight).sum();
    let total = above + below;
    if total < LEAST as f64 {
        return None;
    }
    let mut states = Vec::new();
    if below > 0.0 {
        states.push(State {
            place: Place::BelowFloor { floor: Amperes(floor) },
            share: below / total,
            share_within: interval::share(below, total),
            readings: below,
        });
    }
    noise.sort_by(f64::total_cmp);
    let u = noise.get(noise.len() / 2).copied().unwrap_or(0.0);
    let largest = points.iter().map(|p| p.at.abs()).fold(0.0, f64::max);
    // Where no reading was below a floor, two standard uncertainties stand for it.
    let bend = if floor > 0.0 { floor } else { 2.0 * noise.first().copied().unwrap_or(0.0) }.max(1e-6 * largest);
    let scales: &[Scale] = if bend > 0.0 { &[Scale::Asinh { floor: bend }, Scale::Linear] } else { &[Scale::Linear] };
    let least_u = noise.first().copied().unwrap_or(0.0);
    let chosen = if above >= choose::LEAST_READINGS { choose::choose(&points, scales, least_u) } else { None };
    let mut held = 0.0;
    let mut mixture = None;
    if let Some((candidate, groups)) = chosen {
        for (index, group) in groups.iter().enumerate() {
            let readings = group.whole.share * above;
            held += readings;
            states.push(state(&candidate, &groups, index, above, total, u, &points));
        }
        mixture = Some(candidate);
    }
    Some(Found { states, strays: (above - held).max(0.0), overload, mixture })
}

fn state(candidate: &Candidate, groups: &[Group], index: usize, above: f64, total: f64, u: f64, points: &[Weighted]) -> State {
    let scale = candidate.scale;
    let Some(group) = groups.get(index) else { unreachable!("the index is that of a group") };
    let whole = group.whole;
    let spans = interval::of(candidate, group, above, points);
    let middle = scale.value(whole.mean);
    let slope = scale.slope(middle);
    let edge = |other: Option<&Group>, outer: f64| other.map_or(outer, |o| scale.value(choose::boundary(&whole, &o.whole)));
    let ends = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.at), h.max(p.at)));
    let share = whole.share * above / total;
    let low = spans.share.0 * above / total;
    let high = spans.share.1 * above / total;
    State {
        place: Place::At {
            middle: Amperes(middle),
            within: (Amperes(scale.value(spans.mean.0)), Amperes(scale.value(spans.mean.1))),
            u: Amperes(u),
            spread: Amperes(whole.variance.sqrt() / slope),
            spread_within: (Amperes(spans.spread.0 / slope), Amperes(spans.spread.1 / slope)),
            from: Amperes(edge(index.checked_sub(1).and_then(|i| groups.get(i)), ends.0)),
            to: Amperes(edge(groups.get(index + 1), ends.1)),
        },
        share,
        share_within: (low, high),
        readings: whole.share * above,
    }
}
