//! A ramp against that of a good unit.

use super::{Leg, Place, Step};
use crate::analysis::Level;
use crate::analysis::uncertainty::combined;
use crate::units::Volts;

/// One point of the good unit's way up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Good {
    /// Voltage at the supply.
    pub volts: Volts,
    /// Current.
    pub current: Level,
}

/// How far two good units of one kind may be apart, beside the instruments' error
/// (common practice: tolerances of parts).
pub const ALIKE: f64 = 0.10;

/// A difference must last so many steps: one reading may be caught in a change.
const LASTING: usize = 3;

/// What the comparison says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Comparison {
    /// No difference beyond uncertainties and [`ALIKE`], over so many steps.
    Alike {
        /// Steps compared.
        steps: usize,
    },
    /// From this voltage on they differ.
    Differs {
        /// Where first.
        at: Place,
        /// Current of this unit there.
        this: Level,
        /// Current of the good unit there, the nearest of those within a step.
        good: Level,
    },
    /// There are too few steps at voltages of both.
    TooLittle,
}

/// What is known of a current: from, to.
fn span(level: Level) -> Option<(f64, f64)> {
    match level {
        Level::Known { value, u } => Some((value.0 - 2.0 * u.0, value.0 + 2.0 * u.0)),
        Level::BelowFloor { floor } => Some((-floor.0, floor.0)),
        Level::Overload | Level::Missing => None,
    }
}

/// Compares the way up with those of good units, one list a run. Within one step of any a
/// jump may come earlier or later; a difference is one that no current of a good unit there
/// covers.
pub fn compare(steps: &[Step], runs: &[Vec<Good>]) -> Comparison {
    let up: Vec<&Step> = steps.iter().filter(|s| s.leg == Leg::Up && s.voltage.is_some()).collect();
    let mut good: Vec<Good> = runs.concat();
    good.sort_by(|a, b| a.volts.0.total_cmp(&b.volts.0));
    let pace = |volts: Vec<f64>| match (volts.first(), volts.last()) {
        (Some(a), Some(b)) if volts.len() > 1 => (b - a).abs() / (volts.len() - 1) as f64,
        _ => 0.0,
    };
    let ours = pace(up.iter().filter_map(|s| s.voltage).map(|v| v.0).collect());
    let theirs = runs.iter().map(|run| pace(run.iter().map(|g| g.volts.0).collect())).fold(0.0, f64::max);
    let window = 1.6 * ours.max(theirs);
    let (mut compared, mut running) = (0, 0);
    let mut found: Option<(usize, Level)> = None;
    for (index, step) in up.iter().enumerate() {
        let (Some(volts), Some((low, high))) = (step.voltage, span(step.current)) else { continue };
        let near: Vec<&Good> = good.iter().filter(|g| (g.volts - volts).0.abs() <= window).collect();
        let spans: Vec<(f64, f64)> = near.iter().filter_map(|g| span(g.current)).collect();
        if spans.is_empty() {
            continue;
        }
        compared += 1;
        let least = spans.iter().map(|s| s.0).fold(f64::INFINITY, f64::min);
        let most = spans.iter().map(|s| s.1).fold(f64::NEG_INFINITY, f64::max);
        let room = ALIKE * least.abs().max(most.abs());
        if low > most + room || high < least - room {
            running += 1;
            if running == 1 {
                let nearest = near.iter().min_by(|a, b| (a.volts - volts).0.abs().total_cmp(&(b.volts - volts).0.abs()));
                found = nearest.map(|g| (index, g.current));
            }
            if running >= LASTING {
                break;
            }
        } else {
            (running, found) = (0, None);
        }
    }
    match found.and_then(|(index, level)| Some((up.get(index)?, index, level))) {
        Some((step, index, level)) if running >= LASTING => {
            let before = index.checked_sub(1).and_then(|i| up.get(i)).unwrap_or(step);
            let mut at = Place::between(before, step);
            at.expanded = Volts(combined(&[at.expanded.0, window]));
            Comparison::Differs { at, this: step.current, good: level }
        }
        _ if compared < LASTING => Comparison::TooLittle,
        _ => Comparison::Alike { steps: compared },
    }
}
