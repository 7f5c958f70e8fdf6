//! One trial of a part: each quantity that was read against its limit, and the worst of
//! them as the outcome (ILAC-G8:09/2019; JCGM 106:2012).

use crate::analysis::Level;
use crate::analysis::uncertainty::{COVERAGE, Guard, Limit, Standing};
use crate::units::{Unit, engineering, with_uncertainty};

/// What was read of a quantity, in its unit without prefix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// A value with its standard uncertainty.
    Value {
        /// The value.
        value: f64,
        /// Its standard uncertainty.
        u: f64,
    },
    /// Its magnitude is below the instrument's floor.
    BelowFloor {
        /// The floor.
        floor: f64,
    },
    /// Beyond the instrument's range.
    Overload,
    /// Nothing was read.
    Missing,
}

impl Seen {
    /// The value, where there is one.
    pub fn value(self) -> Option<f64> {
        match self {
            Seen::Value { value, .. } => Some(value),
            _ => None,
        }
    }

    /// As the record names it.
    pub fn word(self) -> &'static str {
        match self {
            Seen::Value { .. } => "value",
            Seen::BelowFloor { .. } => "below floor",
            Seen::Overload => "overload",
            Seen::Missing => "no reading",
        }
    }

    /// From a record's columns; what is not known there is missing.
    pub fn of(word: &str, value: Option<f64>, u: Option<f64>, floor: Option<f64>) -> Self {
        match (word, value, u, floor) {
            ("value", Some(value), Some(u), _) => Seen::Value { value, u },
            ("below floor", _, _, Some(floor)) => Seen::BelowFloor { floor },
            ("overload", ..) => Seen::Overload,
            _ => Seen::Missing,
        }
    }
}

impl From<Level> for Seen {
    fn from(level: Level) -> Self {
        match level {
            Level::Known { value, u } => Seen::Value { value: value.0, u: u.0 },
            Level::BelowFloor { floor } => Seen::BelowFloor { floor: floor.0 },
            Level::Overload => Seen::Overload,
            Level::Missing => Seen::Missing,
        }
    }
}

/// Whether a quantity is the one of its trial that is charted, and compared in the lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Charted {
    /// It is.
    Yes,
    /// It counts for the outcome alone.
    No,
}

/// A quantity of a part, and what it may be.
#[derive(Clone, Debug, PartialEq)]
pub struct Measure {
    /// The plan's stage that it comes from.
    pub stage: u32,
    /// Its step there, of a sweep.
    pub step: Option<u32>,
    /// What it is: `leakage at 16 V`.
    pub what: String,
    /// Its unit; `None` of a count.
    pub unit: Option<Unit>,
    /// What was read.
    pub seen: Seen,
    /// What it may be.
    pub limit: Limit,
    /// Whether it is charted.
    pub charted: Charted,
}

impl Measure {
    /// Half the width of what is neither surely inside nor surely outside: w = r U.
    pub fn band(&self, guard: Guard) -> Option<f64> {
        match self.seen {
            Seen::Value { u, .. } => Some(guard.multiple() * COVERAGE * u),
            _ => None,
        }
    }

    /// How it stands to its limit. Below a floor it passes an upper limit that is not
    /// below the floor, and fails a lower one that is not; what was not read is never a pass.
    pub fn standing(&self, guard: Guard) -> Standing {
        match (self.seen, self.limit) {
            (Seen::Value { value, u }, limit) => Standing::against(value, COVERAGE * u, limit, guard),
            (Seen::BelowFloor { floor }, Limit::Upper(high)) if floor <= high => Standing::Pass,
            (Seen::BelowFloor { floor }, Limit::Lower(low) | Limit::Between(low, _)) if floor <= low => Standing::Fail,
            (Seen::Overload, Limit::Upper(_) | Limit::Between(..)) => Standing::Fail,
            _ => Standing::NotAdequate,
        }
    }

    /// In words: `leakage at 16 V 52.1 ± 0.4 nA, limit 1.60 uA`.
    pub fn told(&self) -> String {
        let one = |v: f64| self.unit.map_or_else(|| format!("{v:.0}"), |unit| engineering(v, unit, 3));
        let seen = match (self.seen, self.unit) {
            (Seen::Value { value, u }, Some(unit)) => with_uncertainty(value, COVERAGE * u, unit),
            (Seen::Value { value, .. }, None) => one(value),
            (Seen::BelowFloor { floor }, _) => format!("below {}", one(floor)),
            (Seen::Overload, _) => "beyond the instrument's range".into(),
            (Seen::Missing, _) => "could not be read".into(),
        };
        let limit = match self.limit {
            Limit::Upper(high) => format!("at most {}", one(high)),
            Limit::Lower(low) => format!("at least {}", one(low)),
            Limit::Between(low, high) => format!("{} to {}", one(low), one(high)),
        };
        format!("{} {seen}, allowed {limit}", self.what)
    }
}

