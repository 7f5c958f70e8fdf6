//! The signature of a start: what its current does, told in figures, and (in
//! `envelope`) where a failing start leaves the course of the good ones.
//!
//! Holds always: what was not read is not made up for. A peak is the highest reading,
//! a time lies between two readings, and [`Sight`] says what may lie between them.

pub mod envelope;
pub mod kept;

use super::Level;
use super::start::Look;
use crate::units::{Amperes, Coulombs, Seconds, Volts};

/// What the current of a start does.
#[derive(Clone, Debug, PartialEq)]
pub struct Signature {
    /// The highest reading, and when.
    pub peak: Option<(Amperes, Seconds)>,
    /// A reading was beyond the range: the peak is higher than any value.
    pub beyond: bool,
    /// Charge over the spans between neighbouring values (trapezoid), and their length.
    pub charge: (Coulombs, Seconds),
    /// Current at the end: the median of the last quarter.
    pub plateau: Option<Amperes>,
    /// When the current first rose through 10, 50 and 90 % of the plateau: the reading
    /// before, and the first one above.
    pub rises: [Option<(Seconds, Seconds)>; 3],
    /// Levels that were held, in order.
    pub plateaus: Vec<Plateau>,
    /// The mean time from one rise to the next, where there were three or more.
    pub period: Option<Seconds>,
    /// How long the supply said that it limits, from reading to reading.
    pub limited: Seconds,
    /// The lowest voltage at the supply after it had first reached half of what was set.
    pub lowest: Option<(Volts, Seconds)>,
}

/// A level that was held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plateau {
    /// The median of its readings.
    pub level: Amperes,
    /// Its first reading.
    pub from: Seconds,
    /// Its last reading.
    pub to: Seconds,
}

/// Readings that make a plateau.
const HELD: usize = 4;
/// Readings of a plateau differ by less than this share, beside their uncertainty.
const ALIKE: f64 = 0.1;
/// A loop rises above the upper, and falls below the lower share of the highest reading.
const UPPER: f64 = 0.6;
/// See [`UPPER`].
const LOWER: f64 = 0.4;

/// The signature of a start at a set voltage. Looks are in order of time.
pub fn signature(looks: &[Look], set: Volts) -> Signature {
    let known: Vec<(f64, f64, f64)> = looks
        .iter()
        .filter_map(|l| match l.current {
            Level::Known { value, u } => Some((l.at.0, value.0, u.0)),
            _ => None,
        })
        .collect();
    let peak = known.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1));
    let tail = looks.len() - looks.len().div_ceil(4);
    let last: Vec<f64> = looks.iter().skip(tail).filter_map(|l| l.current.value()).map(|a| a.0).collect();
    let plateau = super::rank::median(&last).filter(|_| last.len() * 2 > looks.len() - tail);
    let risen = plateau.is_some_and(|p| p > 0.0);
    let rise = |share: f64| plateau.filter(|_| risen).and_then(|p| first_above(looks, p * share));
    let powered = looks.iter().position(|l| l.voltage.is_some_and(|v| v.0 >= 0.5 * set.0));
    let lowest = looks.iter().skip(powered.unwrap_or(looks.len())).filter_map(|l| Some((l.voltage?, l.at)));
    Signature {
        peak: peak.map(|(at, value, _)| (Amperes(value), Seconds(at))),
        beyond: looks.iter().any(|l| l.current == Level::Overload),
        charge: charge(looks),
        plateau: plateau.map(Amperes),
        rises: [rise(0.1), rise(0.5), rise(0.9)],
        plateaus: plateaus(&known),
        period: peak.and_then(|(_, top, _)| period(looks, top)),
        limited: limited(looks),
        lowest: lowest.min_by(|a, b| a.0.0.total_cmp(&b.0.0)),
    }
}

/// A current that is certainly no more than this, where that is known.
fn at_most(level: Level) -> Option<f64> {
    match level {
        Level::Known { value, .. } => Some(value.0),
        Level::BelowFloor { floor } => Some(floor.0),
        Level::Overload => Some(f64::INFINITY),
        Level::Missing => None,
    }
}

