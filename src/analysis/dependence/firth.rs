//! Logistic regression by penalised likelihood (Firth 1993, Biometrika 80:27; Heinze
//! and Schemper 2002, Statistics in Medicine 21:2409): finite also where a condition
//! separates failed from good starts, which few failures often do.
//!
//! Maximises l(b) + 1/2 ln det I(b), with I the full information matrix also where a
//! coefficient is held; tests and intervals come from this penalised likelihood, not
//! from standard errors.

use crate::analysis::numeric::distribution::{Chance, chi_square, chi_square_at};

/// Failed and good starts over some columns, each of which is best centred and scaled.
pub struct Model<'a> {
    /// One column a covariate; the constant is added.
    pub columns: &'a [Vec<f64>],
    /// Whether each start failed.
    pub failed: &'a [bool],
}

/// Where a penalised likelihood is largest.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The constant, then one a column.
    pub coefficients: Vec<f64>,
    /// The penalised log likelihood.
    pub likelihood: f64,
}

/// Why there is no fit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FitError {
    /// Columns of different lengths, or no starts.
    #[error("columns and starts differ in number")]
    Shape,
    /// A column is constant, or a sum of others.
    #[error("a condition does not vary, or only together with another")]
    Singular,
    /// It did not settle.
    #[error("the regression did not settle")]
    NotSettled,
}

/// Steps, and halvings of a step, at most. Where a condition all but separates the starts,
/// each step closes only a share of the way that is left.
const STEPS: usize = 5000;
const HALVINGS: usize = 40;
/// The largest change of a coefficient in one step.
const LONGEST: f64 = 5.0;
/// A step shorter than this is the end.
const SETTLED: f64 = 1e-9;
/// A gain of the likelihood that is rounding alone, as a share of it.
const NOTHING: f64 = 1e-12;

/// What the likelihood is at a place, and where it leads from there.
struct Place {
    likelihood: f64,
    score: Vec<f64>,
    information: Vec<Vec<f64>>,
}

