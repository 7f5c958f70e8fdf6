//! A current of one side against that of the other, or of several good units.

use super::ALIKE;
use crate::analysis::Level;
use crate::units::{Amperes, Unit, with_uncertainty};

/// What the other side draws: of one run the same at both ends, of several units the
/// least and the largest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Lower end and its standard uncertainty.
    pub low: (Amperes, Amperes),
    /// Upper end and its standard uncertainty.
    pub high: (Amperes, Amperes),
    /// How many units or runs it rests on.
    pub of: usize,
    /// All of them are below their floor.
    pub below_floor: bool,
}

/// A level as two ends: below a floor it lies anywhere from nought to that.
fn ends(level: Level) -> Option<((f64, f64), (f64, f64))> {
    match level {
        Level::Known { value, u } => Some(((value.0, u.0), (value.0, u.0))),
        Level::BelowFloor { floor } => Some(((0.0, 0.0), (floor.0, 0.0))),
        Level::Overload | Level::Missing => None,
    }
}

impl Reference {
    /// Of the levels of some runs; `None` where none of them is known.
    pub fn of(levels: &[Level]) -> Option<Self> {
        let known: Vec<((f64, f64), (f64, f64))> = levels.iter().filter_map(|l| ends(*l)).collect();
        let low = known.iter().map(|k| k.0).min_by(|a, b| (a.0 - 2.0 * a.1).total_cmp(&(b.0 - 2.0 * b.1)))?;
        let high = known.iter().map(|k| k.1).max_by(|a, b| (a.0 + 2.0 * a.1).total_cmp(&(b.0 + 2.0 * b.1)))?;
        let pair = |(value, u): (f64, f64)| (Amperes(value), Amperes(u));
        let below_floor = levels.iter().all(|l| !matches!(l, Level::Known { .. }));
        Some(Self { low: pair(low), high: pair(high), of: known.len(), below_floor })
    }
}

impl std::fmt::Display for Reference {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let spelled = |(value, u): (Amperes, Amperes)| with_uncertainty(value.0, 2.0 * u.0, Unit::Ampere);
        if self.below_floor {
            return write!(f, "below {}", self.high.0);
        }
        if self.low == self.high {
            return f.write_str(&spelled(self.low));
        }
        write!(f, "{} to {}", spelled(self.low), spelled(self.high))
    }
}

/// How a current lies to a reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    /// This side less the nearer end of the other; nought within its ends.
    pub by: Amperes,
    /// Its expanded uncertainty (k = 2), as if the instruments' errors had nothing in common.
    pub expanded: Amperes,
    /// It is larger than its expanded uncertainty.
    pub distinguishable: bool,
    /// And larger than what good units are apart ([`ALIKE`]).
    pub counts: bool,
    /// This side is below its floor, or the other is: the difference is at least so large.
    pub at_least: bool,
}

/// The difference of a current to a reference; `None` where it is not known.
pub fn difference(this: Level, other: &Reference) -> Option<Difference> {
    let ((low, u_low), (high, u_high)) = ends(this)?;
    let ((from, u_from), (to, u_to)) = (other.low, other.high);
    let above = low - to.0 > 0.0;
    let below = from.0 - high > 0.0;
    let (by, u, reference) = if above {
        (low - to.0, u_low.hypot(u_to.0), to.0)
    } else if below {
        (high - from.0, u_high.hypot(u_from.0), from.0)
    } else {
        (0.0, u_low.max(u_high).hypot(u_from.max(u_to).0), to.0)
    };
    let distinguishable = by.abs() > 2.0 * u;
    Some(Difference {
        by: Amperes(by),
        expanded: Amperes(2.0 * u),
        distinguishable,
        counts: distinguishable && by.abs() > ALIKE * reference.abs(),
        at_least: (above && other.below_floor) || (below && matches!(this, Level::BelowFloor { .. })),
    })
}

impl std::fmt::Display for Difference {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.at_least {
            f.write_str("at least ")?;
        }
        f.write_str(&with_uncertainty(self.by.0, self.expanded.0, Unit::Ampere))
    }
}
