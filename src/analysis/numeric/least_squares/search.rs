//! The search for the minimum from one start (Moré 1978; the constants are those of
//! MINPACK's lmder, More, Garbow and Hillstrom 1980), its last polish and the checks
//! without which its end is not a fit.
//!
//! Indices run over parameters and observations, whose numbers the caller has checked.

use super::step::{self, Scaled, damped};
use super::{Fit, FitError, real};
use crate::analysis::numeric::qr::{Triangle, norm, triangle};
use crate::analysis::numeric::sums;

/// One of a search: evaluated points.
const MOST_STEPS: usize = 2000;
/// Undamped steps at the end.
const MOST_POLISHING: usize = 5;

pub(super) struct Search<'a, R> {
    /// The weighted residuals at a point; `None` where one is not finite.
    pub residuals: &'a R,
    /// Bounds of each parameter.
    pub bounds: &'a [(f64, f64)],
    /// What rounding alone leaves of the residuals' norm.
    pub noise: f64,
}

impl<R: Fn(&[f64]) -> Option<Vec<f64>>> Search<'_, R> {
    /// The minimum reached from `start`, the first step no longer than `factor` times
    /// the start's scaled length.
    pub(super) fn run(&self, start: &[f64], factor: f64) -> Result<Fit, FitError> {
        let n = start.len();
        let mut x = start.to_vec();
        let mut f = (self.residuals)(&x).ok_or(FitError::NotFinite)?;
        let (mut scale, mut size) = (vec![0.0_f64; n], vec![0.0_f64; n]);
        let (mut reach, mut steps) = (f64::NAN, 0);
        let mut damping = 0.0;
        loop {
            // A parameter that passes through zero keeps a step by its usual size.
            for (size, x) in size.iter_mut().zip(&x) {
                *size = size.max(x.abs());
            }
            let jacobian = self.jacobian(&x, &size).ok_or(FitError::NotFinite)?;
            let held = self.held(&x, &jacobian, &f);
            let shown = mask(&jacobian, &held);
            for (j, s) in scale.iter_mut().enumerate() {
                *s = s.max(norm(jacobian.iter().map(|row| row[j])));
            }
            let d: Vec<f64> = scale.iter().map(|s| if *s > 0.0 { *s } else { 1.0 }).collect();
            let length = |p: &[f64]| norm(p.iter().zip(&d).map(|(p, d)| p * d));
            let extent = length(&x);
            if reach.is_nan() {
                reach = factor * if extent > 0.0 { extent } else { 1.0 };
            }
            let normal = triangle(shown, f.clone(), n);
            let fnorm = norm(f.iter().copied());
            if fnorm <= self.noise || step::gradient_angle(&normal, fnorm) <= f64::EPSILON {
                return self.finish(x, f, &size, steps);
            }
            loop {
                let mut scaled = Scaled { normal: &normal, d: &d, held: &held };
                let Some(step) = damped(&mut scaled, reach, &mut damping) else {
                    return self.finish(x, f, &size, steps);
                };
                let trial = self.clip(x.iter().zip(&step).map(|(x, p)| x - p).collect());
                let taken: Vec<f64> = x.iter().zip(&trial).map(|(a, b)| a - b).collect();
                let span = length(&taken);
                if steps == 0 {
                    reach = reach.min(span);
                }
                steps += 1;
                let tried = (self.residuals)(&trial);
                let after = tried.as_ref().map_or(f64::INFINITY, |f| norm(f.iter().copied()));
                let actual = if 0.1 * after < fnorm { 1.0 - (after / fnorm).powi(2) } else { -1.0 };
                let along = (step::image(&normal, &taken) / fnorm).powi(2);
                let across = damping * (span / fnorm).powi(2);
                let predicted = along + 2.0 * across;
                let slope = -(along + across);
                let ratio = if predicted > 0.0 { actual / predicted } else { 0.0 };
                if ratio <= 0.25 {
                    let shrink = if actual >= 0.0 { 0.5 } else { 0.5 * slope / (slope + 0.5 * actual) };
                    let shrink = if 0.1 * after >= fnorm || shrink < 0.1 { 0.1 } else { shrink };
                    reach = shrink * reach.min(10.0 * span);
                    damping /= shrink;
                } else if damping == 0.0 || ratio >= 0.75 {
                    reach = 2.0 * span;
                    damping *= 0.5;
                }
                let accepted = ratio >= 1e-4;
                let small = f64::EPSILON;
                let settled = (actual.abs() <= small && predicted <= small && ratio <= 2.0) || reach <= small * extent;
                if accepted && let Some(better) = tried {
                    x = trial;
                    f = better;
                }
                if settled {
                    return self.finish(x, f, &size, steps);
                }
                if steps >= MOST_STEPS {
                    return Err(FitError::NoConvergence { steps });
                }
                if accepted {
                    break;
                }
            }
        }
    }

    /// The fit at x, if it is a minimum that determines every parameter.
    fn finish(&self, mut x: Vec<f64>, mut f: Vec<f64>, size: &[f64], steps: usize) -> Result<Fit, FitError> {
        let jacobian = self.jacobian(&x, size).ok_or(FitError::NotFinite)?;
        if let Some(parameter) = self.held(&x, &jacobian, &f).iter().position(|h| *h) {
            return Err(FitError::AtBound { parameter, value: x[parameter] });
        }
        let mut normal = triangle(jacobian, f.clone(), x.len());
        // The sum of squares no longer tells points apart that differ in their eighth digit;
        // its slope still does.
        for _ in 0..MOST_POLISHING {
            let Some(polished) = self.polish(&x, &normal, size) else { break };
            (x, f, normal) = polished;
        }
        let (parameter, own) = normal.weakest();
        // Below this the dependence cannot be told from the rounding of the derivatives.
        if own < 1e-11 {
            return Err(FitError::Singular { parameter });
        }
        // Bates and Watts 1988, 2.2.3: the residuals' part along the model's surface
        // against the part across it.
        let along = norm(normal.turned.iter().copied());
        let rss = sums::sum(f.iter().map(|r| r * r));
        let across = normal.rest / real(f.len() - x.len()).max(1.0).sqrt();
        if along / real(x.len()).sqrt() > 1e-3 * across && along > 1e3 * self.noise {
            return Err(FitError::NoConvergence { steps });
        }
        let normal_inverse = normal.inverse_normal().ok_or(FitError::Singular { parameter })?;
        Ok(Fit { parameters: x, rss, observations: f.len(), normal_inverse, steps })
    }

    /// One undamped step, where it lessens the slope by half and stays within the bounds.
    fn polish(&self, x: &[f64], normal: &Triangle, size: &[f64]) -> Option<(Vec<f64>, Vec<f64>, Triangle)> {
        let step = normal.solve(&normal.turned)?;
        let better: Vec<f64> = x.iter().zip(&step).map(|(x, p)| x - p).collect();
        let inside = better.iter().zip(self.bounds).all(|(x, (low, high))| low < x && x < high);
        let f = (self.residuals)(&better).filter(|_| inside)?;
        let after = triangle(self.jacobian(&better, size)?, f.clone(), x.len());
        let slope = |of: &Triangle| norm(of.turned.iter().copied());
        (slope(&after) < 0.5 * slope(normal)).then_some((better, f, after))
    }

    /// Derivatives by five points (A&S 25.3.6), whose error is near eps^(4/5).
    fn jacobian(&self, x: &[f64], size: &[f64]) -> Option<Vec<Vec<f64>>> {
        let columns: Option<Vec<Vec<f64>>> =
            (0..x.len()).map(|j| self.column(x, j, size.get(j).copied().unwrap_or(0.0))).collect();
        let columns = columns?;
        let rows = columns.first()?.len();
        Some((0..rows).map(|i| columns.iter().map(|c| c[i]).collect()).collect())
    }

    fn column(&self, x: &[f64], j: usize, size: f64) -> Option<Vec<f64>> {
        let mut wide = 2e-4 * if size == 0.0 { 1.0 } else { x[j].abs().max(1e-3 * size) };
        // Where the model has no value so far off, nearer.
        for _ in 0..12 {
            let at = |places: f64| {
                let mut x = x.to_vec();
                x[j] += places * wide;
                Some((x[j], (self.residuals)(&x)?))
            };
            if let (Some(a), Some(b), Some(c), Some(d)) = (at(-2.0), at(-1.0), at(1.0), at(2.0)) {
                // The steps as they came out in the floating point.
                let (far, near) = (d.0 - a.0, c.0 - b.0);
                let slope = |i: usize| {
                    let (far, near) = ((d.1[i] - a.1[i]) / far, (c.1[i] - b.1[i]) / near);
                    (4.0 * near - far) / 3.0
                };
                return Some((0..a.1.len()).map(slope).collect());
            }
            wide *= 0.1;
        }
        None
    }

    fn clip(&self, x: Vec<f64>) -> Vec<f64> {
        x.into_iter().zip(self.bounds).map(|(x, (low, high))| x.max(*low).min(*high)).collect()
    }

    /// Parameters at a bound, which the residuals would push across it.
    fn held(&self, x: &[f64], jacobian: &[Vec<f64>], f: &[f64]) -> Vec<bool> {
        let downhill = |j: usize| -jacobian.iter().zip(f).map(|(row, f)| row[j] * f).sum::<f64>();
        let at = |j: usize| {
            let (low, high) = self.bounds[j];
            (x[j] <= low && downhill(j) <= 0.0) || (x[j] >= high && downhill(j) >= 0.0)
        };
        (0..x.len()).map(at).collect()
    }
}

/// The Jacobian without the columns of parameters that are held.
fn mask(jacobian: &[Vec<f64>], held: &[bool]) -> Vec<Vec<f64>> {
    let row = |row: &Vec<f64>| row.iter().zip(held).map(|(v, h)| if *h { 0.0 } else { *v }).collect();
    jacobian.iter().map(row).collect()
}
