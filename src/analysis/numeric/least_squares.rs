//! Least squares for models that are not linear in their parameters: Levenberg and
//! Marquardt's method in Moré's form (Moré 1978, Lecture Notes in Mathematics
//! 630:105), with a step bound in scaled parameters, and what the fit is worth.
//!
//! A fit answers parameters with their covariance, or says why there is none.
//! It reaches the certified values of NIST's 27 non-linear sets (StRD) from both
//! starts given there (`analysis::tests::certified`).

mod search;
mod step;

use super::qr::norm;
use search::Search;

/// One observation: where, what, and how much it counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observation<X> {
    /// The predictor, of any shape that the model takes.
    pub x: X,
    /// The response.
    pub y: f64,
    /// 1 / u^2, or any multiple of it that is the same for all.
    pub weight: f64,
}

impl<X> Observation<X> {
    /// With the weight 1.
    pub fn new(x: X, y: f64) -> Self {
        Self { x, y, weight: 1.0 }
    }

    /// Weighted by its standard uncertainty, which must not be zero.
    pub fn with_u(x: X, y: f64, u: f64) -> Self {
        Self { x, y, weight: 1.0 / (u * u) }
    }
}

/// Why there is no fit.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FitError {
    /// Fewer observations than parameters.
    #[error("{found} readings are too few to fit {parameters} parameters")]
    TooFew {
        /// Observations.
        found: usize,
        /// Parameters.
        parameters: usize,
    },
    /// An observation, a weight, a start or a bound is not finite, or a weight not
    /// positive, or the start lies outside the bounds.
    #[error("what was given cannot be fitted: {0}")]
    Unfit(&'static str),
    /// The model has no finite value at the start.
    #[error("the model has no finite value where the fit starts")]
    NotFinite,
    /// The data do not determine this parameter beside those before it.
    #[error("the readings do not determine parameter {} of the model", parameter + 1)]
    Singular {
        /// Its place, from 0.
        parameter: usize,
    },
    /// The search ended at a bound: the best value lies there or beyond.
    #[error("parameter {} ran into its bound at {value:e}", parameter + 1)]
    AtBound {
        /// Its place, from 0.
        parameter: usize,
        /// The bound.
        value: f64,
    },
    /// No minimum was reached.
    #[error("no best fit was found in {steps} steps")]
    NoConvergence {
        /// Steps taken.
        steps: usize,
    },
}

/// A fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The parameters.
    pub parameters: Vec<f64>,
    /// Weighted sum of squared residuals.
    pub rss: f64,
    /// Observations.
    pub observations: usize,
    /// Inverse of the normal matrix J' W J, row by row.
    pub normal_inverse: Vec<Vec<f64>>,
    /// Evaluated steps.
    pub steps: usize,
}

impl Fit {
    /// Observations less parameters.
    pub fn dof(&self) -> usize {
        self.observations - self.parameters.len()
    }

    /// Standard deviation of the residuals; `None` without a degree of freedom.
    pub fn residual(&self) -> Option<f64> {
        (self.dof() > 0).then(|| (self.rss / real(self.dof())).sqrt())
    }

    /// Covariance of two parameters, from the scatter about the model.
    pub fn covariance(&self, i: usize, j: usize) -> Option<f64> {
        Some(self.residual()?.powi(2) * self.normal_inverse.get(i)?.get(j)?)
    }

    /// Standard uncertainty of a parameter, from the scatter about the model.
    pub fn u(&self, i: usize) -> Option<f64> {
        self.covariance(i, i).map(f64::sqrt)
    }

    /// Standard uncertainty of a parameter where the weights are 1 / u^2 in full.
    pub fn u_by_weights(&self, i: usize) -> Option<f64> {
        self.normal_inverse.get(i)?.get(i).map(|v| v.sqrt())
    }

    /// Akaike's criterion with the correction for few observations, for comparing models
    /// of the same responses with the same weights (Burnham and Anderson 2002, 2.4; the
    /// variance counts as a parameter). `None` where there are too few observations for
    /// it, or the residuals vanish.
    pub fn aicc(&self) -> Option<f64> {
        aicc(self.rss, self.observations, self.parameters.len())
    }
}

/// As [`Fit::aicc`], for a model fitted by other means.
pub fn aicc(rss: f64, observations: usize, parameters: usize) -> Option<f64> {
    let (n, k) = (real(observations), real(parameters + 1));
    let room = n - k - 1.0;
    (room > 0.0 && rss > 0.0 && rss.is_finite()).then(|| n * (rss / n).ln() + 2.0 * k + 2.0 * k * (k + 1.0) / room)
}

/// Fits `model` to the observations, from `start`.
///
/// The search is done with three first step bounds, and the lowest minimum taken: a
/// bad start sends a wide first step astray, a narrow one into a near hollow.
pub fn fit<X>(model: impl Fn(&X, &[f64]) -> f64, observations: &[Observation<X>], start: &[f64]) -> Result<Fit, FitError> {
    fit_within(model, observations, start, &vec![(f64::NEG_INFINITY, f64::INFINITY); start.len()])
}

/// As [`fit`], with each parameter between two bounds (infinite: none). A minimum at a
/// bound is an error that says so.
pub fn fit_within<X>(
    model: impl Fn(&X, &[f64]) -> f64,
    observations: &[Observation<X>],
    start: &[f64],
    bounds: &[(f64, f64)],
) -> Result<Fit, FitError> {
    check(observations, start, bounds)?;
    let residuals = |p: &[f64]| -> Option<Vec<f64>> {
        let all: Vec<f64> = observations.iter().map(|o| o.weight.sqrt() * (model(&o.x, p) - o.y)).collect();
        all.iter().all(|r| r.is_finite()).then_some(all)
    };
    // What rounding alone leaves of the residuals.
    let noise = f64::EPSILON * norm(observations.iter().map(|o| o.weight.sqrt() * o.y));
    let search = Search { residuals: &residuals, bounds, noise };
    let mut best: Result<Fit, FitError> = Err(FitError::NotFinite);
    for factor in [100.0, 1.0, 0.1] {
        let found = search.run(start, factor);
        best = match (best, found) {
            (Ok(a), Ok(b)) => Ok(if b.rss < a.rss { b } else { a }),
            (Ok(a), Err(_)) => Ok(a),
            (Err(_), found) => found,
        };
    }
    best
}

fn check<X>(observations: &[Observation<X>], start: &[f64], bounds: &[(f64, f64)]) -> Result<(), FitError> {
    if observations.len() < start.len() || start.is_empty() {
        return Err(FitError::TooFew { found: observations.len(), parameters: start.len() });
    }
    if observations.iter().any(|o| !(o.y.is_finite() && o.weight.is_finite() && o.weight > 0.0)) {
        return Err(FitError::Unfit("a reading is not finite, or a weight not positive"));
    }
    if start.iter().any(|p| !p.is_finite()) {
        return Err(FitError::Unfit("the start is not finite"));
    }
    let inside = start.iter().zip(bounds).all(|(p, (low, high))| low <= p && p <= high);
    if bounds.len() != start.len() || !inside {
        return Err(FitError::Unfit("the start lies outside its bounds"));
    }
    Ok(())
}

/// Numbers of readings are far below 2^53, where they are exact.
#[allow(clippy::cast_precision_loss)]
fn real(count: usize) -> f64 {
    count as f64
}
