//! Uncertainty and decision, as far as a limit on one side needs it.

/// Coverage factor of every expanded uncertainty here (about 95 %; JCGM 100:2008, 6.3.3).
pub const COVERAGE: f64 = 2.0;

/// Standard uncertainty of a maker's limits of error: rectangular, a / sqrt 3
/// (JCGM 100:2008, 4.3.7).
pub fn rectangular(half_width: f64) -> f64 {
    half_width / 3f64.sqrt()
}

/// Standard uncertainty of a resolution: d / sqrt 12 (JCGM 100:2008, F.2.2.1).
pub fn resolution(step: f64) -> f64 {
    step / 12f64.sqrt()
}

/// Root of the sum of squares, for contributions that do not depend on each other.
pub fn combined(parts: &[f64]) -> f64 {
    parts.iter().fold(0.0_f64, |sum, part| sum.hypot(*part))
}

/// How a value stands to an upper limit, by the guard band w = U (ILAC-G8:09/2019, 4.2.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// At least U below the limit: pass.
    Pass,
    /// Below the limit by less than U: conditional pass.
    ConditionalPass,
    /// Above the limit by at most U: conditional fail.
    ConditionalFail,
    /// More than U above the limit: fail.
    Fail,
    /// U is larger than the limit itself: this instrument is not adequate for it.
    NotAdequate,
}

impl Standing {
    /// Of `value` with the expanded uncertainty `expanded` against `limit`.
    pub fn of(value: f64, expanded: f64, limit: f64) -> Self {
        if value - expanded > limit {
            // Even the worst instrument can show that something is far too much.
            Self::Fail
        } else if expanded >= limit {
            Self::NotAdequate
        } else if value > limit {
            Self::ConditionalFail
        } else if value > limit - expanded {
            Self::ConditionalPass
        } else {
            Self::Pass
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
