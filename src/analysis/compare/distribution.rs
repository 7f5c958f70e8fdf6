//! Whether two sets of values come of one distribution: Smirnov's exact test.

/// The largest distance between two cumulative distributions, and the chance of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Distance {
    /// The largest difference of the shares at or below a value.
    pub largest: f64,
    /// The chance of one as large, or larger, were the distributions the same.
    pub chance: f64,
}

/// Up to so many paths through both sets the chance is counted; beyond it is Kolmogorov's
/// limit, which is off by less than a thousandth there.
const COUNTED: usize = 4_000_000;

/// Compares two sets (Smirnov 1939; the chance by counting paths, Hodges 1957, Arkiv för
/// Matematik 3:469). Where values tie, the chance is too large rather than too small.
/// `None` where a set is empty or holds what is no number.
pub fn distance(a: &[f64], b: &[f64]) -> Option<Distance> {
    if a.is_empty() || b.is_empty() || a.iter().chain(b).any(|v| v.is_nan()) {
        return None;
    }
    let sorted = |values: &[f64]| {
        let mut values = values.to_vec();
        values.sort_by(f64::total_cmp);
        values
    };
    let (a, b) = (sorted(a), sorted(b));
    let (n, m) = (a.len() as u64, b.len() as u64);
    // In whole steps of 1 / (n m), so that a distance is reached or not without rounding.
    let (mut i, mut j, mut most) = (0_u64, 0_u64, 0_u64);
    while let (Some(x), Some(y)) = (a.get(i as usize), b.get(j as usize)) {
        let here = x.min(*y);
        while a.get(i as usize).is_some_and(|v| *v <= here) {
            i += 1;
        }
        while b.get(j as usize).is_some_and(|v| *v <= here) {
            j += 1;
        }
        most = most.max((i * m).abs_diff(j * n));
    }
    let largest = most as f64 / (n as f64 * m as f64);
    let chance = if a.len().saturating_mul(b.len()) <= COUNTED { counted(n, m, most) } else { limit(n, m, largest) };
    Some(Distance { largest, chance: chance.clamp(0.0, 1.0) })
}

/// The share of all paths from (0, 0) to (n, m) that come as far as `most` from the diagonal.
fn counted(n: u64, m: u64, most: u64) -> f64 {
    if most == 0 {
        return 1.0;
    }
    // The chance that a random path, uniform over all, has not come so far when it stands
    // at (i, j): it comes there from (i - 1, j) with chance i / (i + j), else from (i, j - 1).
    let stays = |i: u64, j: u64| (i * m).abs_diff(j * n) < most;
    let mut row: Vec<f64> = Vec::with_capacity(m as usize + 1);
    for j in 0..=m {
        let before = row.last().copied().unwrap_or(1.0);
        row.push(if stays(0, j) { before } else { 0.0 });
    }
    for i in 1..=n {
        let mut left = 0.0;
        for (j, here) in (0..=m).zip(row.iter_mut()) {
            let share = i as f64 / (i + j) as f64;
            let inside = share * *here + (1.0 - share) * left;
            *here = if stays(i, j) { inside } else { 0.0 };
            left = *here;
        }
    }
    1.0 - row.last().copied().unwrap_or(0.0)
}

/// Kolmogorov's limit distribution.
fn limit(n: u64, m: u64, largest: f64) -> f64 {
    let (n, m) = (n as f64, m as f64);
    let z = largest * (n * m / (n + m)).sqrt();
    if z < 0.2 {
        return 1.0;
    }
    2.0 * (1..=100).map(f64::from).map(|k| if k % 2.0 == 1.0 { 1.0 } else { -1.0 } * (-2.0 * k * k * z * z).exp()).sum::<f64>()
}
