//! The shape of a curve of leakage over voltage: how steep from step to step, where it
//! bends, whether it runs away, whether it comes back on the way down.

use super::conduction::At;
use crate::analysis::numeric::distribution::f_ratio;
use crate::units::{Amperes, Volts};

/// Steepness between two steps: the exponent of the voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Steepness {
    /// ln(I2 / I1) / ln(V2 / V1).
    pub exponent: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// I2 / I1.
    pub ratio: f64,
}

/// Between two points in rising order; `None` where a current is not above zero.
pub fn steepness(lower: &At, upper: &At) -> Option<Steepness> {
    let (dv, ratio) = ((upper.volts.0 / lower.volts.0).ln(), upper.current.0 / lower.current.0);
    if !(dv > 0.0 && ratio > 0.0 && lower.current.0 > 0.0) {
        return None;
    }
    let u = (lower.u.0 / lower.current.0).hypot(upper.u.0 / upper.current.0) / dv;
    Some(Steepness { exponent: ratio.ln() / dv, u, ratio })
}

/// The steepness from which on a leakage runs away: more than threefold for a fifth
/// more voltage (common practice), in proportion ln 3 / ln 1.2.
pub fn too_steep() -> f64 {
    3f64.ln() / 1.2f64.ln()
}

/// Whether the leakage rises between two steps faster than practice allows.
pub fn runs_away(lower: (Volts, Amperes), upper: (Volts, Amperes)) -> bool {
    let at = |(volts, current): (Volts, Amperes)| At { volts, current, u: Amperes(0.0) };
    steepness(&at(lower), &at(upper)).is_some_and(|s| s.exponent > too_steep())
}

/// Where a curve bends: two powers of the voltage that meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Knee {
    /// Where.
    pub volts: Volts,
    /// Exponent below, with its standard uncertainty.
    pub below: (f64, f64),
    /// Exponent above.
    pub above: (f64, f64),
    /// Sum of the squared residuals in units of the uncertainties.
    pub chi_square: f64,
}

/// Least points for a knee: two on each side, two to spare.
const KNEE_POINTS: usize = 7;
/// Chance at which a bend counts.
const CHANCE: f64 = 0.001;

/// The knee of a curve in rising order of voltage, where two powers describe it better
/// than one by more than chance (F test at 0.1 %, for the place that was searched), and
/// better than `other`, the sum of squared residuals of the best smooth law. The bend is
/// upwards or downwards by half a power at least. `None` with fewer than seven points.
pub fn knee(curve: &[At], other: Option<f64>) -> Option<Knee> {
    let points: Vec<(f64, f64, f64)> = curve
        .iter()
        .filter(|p| p.volts.0 > 0.0 && p.current.0 > 0.0)
        .map(|p| (p.volts.0.ln(), p.current.0.ln(), (p.u.0 / p.current.0).max(1e-4).powi(-2)))
        .collect();
    if points.len() < KNEE_POINTS {
        return None;
    }
    let straight = hinge(&points, f64::INFINITY)?;
    let (from, to) = (points.get(1)?.0, points.get(points.len() - 2)?.0);
    let best = (0..=60)
        .filter_map(|i| hinge(&points, from + (to - from) * f64::from(i) / 60.0))
        .min_by(|a, b| a.chi_square.total_cmp(&b.chi_square))?;
    let dof = points.len() as f64 - 4.0;
    let gain = (straight.chi_square - best.chi_square) / 2.0 / (best.chi_square / dof).max(1.0);
    let chance = f_ratio(gain, 2.0, dof)?.above;
    let bends = (best.above.0 - best.below.0).abs() > 0.5;
    let better = other.is_none_or(|o| o - best.chi_square > 10.0 * (best.chi_square / dof).max(1.0));
    (chance < CHANCE && bends && better).then_some(best)
}

