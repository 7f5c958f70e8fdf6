//! The fall of the current under bias: a constant, the leakage, and a power of
//! time, the absorption (Curie and von Schweidler, I(t) = I_leak + A t^-m). What is
//! charging current is left out before ([`super::charged`]).
//!
//! For each m the other two follow from linear least squares, so the fit is a search
//! along one axis and cannot run astray; I_leak and A are not below zero. The limits of
//! I_leak are those of the profile likelihood (each one-sided, 95 %), with the scatter
//! taken from the residuals and widened where these hang together in time.

use crate::analysis::numeric::distribution::{Chance, student_t_at};
use crate::analysis::numeric::sums::{autocorrelation, mean};
use crate::units::{Amperes, Seconds};

/// Exponents that are tried. Published ones are 0.8 to 1.1 for tantalum (NTRS
/// 20060026218); others lie a little beyond.
const EXPONENTS: (f64, f64) = (0.5, 1.5);
/// Least readings for a fit.
const LEAST: usize = 10;
/// Most groups of neighbouring readings that a fit works with.
const GROUPS: usize = 400;
/// The limits are this far apart at most, where leakage and absorption count as told apart.
const APART: f64 = 1.5;
/// One-sided confidence of each limit.
const CONFIDENCE: f64 = 0.95;

/// A reading with a weight.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Value {
    /// Time under bias, s, above zero.
    pub at: f64,
    /// Current, A.
    pub current: f64,
    /// Standard uncertainty, A: only the proportions between readings matter.
    pub u: f64,
}

/// What the fall tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    /// No fall can be seen: all of it is leakage.
    Settled,
    /// Leakage and absorption are told apart.
    Apart,
    /// They are not: only an upper bound of the leakage is known.
    Bound,
}

impl Told {
    /// Every one, with the word that the record keeps.
    pub const ALL: [(&'static str, Told); 3] = [("settled", Told::Settled), ("apart", Told::Apart), ("bound", Told::Bound)];

    /// The word that the record keeps.
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(_, t)| *t == self).map_or("bound", |(name, _)| name)
    }
}

/// A fall that was fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Decay {
    /// What it tells.
    pub told: Told,
    /// The constant: the leakage.
    pub leakage: Amperes,
    /// Its lower limit.
    pub low: Amperes,
    /// Its upper limit: of the profile, or the last reading with twice the scatter
    /// where that is less, since absorption only adds.
    pub high: Amperes,
    /// The absorption current at 1 s, A.
    pub absorbed: Amperes,
    /// Its exponent m.
    pub exponent: f64,
    /// Standard deviation of the residuals.
    pub scatter: Amperes,
}

impl Decay {
    /// The current that the fit gives at a time under bias.
    pub fn at(&self, time: Seconds) -> Amperes {
        Amperes(self.leakage.0 + self.absorption(time).0)
    }

    /// The absorption current at a time under bias.
    pub fn absorption(&self, time: Seconds) -> Amperes {
        Amperes(self.absorbed.0 * time.0.powf(-self.exponent))
    }
}

/// Readings in their logarithm of time about a reference, for speed and condition.
struct Data {
    points: Vec<(f64, f64, f64)>,
    reference: f64,
}

/// A fit at one exponent.
#[derive(Clone, Copy)]
struct At {
    constant: f64,
    power: f64,
    rss: f64,
    exponent: f64,
}

impl Data {
    fn new(values: &[Value]) -> Option<Self> {
        let usable = |v: &&Value| v.at > 0.0 && v.at.is_finite() && v.current.is_finite();
        let kept: Vec<&Value> = values.iter().filter(usable).collect();
        if kept.len() < LEAST {
            return None;
        }
        let typical = mean(&kept.iter().map(|v| v.u).filter(|u| *u > 0.0 && u.is_finite()).collect::<Vec<_>>());
        let u = |v: &Value| typical.map_or(1.0, |t| if v.u > 0.0 && v.u.is_finite() { v.u / t } else { 1.0 });
        let most = kept.len().div_ceil(GROUPS);
        let mut groups: Vec<(f64, f64, f64)> = Vec::new();
        let mut rest = &kept[..];
        while let Some(first) = rest.first() {
            // Neighbours whose times are within 3 % are one reading with their mean.
            let alike = rest.iter().take(most).take_while(|v| v.at <= first.at * 1.03).count().max(1);
            let (group, others) = rest.split_at(alike);
            let n = alike as f64;
            let w = group.iter().map(|v| u(v).powi(-2)).sum::<f64>();
            let at = group.iter().map(|v| v.at.ln()).sum::<f64>() / n;
            groups.push((at, group.iter().map(|v| v.current).sum::<f64>() / n, w));
            rest = others;
        }
        let reference = groups.iter().map(|g| g.0).sum::<f64>() / groups.len() as f64;
        let points = groups.into_iter().map(|(t, y, w)| (t - reference, y, w)).collect();
        Some(Self { points, reference })
    }

    fn sums(&self, exponent: f64) -> [f64; 6] {
        let mut s = [0.0; 6];
        for (t, y, w) in &self.points {
            let x = (-exponent * t).exp();
            for (sum, term) in s.iter_mut().zip([1.0, x, x * x, *y, x * y, y * y]) {
                *sum += w * term;
            }
        }
        s
    }

    fn rss(&self, constant: f64, power: f64, exponent: f64) -> f64 {
        self.points.iter().map(|(t, y, w)| w * (y - constant - power * (-exponent * t).exp()).powi(2)).sum()
    }

