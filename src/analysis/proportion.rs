//! Failing rates: exact intervals, Wilson's, zero-failure sizes, before and after.

use super::numeric::distribution::{Chance, beta_at, hypergeometric};
use crate::units::Ratio;

/// An interval for a rate at a confidence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub low: Ratio,
    /// Upper end.
    pub high: Ratio,
    /// Confidence of the whole interval.
    pub confidence: f64,
}

/// The exact two-sided interval for `failures` of `n` (Clopper and Pearson 1934;
/// NIST/SEMATECH handbook 7.2.4.1). `None` for n = 0 or more failures than starts.
pub fn clopper_pearson(failures: u64, n: u64, confidence: f64) -> Option<Interval> {
    let tail = (1.0 - confidence) / 2.0;
    let (low, high) = (lower_bound(failures, n, 1.0 - tail)?, upper_bound(failures, n, 1.0 - tail)?);
    Some(Interval { low, high, confidence })
}

/// The exact one-sided upper bound: the rate at which so few failures have the
/// probability 1 - confidence.
pub fn upper_bound(failures: u64, n: u64, confidence: f64) -> Option<Ratio> {
    if n == 0 || failures > n || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    if failures == n {
        return Some(Ratio(1.0));
    }
    // P(X <= k; p) = 1 - I_p(k + 1, n - k)
    beta_at(Chance::Below(confidence), as_f64(failures) + 1.0, as_f64(n - failures)).map(Ratio)
}

/// The exact one-sided lower bound.
pub fn lower_bound(failures: u64, n: u64, confidence: f64) -> Option<Ratio> {
    if n == 0 || failures > n || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    if failures == 0 {
        return Some(Ratio(0.0));
    }
    // P(X >= k; p) = I_p(k, n - k + 1)
    beta_at(Chance::Above(confidence), as_f64(failures), as_f64(n - failures) + 1.0).map(Ratio)
}

/// Wilson's score interval (Wilson 1927; NIST/SEMATECH handbook 7.2.4.1), for
/// comparison: at zero failures it claims more than the exact one.
pub fn wilson(failures: u64, n: u64, z: f64, confidence: f64) -> Option<Interval> {
    if n == 0 || failures > n {
        return None;
    }
    let (n, p) = (as_f64(n), as_f64(failures) / as_f64(n));
    let centre = p + z * z / (2.0 * n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    Some(Interval { low: Ratio(((centre - half) / scale).max(0.0)), high: Ratio((centre + half) / scale), confidence })
}

/// How many starts without a failure show, at this confidence, that the failing
/// rate is below `rate`: n = ceil(ln(1 - C) / ln(1 - p)) (success run; classical
/// form, not the (n + 1) variant).
pub fn starts_needed(rate: Ratio, confidence: f64) -> Option<u64> {
    if !(rate.0 > 0.0 && rate.0 < 1.0 && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let n = ((1.0 - confidence).ln() / (-rate.0).ln_1p()).ceil();
    // Below 2^53 by the bounds on rate that a person can write.
    (n.is_finite() && n < 9e15).then_some(n as u64)
}

/// Fisher's exact test, one-sided: the chance of as few failures after as were
/// seen (or fewer), had nothing changed: hypergeometric tail.
pub fn chance_unchanged(before: (u64, u64), after: (u64, u64)) -> Option<f64> {
    let ((a, n1), (b, n2)) = (before, after);
    if a > n1 || b > n2 || n1 == 0 || n2 == 0 {
        return None;
    }
    Some(hypergeometric(b, n2, a + b, n1 + n2)?.below)
}

/// Counts here are far below 2^53, where they are exact.
#[allow(clippy::cast_precision_loss)]
fn as_f64(count: u64) -> f64 {
    count as f64
}
