//! Stopping as soon as it is decided: Wald's sequential test of a failing rate.
//!
//! [`Wald`] is the test as the books have it, between two rates. [`Claim`] is what a
//! `start` stage uses: two such tests side by side, one that can prove that the rate
//! is below what is claimed and one that can refute it.
//!
//! Holds always: whatever the true rate, whenever one stops, and however often one
//! has looked, a claim is proved wrongly, and refuted wrongly, at most as often as the
//! confidence says (Ville 1939: under the rate that a likelihood ratio is compared
//! with, it ever reaches 1/alpha with a probability of at most alpha).

use super::proportion::{Interval, starts_needed};
use crate::units::Ratio;

/// Wald's test between two failing rates (Wald 1945, Annals of Mathematical
/// Statistics 16:117; Wald 1947, Sequential Analysis, chapter 5).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wald {
    /// The rate that is accepted.
    pub good: Ratio,
    /// The rate that is rejected; larger.
    pub bad: Ratio,
    /// The chance of rejecting at the good rate.
    pub alpha: f64,
    /// The chance of accepting at the bad rate.
    pub beta: f64,
}

/// The lines of a test in the plane of starts and failures: accept at or below
/// `slope` n - `accept`, reject at or above `slope` n + `reject`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lines {
    /// Failures a start.
    pub slope: f64,
    /// How far the lower line lies below the origin.
    pub accept: f64,
    /// How far the upper line lies above it.
    pub reject: f64,
}

impl Wald {
    /// The lines; `None` where the rates or the errors make no test.
    pub fn lines(&self) -> Option<Lines> {
        let (p0, p1) = (self.good.0, self.bad.0);
        let errors = self.alpha > 0.0 && self.beta > 0.0 && self.alpha + self.beta < 1.0;
        if !(p0 > 0.0 && p0 < p1 && p1 < 1.0 && errors) {
            return None;
        }
        let passed = (-p0).ln_1p() - (-p1).ln_1p();
        let scale = (p1 / p0).ln() + passed;
        Some(Lines {
            slope: passed / scale,
            accept: ((1.0 - self.alpha) / self.beta).ln() / scale,
            reject: ((1.0 - self.beta) / self.alpha).ln() / scale,
        })
    }

    /// The expected number of starts at a failing rate, and the chance of accepting
    /// (Wald's approximations, which leave out how far the last start oversteps a line).
    pub fn expected(&self, rate: Ratio) -> Option<(f64, f64)> {
        let lines = self.lines()?;
        let accepted = self.accepted(rate)?;
        let drift = rate.0 - lines.slope;
        let starts = if drift.abs() < 1e-9 * lines.slope {
            lines.accept * lines.reject / (lines.slope * (1.0 - lines.slope))
        } else {
            ((1.0 - accepted) * lines.reject - accepted * lines.accept) / drift
        };
        Some((starts, accepted))
    }

    /// The operating characteristic: for the root h != 0 of the equation of Wald's
    /// identity, (A^h - 1) / (A^h - B^h).
    fn accepted(&self, rate: Ratio) -> Option<f64> {
        let (p0, p1, p) = (self.good.0, self.bad.0, rate.0);
        if !(0.0..=1.0).contains(&p) {
            return None;
        }
        let (a, b) = (((1.0 - self.beta) / self.alpha).ln(), (self.beta / (1.0 - self.alpha)).ln());
        let (bad, good) = ((p1 / p0).ln(), (-p1).ln_1p() - (-p0).ln_1p());
        if p == 0.0 || p == 1.0 {
            return Some(1.0 - p);
        }
        // p (p1/p0)^h + (1 - p) ((1 - p1)/(1 - p0))^h = 1: convex in h, zero at h = 0, and
        // the other root on the side where it falls there.
        let moment = |h: f64| p * (h * bad).exp_m1() + (1.0 - p) * (h * good).exp_m1();
        let drift = p * bad + (1.0 - p) * good;
        if drift.abs() < 1e-12 {
            return Some(a / (a - b));
        }
        let side = -drift.signum();
        let (mut near, mut far) = (1e-9, 1e-3);
        while moment(side * far) < 0.0 {
            near = far;
            far *= 2.0;
        }
        for _ in 0..200 {
            let middle = 0.5 * (near + far);
            if moment(side * middle) < 0.0 { near = middle } else { far = middle }
        }
        let h = side * 0.5 * (near + far);
        // Divided by the largest power, so that nothing overflows.
        Some(if h > 0.0 {
            (1.0 - (-h * a).exp()) / (1.0 - (h * (b - a)).exp())
        } else {
            (1.0 - (h * a).exp()) / ((h * b).exp() - (h * a).exp())
        })
    }
}

