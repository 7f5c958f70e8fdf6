//! Sums that keep their digits, and what stands on them: mean, spread, serial
//! correlation, a line. They reach NIST's certified values of the NumAcc sets.

/// The sum, with the rounding of each step carried along (Neumaier 1974).
pub fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    let (mut sum, mut lost) = (0.0_f64, 0.0_f64);
    for value in values {
        let next = sum + value;
        lost += if sum.abs() >= value.abs() { (sum - next) + value } else { (value - next) + sum };
        sum = next;
    }
    // An overflow leaves NaN in what was lost.
    if lost.is_finite() { sum + lost } else { sum }
}

/// The mean; `None` of nothing, or where it is not finite.
pub fn mean(values: &[f64]) -> Option<f64> {
    let first = *values.first()?;
    // Relative to the first, so that a large offset takes no digits.
    let mean = first + sum(values.iter().map(|v| v - first)) / real(values.len());
    mean.is_finite().then_some(mean)
}

/// The sample variance, n - 1 below (two passes, with the correction of Chan, Golub
/// and LeVeque 1983); `None` below two values, or where it is not finite.
pub fn variance(values: &[f64]) -> Option<f64> {
    if values.len() < 2 {
        return None;
    }
    let first = *values.first()?;
    let shift = sum(values.iter().map(|v| v - first)) / real(values.len());
    let squares = sum(values.iter().map(|v| (v - first - shift).powi(2)));
    let correction = sum(values.iter().map(|v| v - first - shift));
    let variance = (squares - correction * correction / real(values.len())) / real(values.len() - 1);
    // Not max first: the larger of NaN and 0 is 0.
    variance.is_finite().then_some(variance.max(0.0))
}

/// The sample standard deviation; as [`variance`].
pub fn deviation(values: &[f64]) -> Option<f64> {
    variance(values).map(f64::sqrt)
}

/// The serial correlation at a lag (NIST/SEMATECH handbook 1.3.5.12); `None` where
/// there are not more values than the lag, or they are all the same.
pub fn autocorrelation(values: &[f64], lag: usize) -> Option<f64> {
    let mean = mean(values)?;
    let below = sum(values.iter().map(|v| (v - mean).powi(2)));
    if lag >= values.len() || below <= 0.0 {
        return None;
    }
    let above = sum(values.iter().zip(values.iter().skip(lag)).map(|(a, b)| (a - mean) * (b - mean)));
    let r = above / below;
    r.is_finite().then_some(r)
}

/// A line through points by least squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Value at x = 0.
    pub intercept: f64,
    /// Change of y per x.
    pub slope: f64,
    /// Standard uncertainty of the intercept; `None` with two points.
    pub u_intercept: Option<f64>,
    /// Standard uncertainty of the slope; `None` with two points.
    pub u_slope: Option<f64>,
    /// Covariance of intercept and slope; `None` with two points.
    pub covariance: Option<f64>,
    /// Standard deviation of the residuals, n - 2 below; `None` with two points.
    pub residual: Option<f64>,
    /// Share of the variation in y that the line explains; `None` where y does not vary.
    pub r_squared: Option<f64>,
    /// Points.
    pub points: usize,
}

impl Line {
    /// The line's y at an x.
    pub fn at(&self, x: f64) -> f64 {
        self.intercept + self.slope * x
    }

    /// The standard uncertainty of [`Line::at`].
    pub fn u_at(&self, x: f64) -> Option<f64> {
        let (a, b, c) = (self.u_intercept?, self.u_slope?, self.covariance?);
        Some((a * a + x * (2.0 * c + x * b * b)).max(0.0).sqrt())
    }
}

/// The line through (x, y) by least squares on centred sums (Draper and Smith, 1.2).
/// `None` below two points, where x does not vary, or where a figure is not finite.
pub fn line(points: &[(f64, f64)]) -> Option<Line> {
    let weighted: Vec<(f64, f64, f64)> = points.iter().map(|(x, y)| (*x, *y, 1.0)).collect();
    weighted_line(&weighted)
}

/// As [`line()`], of (x, y, weight): a weight is 1 / u^2 up to a common factor, and
/// the uncertainties come from the scatter.
pub fn weighted_line(points: &[(f64, f64, f64)]) -> Option<Line> {
    if points.len() < 2 || points.iter().any(|(x, y, w)| !(x.is_finite() && y.is_finite() && *w > 0.0 && w.is_finite())) {
        return None;
    }
    let (x0, y0, _) = *points.first()?;
    let weight = sum(points.iter().map(|p| p.2));
    let x_mean = x0 + sum(points.iter().map(|(x, _, w)| (x - x0) * w)) / weight;
    let y_mean = y0 + sum(points.iter().map(|(_, y, w)| (y - y0) * w)) / weight;
    let sxx = sum(points.iter().map(|(x, _, w)| (x - x_mean).powi(2) * w));
    let sxy = sum(points.iter().map(|(x, y, w)| (x - x_mean) * (y - y_mean) * w));
    let syy = sum(points.iter().map(|(_, y, w)| (y - y_mean).powi(2) * w));
    if sxx <= 0.0 {
        return None;
    }
    let slope = sxy / sxx;
    let intercept = y_mean - slope * x_mean;
    // Of the residuals themselves: a difference of the sums would cancel.
    let rss = sum(points.iter().map(|(x, y, w)| ((y - y_mean) - slope * (x - x_mean)).powi(2) * w));
    let residual = (points.len() > 2).then(|| (rss / real(points.len() - 2)).sqrt());
    let made = Line {
        intercept,
        slope,
        u_intercept: residual.map(|s| s * (1.0 / weight + x_mean * x_mean / sxx).sqrt()),
        u_slope: residual.map(|s| s / sxx.sqrt()),
        covariance: residual.map(|s| -s * s * x_mean / sxx),
        residual,
        r_squared: (syy > 0.0).then(|| 1.0 - rss / syy),
        points: points.len(),
    };
    (made.slope.is_finite() && made.intercept.is_finite() && rss.is_finite()).then_some(made)
}

/// Numbers of values are far below 2^53, where they are exact.
#[allow(clippy::cast_precision_loss)]
fn real(count: usize) -> f64 {
    count as f64
}
