//! Suffixes behind numbers: a multiplier and a unit (IEEE 488.2 7.7.3).
//!
//! `M` is milli and `MA` is mega, except that `MOHM` and `MHZ` are mega: the
//! opposite of what a plan means by `M` (`units`). Percent and degrees take no
//! multiplier.

use crate::units::Unit;

/// The multipliers as powers of ten (IEEE 488.2 table 7-2).
const MULTIPLIERS: [(&str, i32); 12] = [
    ("EX", 18),
    ("PE", 15),
    ("T", 12),
    ("G", 9),
    ("MA", 6),
    ("K", 3),
    ("M", -3),
    ("U", -6),
    ("N", -9),
    ("P", -12),
    ("F", -15),
    ("A", -18),
];

/// What a number with `suffix` is multiplied by to be in `unit`'s base; `None` if the
/// suffix is none of that unit. In capitals or not.
///
/// A percentage becomes a ratio, as `units::Ratio` has it: `PCT` is 0.01.
pub fn factor(suffix: &str, unit: Unit) -> Option<f64> {
    power(suffix, unit).map(|power| scaled(1.0, power))
}

/// As [`factor`], as a power of ten.
pub(super) fn power(suffix: &str, unit: Unit) -> Option<i32> {
    let suffix = suffix.to_ascii_uppercase();
    match unit {
        Unit::Percent => return (suffix == "PCT").then_some(-2),
        Unit::Celsius => return matches!(suffix.as_str(), "CEL" | "C").then_some(0),
        _ => {}
    }
    match (suffix.strip_suffix(symbol(unit)?)?, unit) {
        ("", _) => Some(0),
        ("M", Unit::Ohm | Unit::Hertz) => Some(6),
        (multiplier, _) => MULTIPLIERS.into_iter().find(|(name, _)| *name == multiplier).map(|(_, power)| power),
    }
}

/// `value` times ten to the `power`, rounded once: powers up to 22 are exact, and so is the
/// operation but for its last rounding, so that `60 MA` is the number 0.06.
pub(super) fn scaled(value: f64, power: i32) -> f64 {
    let whole: f64 = (0..power.unsigned_abs()).map(|_| 10.0).product();
    if power < 0 { value / whole } else { value * whole }
}

fn symbol(unit: Unit) -> Option<&'static str> {
    Some(match unit {
        Unit::Volt => "V",
        Unit::Ampere => "A",
        Unit::Ohm => "OHM",
        Unit::Farad => "F",
        Unit::Second => "S",
        Unit::Hertz => "HZ",
        Unit::Watt => "W",
        Unit::Joule => "J",
        Unit::Coulomb => "C",
        Unit::VoltPerSecond => "V/S",
        // Not among the units of IEEE 488.2.
        Unit::AmpereHour | Unit::Celsius | Unit::Percent => return None,
    })
}