impl Lines {
    /// With how many failures at most the good rate is accepted after `n` starts;
    /// `None`: not yet.
    pub fn accept_at(&self, n: u64) -> Option<u64> {
        let line = (self.slope * as_f64(n) - self.accept).floor();
        (line >= 0.0).then_some(line as u64)
    }

    /// With how many failures at least it is rejected after `n` starts.
    pub fn reject_at(&self, n: u64) -> u64 {
        (self.slope * as_f64(n) + self.reject).ceil().max(0.0) as u64
    }
}

/// The claim that the failing rate is below a rate, at a confidence.
///
/// Two likelihood ratios are looked at after each start, each against the claimed
/// rate: for a tenth of it, and for three times its odds. The first to reach
/// 1 / (1 - confidence) decides, as proof or as refutation. A tenth, because a unit
/// that is repaired fails far more seldom than claimed, and then it takes about one
/// start in nine more than a success run, and yet may go on after a failure; three
/// times, so that a unit which fails clearly too often is told soon.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Claim {
    /// The claimed rate.
    below: Ratio,
    confidence: f64,
}

/// What has been decided of a claim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// The rate is below what is claimed.
    Proved,
    /// It is not: it is as large as claimed, or larger.
    Refuted,
    /// More starts are needed.
    Open,
}

/// What is to be expected of a claim's test at one failing rate, by going through
/// all that can happen, start by start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prospect {
    /// The chance that the claim is proved.
    pub proved: f64,
    /// The chance that it is refuted.
    pub refuted: f64,
    /// The expected number of starts.
    pub starts: f64,
}

/// How much smaller the rate of the proof is.
const BETTER: f64 = 10.0;
/// How many times as large the odds of the refutation are.
const WORSE: f64 = 3.0;
/// The most starts, as a multiple of those that a unit without a failure takes, where
/// nobody says: at a tenth of the claimed rate 997 of 1000 are proved by then.
const MOST: u64 = 5;

impl Claim {
    /// The claim that the rate is below `below`; `None` where either is not between 0 and 1.
    pub fn new(below: Ratio, confidence: f64) -> Option<Self> {
        let within = |x: f64| x > 0.0 && x < 1.0;
        (within(below.0) && within(confidence)).then_some(Self { below, confidence })
    }

    /// The claimed rate.
    pub fn below(&self) -> Ratio {
        self.below
    }

    /// The confidence.
    pub fn confidence(&self) -> f64 {
        self.confidence
    }

    /// What so many failures of so many starts have decided. Void starts are in neither.
    pub fn decide(&self, failed: u64, counted: u64) -> Decision {
        let good = counted.saturating_sub(failed);
        let enough = -(-self.confidence).ln_1p();
        if ratio(self.below.0, better(self.below.0), failed, good) >= enough {
            Decision::Proved
        } else if ratio(self.below.0, worse(self.below.0), failed, good) >= enough {
            Decision::Refuted
        } else {
            Decision::Open
        }
    }

    /// How many starts prove it where `failed` of them fail; `None` where no number does.
    pub fn proved_after(&self, failed: u64) -> Option<u64> {
        // Failures cost ln 10 each, good starts give back the difference of the logarithms.
        let p = self.below.0;
        let gain = (-better(p)).ln_1p() - (-p).ln_1p();
        let enough = -(-self.confidence).ln_1p();
        let good = ((enough + as_f64(failed) * BETTER.ln()) / gain).ceil();
        (good < 9e15).then(|| (good as u64).saturating_add(failed))
    }

    /// The most starts that are made where the plan does not say.
    pub fn most(&self) -> Option<u64> {
        self.proved_after(0).and_then(|n| n.checked_mul(MOST))
    }

    /// A fixed number of starts, all good, that would show the same.
    pub fn success_run(&self) -> Option<u64> {
        starts_needed(self.below, self.confidence)
    }

