//! Changes of mean or variance: PELT's pruning, and a dual bound for the stretches
//! without a change, in which PELT prunes nothing.
//!
//! The cost of a segment is a minimum over the distribution's parameters of a sum over
//! its readings. So a candidate s can be dropped for good as soon as, for every
//! parameter, either another candidate r or a new segment beginning here costs no more.
//! That is so where the least of s, over the parameters for which s costs no more than
//! r, lies above the level of a new segment; and by weak duality each value of
//! min over the parameters of (s + m (s - r)), m >= 0, bounds that least from below (the
//! idea of DUST, Truong and Runge 2024, which holds for every exponential family). A
//! bound that is not tight keeps a candidate that could go: the optimum stays exact.
//!
//! What holds of the time: linear in the length where changes come at a rate, as in PELT.
//! Without any change the bound thins the candidates several times, but their number
//! still grows with the length, and the time with its square: 20,000 such readings take
//! about as long as 1,000,000 take with the cost of the mean alone.

use super::sums::Moments;
use super::{Partition, Unfit, check, trace};

/// A candidate for the last change.
#[derive(Clone, Copy)]
struct Candidate {
    /// So many readings lie before its segment.
    from: usize,
    /// Least cost up to there, with the penalty of the change.
    level: f64,
    sums: Moments,
    /// It can be no part of an optimum of this length or more.
    until: usize,
}

/// n (log v + 1): what readings with this variance cost. The optimum is told without
/// the n; with it, it is the minimum that the bound rests on.
#[inline]
fn cost(count: f64, variance: f64) -> f64 {
    count * (variance.ln() + 1.0)
}

/// The exact optimum of n log(v + floor) over the segments plus `penalty` for each change,
/// v being a segment's variance about its mean (divisor n) and `floor` the variance that
/// the instrument's resolution alone makes: without it a segment of equal readings would
/// cost minus infinity. No segment is shorter than `least` (less than 2 counts as 2).
pub fn mean_and_variance(values: &[f64], floor: f64, penalty: f64, least: usize) -> Result<Partition, Unfit> {
    let least = least.max(2);
    check(values, penalty, least)?;
    let floor = if floor > 0.0 { floor } else { f64::MIN_POSITIVE };
    let sums = Moments::along(values);
    let length = values.len();
    let mut best = vec![f64::INFINITY; length + 1];
    let mut last = vec![0; length + 1];
    // So that n segments pay for n - 1 changes.
    best[0] = -penalty;
    let mut standing: Vec<Candidate> = Vec::new();
    let mut costs: Vec<f64> = Vec::new();
    let (mut most, mut due) = (0, 16);
    for here in least..=length {
        let new = here - least;
        if best[new].is_finite() {
            standing.push(Candidate { from: new, level: best[new] + penalty, sums: sums[new], until: usize::MAX });
        }
        most = most.max(standing.len());
        let at = &sums[here];
        costs.clear();
        costs.extend(standing.iter().map(|candidate| {
            let (count, _, squares) = at.since(&candidate.sums);
            candidate.level + cost(count, squares / count + floor)
        }));
        let Some((first, least_cost)) = costs.iter().copied().enumerate().min_by(|a, b| a.1.total_cmp(&b.1)) else { continue };
        let Some(leading) = standing.get(first).copied() else { continue };
        (best[here], last[here]) = (least_cost, leading.from);
        // What is found out here holds for segments that a new one, beginning here, can
        // stand in for: from `here + least` on.
        let level = least_cost + penalty;
        let thorough = standing.len() >= due;
        for (candidate, total) in standing.iter_mut().zip(&costs).filter(|(c, _)| c.until == usize::MAX) {
            if *total > level || (thorough && dominated(candidate, &leading, at, level, floor)) {
                candidate.until = here + least;
            }
        }
        standing.retain(|c| c.until > here + 1);
        if thorough {
            due = standing.iter().filter(|c| c.until == usize::MAX).count() * 5 / 4 + 16;
        }
    }
    Ok(trace(&last, best[length] - length as f64, most))
}

/// Whether a bound shows that `leading`, which begins earlier, and a new segment at
/// `level` together cost no more than `candidate`, whatever the parameters.
fn dominated(candidate: &Candidate, leading: &Candidate, at: &Moments, level: f64, floor: f64) -> bool {
    if leading.from >= candidate.from {
        return false;
    }
    let (n, mean, squares) = at.since(&candidate.sums);
    let (n0, mean0, squares0) = candidate.sums.since(&leading.sums);
    let (second, second0) = (squares / n + mean * mean + floor, squares0 / n0 + mean0 * mean0 + floor);
    // The multiplier m is `share` n / n0: of n readings the weight 1 - share is left.
    let bound = |share: f64| {
        let weight = 1.0 - share;
        let middle = (mean - share * mean0) / weight;
        let variance = (second - share * second0) / weight - middle * middle;
        if variance <= 0.0 {
            return f64::NEG_INFINITY;
        }
        candidate.level + share * n / n0 * (candidate.level - leading.level) + cost(weight * n, variance)
    };
    // Golden section: the bound is concave in the multiplier.
    const GOLDEN: f64 = 0.381_966_011_250_105;
    let (mut low, mut high) = (0.0, 1.0);
    let (mut left, mut right) = (GOLDEN, 1.0 - GOLDEN);
    let (mut at_left, mut at_right) = (bound(left), bound(right));
    for _ in 0..10 {
        if at_left.max(at_right) > level {
            return true;
        }
        if at_left >= at_right {
            (high, right, at_right) = (right, left, at_left);
            left = low + GOLDEN * (high - low);
            at_left = bound(left);
        } else {
            (low, left, at_left) = (left, right, at_right);
            right = high - GOLDEN * (high - low);
            at_right = bound(right);
        }
    }
    false
}
