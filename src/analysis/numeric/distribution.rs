//! Distributions: the chance below and above a value, each without the
//! cancellation of 1 - p, and the value that has a given chance.
//!
//! All functions answer `None` where a parameter lies outside its domain or an
//! argument is NaN. Formulas: Abramowitz and Stegun 1964, 26.2 to 26.7.

mod discrete;
mod incomplete;

pub use discrete::{binomial, binomial_chance, hypergeometric, hypergeometric_chance, poisson, poisson_chance};

use incomplete::{beta_tails, gamma_tails};

/// Both tails at a value x. Each is accurate by itself, however small.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tails {
    /// P(X <= x).
    pub below: f64,
    /// P(X > x).
    pub above: f64,
}

impl Tails {
    fn swapped(self) -> Self {
        Self { below: self.above, above: self.below }
    }

    /// Of the computed lower tail, where that is not close to 1.
    fn from_below(below: f64) -> Self {
        let below = below.clamp(0.0, 1.0);
        Self { below, above: 1.0 - below }
    }
}

/// A chance, from the side on which it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Chance {
    /// P(X <= x).
    Below(f64),
    /// P(X > x).
    Above(f64),
}

impl Chance {
    /// Strictly between 0 and 1?
    fn is_proper(self) -> bool {
        let (Self::Below(p) | Self::Above(p)) = self;
        p > 0.0 && p < 1.0
    }

    fn swapped(self) -> Self {
        match self {
            Self::Below(p) => Self::Above(p),
            Self::Above(q) => Self::Below(q),
        }
    }

    /// Whether x, with these tails, lies too low.
    fn beyond(self, at: Tails) -> bool {
        match self {
            Self::Below(p) => at.below < p,
            Self::Above(q) => at.above > q,
        }
    }
}

/// The standard normal distribution.
pub fn normal(z: f64) -> Option<Tails> {
    // 26.4.19 and 7.1.2: P(|Z| > z) = Q(1/2, z^2 / 2). The library's erfc is off by 5e-11.
    let outside = gamma_tails(0.5, 0.5 * z * z)?.above;
    let far = Tails { below: 1.0 - 0.5 * outside, above: 0.5 * outside };
    Some(if z < 0.0 { far.swapped() } else { far })
}

/// The standard normal value with a chance.
pub fn normal_at(chance: Chance) -> Option<f64> {
    symmetric_at(chance, normal)
}

/// Student's t with `dof` degrees of freedom (not necessarily whole; infinite is
/// the normal distribution).
pub fn student_t(t: f64, dof: f64) -> Option<Tails> {
    if t.is_nan() || dof.is_nan() || dof <= 0.0 {
        return None;
    }
    if dof.is_infinite() {
        return normal(t);
    }
    if t.is_infinite() {
        return Some(if t > 0.0 { Tails { below: 1.0, above: 0.0 } } else { Tails { below: 0.0, above: 1.0 } });
    }
    // 26.7.1: P(|T| > t) = I_x(dof/2, 1/2), x = dof / (dof + t^2); both x and 1 - x
    // are formed without a difference.
    let square = t * t;
    let (x, y) = if square.is_infinite() { (0.0, 1.0) } else { (dof / (dof + square), square / (dof + square)) };
    let outside = beta_tails(0.5 * dof, 0.5, x, y)?.below;
    let far = Tails { below: 1.0 - 0.5 * outside, above: 0.5 * outside };
    Some(if t < 0.0 { far.swapped() } else { far })
}

/// Student's t value with a chance.
pub fn student_t_at(chance: Chance, dof: f64) -> Option<f64> {
    symmetric_at(chance, |t| student_t(t, dof))
}

/// The half-width in standard deviations that holds `level` of Student's t between
/// plus and minus: 2.78 for 0.95 and 4 degrees (JCGM 100:2008, table G.2).
pub fn student_t_two_sided(level: f64, dof: f64) -> Option<f64> {
    if !(level > 0.0 && level < 1.0) {
        return None;
    }
    student_t_at(Chance::Above(0.5 * (1.0 - level)), dof)
}

