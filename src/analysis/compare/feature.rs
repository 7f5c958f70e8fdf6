//! The figures of good starts side by side: peak, rise, charge, level at the end.

use crate::analysis::Level;
use crate::analysis::numeric::sums::deviation;
use crate::analysis::rank::median;
use crate::analysis::signature::{Signature, sight, signature};
use crate::analysis::start::Look;
use crate::units::{Seconds, Unit, Volts};

/// A figure of a side: the median over its starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Feature {
    /// What it is.
    pub name: &'static str,
    /// Its unit.
    pub unit: Unit,
    /// The median.
    pub value: f64,
    /// Its expanded uncertainty (k = 2): the instrument's, that of a median of so many
    /// (1.25 s / sqrt n; large n, normal), and of a time the distance of readings.
    pub expanded: f64,
}

/// The figures of good starts at a set voltage; none for fewer than three.
pub fn features(starts: &[&[Look]], set: Volts) -> Vec<Feature> {
    if starts.len() < 3 {
        return Vec::new();
    }
    let all: Vec<Signature> = starts.iter().map(|looks| signature(looks, set)).collect();
    let gap = sight(starts, Seconds(0.0)).map_or(0.0, |s| s.gap.0);
    // Relative, of the largest reading: what a charge or a plateau has of the instrument.
    let relative = median(
        &starts
            .iter()
            .filter_map(|looks| {
                let known = looks.iter().filter_map(|l| match l.current {
                    Level::Known { value, u } if value.0 > 0.0 => Some((value.0, u.0)),
                    _ => None,
                });
                known.max_by(|a, b| a.0.total_cmp(&b.0)).map(|(value, u)| u / value)
            })
            .collect::<Vec<_>>(),
    )
    .unwrap_or(0.0);
    let made = |name, unit, own: &dyn Fn(f64) -> f64, pick: &dyn Fn(&Signature) -> Option<f64>| -> Option<Feature> {
        let values: Vec<f64> = all.iter().filter_map(pick).collect();
        if values.len() * 2 <= all.len() {
            return None;
        }
        let value = median(&values)?;
        let of_median = 1.2533 * deviation(&values).unwrap_or(0.0) / (values.len() as f64).sqrt();
        Some(Feature { name, unit, value, expanded: 2.0 * own(value).hypot(of_median) })
    };
    let current = |value: f64| value.abs() * relative;
    // Somewhere between two readings.
    let time = |_: f64| gap / 12_f64.sqrt();
    let rise =
        |i: usize| move |s: &Signature| s.rises.get(i).copied().flatten().map(|(before, after)| 0.5 * (before.0 + after.0));
    [
        made("highest reading", Unit::Ampere, &current, &|s| s.peak.map(|p| p.0.0)),
        made("time to 10 % of the level at the end", Unit::Second, &time, &rise(0)),
        made("time to 50 %", Unit::Second, &time, &rise(1)),
        made("time to 90 %", Unit::Second, &time, &rise(2)),
        made("charge while watched", Unit::Coulomb, &current, &|s| Some(s.charge.0.0)),
        made("level at the end", Unit::Ampere, &current, &|s| s.plateau.map(|p| p.0)),
        made("period of rising again", Unit::Second, &time, &|s| s.period.map(|p| p.0)),
        made("lowest voltage at the supply", Unit::Volt, &|_| 0.0, &|s| s.lowest.map(|l| l.0.0)),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Whether two figures differ by more than their uncertainties, and than good units do.
pub fn differ(a: &Feature, b: &Feature) -> bool {
    let by = (a.value - b.value).abs();
    by > a.expanded.hypot(b.expanded) && by > super::ALIKE * a.value.abs().max(b.value.abs())
}
