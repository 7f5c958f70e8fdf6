//! Comparing two groups without assuming how their values are spread.

use super::numeric::distribution::normal;

/// The median; `None` of nothing.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => sorted.get(n / 2).copied(),
        _ => Some(0.5 * (sorted.get(n / 2 - 1)? + sorted.get(n / 2)?)),
    }
}

/// Mann and Whitney's test, two-sided, by the normal approximation with the
/// corrections for ties and continuity (Mann and Whitney 1947). `None` where a
/// group has fewer than 4 values, or all values are the same: too little to say.
pub fn mann_whitney(first: &[f64], second: &[f64]) -> Option<f64> {
    let (n1, n2) = (first.len() as f64, second.len() as f64);
    if first.len() < 4 || second.len() < 4 {
        return None;
    }
    let mut all: Vec<(f64, bool)> = first.iter().map(|v| (*v, true)).chain(second.iter().map(|v| (*v, false))).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut rank_sum, mut ties, mut at) = (0.0, 0.0, 0);
    for group in all.chunk_by(|a, b| a.0 == b.0) {
        let t = group.len() as f64;
        let rank = at as f64 + (t + 1.0) / 2.0;
        rank_sum += rank * group.iter().filter(|(_, first)| *first).count() as f64;
        ties += t * t * t - t;
        at += group.len();
    }
    let n = n1 + n2;
    let u = rank_sum - n1 * (n1 + 1.0) / 2.0;
    let variance = n1 * n2 / 12.0 * ((n + 1.0) - ties / (n * (n - 1.0)));
    if variance <= 0.0 {
        return None;
    }
    let z = ((u - n1 * n2 / 2.0).abs() - 0.5).max(0.0) / variance.sqrt();
    Some((2.0 * normal(z)?.above).min(1.0))
}
