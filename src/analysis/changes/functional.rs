//! Changes of the mean, by functional pruning (FPOP: Maidstone, Hocking, Rigaill and
//! Fearnhead, Statistics and Computing 27, 2017).
//!
//! For each mean that the segment in hand could have, the best candidate for its
//! beginning is known; a candidate that is best for no mean can never become it, since
//! every further reading adds the same to all. The line of means is kept as pieces from
//! left to right, each with its candidate. Without any change the pieces stay about
//! as many as the logarithm of the length, so that the time is close to linear whether
//! there are changes or not.

use super::sums::Moments;
use super::{Partition, Unfit, check, trace};

/// A span of means for which one candidate is best.
#[derive(Clone, Copy)]
struct Piece {
    low: f64,
    high: f64,
    /// The candidate: so many readings lie before its segment.
    from: usize,
}

/// The exact optimum of the sum of squares about each segment's mean plus `penalty` for
/// each change; in the square of the values' unit. No segment is shorter than `least`
/// (0 counts as 1).
pub fn mean(values: &[f64], penalty: f64, least: usize) -> Result<Partition, Unfit> {
    let least = least.max(1);
    check(values, penalty, least)?;
    let sums = Moments::along(values);
    let length = values.len();
    // The least cost up to each length, and where its last segment begins. What is
    // shorter than a segment has none.
    let mut best = vec![f64::INFINITY; length + 1];
    let mut last = vec![0; length + 1];
    let mut pieces: Vec<Piece> = Vec::new();
    let mut spare: Vec<Piece> = Vec::new();
    let mut most = 0;
    // So that the first segment, too, pays: the penalty of no change is none.
    best[0] = -penalty;
    for here in least..=length {
        let new = here - least;
        let level = best[new] + penalty;
        if level.is_finite() {
            insert(&mut pieces, &mut spare, new, level, &sums, &best, penalty);
            most = most.max(pieces.len());
        }
        let at = &sums[here];
        let mut least_cost = f64::INFINITY;
        let mut least_from = 0;
        for piece in &pieces {
            let (_, _, squares) = at.since(&sums[piece.from]);
            let cost = best[piece.from] + penalty + squares;
            if cost < least_cost {
                (least_cost, least_from) = (cost, piece.from);
            }
        }
        (best[here], last[here]) = (least_cost, least_from);
    }
    Ok(trace(&last, best[length], most))
}

/// Puts the candidate `new`, whose cost at its own beginning is `level` for every mean,
/// wherever the one before costs more there.
fn insert(pieces: &mut Vec<Piece>, spare: &mut Vec<Piece>, new: usize, level: f64, sums: &[Moments], best: &[f64], penalty: f64) {
    spare.clear();
    if pieces.is_empty() {
        pieces.push(Piece { low: f64::NEG_INFINITY, high: f64::INFINITY, from: new });
        return;
    }
    let at = &sums[new];
    let fresh = |low: f64, high: f64, into: &mut Vec<Piece>| match into.last_mut() {
        Some(before) if before.from == new => before.high = high,
        _ => into.push(Piece { low, high, from: new }),
    };
    for piece in pieces.iter() {
        let (count, mean, squares) = at.since(&sums[piece.from]);
        let room = level - (best[piece.from] + penalty + squares);
        if room <= 0.0 {
            fresh(piece.low, piece.high, spare);
            continue;
        }
        let half = (room / count).sqrt();
        let (low, high) = (piece.low.max(mean - half), piece.high.min(mean + half));
        if low >= high {
            fresh(piece.low, piece.high, spare);
            continue;
        }
        if low > piece.low {
            fresh(piece.low, low, spare);
        }
        spare.push(Piece { low, high, from: piece.from });
        if high < piece.high {
            fresh(high, piece.high, spare);
        }
    }
    std::mem::swap(pieces, spare);
}
