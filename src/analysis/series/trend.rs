//! A slow rise or fall: Mann and Kendall's test, and the slope of Theil and Sen.
//!
//! Both use order alone, so that a few wild readings do not matter. Readings that hang
//! together make a trend seem surer than it is: the test's variance is corrected by the
//! autocorrelation of the ranks (Hamed and Rao, J. Hydrol. 204, 1998).

use crate::analysis::numeric::distribution::{Chance, normal, normal_at};

/// A trend.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Kendall's S: pairs that rise less pairs that fall.
    pub s: f64,
    /// Its variance without autocorrelation, ties counted.
    pub variance: f64,
    /// By so much the autocorrelation of the ranks widens it; at least 1.
    pub widened: f64,
    /// Chance of so large an S without a trend, two-sided, with the widened variance.
    pub p: f64,
    /// Median of the slopes of all pairs: units of the value for one of time.
    pub slope: f64,
    /// Its interval, widened alike.
    pub within: (f64, f64),
    /// Points that it rests on: readings, or medians of blocks of them.
    pub points: usize,
}

/// More points than this are first taken together in blocks of equal count, each by its
/// medians: the pairs grow with the square.
pub const MOST_POINTS: usize = 600;

/// S and its variance with ties: (n (n-1) (2n+5) - sum t (t-1) (2t+5)) / 18 (Kendall,
/// Rank Correlation Methods, 1975).
pub fn kendall(values: &[f64]) -> (f64, f64) {
    let mut s = 0.0;
    for (index, a) in values.iter().enumerate() {
        for b in values.iter().skip(index + 1) {
            s += f64::from(i8::from(b > a) - i8::from(b < a));
        }
    }
    let n = values.len() as f64;
    let term = |t: f64| t * (t - 1.0) * (2.0 * t + 5.0);
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let ties: f64 = sorted.chunk_by(|a, b| a == b).map(|t| term(t.len() as f64)).sum();
    (s, (term(n) - ties) / 18.0)
}

/// Two-sided chance of S, with the continuity correction of one.
pub fn chance(s: f64, variance: f64) -> f64 {
    if variance <= 0.0 || s == 0.0 {
        return 1.0;
    }
    let z = (s.abs() - 1.0) / variance.sqrt();
    normal(z).map_or(1.0, |t| (2.0 * t.above).min(1.0))
}

/// The trend of values at times in order, with the interval at `confidence`. `None` for
/// fewer than four, or where all times are the same.
pub fn trend(points: &[(f64, f64)], confidence: f64) -> Option<Trend> {
    let points = blocks(points, MOST_POINTS);
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (index, (t, x)) in points.iter().enumerate() {
        slopes.extend(points.iter().skip(index + 1).filter(|(u, _)| u > t).map(|(u, y)| (y - x) / (u - t)));
    }
    if points.len() < 4 || slopes.is_empty() || slopes.iter().any(|s| !s.is_finite()) {
        return None;
    }
    slopes.sort_by(f64::total_cmp);
    let count = slopes.len();
    let slope = (slopes.get((count - 1) / 2)? + slopes.get(count / 2)?) / 2.0;
    let values: Vec<f64> = points.iter().map(|p| p.1).collect();
    let (s, variance) = kendall(&values);
    let rest: Vec<f64> = points.iter().map(|(t, x)| x - slope * t).collect();
    let widened = hamed_rao(&rest);
    // Sen, JASA 63, 1968: of N slopes the (N - C)/2th and the ((N + C)/2 + 1)th, counted from 1.
    let z = normal_at(Chance::Above((1.0 - confidence) / 2.0))?;
    let reach = z * (variance * widened).sqrt();
    let rank = |at: f64| at.round_ties_even().clamp(0.0, count as f64 - 1.0) as usize;
    let low = rank(((count as f64 - reach) / 2.0).round_ties_even() - 1.0);
    let high = rank((count as f64 + reach) / 2.0);
    Some(Trend {
        s,
        variance,
        widened,
        p: chance(s, variance * widened),
        slope,
        within: (*slopes.get(low)?, *slopes.get(high)?),
        points: points.len(),
    })
}

/// At most so many points: medians of times and values of blocks of equal count.
fn blocks(points: &[(f64, f64)], most: usize) -> Vec<(f64, f64)> {
    let size = points.len().div_ceil(most.max(1)).max(1);
    let median = |mut v: Vec<f64>| {
        v.sort_by(f64::total_cmp);
        v.get(v.len() / 2).copied().unwrap_or(f64::NAN)
    };
    points
        .chunks(size)
        .map(|block| (median(block.iter().map(|p| p.0).collect()), median(block.iter().map(|p| p.1).collect())))
        .collect()
}

/// By how much autocorrelation widens the variance of S: 1 + 2 / (n (n-1) (n-2)) times the
/// sum of (n-i) (n-i-1) (n-i-2) r(i) over the lags i whose r of the ranks, the trend taken
/// off, differs from nought at 95 %. Not below 1: what seems to help is not believed.
pub fn hamed_rao(rest: &[f64]) -> f64 {
    let n = rest.len() as f64;
    let ranks = ranks(rest);
    let mean = ranks.iter().sum::<f64>() / n;
    let about: Vec<f64> = ranks.iter().map(|r| r - mean).collect();
    let whole: f64 = about.iter().map(|a| a * a).sum();
    if whole <= 0.0 || rest.len() < 4 {
        return 1.0;
    }
    let bound = 1.959_963_984_540_054 / n.sqrt();
    let sum: f64 = (1..rest.len())
        .map(|lag| {
            let r = about.iter().zip(about.iter().skip(lag)).map(|(a, b)| a * b).sum::<f64>() / whole;
            let i = lag as f64;
            if r.abs() > bound { (n - i) * (n - i - 1.0) * (n - i - 2.0) * r } else { 0.0 }
        })
        .sum();
    (1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * sum).max(1.0)
}

/// Ranks from 1, ties by their mean.
fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    let value = |i: &usize| values.get(*i).copied().unwrap_or(f64::NAN);
    order.sort_by(|a, b| value(a).total_cmp(&value(b)));
    let mut made = vec![0.0; values.len()];
    let mut before = 0;
    for tied in order.chunk_by(|a, b| value(a) == value(b)) {
        let rank = before as f64 + (tied.len() as f64 + 1.0) / 2.0;
        for index in tied {
            if let Some(slot) = made.get_mut(*index) {
                *slot = rank;
            }
        }
        before += tied.len();
    }
    made
}
