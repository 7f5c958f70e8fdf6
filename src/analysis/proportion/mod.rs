//! Failing rates: exact intervals and Wilson's. How many starts a claim takes
//! stands in `sizes`, the comparison before and after in `compare`.
//!
//! Holds always: nothing is said of no starts, or of more failures than starts.
//! The exact intervals are the ones that findings use; Wilson's stand beside them
//! for comparison, since at zero failures they claim more than was shown (1637
//! starts "prove" 0.1 % at 90 %, where 2302 are needed).

mod compare;
mod sizes;

pub use compare::{Fisher, chance_unchanged, fisher, least, starts_after_needed};
pub use sizes::{chance_of_missing, poisson_lower, poisson_upper, reliability_shown, starts_needed, starts_needed_with};

use super::numeric::distribution::{Chance, beta_at, normal_at};
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
    counted(failures, n, confidence)?;
    if failures == n {
        return Some(Ratio(1.0));
    }
    // P(X <= k; p) = 1 - I_p(k + 1, n - k)
    beta_at(Chance::Below(confidence), as_f64(failures) + 1.0, as_f64(n - failures)).map(Ratio)
}

/// The exact one-sided lower bound.
pub fn lower_bound(failures: u64, n: u64, confidence: f64) -> Option<Ratio> {
    counted(failures, n, confidence)?;
    if failures == 0 {
        return Some(Ratio(0.0));
    }
    // P(X >= k; p) = I_p(k, n - k + 1)
    beta_at(Chance::Above(confidence), as_f64(failures), as_f64(n - failures) + 1.0).map(Ratio)
}

/// Wilson's two-sided score interval (Wilson 1927; NIST/SEMATECH handbook 7.2.4.1).
pub fn wilson(failures: u64, n: u64, confidence: f64) -> Option<Interval> {
    let (low, high) = score(failures, n, 0.5 + confidence / 2.0)?;
    Some(Interval { low, high, confidence })
}

/// Wilson's one-sided upper bound.
pub fn wilson_upper(failures: u64, n: u64, confidence: f64) -> Option<Ratio> {
    score(failures, n, confidence).map(|(_, high)| high)
}

/// Wilson's one-sided lower bound.
pub fn wilson_lower(failures: u64, n: u64, confidence: f64) -> Option<Ratio> {
    score(failures, n, confidence).map(|(low, _)| low)
}

/// Wilson's two-sided interval with the correction for continuity (Newcombe 1998,
/// Statistics in Medicine 17:857, method 4).
pub fn wilson_corrected(failures: u64, n: u64, confidence: f64) -> Option<Interval> {
    counted(failures, n, confidence)?;
    let z = normal_at(Chance::Below(0.5 + confidence / 2.0))?;
    let (n, k) = (as_f64(n), as_f64(failures));
    let (p, q) = (k / n, 1.0 - k / n);
    let scale = 2.0 * (n + z * z);
    let low = (2.0 * k + z * z - 1.0 - z * (z * z - 2.0 - 1.0 / n + 4.0 * p * (n * q + 1.0)).max(0.0).sqrt()) / scale;
    let high = (2.0 * k + z * z + 1.0 + z * (z * z + 2.0 - 1.0 / n + 4.0 * p * (n * q - 1.0)).max(0.0).sqrt()) / scale;
    let low = if failures == 0 { 0.0 } else { low.max(0.0) };
    let high = if k >= n { 1.0 } else { high.min(1.0) };
    Some(Interval { low: Ratio(low), high: Ratio(high), confidence })
}

/// Both ends, each of them one-sided at this confidence.
fn score(failures: u64, n: u64, confidence: f64) -> Option<(Ratio, Ratio)> {
    counted(failures, n, confidence)?;
    let z = normal_at(Chance::Below(confidence))?;
    let (k, n) = (as_f64(failures), as_f64(n));
    let p = k / n;
    let centre = p + z * z / (2.0 * n);
    let half = z * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z * z / n;
    let low = if k == 0.0 { 0.0 } else { (centre - half) / scale };
    let high = if k >= n { 1.0 } else { (centre + half) / scale };
    Some((Ratio(low.max(0.0)), Ratio(high.min(1.0))))
}

fn counted(failures: u64, n: u64, confidence: f64) -> Option<()> {
    (n > 0 && failures <= n && confidence > 0.0 && confidence < 1.0).then_some(())
}

/// Counts here are far below 2^53, where they are exact.
#[allow(clippy::cast_precision_loss)]
fn as_f64(count: u64) -> f64 {
    count as f64
}
