//! Intervals of a level's share, mean and spread.
//!
//! Where a level is one component, by the information that the readings carry about the
//! mixture's parameters, their overlap included: the sum of squares of the scores
//! (McLachlan and Peel, Finite Mixture Models, 2000, section 2.15). A level of several
//! components, and one whose information is singular, has the intervals of readings that
//! are sorted without doubt: Student's t, chi-square, Wilson.

use super::CONFIDENCE;
use super::choose::{Candidate, Group};
use super::mixture::{Component, Spreads, Weighted};
use crate::analysis::numeric::distribution::{Chance, chi_square_at, normal_at, student_t_two_sided};

/// Intervals on the mixture's scale; the share is of the readings above the floor.
pub(super) struct Spans {
    pub(super) mean: (f64, f64),
    pub(super) spread: (f64, f64),
    pub(super) share: (f64, f64),
}

/// Wilson's score interval of a share (JASA 22, 1927).
pub(super) fn share(readings: f64, total: f64) -> (f64, f64) {
    let z = normal_at(Chance::Above((1.0 - CONFIDENCE) / 2.0)).unwrap_or(1.96);
    let p = readings / total;
    let middle = (p + z * z / (2.0 * total)) / (1.0 + z * z / total);
    let half = z / (1.0 + z * z / total) * (p * (1.0 - p) / total + z * z / (4.0 * total * total)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

/// As if every reading were known to belong to its level.
fn sorted(whole: &Component, above: f64) -> Spans {
    let n = (whole.share * above).max(2.0);
    let sd = whole.variance.sqrt();
    let dof = n - 1.0;
    let half = student_t_two_sided(CONFIDENCE, dof).unwrap_or(f64::INFINITY) * sd / n.sqrt();
    let tail = (1.0 - CONFIDENCE) / 2.0;
    let part = |chance| chi_square_at(chance, dof).map_or(f64::NAN, |x| sd * (n / x).sqrt());
    Spans {
        mean: (whole.mean - half, whole.mean + half),
        spread: (part(Chance::Above(tail)), part(Chance::Below(tail))),
        share: share(whole.share * above, above),
    }
}

/// The intervals of a level.
pub(super) fn of(candidate: &Candidate, group: &Group, above: f64, points: &[Weighted]) -> Spans {
    let plain = sorted(&group.whole, above);
    let &[member] = group.members.as_slice() else { return plain };
    if candidate.mixture.components.len() < 2 {
        return plain;
    }
    let sd = group.whole.variance.sqrt();
    // Readings that are all but equal say nothing of the mixture's curvature: an error of the
    // mean above the spread is none of theirs.
    let known = |(mean, log_spread, logit): &(f64, f64, f64)| *mean <= sd && *log_spread <= 1.0 && *logit <= 10.0;
    information(candidate, member, points).filter(known).map_or(plain, |(mean, log_spread, logit)| {
        // As wide as with the readings sorted, at least; what the overlap adds comes from here.
        let t = student_t_two_sided(CONFIDENCE, (group.whole.share * above - 1.0).max(1.0)).unwrap_or(1.96);
        let share = group.whole.share.clamp(1e-12, 1.0 - 1e-12);
        let place = (share / (1.0 - share)).ln();
        let back = |x: f64| 1.0 / (1.0 + (-x).exp());
        Spans {
            mean: (group.whole.mean - t * mean, group.whole.mean + t * mean),
            spread: (sd * (-t * log_spread).exp(), sd * (t * log_spread).exp()),
            share: (back(place - t * logit), back(place + t * logit)),
        }
    })
}

/// Standard errors of a component's mean, of its spread's logarithm and of its share's
/// logit.
fn information(candidate: &Candidate, member: usize, points: &[Weighted]) -> Option<(f64, f64, f64)> {
    let parts = &candidate.mixture.components;
    let common = candidate.wanted.spreads == Spreads::Common;
    let k = parts.len();
    let spreads = if common { 1 } else { k };
    // Means, log spreads, and the logits of the shares against the last component.
    let size = k + spreads + (k - 1);
    let mut sum = vec![vec![0.0; size]; size];
    let stray = candidate.mixture.stray * candidate.mixture.stray_density;
    for point in points {
        let at = candidate.scale.place(point.at);
        let densities: Vec<f64> = parts.iter().map(|c| c.log_density(at).exp()).collect();
        let whole: f64 = densities.iter().sum::<f64>() + stray;
        if whole <= 0.0 || !whole.is_finite() {
            continue;
        }
        let kept: f64 = 1.0 - stray / whole;
        let mut score = vec![0.0; size];
        for (j, (part, density)) in parts.iter().zip(&densities).enumerate() {
            let belongs = density / whole;
            let away = at - part.mean;
            *score.get_mut(j)? += belongs * away / part.variance;
            *score.get_mut(k + if common { 0 } else { j })? += belongs * (away * away / part.variance - 1.0);
            if j + 1 < k {
                let share = part.share / (1.0 - candidate.mixture.stray);
                *score.get_mut(k + spreads + j)? += belongs - kept * share;
            }
        }
        for (row, a) in sum.iter_mut().zip(&score) {
            for (cell, b) in row.iter_mut().zip(&score) {
                *cell += point.weight * a * b;
            }
        }
    }
    let inverse = inverted(sum)?;
    let variance = |i: usize| inverse.get(i).and_then(|r| r.get(i)).copied().filter(|v| *v > 0.0 && v.is_finite());
    let mean = variance(member)?.sqrt();
    let log_spread = variance(k + if common { 0 } else { member })?.sqrt();
    // The share of one component: by the delta method from all logits.
    let share = |j: usize| parts.get(j).map_or(0.0, |c| c.share);
    let own = share(member);
    let mut of_share = 0.0;
    for a in 0..k - 1 {
        for b in 0..k - 1 {
            let cell = inverse.get(k + spreads + a).and_then(|r| r.get(k + spreads + b)).copied()?;
            let slope = |j: usize| own * (f64::from(u8::from(j == member)) - share(j));
            of_share += slope(a) * slope(b) * cell;
        }
    }
    let logit = of_share.max(0.0).sqrt() / (own * (1.0 - own));
    Some((mean, log_spread, logit))
}

/// Inverse by Gauss and Jordan with pivots; `None` where singular.
fn inverted(mut a: Vec<Vec<f64>>) -> Option<Vec<Vec<f64>>> {
    let n = a.len();
    // Rows and columns to a diagonal of one, so that pivots compare.
    let scale: Vec<f64> = (0..n).map(|i| a.get(i).and_then(|r| r.get(i)).map_or(0.0, |d| d.sqrt())).collect();
    if scale.iter().any(|s| *s <= 0.0 || !s.is_finite()) {
        return None;
    }
    for (row, si) in a.iter_mut().zip(&scale) {
        for (cell, sj) in row.iter_mut().zip(&scale) {
            *cell /= si * sj;
        }
    }
    let mut b: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    for i in 0..n {
        let pivot = (i..n).max_by(|x, y| a[*x][i].abs().total_cmp(&a[*y][i].abs()))?;
        if a[pivot][i].abs() < 1e-10 {
            return None;
        }
        a.swap(i, pivot);
        b.swap(i, pivot);
        let d = a[i][i];
        a[i].iter_mut().chain(b[i].iter_mut()).for_each(|x| *x /= d);
        for r in (0..n).filter(|r| *r != i) {
            let f = a[r][i];
            for c in 0..n {
                let (x, y) = (a[i][c], b[i][c]);
                a[r][c] -= f * x;
                b[r][c] -= f * y;
            }
        }
    }
    for (row, si) in b.iter_mut().zip(&scale) {
        for (cell, sj) in row.iter_mut().zip(&scale) {
            *cell /= si * sj;
        }
    }
    Some(b)
}