    /// The best constant and power at an exponent, neither below zero.
    fn at(&self, exponent: f64) -> At {
        let [n, x, xx, y, xy, _] = self.sums(exponent);
        let determinant = n * xx - x * x;
        let (mut constant, mut power) = (y / n, 0.0);
        if determinant > 1e-12 * n * xx {
            (constant, power) = ((xx * y - x * xy) / determinant, (n * xy - x * y) / determinant);
        }
        if power < 0.0 {
            (constant, power) = (y / n, 0.0);
        }
        if constant < 0.0 {
            (constant, power) = (0.0, (xy / xx).max(0.0));
        }
        At { constant, power, rss: self.rss(constant, power, exponent), exponent }
    }

    /// The best power at an exponent with the constant given.
    fn held(&self, constant: f64, exponent: f64) -> At {
        let [_, x, xx, _, xy, _] = self.sums(exponent);
        let power = ((xy - constant * x) / xx).max(0.0);
        At { constant, power, rss: self.rss(constant, power, exponent), exponent }
    }

    /// The least sum over the exponents: a grid, then golden section about its best.
    fn least(&self) -> At {
        const STEPS: u32 = 12;
        let (from, to) = EXPONENTS;
        let width = (to - from) / f64::from(STEPS);
        let grid = (0..=STEPS).map(|i| self.at(from + width * f64::from(i)));
        let best = grid.reduce(|a, b| if b.rss < a.rss { b } else { a }).unwrap_or_else(|| self.at(1.0));
        let refined = golden((best.exponent - width).max(from), (best.exponent + width).min(to), |m| self.at(m));
        if refined.rss < best.rss { refined } else { best }
    }

    /// Where the profile of the constant crosses `level`, from the best value outwards.
    fn crossing(&self, best: f64, limit: f64, level: f64) -> f64 {
        let (from, to) = EXPONENTS;
        if golden(from, to, |m| self.held(limit, m)).rss <= level {
            return limit;
        }
        let (mut inside, mut outside) = (best, limit);
        for _ in 0..24 {
            let middle = 0.5 * (inside + outside);
            if golden(from, to, |m| self.held(middle, m)).rss <= level { inside = middle } else { outside = middle }
        }
        0.5 * (inside + outside)
    }
}

/// Golden section for the exponent with the least sum of squares (one minimum between the ends).
fn golden(mut low: f64, mut high: f64, of: impl Fn(f64) -> At) -> At {
    let share = 0.5 * (5f64.sqrt() - 1.0);
    let (mut a, mut b) = (of(high - share * (high - low)), of(low + share * (high - low)));
    for _ in 0..34 {
        if a.rss < b.rss {
            high = b.exponent;
            b = a;
            a = of(high - share * (high - low));
        } else {
            low = a.exponent;
            a = b;
            b = of(low + share * (high - low));
        }
    }
    if a.rss < b.rss { a } else { b }
}

/// The fall alone, without its limits: the fitted current at each reading. `None` as [`decay`].
pub(super) fn fall(values: &[Value]) -> Option<Vec<f64>> {
    let data = Data::new(values)?;
    let best = data.least();
    let at = |v: &Value| best.constant + best.power * (-best.exponent * (v.at.ln() - data.reference)).exp();
    Some(values.iter().map(at).collect())
}

/// Fits the fall. `values` in order of time, without charging current. `None` with
/// fewer than ten readings, or where they do not vary in time.
pub fn decay(values: &[Value]) -> Option<Decay> {
    let data = Data::new(values)?;
    let n = data.points.len() as f64;
    if n < 5.0 {
        return None;
    }
    let best = data.least();
    let weights: f64 = data.points.iter().map(|p| p.2).sum();
    let residuals: Vec<f64> =
        data.points.iter().map(|(t, y, w)| (y - best.constant - best.power * (-best.exponent * t).exp()) * w.sqrt()).collect();
    let dof = n - 3.0;
    // Residuals that hang together say less than their number; common practice: (1 + r) / (1 - r).
    let r = autocorrelation(&residuals, 1).filter(|r| *r > 2.0 / n.sqrt()).map_or(0.0, |r| r.min(0.95));
    let variance = best.rss / dof * (1.0 + r) / (1.0 - r);
    let t = student_t_at(Chance::Below(CONFIDENCE), dof)?;
    let flat = data.rss(data.held_flat(), 0.0, 1.0);
    let level = best.rss + variance * t * t;
    let last = data.points.last()?;
    let scatter = (best.rss / dof * n / weights).sqrt();
    let top = data.points.iter().map(|p| p.1).fold(best.constant, f64::max);
    let low = data.crossing(best.constant, 0.0, level);
    let profile = data.crossing(best.constant, top, level);
    let high = profile.min((last.1 + 2.0 * scatter).max(best.constant));
    // A fall costs two more parameters; what they gain must be more than chance (F test, 99 %).
    let falls = best.power > 0.0 && (flat - best.rss) / 2.0 > 5.0 * variance;
    let (leakage, low, high, power) = if falls {
        (best.constant, low, high, best.power)
    } else {
        let middle = data.held_flat();
        let u = t * (variance / weights).sqrt();
        (middle, middle - u, middle + u, 0.0)
    };
    let told = match falls {
        false => Told::Settled,
        true if low > 0.0 && high <= APART * low => Told::Apart,
        true => Told::Bound,
    };
    let absorbed = power * (best.exponent * data.reference).exp();
    let made = Decay {
        told,
        leakage: Amperes(leakage),
        low: Amperes(low),
        high: Amperes(high),
        absorbed: Amperes(absorbed),
        exponent: best.exponent,
        scatter: Amperes(scatter),
    };
    [leakage, low, high, absorbed, scatter].iter().all(|v| v.is_finite()).then_some(made)
}

impl Data {
    /// The weighted mean.
    fn held_flat(&self) -> f64 {
        let [n, _, _, y, ..] = self.sums(1.0);
        y / n
    }
}
