//! Do failures come in clusters? The number of runs of equal outcomes (Wald and
//! Wolfowitz 1940; exact chances as tabled by Swed and Eisenhart 1943).

use crate::analysis::numeric::distribution::normal;
use statrs::function::gamma::ln_gamma;

/// Runs of a sequence of failed and good starts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Runs {
    /// How many runs there are.
    pub runs: u64,
    /// How many failed, and how many good ones.
    pub of: (u64, u64),
    /// The expected number, were the order nothing but chance.
    pub expected: f64,
    /// Its standard deviation.
    pub deviation: f64,
    /// The chance of as few runs, or fewer: of such clusters.
    pub fewer: f64,
    /// The chance of as many, or more: of such alternation.
    pub more: f64,
}

/// How the normal approximation treats that runs are counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Continuity {
    /// Not at all.
    None,
    /// Half a run towards the expected number, and no further. Packages do so below
    /// 50 starts, and print another figure than those that do not.
    Half,
}

/// With fewer than so many of the rarer kind the chances are exact.
const EXACT: u64 = 1000;

impl Runs {
    /// Of a sequence; `None` where all are of one kind: then there is no order.
    pub fn of(failed: &[bool]) -> Option<Self> {
        let bad = failed.iter().filter(|f| **f).count() as u64;
        let runs = failed.chunk_by(|a, b| a == b).count() as u64;
        Self::counted(runs, bad, failed.len() as u64 - bad)
    }

    /// Of so many runs of so many of each kind.
    pub fn counted(runs: u64, first: u64, second: u64) -> Option<Self> {
        if first == 0 || second == 0 {
            return None;
        }
        let (n1, n2) = (as_f64(first), as_f64(second));
        let n = n1 + n2;
        let expected = 2.0 * n1 * n2 / n + 1.0;
        let deviation = (2.0 * n1 * n2 * (2.0 * n1 * n2 - n) / (n * n * (n - 1.0))).max(0.0).sqrt();
        let mut made = Self { runs, of: (first, second), expected, deviation, fewer: 1.0, more: 1.0 };
        let most = 2 * first.min(second) + u64::from(first != second);
        if first.min(second) <= EXACT {
            let chance = |from: u64, to: u64| (from..=to).map(|r| exactly(r, first, second)).sum::<f64>().min(1.0);
            (made.fewer, made.more) = (chance(2, runs), chance(runs, most));
        } else {
            made.fewer = normal((as_f64(runs) + 0.5 - expected) / deviation)?.below;
            made.more = normal((as_f64(runs) - 0.5 - expected) / deviation)?.above;
        }
        Some(made)
    }

    /// The standardised number of runs.
    pub fn z(&self, continuity: Continuity) -> f64 {
        let off = as_f64(self.runs) - self.expected;
        let off = match continuity {
            Continuity::None => off,
            Continuity::Half => off.signum() * (off.abs() - 0.5).max(0.0),
        };
        off / self.deviation
    }

    /// Twice the smaller tail.
    pub fn two_sided(&self) -> f64 {
        (2.0 * self.fewer.min(self.more)).min(1.0)
    }
}

/// The chance of exactly `runs` runs: 2 C(n1-1, k-1) C(n2-1, k-1) / C(n, n1) for 2k of
/// them, and the two ways of having one more of a kind for 2k + 1.
fn exactly(runs: u64, n1: u64, n2: u64) -> f64 {
    let all = ln_choose(n1 + n2, n1);
    let both = |a: u64, b: u64| (ln_choose(n1 - 1, a) + ln_choose(n2 - 1, b) - all).exp();
    let k = runs / 2;
    match (k, runs % 2) {
        (0, _) => 0.0,
        (_, 0) => 2.0 * both(k - 1, k - 1),
        _ => both(k, k - 1) + both(k - 1, k),
    }
}

fn ln_choose(n: u64, k: u64) -> f64 {
    if k > n {
        return f64::NEG_INFINITY;
    }
    ln_gamma(as_f64(n) + 1.0) - ln_gamma(as_f64(k) + 1.0) - ln_gamma(as_f64(n - k) + 1.0)
}

/// Counts here are far below 2^53, where they are exact.
#[allow(clippy::cast_precision_loss)]
fn as_f64(count: u64) -> f64 {
    count as f64
}
