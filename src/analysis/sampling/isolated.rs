//! The plan of a lot that stands alone, computed from its size: no series stands
//! behind it, so what counts is the worst lot that must not slip through.
//!
//! The idea of limiting quality is ISO 2859-2's; the samples here are the least that
//! keep the risk, by the hypergeometric distribution, and not those of its tables,
//! which are rounded to preferred sizes.

use super::Plan;

/// Bad parts of a lot at this share of it: the fewest that reach the share, at least one.
///
/// `None` where the share is none, or the lot empty.
pub fn bad_parts(lot: u64, share: f64) -> Option<u64> {
    if lot == 0 || !(share > 0.0 && share <= 1.0) {
        return None;
    }
    // 5 % of 20 is one part, though 0.05 × 20 may come out a little above it.
    #[allow(clippy::cast_precision_loss, reason = "lots are far below 2^53")]
    let parts = (share * lot as f64 - 1e-9).ceil().max(1.0);
    Some(parts as u64)
}

/// The least sample with which a lot of `lot` parts, `bad` of them bad, is accepted
/// with a chance of at most `risk`, where `accept` bad ones are allowed.
///
/// `None` where even the whole lot would be accepted, or the values are none.
pub fn least_sample(lot: u64, bad: u64, accept: u64, risk: f64) -> Option<Plan> {
    if bad <= accept || bad > lot || !(risk > 0.0 && risk < 1.0) {
        return None;
    }
    // A chance that is the risk itself, 2 of 20 parts unseen at 10 %, may come out a little above it.
    let holds = |sample: u64| Plan { sample, accept }.passes_lot(bad, lot).is_some_and(|chance| chance <= risk * (1.0 + 1e-9));
    // The chance falls with the sample, and is nought where all of the lot is inspected.
    let (mut low, mut high) = (accept, lot);
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if holds(middle) { high = middle } else { low = middle }
    }
    Some(Plan { sample: high, accept })
}

/// The same with as many bad ones allowed as it takes for a good lot, with `good` bad
/// parts, to be refused with a chance of at most `refused`.
///
/// `None` where no plan keeps both but to inspect all of it with `good` allowed.
pub fn both_risks(lot: u64, bad: u64, risk: f64, good: u64, refused: f64) -> Option<Plan> {
    (0..bad.min(lot))
        .map_while(|accept| least_sample(lot, bad, accept, risk))
        .find(|plan| plan.passes_lot(good, lot).is_some_and(|chance| 1.0 - chance <= refused))
}