fn first_above(looks: &[Look], level: f64) -> Option<(Seconds, Seconds)> {
    let mut before = Seconds(0.0);
    for look in looks {
        let above = match look.current {
            Level::Known { value, .. } => value.0 >= level,
            Level::Overload => true,
            Level::BelowFloor { .. } => false,
            Level::Missing => continue,
        };
        if above {
            return Some((before, look.at));
        }
        before = look.at;
    }
    None
}

fn charge(looks: &[Look]) -> (Coulombs, Seconds) {
    let (mut charge, mut covered) = (Coulombs(0.0), Seconds(0.0));
    for pair in looks.windows(2) {
        if let [a, b] = pair
            && let (Some(before), Some(after)) = (a.current.value(), b.current.value())
        {
            let span = b.at - a.at;
            charge = charge + (before + after) / 2.0 * span;
            covered = covered + span;
        }
    }
    (charge, covered)
}

/// Readings in a row that agree with the median of those before them.
fn plateaus(known: &[(f64, f64, f64)]) -> Vec<Plateau> {
    let mut made = Vec::new();
    let mut held: Vec<(f64, f64, f64)> = Vec::new();
    let mut close = |held: &mut Vec<(f64, f64, f64)>| {
        let values: Vec<f64> = held.iter().map(|h| h.1).collect();
        if let (true, Some(level), Some(first), Some(last)) =
            (held.len() >= HELD, super::rank::median(&values), held.first(), held.last())
        {
            made.push(Plateau { level: Amperes(level), from: Seconds(first.0), to: Seconds(last.0) });
        }
        held.clear();
    };
    for reading in known {
        let values: Vec<f64> = held.iter().map(|h| h.1).collect();
        let alike = super::rank::median(&values).is_none_or(|m| (reading.1 - m).abs() <= ALIKE * m.abs() + 4.0 * reading.2);
        if !alike {
            close(&mut held);
        }
        held.push(*reading);
    }
    close(&mut held);
    made
}

/// From rise to rise, with the two shares apart so that noise makes no rise.
fn period(looks: &[Look], top: f64) -> Option<Seconds> {
    let mut rises = Vec::new();
    let mut low = true;
    for look in looks {
        let Some(current) = at_most(look.current) else { continue };
        if low && current >= UPPER * top && !matches!(look.current, Level::BelowFloor { .. }) {
            rises.push(look.at);
            low = false;
        } else if current <= LOWER * top {
            low = true;
        }
    }
    match (rises.first(), rises.last()) {
        (Some(first), Some(last)) if rises.len() >= 3 => Some((*last - *first) / (rises.len() as f64 - 1.0)),
        _ => None,
    }
}

fn limited(looks: &[Look]) -> Seconds {
    let spans = looks.windows(2).filter_map(|pair| match pair {
        [a, b] if a.limiting == Some(true) => Some(b.at - a.at),
        _ => None,
    });
    spans.fold(Seconds(0.0), |sum, span| sum + span)
}

/// What readings that follow each other can show.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sight {
    /// The largest time from one reading to the next, but for one pair in a hundred.
    pub gap: Seconds,
    /// An event shorter than this can lie between two readings and leave no trace.
    pub missed_below: Seconds,
    /// One longer than this has a reading of its own all the same: it is seen, and at
    /// its full height.
    pub seen_above: Seconds,
}

/// The smallest event that readings can show, each of which looks for `integration`:
/// between the ends of two of them lies gap - integration in which nobody looks, and a
/// reading that falls whole into the event takes gap + integration of it.
pub fn sight(starts: &[&[Look]], integration: Seconds) -> Option<Sight> {
    let mut gaps: Vec<f64> = starts
        .iter()
        .flat_map(|looks| {
            let seen: Vec<f64> = looks.iter().filter(|l| l.current != Level::Missing).map(|l| l.at.0).collect();
            seen.windows(2).filter_map(|pair| Some(pair.last()? - pair.first()?)).collect::<Vec<f64>>()
        })
        .collect();
    gaps.sort_by(f64::total_cmp);
    let gap = *gaps.get((gaps.len().checked_sub(1)?) * 99 / 100)?;
    Some(Sight {
        gap: Seconds(gap),
        missed_below: Seconds((gap - integration.0).max(0.0)),
        seen_above: Seconds(gap + integration.0),
    })
}