impl Model<'_> {
    /// The fit, with some coefficients held: `held[0]` is the constant.
    ///
    /// # Errors
    /// See [`FitError`].
    pub fn fit(&self, held: &[Option<f64>]) -> Result<Fit, FitError> {
        let n = self.failed.len();
        let width = self.columns.len() + 1;
        if n == 0 || self.columns.iter().any(|c| c.len() != n) || held.len() > width {
            return Err(FitError::Shape);
        }
        let bad = self.failed.iter().filter(|f| **f).count() as f64;
        let mut b = vec![0.0; width];
        if let Some(constant) = b.first_mut() {
            *constant = ((bad + 0.5) / (n as f64 - bad + 0.5)).ln();
        }
        for (slot, held) in b.iter_mut().zip(held) {
            *slot = held.unwrap_or(*slot);
        }
        self.climb(b, held)
    }

    /// The fit, from a place that is near it.
    fn climb(&self, mut b: Vec<f64>, held: &[Option<f64>]) -> Result<Fit, FitError> {
        let width = b.len();
        let free: Vec<usize> = (0..width).filter(|i| held.get(*i).copied().flatten().is_none()).collect();
        let mut here = self.at(&b)?;
        for _ in 0..STEPS {
            let part = pick(&here.information, &free);
            let score: Vec<f64> = free.iter().filter_map(|i| here.score.get(*i).copied()).collect();
            let mut step = Cholesky::of(&part).ok_or(FitError::Singular)?.solve(&score);
            let longest = step.iter().fold(0.0_f64, |m, s| m.max(s.abs()));
            // What the whole step would gain, as far as the likelihood is a parabola.
            let gain: f64 = 0.5 * step.iter().zip(&score).map(|(s, g)| s * g).sum::<f64>();
            if longest <= SETTLED {
                return Ok(Fit { coefficients: b, likelihood: here.likelihood });
            }
            let scale = (LONGEST / longest).min(1.0);
            step.iter_mut().for_each(|s| *s *= scale);
            let mut better = None;
            for _ in 0..HALVINGS {
                let mut next = b.clone();
                for (i, s) in free.iter().zip(&step) {
                    if let Some(slot) = next.get_mut(*i) {
                        *slot += s;
                    }
                }
                match self.at(&next) {
                    Ok(place) if place.likelihood > here.likelihood => {
                        better = Some((next, place));
                        break;
                    }
                    _ => step.iter_mut().for_each(|s| *s *= 0.5),
                }
            }
            match better {
                Some((next, place)) => (b, here) = (next, place),
                // No step is better than none, and none promised more than the numbers can tell.
                None if gain < NOTHING * (1.0 + here.likelihood.abs()) => {
                    return Ok(Fit { coefficients: b, likelihood: here.likelihood });
                }
                None => return Err(FitError::NotSettled),
            }
        }
        Err(FitError::NotSettled)
    }

    /// The chance of so large a penalised likelihood ratio, were these coefficients
    /// all zero: against chi-square with as many degrees of freedom.
    ///
    /// # Errors
    /// See [`FitError`].
    pub fn chance_without(&self, full: &Fit, coefficients: &[usize]) -> Result<f64, FitError> {
        let held: Vec<Option<f64>> = (0..full.coefficients.len()).map(|i| coefficients.contains(&i).then_some(0.0)).collect();
        let without = self.fit(&held)?;
        let ratio = (2.0 * (full.likelihood - without.likelihood)).max(0.0);
        chi_square(ratio, coefficients.len() as f64).map(|t| t.above).ok_or(FitError::NotSettled)
    }

    /// The profile penalised likelihood interval of a coefficient. An end that lies
    /// beyond forty standard deviations is infinite.
    ///
    /// # Errors
    /// See [`FitError`].
    pub fn interval(&self, full: &Fit, coefficient: usize, confidence: f64) -> Result<(f64, f64), FitError> {
        let reach = chi_square_at(Chance::Below(confidence), 1.0).ok_or(FitError::NotSettled)?;
        let least = full.likelihood - reach / 2.0;
        let middle = full.coefficients.get(coefficient).copied().ok_or(FitError::Shape)?;
        let deviation = self.along(&full.coefficients, coefficient)?.1;
        let end = |side: f64| -> Result<f64, FitError> {
            // Each place is climbed to from the last one inside: far out, where a condition
            // all but separates the starts, nothing else leads there.
            let mut inside = full.clone();
            let (mut far, mut low) = (1.0, 0.0);
            loop {
                let fit = self.beside(&inside, coefficient, middle + side * far * deviation)?;
                if fit.likelihood < least {
                    break;
                }
                (inside, low) = (fit, far);
                far *= 1.5;
                if far > 40.0 {
                    return Ok(side * f64::INFINITY);
                }
            }
            let mut high = far;
            for _ in 0..40 {
                let half = 0.5 * (low + high);
                let fit = self.beside(&inside, coefficient, middle + side * half * deviation)?;
                if fit.likelihood >= least { (inside, low) = (fit, half) } else { high = half }
            }
            Ok(middle + side * 0.5 * (low + high) * deviation)
        };
        Ok((end(-1.0)?, end(1.0)?))
    }

    /// The fit with one coefficient held at a value, from a fit with it near that.
    fn beside(&self, near: &Fit, coefficient: usize, value: f64) -> Result<Fit, FitError> {
        let (direction, _) = self.along(&near.coefficients, coefficient)?;
        let moved = value - near.coefficients.get(coefficient).copied().ok_or(FitError::Shape)?;
        let b = near.coefficients.iter().zip(&direction).map(|(b, d)| b + d * moved).collect();
        let held: Vec<Option<f64>> = (0..near.coefficients.len()).map(|i| (i == coefficient).then_some(value)).collect();
        self.climb(b, &held)
    }

    /// How the coefficients move together with one of them, and its standard deviation:
    /// the column of the inverse information.
    fn along(&self, b: &[f64], coefficient: usize) -> Result<(Vec<f64>, f64), FitError> {
        let information = self.at(b)?.information;
        let unit: Vec<f64> = (0..b.len()).map(|i| if i == coefficient { 1.0 } else { 0.0 }).collect();
        let column = Cholesky::of(&information).ok_or(FitError::Singular)?.solve(&unit);
        let variance = column.get(coefficient).copied().filter(|v| *v > 0.0).ok_or(FitError::Singular)?;
        Ok((column.iter().map(|c| c / variance).collect(), variance.sqrt()))
    }

    fn row(&self, i: usize) -> impl Iterator<Item = f64> + '_ {
        std::iter::once(1.0).chain(self.columns.iter().map(move |c| c.get(i).copied().unwrap_or(0.0)))
    }

    fn at(&self, b: &[f64]) -> Result<Place, FitError> {
        let width = b.len();
        let mut information = vec![vec![0.0; width]; width];
        let mut likelihood = 0.0;
        let mut chances = Vec::with_capacity(self.failed.len());
        let mut row = vec![0.0; width];
        for (i, failed) in self.failed.iter().enumerate() {
            row.clear();
            row.extend(self.row(i));
            let eta: f64 = row.iter().zip(b).map(|(x, b)| x * b).sum();
            let p = 1.0 / (1.0 + (-eta).exp());
            // ln p or ln (1 - p), without the cancellation of 1 - p.
            let signed = if *failed { eta } else { -eta };
            likelihood -= if signed > 0.0 { (-signed).exp().ln_1p() } else { signed.exp().ln_1p() - signed };
            let w = p * (1.0 - p);
            for (line, x) in information.iter_mut().zip(&row) {
                line.iter_mut().zip(&row).for_each(|(cell, y)| *cell += w * x * y);
            }
            chances.push(p);
        }
        let factor = Cholesky::of(&information).ok_or(FitError::Singular)?;
        let mut score = vec![0.0; width];
        for (i, (failed, p)) in self.failed.iter().zip(&chances).enumerate() {
            row.clear();
            row.extend(self.row(i));
            let leverage = p * (1.0 - p) * factor.square(&row);
            let residual = f64::from(u8::from(*failed)) - p + leverage * (0.5 - p);
            score.iter_mut().zip(&row).for_each(|(s, x)| *s += residual * x);
        }
        likelihood += 0.5 * factor.log_determinant();
        if !likelihood.is_finite() {
            return Err(FitError::NotSettled);
        }
        Ok(Place { likelihood, score, information })
    }
}

