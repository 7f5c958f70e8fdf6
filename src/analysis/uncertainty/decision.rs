//! From a value with its uncertainty to a verdict against a limit.

use crate::analysis::numeric::distribution::normal;

/// What a value may not pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Limit {
    /// At most.
    Upper(f64),
    /// At least.
    Lower(f64),
    /// From, to.
    Between(f64, f64),
}

impl Limit {
    /// How far inside a value lies; negative outside. NaN only of NaN.
    fn inside(self, value: f64) -> f64 {
        match self {
            Limit::Upper(high) => high - value,
            Limit::Lower(low) => value - low,
            Limit::Between(low, high) => (value - low).min(high - value),
        }
    }

    /// Whether no value could pass under a guard band, or fail (upper limits here are of
    /// what cannot be negative).
    fn leaves_no_room(self, guard: f64) -> bool {
        match self {
            Limit::Upper(limit) | Limit::Lower(limit) => guard >= limit.abs(),
            Limit::Between(low, high) => 2.0 * guard >= high - low,
        }
    }
}

/// How wide the guard band is, as a multiple of the expanded uncertainty, and so how
/// likely a false acceptance is at most (ILAC-G8:09/2019, table 1).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Guard {
    /// No band, w = 0: simple acceptance, below 50 %.
    None,
    /// w = 0.83 U: below 5 % (ISO 14253-1:2017).
    Five,
    /// w = U: below 2.5 %.
    #[default]
    Full,
    /// w = 1.5 U: below 0.16 %.
    Wide,
    /// w = 3 U: below 1 in a million.
    Triple,
}

impl Guard {
    /// All, the narrowest first.
    pub const ALL: [Guard; 5] = [Guard::None, Guard::Five, Guard::Full, Guard::Wide, Guard::Triple];

    /// As a plan writes it.
    pub fn name(self) -> &'static str {
        match self {
            Guard::None => "none",
            Guard::Five => "0.83 U",
            Guard::Full => "U",
            Guard::Wide => "1.5 U",
            Guard::Triple => "3 U",
        }
    }

    /// The multiple r of w = r U.
    pub fn multiple(self) -> f64 {
        match self {
            Guard::None => 0.0,
            Guard::Five => 0.83,
            Guard::Full => 1.0,
            Guard::Wide => 1.5,
            Guard::Triple => 3.0,
        }
    }

    /// The chance of a false acceptance at the edge of the acceptance zone, with U = k u
    /// of a normal distribution: the specific risk at its worst (JCGM 106:2012, 9.5).
    pub fn worst_risk(self, k: f64) -> Option<f64> {
        normal(self.multiple() * k).map(|t| t.above)
    }
}

/// How a value stands to a limit (ILAC-G8:09/2019, 4.2.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Inside the limit by at least the guard band: pass.
    Pass,
    /// Inside the limit by less than that: conditional pass.
    ConditionalPass,
    /// Outside the limit by at most the guard band: conditional fail.
    ConditionalFail,
    /// More than that outside the limit: fail.
    Fail,
    /// The guard band fills the limit: this instrument is not adequate for it.
    NotAdequate,
}

impl Standing {
    /// Of `value` with the expanded uncertainty `expanded` against an upper limit, with a
    /// guard band of U.
    pub fn of(value: f64, expanded: f64, limit: f64) -> Self {
        Self::against(value, expanded, Limit::Upper(limit), Guard::Full)
    }

    /// Of `value` with the expanded uncertainty `expanded`. What is not a number is never
    /// a pass: it stands as not adequate.
    pub fn against(value: f64, expanded: f64, limit: Limit, guard: Guard) -> Self {
        let band = guard.multiple() * expanded;
        let inside = limit.inside(value);
        if inside.is_nan() || band.is_nan() || expanded < 0.0 {
            return Self::NotAdequate;
        }
        // What lies far above a lower limit passes with any instrument.
        let clear = matches!(limit, Limit::Lower(_)) && inside >= band;
        if inside < -band {
            // Even the worst instrument can show that something is far too much.
            Self::Fail
        } else if limit.leaves_no_room(band) && !clear {
            Self::NotAdequate
        } else if inside < 0.0 {
            Self::ConditionalFail
        } else if inside < band {
            Self::ConditionalPass
        } else {
            Self::Pass
        }
    }

    /// How much it weighs where several quantities are judged: the largest decides.
    pub fn weight(self) -> u8 {
        match self {
            Self::Pass => 0,
            Self::ConditionalPass => 1,
            Self::NotAdequate => 2,
            Self::ConditionalFail => 3,
            Self::Fail => 4,
        }
    }

    /// In a word or two.
    pub fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::ConditionalPass => "conditional pass",
            Self::ConditionalFail => "conditional fail",
            Self::Fail => "fail",
            Self::NotAdequate => "not adequate",
        }
    }

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::ConditionalPass => "conditional pass (within the uncertainty of the limit)",
            Self::ConditionalFail => "conditional fail (within the uncertainty of the limit)",
            Self::Fail => "fail",
            Self::NotAdequate => "this instrument is not adequate for this limit",
        }
    }
}

/// The chance that the true value lies outside the limit, of a value read with a
/// standard uncertainty, where nothing else is known of it (specific risk: JCGM
/// 106:2012, 7.2 to 7.4). `None` unless u is positive.
pub fn chance_outside(value: f64, u: f64, limit: Limit) -> Option<f64> {
    if !(u > 0.0 && u.is_finite() && value.is_finite()) {
        return None;
    }
    let above = |limit: f64| normal((limit - value) / u).map(|t| t.above);
    let below = |limit: f64| normal((limit - value) / u).map(|t| t.below);
    match limit {
        Limit::Upper(high) => above(high),
        Limit::Lower(low) => below(low),
        Limit::Between(low, high) => Some((below(low)? + above(high)?).min(1.0)),
    }
}