/// Two lines that meet at x = `place`, by weighted least squares; one line where it lies beyond.
fn hinge(points: &[(f64, f64, f64)], place: f64) -> Option<Knee> {
    // Normal equations of 1, x − place below and above, solved by elimination.
    let single = !place.is_finite();
    let basis = |x: f64| -> [f64; 3] { if single { [1.0, x, 0.0] } else { [1.0, (x - place).min(0.0), (x - place).max(0.0)] } };
    let size = if single { 2 } else { 3 };
    let mut m = [[0.0_f64; 6]; 3];
    let mut v = [0.0_f64; 3];
    for (x, y, w) in points {
        let b = basis(*x);
        for (i, bi) in b.iter().enumerate().take(size) {
            for (j, bj) in b.iter().enumerate().take(size) {
                m[i][j] += w * bi * bj;
            }
            v[i] += w * bi * y;
        }
    }
    for (i, row) in m.iter_mut().enumerate() {
        row[i + 3] = 1.0;
    }
    for i in 0..size {
        let pivot = m[i][i];
        if pivot.abs() < 1e-12 * points.len() as f64 {
            return None;
        }
        for x in &mut m[i] {
            *x /= pivot;
        }
        let row = m[i];
        for (j, other) in m.iter_mut().enumerate().take(size) {
            if j != i {
                let factor = other[i];
                for (x, r) in other.iter_mut().zip(row) {
                    *x -= factor * r;
                }
            }
        }
    }
    let solved: Vec<f64> = (0..size).map(|i| (0..size).map(|j| m[i][j + 3] * v[j]).sum()).collect();
    let value = |x: f64| basis(x).iter().zip(&solved).map(|(b, s)| b * s).sum::<f64>();
    let chi_square = points.iter().map(|(x, y, w)| w * (y - value(*x)).powi(2)).sum();
    let at = |i: usize| (solved.get(i).copied().unwrap_or(f64::NAN), m[i][i + 3].max(0.0).sqrt());
    let above = if single { at(1) } else { at(2) };
    let volts = if single { f64::NAN } else { place.exp() };
    Some(Knee { volts: Volts(volts), below: at(1), above, chi_square })
}

/// How a curve comes back on the way down, against the way up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hysteresis {
    /// Mean ratio of the leakage on the way down to that on the way up, at the same voltage.
    pub ratio: f64,
    /// Its standard uncertainty, relative.
    pub u: f64,
    /// Voltages that were compared.
    pub voltages: usize,
}

impl Hysteresis {
    /// Whether it is more than its uncertainty (k = 2) and more than 2 %.
    pub fn is_seen(&self) -> bool {
        self.ratio.ln().abs() > (2.0 * self.u).max(0.02)
    }
}

/// Compares the way up with the way down. `steps` in the order in which they were
/// made, each with the voltage that was set. `None` where no voltage was met on both.
pub fn hysteresis(steps: &[(Volts, At)]) -> Option<Hysteresis> {
    let (up, down) = ways(steps);
    let mut ratios: Vec<(f64, f64)> = Vec::new();
    for (set, later) in down {
        let Some((_, earlier)) = up.iter().find(|(v, _)| (v.0 - set.0).abs() < 1e-9 + 1e-6 * set.0) else { continue };
        if later.current.0 > 0.0 && earlier.current.0 > 0.0 {
            let u = (later.u.0 / later.current.0).hypot(earlier.u.0 / earlier.current.0);
            ratios.push(((later.current.0 / earlier.current.0).ln(), u));
        }
    }
    let n = ratios.len() as f64;
    if ratios.is_empty() {
        return None;
    }
    let mean = ratios.iter().map(|r| r.0).sum::<f64>() / n;
    let u = ratios.iter().map(|r| r.1 * r.1).sum::<f64>().sqrt() / n;
    Some(Hysteresis { ratio: mean.exp(), u, voltages: ratios.len() })
}

/// A part of a sweep, in its order.
pub type Way<'s, T> = &'s [(Volts, T)];

/// Splits a sweep at its highest voltage: the way up with the top, and the way down.
pub fn ways<T>(steps: &[(Volts, T)]) -> (Way<'_, T>, Way<'_, T>) {
    let top = steps.windows(2).position(|w| matches!(w, [a, b] if b.0 < a.0)).map_or(steps.len(), |i| i + 1);
    steps.split_at(top)
}
