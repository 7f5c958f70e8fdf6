//! Change points of a series: the partition into segments whose cost, with a penalty
//! for each change, is the least of all partitions. The optimum is exact.
//!
//! Two costs. [`mean`]: the level changes and the spread does not; sum of squares
//! about the segment's mean. [`mean_and_variance`]: either may change; minus twice the
//! log-likelihood of a normal distribution, without its constants.
//!
//! Index convention, everywhere: a change is the index of **the first reading of the
//! next segment**, from 0. So the Nile's break after 1898, its 28th reading, is 28.
//!
//! Both search by the recursion of optimal partitioning (Jackson et al., IEEE Signal
//! Process. Lett. 12, 2005) and differ from PELT (Killick, Fearnhead and Eckley,
//! JASA 107, 2012) in what they prune by: PELT prunes only behind a change, and takes
//! a time that grows with the square of the length where there is none.

mod dual;
mod functional;
mod penalty;
mod sums;

pub use dual::mean_and_variance;
pub use functional::mean;
pub use penalty::{MOST, Noise, TIMES_LOG, noise, penalty};

/// An optimal partition.
#[derive(Clone, Debug, PartialEq)]
pub struct Partition {
    /// First reading of each segment but the first, rising.
    pub changes: Vec<usize>,
    /// Cost of all segments and the penalty of all changes.
    pub cost: f64,
    /// The most candidates for the last change that stood at one time: what a step took.
    pub candidates: usize,
}

impl Partition {
    /// The segments, as spans of indices, of a series of so many readings.
    pub fn segments(&self, length: usize) -> Vec<std::ops::Range<usize>> {
        let ends = self.changes.iter().copied().chain([length]);
        let mut from = 0;
        ends.map(|to| std::mem::replace(&mut from, to)..to).collect()
    }
}

/// Why there is no partition.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum Unfit {
    /// A value is not a finite number.
    #[error("reading {0} is not a finite number")]
    NotFinite(usize),
    /// The penalty must be above zero and finite.
    #[error("the penalty must be a finite number above zero")]
    Penalty,
    /// Fewer readings than one segment takes.
    #[error("fewer readings than one segment takes")]
    TooShort,
}

/// Checks what both searches ask for. `least` is the least length of a segment.
fn check(values: &[f64], penalty: f64, least: usize) -> Result<(), Unfit> {
    if !(penalty > 0.0 && penalty.is_finite()) {
        return Err(Unfit::Penalty);
    }
    if let Some(index) = values.iter().position(|v| !v.is_finite()) {
        return Err(Unfit::NotFinite(index));
    }
    if values.is_empty() || values.len() < least {
        return Err(Unfit::TooShort);
    }
    Ok(())
}

/// From the last change before each length back to the first.
fn trace(last: &[usize], cost: f64, candidates: usize) -> Partition {
    let mut changes = Vec::new();
    let mut at = last.len().saturating_sub(1);
    while let Some(before) = last.get(at).copied().filter(|b| *b > 0) {
        changes.push(before);
        at = before;
    }
    changes.reverse();
    Partition { changes, cost, candidates }
}

#[cfg(test)]
pub(in crate::analysis) mod tests;