    /// The interval of the failing rate that holds whenever one stops: the rates that
    /// neither test has excluded, each side at half the error.
    pub fn interval(failed: u64, counted: u64, confidence: f64) -> Option<Interval> {
        let side = 0.5 + confidence / 2.0;
        Some(Interval { low: Self::lower(failed, counted, side)?, high: Self::upper(failed, counted, side)?, confidence })
    }

    /// The one-sided upper bound that holds whenever one stops: every rate above it
    /// would have been proved too large.
    pub fn upper(failed: u64, counted: u64, confidence: f64) -> Option<Ratio> {
        bounded(failed, counted, confidence)?;
        let enough = -(-confidence).ln_1p();
        let observed = as_f64(failed) / as_f64(counted);
        // Above the observed share the ratio for a tenth rises with the rate.
        let shown = |p: f64| ratio(p, better(p), failed, counted - failed) >= enough;
        Some(Ratio(edge(observed.max(f64::MIN_POSITIVE), 1.0, |p| !shown(p))))
    }

    /// The one-sided lower bound that holds whenever one stops.
    pub fn lower(failed: u64, counted: u64, confidence: f64) -> Option<Ratio> {
        bounded(failed, counted, confidence)?;
        // The ratio is failed ln 3 - counted ln(1 + 2 p): it falls as the rate rises.
        let excess = as_f64(failed) * WORSE.ln() + (-confidence).ln_1p();
        Some(Ratio((excess / as_f64(counted)).max(0.0).exp_m1() / (WORSE - 1.0)))
    }

    /// What is to be expected at a true failing rate, with so many starts at most.
    pub fn prospect(&self, rate: Ratio, most: u64) -> Prospect {
        let p = rate.0.clamp(0.0, 1.0);
        let mut made = Prospect { proved: 0.0, refuted: 0.0, starts: 0.0 };
        // The chance of each number of failures among the starts so far, while it is open.
        let (mut first, mut open) = (0_u64, vec![1.0]);
        for n in 1..=most {
            made.starts += open.iter().sum::<f64>();
            let mut next = vec![0.0; open.len() + 1];
            for (i, chance) in open.iter().enumerate() {
                for (place, share) in [(i, 1.0 - p), (i + 1, p)] {
                    if let Some(slot) = next.get_mut(place) {
                        *slot += chance * share;
                    }
                }
            }
            // The proof takes the fewest failures, the refutation the most: both are ends.
            let decision = |failed: u64| self.decide(failed, n);
            let proved = (first..).zip(&next).take_while(|(f, _)| decision(*f) == Decision::Proved).count();
            made.proved += next.drain(..proved.min(next.len())).sum::<f64>();
            first = first.saturating_add(proved as u64);
            while let Some(last) = next.last() {
                let failed = first.saturating_add(next.len() as u64 - 1);
                if decision(failed) == Decision::Refuted {
                    made.refuted += last;
                } else if *last > NEGLIGIBLE {
                    break;
                }
                next.pop();
            }
            if next.is_empty() {
                break;
            }
            open = next;
        }
        made
    }
}

/// A chance that is not followed further.
const NEGLIGIBLE: f64 = 1e-18;

fn better(p: f64) -> f64 {
    p / BETTER
}

fn worse(p: f64) -> f64 {
    WORSE * p / (1.0 + (WORSE - 1.0) * p)
}

/// The logarithm of the likelihood at the rate `other` over that at `p`.
fn ratio(p: f64, other: f64, failed: u64, good: u64) -> f64 {
    let each = |count: u64, log: f64| if count == 0 { 0.0 } else { as_f64(count) * log };
    each(failed, (other / p).ln()) + each(good, (-other).ln_1p() - (-p).ln_1p())
}

fn bounded(failed: u64, counted: u64, confidence: f64) -> Option<()> {
    (counted > 0 && failed <= counted && confidence > 0.0 && confidence < 1.0).then_some(())
}

/// Where what holds at `from` ends on the way to `to`, by bisection in ln x.
fn edge(from: f64, to: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (from.ln(), to.ln());
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        if holds(middle.exp()) { low = middle } else { high = middle }
    }
    (0.5 * (low + high)).exp()
}

/// Counts here are far below 2^53, where they are exact.
#[allow(clippy::cast_precision_loss)]
fn as_f64(count: u64) -> f64 {
    count as f64
}