/// Chi-square with `dof` degrees of freedom.
pub fn chi_square(x: f64, dof: f64) -> Option<Tails> {
    gamma_tails(0.5 * dof, 0.5 * x.max(0.0)).filter(|_| !x.is_nan())
}

/// The chi-square value with a chance.
pub fn chi_square_at(chance: Chance, dof: f64) -> Option<f64> {
    positive_at(chance, |x| chi_square(x, dof))
}

/// Gamma with a shape and the scale 1.
pub fn gamma(x: f64, shape: f64) -> Option<Tails> {
    gamma_tails(shape, x.max(0.0)).filter(|_| !x.is_nan())
}

/// The gamma value (scale 1) with a chance.
pub fn gamma_at(chance: Chance, shape: f64) -> Option<f64> {
    positive_at(chance, |x| gamma(x, shape))
}

/// Fisher and Snedecor's F with the degrees of freedom of numerator and denominator.
pub fn f_ratio(x: f64, numerator: f64, denominator: f64) -> Option<Tails> {
    if x.is_nan() || !(numerator > 0.0 && denominator > 0.0 && numerator.is_finite() && denominator.is_finite()) {
        return None;
    }
    let scaled = numerator * x.max(0.0);
    let (x, y) =
        if scaled.is_infinite() { (1.0, 0.0) } else { (scaled / (scaled + denominator), denominator / (scaled + denominator)) };
    beta_tails(0.5 * numerator, 0.5 * denominator, x, y)
}

/// The F value with a chance.
pub fn f_ratio_at(chance: Chance, numerator: f64, denominator: f64) -> Option<f64> {
    positive_at(chance, |x| f_ratio(x, numerator, denominator))
}

/// The beta distribution with shapes `a` and `b`.
pub fn beta(x: f64, a: f64, b: f64) -> Option<Tails> {
    let x = x.clamp(0.0, 1.0);
    beta_tails(a, b, x, 1.0 - x)
}

/// The beta value with a chance. Searched from the nearer end, so that a value near
/// 0 has all its digits.
pub fn beta_at(chance: Chance, a: f64, b: f64) -> Option<f64> {
    if !chance.is_proper() {
        return None;
    }
    if chance.beyond(beta(0.5, a, b)?) {
        // Above one half: the same for 1 - x, below it.
        Some(1.0 - lower_half(chance.swapped(), b, a)?)
    } else {
        lower_half(chance, a, b)
    }
}

fn lower_half(chance: Chance, a: f64, b: f64) -> Option<f64> {
    bisect_log(f64::MIN_POSITIVE.ln(), 0.5_f64.ln(), |x| Some(chance.beyond(beta(x, a, b)?)))
}

/// Of a distribution that is the same on both sides of 0.
fn symmetric_at(chance: Chance, tails: impl Fn(f64) -> Option<Tails>) -> Option<f64> {
    if !chance.is_proper() {
        return None;
    }
    let (q, sign) = match chance {
        Chance::Above(q) if q <= 0.5 => (q, 1.0),
        Chance::Below(p) if p < 0.5 => (p, -1.0),
        Chance::Above(q) => (1.0 - q, -1.0),
        Chance::Below(p) => (1.0 - p, 1.0),
    };
    if q >= 0.5 {
        tails(0.0)?;
        return Some(0.0);
    }
    Some(sign * positive_at(Chance::Above(q), tails)?)
}

fn positive_at(chance: Chance, tails: impl Fn(f64) -> Option<Tails>) -> Option<f64> {
    if !chance.is_proper() {
        return None;
    }
    bisect_log(f64::MIN_POSITIVE.ln(), f64::MAX.ln(), |x| Some(chance.beyond(tails(x)?)))
}

/// Bisection in ln x, where `too_low` turns from true to false: inverse functions by
/// other ways are wrong or do not end for extreme parameters.
fn bisect_log(mut low: f64, mut high: f64, too_low: impl Fn(f64) -> Option<bool>) -> Option<f64> {
    loop {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            return Some(middle.exp());
        }
        if too_low(middle.exp())? {
            low = middle
        } else {
            high = middle
        }
        // ln x to less than half a unit in the last place of x.
        if high - low < 1e-16 {
            return Some((0.5 * (low + high)).exp());
        }
    }
}
