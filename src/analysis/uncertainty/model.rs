//! The uncertainty of what is computed from several quantities.

use crate::analysis::numeric::sums;

/// A computed value with its standard uncertainty.
#[derive(Clone, Debug, PartialEq)]
pub struct Propagated {
    /// The value.
    pub value: f64,
    /// Its standard uncertainty.
    pub u: f64,
    /// Its change per change of each input (5.1.3).
    pub sensitivities: Vec<f64>,
}

/// The value of `model` at (value, standard uncertainty) pairs, with correlations as
/// (i, j, r) of the pairs that depend on each other (JCGM 100:2008, equation 16).
///
/// The derivatives are taken over a tenth of each uncertainty, by five points. `None`
/// where the model is not finite nearby, an uncertainty negative, or a correlation
/// not between -1 and 1.
pub fn propagate(
    model: impl Fn(&[f64]) -> f64,
    inputs: &[(f64, f64)],
    correlations: &[(usize, usize, f64)],
) -> Option<Propagated> {
    let values: Vec<f64> = inputs.iter().map(|(v, _)| *v).collect();
    let value = model(&values);
    let slope = |i: usize, u: f64| -> Option<f64> {
        if u == 0.0 {
            return Some(0.0);
        }
        let at = |places: f64| {
            let mut values = values.clone();
            if let Some(v) = values.get_mut(i) {
                *v += places * 0.1 * u;
            }
            model(&values)
        };
        let slope = (8.0 * (at(1.0) - at(-1.0)) - (at(2.0) - at(-2.0))) / (1.2 * u);
        (u > 0.0 && slope.is_finite()).then_some(slope)
    };
    let sensitivities: Option<Vec<f64>> = inputs.iter().enumerate().map(|(i, (_, u))| slope(i, *u)).collect();
    let sensitivities = sensitivities?;
    let share = |i: usize| Some(sensitivities.get(i)? * inputs.get(i)?.1);
    let mut terms: Vec<f64> = (0..inputs.len()).map(|i| share(i).map(|s| s * s)).collect::<Option<_>>()?;
    for (i, j, r) in correlations {
        if i == j || !(-1.0..=1.0).contains(r) {
            return None;
        }
        terms.push(2.0 * share(*i)? * share(*j)? * r);
    }
    let variance = sums::sum(terms);
    (value.is_finite() && variance.is_finite()).then(|| Propagated { value, u: variance.max(0.0).sqrt(), sensitivities })
}

/// The correlation of two means whose readings were taken in pairs (5.2.3). `None` below
/// two pairs, for unequal numbers, or where one does not vary.
pub fn correlation_of_means(a: &[f64], b: &[f64]) -> Option<f64> {
    if a.len() != b.len() {
        return None;
    }
    let (ma, mb) = (sums::mean(a)?, sums::mean(b)?);
    let square = |of: &[f64], mean: f64| sums::sum(of.iter().map(|v| (v - mean).powi(2)));
    let both = sums::sum(a.iter().zip(b).map(|(a, b)| (a - ma) * (b - mb)));
    let r = both / (square(a, ma) * square(b, mb)).sqrt();
    r.is_finite().then(|| r.clamp(-1.0, 1.0))
}
