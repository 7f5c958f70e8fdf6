//! Before and after: Fisher's exact test.

use super::as_f64;
use crate::analysis::numeric::distribution::{hypergeometric, hypergeometric_chance};

/// Fisher's exact test of two counts (Fisher 1935, Statistical Methods, 21.02).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fisher {
    /// The chance of as few failures in the second group, or fewer, had nothing changed.
    pub fewer: f64,
    /// The chance of as many, or more.
    pub more: f64,
    /// The chance of a table that is as unlikely as this one, or less likely.
    pub two_sided: f64,
    /// The odds of failing in the first group over those in the second, estimated given
    /// the margins (conditional maximum likelihood): 0 or infinite at the ends. Another
    /// figure than the ratio of the odds as counted.
    pub odds_ratio: f64,
}

/// Compares failures of starts before with those after: `(failed, all)` each. `None`
/// where a group is empty, has more failures than starts, or where nothing failed or
/// nothing was good: then there is nothing to compare.
pub fn fisher(before: (u64, u64), after: (u64, u64)) -> Option<Fisher> {
    let table = Table::of(before, after)?;
    let weights = table.weights();
    let sum = |keep: &dyn Fn(u64, f64) -> bool| -> f64 {
        let kept = (table.least..).zip(&weights).filter(|(i, w)| keep(*i, **w)).map(|(_, w)| *w);
        kept.sum::<f64>().min(1.0)
    };
    let seen = after.0;
    let here = (table.least..).zip(&weights).find(|(i, _)| *i == seen).map_or(0.0, |(_, w)| *w);
    // Tables that are equally likely differ by rounding alone.
    let (fewer, more) = (sum(&|i, _| i <= seen), sum(&|i, _| i >= seen));
    let two_sided = sum(&|_, w| w <= here * (1.0 + 1e-7));
    (weights.len() > 1).then(|| Fisher { fewer, more, two_sided, odds_ratio: table.odds_ratio(seen) })
}

/// One-sided: the chance of as few failures after as were seen (or fewer), had
/// nothing changed.
pub fn chance_unchanged(before: (u64, u64), after: (u64, u64)) -> Option<f64> {
    let table = Table::of(before, after)?;
    Some(hypergeometric(after.0, table.second, table.failures, table.first + table.second)?.below)
}

/// More starts than anybody makes.
const MOST: u64 = 1 << 24;

/// The least number of starts after, with `failed` failures among them, that would show at
/// this confidence that fewer fail than before.
pub fn starts_after_needed(before: (u64, u64), failed: u64, confidence: f64) -> Option<u64> {
    let shows = |n: u64| chance_unchanged(before, (failed, n)).is_some_and(|chance| chance <= 1.0 - confidence);
    least(failed.max(1), shows)
}

/// The least number from `from` on that shows, where every larger one shows as well.
pub fn least(from: u64, shows: impl Fn(u64) -> bool) -> Option<u64> {
    let (mut low, mut high) = (from, from);
    while !shows(high) {
        low = high;
        high = high.checked_mul(2).filter(|n| *n < MOST)?;
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if shows(middle) { high = middle } else { low = middle }
    }
    Some(high)
}

/// Two groups with their margins kept: how many of the failures may lie in the second.
struct Table {
    first: u64,
    second: u64,
    failures: u64,
    least: u64,
    most: u64,
}

impl Table {
    fn of((a, first): (u64, u64), (b, second): (u64, u64)) -> Option<Self> {
        if a > first || b > second || first == 0 || second == 0 {
            return None;
        }
        let failures = a + b;
        Some(Self { first, second, failures, least: failures.saturating_sub(first), most: failures.min(second) })
    }

    /// The probability of each count in the second group, from `least` on.
    fn weights(&self) -> Vec<f64> {
        let chance = |i| hypergeometric_chance(i, self.second, self.failures, self.first + self.second);
        (self.least..=self.most).map(|i| chance(i).unwrap_or(0.0)).collect()
    }

    /// The odds ratio under which the expected count in the first group is the one seen.
    fn odds_ratio(&self, seen: u64) -> f64 {
        if seen == self.least {
            return f64::INFINITY;
        }
        if seen == self.most {
            return 0.0;
        }
        // Logarithms of the weights by the ratio of neighbours: far from the likeliest
        // table the weights themselves are too small for a number.
        let (n1, n2, k) = (as_f64(self.first), as_f64(self.second), as_f64(self.failures));
        let ratio = |i: f64| (k - i) * (n2 - i) / ((i + 1.0) * (n1 - k + i + 1.0));
        let mut weights = vec![0.0];
        let mut log = 0.0;
        for i in self.least..self.most {
            log += ratio(as_f64(i)).ln();
            weights.push(log);
        }
        // With the odds of the second group theta times those of the first, each weight is
        // multiplied by theta^i; the expected count rises with theta.
        let excess = |log_theta: f64| {
            let logs: Vec<f64> = (self.least..).zip(&weights).map(|(i, w)| w + as_f64(i) * log_theta).collect();
            let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let (sum, moment) = (self.least..)
                .zip(&logs)
                .fold((0.0, 0.0), |(s, m), (i, l)| (s + (l - top).exp(), m + as_f64(i) * (l - top).exp()));
            moment / sum - as_f64(seen)
        };
        let (mut low, mut high) = (-50.0_f64, 50.0_f64);
        for _ in 0..120 {
            let middle = 0.5 * (low + high);
            if excess(middle) < 0.0 { low = middle } else { high = middle }
        }
        (-0.5 * (low + high)).exp()
    }
}
