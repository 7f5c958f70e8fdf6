//! How many starts a claim takes, and what so many have shown.

use super::{as_f64, counted, upper_bound};
use crate::analysis::numeric::distribution::{Chance, gamma_at};
use crate::units::Ratio;

/// More starts than anybody makes: beyond it nothing is looked for.
const MOST: u64 = 1 << 52;

/// How many starts without a failure show, at this confidence, that the failing
/// rate is below `rate`: n = ceil(ln(1 - C) / ln(1 - p)) (success run).
///
/// This is the classical form, as ASTM E2334 has it for no failures. The (n + 1)
/// form of some handbooks assumes beforehand that every rate is equally likely, and
/// asks for one start less; it is not used. Nor is the rule of three (3 / n, Hanley
/// and Lippman-Hand 1983), which is its approximation for 95 % and n above 30.
pub fn starts_needed(rate: Ratio, confidence: f64) -> Option<u64> {
    if !(rate.0 > 0.0 && rate.0 < 1.0 && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let n = ((-confidence).ln_1p() / (-rate.0).ln_1p()).ceil().max(1.0);
    (n < as_f64(MOST)).then_some(n as u64)
}

/// The same with `failures` allowed: the least n whose exact upper bound at so many
/// failures is not above `rate`.
pub fn starts_needed_with(failures: u64, rate: Ratio, confidence: f64) -> Option<u64> {
    let least = starts_needed(rate, confidence)?;
    if failures == 0 {
        return Some(least);
    }
    let shows = |n: u64| upper_bound(failures, n, confidence).is_some_and(|bound| bound.0 <= rate.0);
    let (mut low, mut high) = (failures, least.max(failures + 1));
    while !shows(high) {
        low = high;
        high = high.checked_mul(2).filter(|n| *n < MOST)?;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if shows(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

/// The share of good starts that `n` starts without a failure have shown at this
/// confidence: (1 - C)^(1/n), the classical form again.
pub fn reliability_shown(n: u64, confidence: f64) -> Option<Ratio> {
    counted(0, n, confidence)?;
    Some(Ratio(((-confidence).ln_1p() / as_f64(n)).exp()))
}

/// The chance that none of `n` starts fails at this failing rate: that a fault which
/// is there stays unseen.
pub fn chance_of_missing(rate: Ratio, n: u64) -> f64 {
    (as_f64(n) * (-rate.0.clamp(0.0, 1.0)).ln_1p()).exp()
}

/// The exact one-sided upper bound of the expected number of events where `events`
/// were seen (Poisson; Garwood 1936). 2.9957 for none at 95 %.
pub fn poisson_upper(events: u64, confidence: f64) -> Option<f64> {
    // P(X <= k; m) = 1 - P(k + 1, m), with the lower regularised gamma function.
    gamma_at(Chance::Below(confidence), as_f64(events) + 1.0)
}

/// The exact one-sided lower bound of the expected number of events.
pub fn poisson_lower(events: u64, confidence: f64) -> Option<f64> {
    counted(0, 1, confidence)?;
    if events == 0 {
        return Some(0.0);
    }
    gamma_at(Chance::Above(confidence), as_f64(events))
}
