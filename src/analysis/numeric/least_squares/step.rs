//! One step: the damping under which it is as long as the step bound allows
//! (Moré 1978, section 5; Hebden 1973).

use crate::analysis::numeric::qr::{Triangle, norm, triangle};

/// The linearised problem in scaled parameters.
pub(super) struct Scaled<'a> {
    /// The triangle of the Jacobian with the residuals turned along.
    pub normal: &'a Triangle,
    /// Scale of each parameter, positive.
    pub d: &'a [f64],
    /// Parameters that stay where they are.
    pub held: &'a [bool],
}

impl Scaled<'_> {
    fn length(&self, p: &[f64]) -> f64 {
        norm(p.iter().zip(self.d).map(|(p, d)| p * d))
    }

    /// The step under a damping, and the triangle it comes from.
    fn at(&self, damping: f64) -> Option<(Vec<f64>, Triangle)> {
        let n = self.d.len();
        let mut rows = self.normal.r.clone();
        let mut rhs = self.normal.turned.clone();
        for j in 0..n {
            // A held parameter has an empty column; any weight on it keeps it in place.
            let weight = if self.held[j] { 1.0 } else { damping.sqrt() * self.d[j] };
            rows.push((0..n).map(|i| if i == j { weight } else { 0.0 }).collect());
            rhs.push(0.0);
        }
        let made = triangle(rows, rhs, n);
        let step = made.solve(&made.turned)?;
        Some((step, made))
    }

    /// D (D p) / |D p|.
    fn direction(&self, p: &[f64], length: f64) -> Vec<f64> {
        p.iter().zip(self.d).map(|(p, d)| d * (p * d / length)).collect()
    }
}

/// The step whose scaled length is within a tenth of `reach`, or the undamped one where
/// that is shorter. `damping` is the last one before, and the one taken after.
pub(super) fn damped(problem: &mut Scaled<'_>, reach: f64, damping: &mut f64) -> Option<Vec<f64>> {
    let free = problem.at(0.0).filter(|_| problem.normal.weakest().1 > f64::EPSILON || problem.held.contains(&true));
    let mut low = 0.0;
    if let Some((step, made)) = free {
        let length = problem.length(&step);
        if length <= 1.1 * reach {
            *damping = 0.0;
            return Some(step);
        }
        if let Some(w) = made.solve_transposed(&problem.direction(&step, length)) {
            low = (length - reach) / reach / norm(w.into_iter().collect::<Vec<_>>().iter().copied()).powi(2);
        }
    }
    let gradient =
        norm((0..problem.d.len()).map(|j| slope(problem.normal, j) / problem.d[j]).collect::<Vec<_>>().iter().copied());
    let mut high = gradient / reach;
    if high == 0.0 {
        high = f64::MIN_POSITIVE / reach.min(0.1);
    }
    let mut at = damping.max(low).min(high);
    if at == 0.0 {
        at = gradient / problem.length(&problem.at(high)?.0).max(f64::MIN_POSITIVE);
    }
    let mut last = None;
    for _ in 0..20 {
        if at == 0.0 {
            at = f64::MIN_POSITIVE.max(0.001 * high);
        }
        let (step, made) = problem.at(at)?;
        let length = problem.length(&step);
        let excess = length - reach;
        *damping = at;
        if excess.abs() <= 0.1 * reach {
            return Some(step);
        }
        let correction =
            made.solve_transposed(&problem.direction(&step, length)).map(|w| excess / reach / norm(w.iter().copied()).powi(2));
        last = Some(step);
        if excess > 0.0 {
            low = low.max(at)
        } else {
            high = high.min(at)
        }
        at = low.max(at + correction?);
        if !at.is_finite() {
            break;
        }
    }
    last
}

/// Element j of J' f.
fn slope(normal: &Triangle, j: usize) -> f64 {
    (0..=j).map(|i| normal.r[i][j] * normal.turned[i]).sum()
}

/// |J p|.
pub(super) fn image(normal: &Triangle, p: &[f64]) -> f64 {
    let rows = normal.r.iter().map(|row| row.iter().zip(p).map(|(r, p)| r * p).sum::<f64>()).collect::<Vec<_>>();
    norm(rows.iter().copied())
}

/// The largest cosine between the residuals and a column of the Jacobian.
pub(super) fn gradient_angle(normal: &Triangle, fnorm: f64) -> f64 {
    (0..normal.r.len())
        .map(|j| {
            let column = norm((0..=j).map(|i| normal.r[i][j]));
            if column > 0.0 { (slope(normal, j) / column / fnorm).abs() } else { 0.0 }
        })
        .fold(0.0, f64::max)
}
