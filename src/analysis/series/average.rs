//! The mean of readings that hang together: fewer of them count than there are.

use crate::analysis::numeric::sums;

/// A mean, and how sure it is by the scatter alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Average {
    /// The mean.
    pub mean: f64,
    /// Its standard uncertainty: s sqrt(tau / n).
    pub u: f64,
    /// Integrated autocorrelation time in readings: 1 + 2 sum of r(k); at least 1.
    pub tau: f64,
    /// Readings that it is worth: n / tau.
    pub effective: f64,
}

/// The sum of autocorrelations ends at the first lag of so many times tau (Sokal, Monte
/// Carlo Methods in Statistical Mechanics, 1989).
const WINDOW: f64 = 5.0;

/// More readings than this are taken together by means of blocks.
const MOST: usize = 20_000;

/// The mean of evenly taken readings. `None` for fewer than two.
///
/// Worth fewer than about 20 readings, tau itself is hardly known, and the uncertainty is
/// too small rather than too large.
pub fn average(values: &[f64]) -> Option<Average> {
    let n = values.len();
    let mean = sums::mean(values)?;
    let size = n.div_ceil(MOST).max(1);
    let blocks: Vec<f64> = values.chunks_exact(size).filter_map(sums::mean).collect();
    let count = blocks.len() as f64;
    let about: Vec<f64> = blocks.iter().map(|v| v - mean).collect();
    let whole: f64 = about.iter().map(|a| a * a).sum();
    if n < 2 || !whole.is_finite() {
        return None;
    }
    let mut tau = 1.0;
    if whole > 0.0 {
        for lag in 1..blocks.len() {
            let r = about.iter().zip(about.iter().skip(lag)).map(|(a, b)| a * b).sum::<f64>() / whole;
            // The sample's own mean takes about tau / n from every r.
            tau += 2.0 * (r + 1.0 / count);
            if lag as f64 >= WINDOW * tau.max(1.0) {
                break;
            }
        }
    }
    let tau = tau.clamp(1.0, count);
    let variance = whole / (count - tau).max(1.0);
    let u = (variance * tau / count).sqrt();
    let all = sums::variance(values)?;
    // Told in readings: what the blocks' mean has, over what independent readings would have.
    let tau = if all > 0.0 { (u * u * n as f64 / all).max(1.0) } else { 1.0 };
    Some(Average { mean, u, tau, effective: n as f64 / tau })
}
