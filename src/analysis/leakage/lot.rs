//! One part among those of its lot: where it ranks, how far it stands out, and how
//! little a small lot can say.
//!
//! Leakages of a lot spread in ratio, so everything is done in the logarithm. The
//! others are summed up by median and median absolute deviation (MAD), which one bad
//! part does not move; a modified z-score above 3.5 counts as an outlier (Iglewicz and
//! Hoaglin 1993; NIST/SEMATECH handbook 1.3.5.17).

use crate::analysis::numeric::distribution::{Chance, student_t_at};
use crate::analysis::rank::median;
use crate::units::Amperes;

/// How a part stands in its lot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// From 1, the part that leaks most.
    pub rank: usize,
    /// Parts in the lot, this one among them.
    pub of: usize,
    /// Its leakage over the median of the others.
    pub ratio: f64,
    /// Modified z-score against the others; `None` where they are all alike.
    pub z: Option<f64>,
    /// Up to which ratio the worst of a lot like the others is expected (95 %), by the
    /// others' median and MAD and Student's t for their number.
    pub expected: f64,
    /// What the lot allows to say.
    pub told: Told,
}

/// What the lot allows to say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Told {
    /// It is one of them.
    Alike,
    /// It leaks more than the others let expect.
    Outlier,
    /// Too few others to say.
    TooFew,
}

/// Score from which on a part is an outlier.
const OUTLIER: f64 = 3.5;
/// Chance that a lot without an outlier is said to have one.
const FALSE: f64 = 0.05;
/// Fewer others say nothing of a spread: the highest of so few is always far out.
const LEAST: usize = 4;
/// The least spread of a lot that is believed, relative: meters and temperature give as much.
const LEAST_SPREAD: f64 = 0.05;

/// Where the part at `index` stands. `None` where it is not there, or has no others
/// with a leakage above zero.
pub fn standing(lot: &[Amperes], index: usize) -> Option<Standing> {
    let own = lot.get(index)?.0;
    let others: Vec<f64> =
        lot.iter().enumerate().filter(|(i, v)| *i != index && v.0 > 0.0 && v.0.is_finite()).map(|(_, v)| v.0.ln()).collect();
    if !(own > 0.0 && own.is_finite()) {
        return None;
    }
    let middle = median(&others)?;
    let deviations: Vec<f64> = others.iter().map(|v| (v - middle).abs()).collect();
    let mad = median(&deviations)?;
    let away = own.ln() - middle;
    let n = others.len();
    let count = n as f64;
    // 1.4826 MAD is a normal spread's standard deviation.
    let sigma = (1.4826 * mad).max(LEAST_SPREAD);
    // A MAD is as sure as a standard deviation of 0.37 times as many (Rousseeuw and Croux
    // 1993); and the worst of so many is looked at, not any one.
    let chance = Chance::Above(FALSE / (count + 1.0));
    let t = student_t_at(chance, (0.37 * count).max(1.0)).unwrap_or(f64::INFINITY);
    // A median is less sure than a mean, by the square root of pi / 2.
    let expected = (t * sigma * (1.0 + std::f64::consts::FRAC_PI_2 / count).sqrt()).exp();
    let z = (mad > 0.0).then(|| 0.6745 * away / mad);
    let told = if n < LEAST {
        Told::TooFew
    } else if away / sigma > OUTLIER && away.exp() > expected {
        Told::Outlier
    } else {
        Told::Alike
    };
    Some(Standing { rank: 1 + lot.iter().filter(|v| v.0 > own).count(), of: n + 1, ratio: away.exp(), z, expected, told })
}
