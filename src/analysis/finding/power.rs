//! How a current stands to what is expected, and how it is spelled: for the sentences of
//! ramps, logs and starts alike.

use super::Severity;
use crate::analysis::Level;
use crate::units::{Amperes, Unit, engineering};

pub(super) type Band = (Amperes, Amperes);

pub(super) fn band(expect: Band) -> String {
    format!("{} to {}", expect.0, expect.1)
}

/// How a current stands to what is expected.
pub(super) fn stands(level: Level, expect: Band) -> Severity {
    match level {
        Level::Known { value, u } if value.0 - 2.0 * u.0 > expect.1.0 || value.0 + 2.0 * u.0 < expect.0.0 => Severity::Anomaly,
        Level::Known { value, u } if value.0 - 2.0 * u.0 >= expect.0.0 && value.0 + 2.0 * u.0 <= expect.1.0 => Severity::Note,
        Level::Known { .. } => Severity::Undecided,
        Level::BelowFloor { floor } if floor <= expect.0 => Severity::Anomaly,
        Level::BelowFloor { .. } | Level::Missing => Severity::Undecided,
        Level::Overload => Severity::Anomaly,
    }
}

/// Used by the start findings, too.
pub(super) fn spelled(value: f64, unit: Unit) -> String {
    engineering(value, unit, 3)
}
