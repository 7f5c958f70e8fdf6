//! The incomplete beta and gamma functions, both tails at once.
//!
//! The power in front is formed as a saddle point (Loader 2000, "Fast and accurate
//! computation of binomial probabilities"), since differences of ln gamma lose
//! their digits for large counts; the fraction by Lentz's method (Press et al.,
//! Numerical Recipes, 5.2 and 6.2 to 6.4).

use super::Tails;
use statrs::function::gamma::ln_gamma;

const LN_SQRT_2PI: f64 = 0.918_938_533_204_672_8;
/// Far more than sqrt(a) needs, for a up to 1e12.
const MOST_TERMS: u32 = 20_000_000;
const TINY: f64 = 1e-300;

/// I_x(a, b) and its complement, with y = 1 - x given as exactly as it is known.
pub(super) fn beta_tails(a: f64, b: f64, x: f64, y: f64) -> Option<Tails> {
    if !(a > 0.0 && b > 0.0 && a.is_finite() && b.is_finite() && (0.0..=1.0).contains(&x) && (0.0..=1.0).contains(&y)) {
        return None;
    }
    if x == 0.0 {
        return Some(Tails { below: 0.0, above: 1.0 });
    }
    if y == 0.0 {
        return Some(Tails { below: 1.0, above: 0.0 });
    }
    let power = beta_power(a, b, x, y);
    if power == 0.0 {
        return Some(if x * b < y * a { Tails { below: 0.0, above: 1.0 } } else { Tails { below: 1.0, above: 0.0 } });
    }
    // The fraction converges fast on this side of the mean, and gives the tail that
    // is not close to 1.
    let excess = excess(a, b, x, y);
    if x < (a + 1.0) / (a + b + 2.0) {
        Some(Tails::from_below(power / beta_fraction(a, b, x, excess)?))
    } else {
        Some(Tails::from_below(power / beta_fraction(b, a, y, -excess)?).swapped())
    }
}

/// x^a y^b / B(a, b).
fn beta_power(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    binomial_raw(a, b, x, y) * (a * b / n)
}

/// a y - b x, from the smaller of x and y, which is known better.
fn excess(a: f64, b: f64, x: f64, y: f64) -> f64 {
    if x <= y { a - (a + b) * x } else { (a + b) * y - b }
}

/// C(a + b, a) x^a y^b for any positive a and b.
pub(super) fn binomial_raw(a: f64, b: f64, x: f64, y: f64) -> f64 {
    let n = a + b;
    let excess = excess(a, b, x, y);
    let exponent =
        stirling_error(n) - stirling_error(a) - stirling_error(b) + saddle(a, n * x, -excess) + saddle(b, n * y, excess);
    (exponent + 0.5 * (n / (a * b)).ln() - LN_SQRT_2PI).exp()
}

/// x^a e^-x / gamma(a + 1).
pub(super) fn poisson_raw(a: f64, x: f64) -> f64 {
    (-stirling_error(a) + saddle(a, x, x - a) - 0.5 * a.ln() - LN_SQRT_2PI).exp()
}

/// P(a, x) and Q(a, x).
pub(super) fn gamma_tails(a: f64, x: f64) -> Option<Tails> {
    if !(a > 0.0 && a.is_finite() && x >= 0.0) {
        return None;
    }
    if x == 0.0 {
        return Some(Tails { below: 0.0, above: 1.0 });
    }
    if x.is_infinite() {
        return Some(Tails { below: 1.0, above: 0.0 });
    }
    let power = poisson_raw(a, x);
    if power == 0.0 {
        return Some(if x < a { Tails { below: 0.0, above: 1.0 } } else { Tails { below: 1.0, above: 0.0 } });
    }
    if x < a + 1.0 {
        let (mut term, mut sum, mut at) = (1.0, 1.0, a);
        for _ in 0..MOST_TERMS {
            at += 1.0;
            term *= x / at;
            sum += term;
            if term < sum * 1e-17 {
                return Some(Tails::from_below(power * sum));
            }
        }
        return None;
    }
    // Q(a, x) = x^a e^-x / gamma(a) * fraction; gamma(a) = gamma(a + 1) / a.
    let mut b = x + 1.0 - a;
    let mut c = 1.0 / TINY;
    let mut d = 1.0 / b;
    let mut h = d;
    for i in 1..MOST_TERMS {
        let i = f64::from(i);
        let an = -i * (i - a);
        b += 2.0;
        d = 1.0 / away_from_zero(an * d + b);
        c = away_from_zero(b + an / c);
        let change = d * c;
        h *= change;
        if (change - 1.0).abs() < 1e-16 {
            return Some(Tails::from_below(power * a * h).swapped());
        }
    }
    None
}

/// The fraction under x^a y^b / B(a, b) for I_x(a, b), in the form that takes
/// `excess` = a y - b x, so that nothing cancels near y = 1 or x = 1 (Didonato and
/// Morris 1992, ACM TOMS 18:360).
fn beta_fraction(a: f64, b: f64, x: f64, excess: f64) -> Option<f64> {
    let partial = |m: f64| {
        let odd = a + 2.0 * m - 1.0;
        let straight = (a + m) * (excess + 1.0 + m * (2.0 - x)) / (odd + 2.0);
        if m == 0.0 { straight } else { m + m * (b - m) * x / odd + straight }
    };
    let mut h = away_from_zero(partial(0.0));
    let mut c = h;
    let mut d = 0.0;
    for m in 1..MOST_TERMS {
        let m = f64::from(m);
        let odd = a + 2.0 * m - 1.0;
        let above = (a + m - 1.0) / odd * ((a + b + m - 1.0) / odd) * m * (b - m) * x * x;
        let below = partial(m);
        d = 1.0 / away_from_zero(below + above * d);
        c = away_from_zero(below + above / c);
        let change = c * d;
        h *= change;
        if (change - 1.0).abs() < 3e-16 {
            return Some(h);
        }
    }
    None
}

fn away_from_zero(value: f64) -> f64 {
    if value.abs() < TINY { TINY } else { value }
}

/// a ln(m / a) - (m - a), with the difference `excess` = m - a given as exactly as it
/// is known: without cancellation where m is close to a (atanh series).
fn saddle(a: f64, m: f64, excess: f64) -> f64 {
    let e = excess / a;
    if e.abs() > 0.3 {
        // An overflow of m / a would leave NaN.
        return if e.is_infinite() { f64::NEG_INFINITY } else { a * (m.ln() - a.ln()) - excess };
    }
    let r = e / (2.0 + e);
    let square = r * r;
    // 1/3 + r^2/5 + ...: r^2 is below 0.04, so 12 terms reach 1e-17.
    let mut sum = 0.0;
    for k in (0..12).rev() {
        sum = sum * square + 1.0 / f64::from(2 * k + 3);
    }
    a * r * (2.0 * square * sum - e)
}

/// ln gamma(a + 1) less Stirling's formula.
fn stirling_error(a: f64) -> f64 {
    if a < 16.0 {
        return ln_gamma(a + 1.0) - (a + 0.5) * a.ln() + a - LN_SQRT_2PI;
    }
    let s = a * a;
    // Bernoulli numbers: 1/12, 1/360, 1/1260, 1/1680, 1/1188, 691/360360 (A&S 6.1.41).
    (1.0 / 12.0 - (1.0 / 360.0 - (1.0 / 1260.0 - (1.0 / 1680.0 - (1.0 / 1188.0 - 691.0 / 360_360.0 / s) / s) / s) / s) / s) / a
}