/// What came of a trial.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It was judged.
    Judged(Standing),
    /// It came to nothing: the link, the computer or the run ended it.
    Void,
}

impl Outcome {
    /// All.
    pub const ALL: [Outcome; 6] = [
        Outcome::Judged(Standing::Pass),
        Outcome::Judged(Standing::ConditionalPass),
        Outcome::Judged(Standing::ConditionalFail),
        Outcome::Judged(Standing::Fail),
        Outcome::Judged(Standing::NotAdequate),
        Outcome::Void,
    ];

    /// Of all quantities of a trial: the worst decides. Void without any.
    pub fn of(measures: &[Measure], guard: Guard) -> (Self, Option<&Measure>) {
        let worst =
            measures.iter().map(|m| (m.standing(guard), m)).reduce(|a, b| if b.0.weight() > a.0.weight() { b } else { a });
        match worst {
            Some((standing, measure)) => (Outcome::Judged(standing), Some(measure)),
            None => (Outcome::Void, None),
        }
    }

    /// The worse of two; void is no result.
    #[must_use]
    pub fn worse(self, other: Self) -> Self {
        match (self, other) {
            (Outcome::Judged(a), Outcome::Judged(b)) => Outcome::Judged(if b.weight() > a.weight() { b } else { a }),
            (Outcome::Void, other) => other,
            (own, Outcome::Void) => own,
        }
    }

    /// In a word or two, as the record has it.
    pub fn word(self) -> &'static str {
        match self {
            Outcome::Judged(standing) => standing.word(),
            Outcome::Void => "void",
        }
    }

    /// From that word; what is not known is void.
    pub fn named(word: &str) -> Self {
        Self::ALL.into_iter().find(|o| o.word() == word).unwrap_or(Outcome::Void)
    }

    /// Whether the part counts as nonconforming.
    pub fn is_nonconforming(self) -> bool {
        matches!(self, Outcome::Judged(Standing::Fail | Standing::ConditionalFail))
    }

    /// Whether the part counts as conforming.
    pub fn is_conforming(self) -> bool {
        matches!(self, Outcome::Judged(Standing::Pass | Standing::ConditionalPass))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(value: f64, u: f64, limit: Limit) -> Measure {
        let seen = Seen::Value { value, u };
        Measure { stage: 1, step: None, what: "leakage".into(), unit: Some(Unit::Ampere), seen, limit, charted: Charted::No }
    }

    /// ILAC-G8:09/2019 by way of its worked example: 10 ± 1 with U = 0.2 and w = U is
    /// accepted from 9.2 to 10.8.
    #[test]
    fn the_four_states_lie_where_the_guard_band_puts_them() {
        let limit = Limit::Between(9.0, 11.0);
        for (value, state) in [
            (9.21, Standing::Pass),
            (10.79, Standing::Pass),
            (10.81, Standing::ConditionalPass),
            (9.19, Standing::ConditionalPass),
            (11.1, Standing::ConditionalFail),
            (8.9, Standing::ConditionalFail),
            (11.21, Standing::Fail),
            (8.79, Standing::Fail),
        ] {
            assert_eq!(read(value, 0.1, limit).standing(Guard::Full), state, "{value}");
        }
        assert_eq!(read(10.0, 0.5, limit).standing(Guard::Full), Standing::NotAdequate, "U fills the tolerance");
    }

    #[test]
    fn the_worst_quantity_decides_and_nothing_read_is_no_pass() {
        let good = read(1e-7, 1e-9, Limit::Upper(1e-6));
        let bad = read(2e-6, 1e-9, Limit::Upper(1e-6));
        let missing = Measure { seen: Seen::Missing, ..good.clone() };
        assert_eq!(Outcome::of(&[good.clone(), bad.clone()], Guard::Full).0, Outcome::Judged(Standing::Fail));
        assert_eq!(Outcome::of(&[good.clone(), missing], Guard::Full).0, Outcome::Judged(Standing::NotAdequate));
        assert_eq!(Outcome::of(&[], Guard::Full).0, Outcome::Void);
        let below = |floor, limit| Measure { seen: Seen::BelowFloor { floor }, limit, ..good.clone() };
        assert_eq!(below(1e-9, Limit::Upper(1e-6)).standing(Guard::Full), Standing::Pass);
        assert_eq!(below(2e-6, Limit::Upper(1e-6)).standing(Guard::Full), Standing::NotAdequate);
        assert_eq!(below(1e-6, Limit::Between(1e-3, 2e-3)).standing(Guard::Full), Standing::Fail);
        let over = Measure { seen: Seen::Overload, ..good };
        assert_eq!(over.standing(Guard::Full), Standing::Fail);
        for outcome in Outcome::ALL {
            assert_eq!(Outcome::named(outcome.word()), outcome);
        }
    }
}
