//! Counts: binomial, Poisson and hypergeometric chances and tails.

use super::Tails;
use super::incomplete::{beta_tails, binomial_raw, gamma_tails, poisson_raw};

/// Counts here are far below 2^53, where they are exact.
#[allow(clippy::cast_precision_loss)]
fn real(count: u64) -> f64 {
    count as f64
}

/// P(X <= k) and P(X > k) of `n` trials with the chance `p`.
pub fn binomial(k: u64, n: u64, p: f64) -> Option<Tails> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    if k >= n {
        return Some(Tails { below: 1.0, above: 0.0 });
    }
    // A&S 26.5.24: P(X > k) = I_p(k + 1, n - k).
    Some(beta_tails(real(k) + 1.0, real(n - k), p, 1.0 - p)?.swapped())
}

/// P(X = k) of `n` trials with the chance `p`.
pub fn binomial_chance(k: u64, n: u64, p: f64) -> Option<f64> {
    if !(0.0..=1.0).contains(&p) {
        return None;
    }
    if k > n {
        return Some(0.0);
    }
    Some(binomial_term(real(k), real(n - k), p))
}

fn binomial_term(k: f64, rest: f64, p: f64) -> f64 {
    if k == 0.0 {
        return if rest == 0.0 { 1.0 } else { (rest * (-p).ln_1p()).exp() };
    }
    if rest == 0.0 {
        return (k * p.ln()).exp();
    }
    if p == 0.0 || p == 1.0 {
        return 0.0;
    }
    binomial_raw(k, rest, p, 1.0 - p)
}

/// P(X <= k) and P(X > k) of events with this mean number.
pub fn poisson(k: u64, mean: f64) -> Option<Tails> {
    // A&S 26.4.21: P(X <= k) = Q(k + 1, mean).
    Some(gamma_tails(real(k) + 1.0, mean)?.swapped())
}

/// P(X = k) of events with this mean number.
pub fn poisson_chance(k: u64, mean: f64) -> Option<f64> {
    if !(mean >= 0.0 && mean.is_finite()) {
        return None;
    }
    Some(match k {
        0 => (-mean).exp(),
        _ if mean == 0.0 => 0.0,
        _ => poisson_raw(real(k), mean),
    })
}

/// P(X = k): `drawn` of `all`, of which `marked` are of the kind counted.
pub fn hypergeometric_chance(k: u64, drawn: u64, marked: u64, all: u64) -> Option<f64> {
    if drawn > all || marked > all {
        return None;
    }
    if k > drawn || k > marked || drawn - k > all - marked {
        return Some(0.0);
    }
    if drawn == 0 || drawn == all {
        return Some(1.0);
    }
    // The product of two binomial chances over a third, for any p (Loader 2000).
    let p = real(drawn) / real(all);
    let top = binomial_term(real(k), real(marked - k), p) * binomial_term(real(drawn - k), real(all - marked - (drawn - k)), p);
    Some(top / binomial_term(real(drawn), real(all - drawn), p))
}

/// P(X <= k) and P(X > k): `drawn` of `all`, of which `marked` are of the kind counted.
pub fn hypergeometric(k: u64, drawn: u64, marked: u64, all: u64) -> Option<Tails> {
    if drawn > all || marked > all {
        return None;
    }
    let least = drawn.saturating_sub(all - marked);
    let most = drawn.min(marked);
    if k < least {
        return Some(Tails { below: 0.0, above: 1.0 });
    }
    if k >= most {
        return Some(Tails { below: 1.0, above: 0.0 });
    }
    let (n, m, free) = (real(drawn), real(marked), real(all - marked) - real(drawn));
    if real(k) * real(all) < n * m {
        // Below the mean: from k down, each term from the one above it.
        let mut term = hypergeometric_chance(k, drawn, marked, all)?;
        let mut sum = term;
        for i in (least..k).rev() {
            let above = real(i) + 1.0;
            term *= above * (free + above) / ((m - real(i)) * (n - real(i)));
            sum += term;
            if term < sum * 1e-18 {
                break;
            }
        }
        Some(Tails::from_below(sum))
    } else {
        let mut term = hypergeometric_chance(k + 1, drawn, marked, all)?;
        let mut sum = term;
        for i in k + 2..=most {
            let below = real(i) - 1.0;
            term *= (m - below) * (n - below) / (real(i) * (free + real(i)));
            sum += term;
            if term < sum * 1e-18 {
                break;
            }
        }
        Some(Tails::from_below(sum).swapped())
    }
}