fn pick(matrix: &[Vec<f64>], free: &[usize]) -> Vec<Vec<f64>> {
    let line = |i: &usize| -> Vec<f64> { free.iter().filter_map(|j| matrix.get(*i).and_then(|l| l.get(*j)).copied()).collect() };
    free.iter().map(line).collect()
}

/// The lower factor of a positive definite matrix.
struct Cholesky(Vec<Vec<f64>>);

impl Cholesky {
    /// `None` where it is not positive definite, as far as the numbers can tell.
    fn of(matrix: &[Vec<f64>]) -> Option<Self> {
        let mut lower: Vec<Vec<f64>> = Vec::with_capacity(matrix.len());
        for (i, line) in matrix.iter().enumerate() {
            let mut made: Vec<f64> = Vec::with_capacity(i + 1);
            for (j, value) in line.iter().enumerate().take(i + 1) {
                let above = if j == i { &made } else { lower.get(j)? };
                let rest = value - made.iter().zip(above).take(j).map(|(a, b)| a * b).sum::<f64>();
                if j == i {
                    // A pivot that is rounding alone.
                    if !(rest > value * 1e-12 && rest > 0.0) {
                        return None;
                    }
                    made.push(rest.sqrt());
                } else {
                    made.push(rest / lower.get(j)?.get(j)?);
                }
            }
            lower.push(made);
        }
        Some(Self(lower))
    }

    fn log_determinant(&self) -> f64 {
        2.0 * self.0.iter().filter_map(|line| line.last()).map(|d| d.ln()).sum::<f64>()
    }

    /// L y = v.
    fn forward(&self, v: &[f64]) -> Vec<f64> {
        let mut y: Vec<f64> = Vec::with_capacity(v.len());
        for (line, v) in self.0.iter().zip(v) {
            let rest = v - line.iter().zip(&y).map(|(a, b)| a * b).sum::<f64>();
            y.push(rest / line.last().copied().unwrap_or(1.0));
        }
        y
    }

    /// v' M^-1 v.
    fn square(&self, v: &[f64]) -> f64 {
        self.forward(v).iter().map(|y| y * y).sum()
    }

    fn solve(&self, v: &[f64]) -> Vec<f64> {
        let mut x = self.forward(v);
        for i in (0..x.len()).rev() {
            let column = |k: usize| self.0.get(k).and_then(|l| l.get(i)).copied().unwrap_or(0.0);
            let below: f64 = x.iter().enumerate().skip(i + 1).map(|(k, x)| column(k) * x).sum();
            if let Some(slot) = x.get_mut(i) {
                *slot = (*slot - below) / column(i);
            }
        }
        x
    }
}
