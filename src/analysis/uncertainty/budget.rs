//! A budget: named contributions, their combination, and the expanded uncertainty.

use crate::analysis::numeric::distribution::student_t_two_sided;
use crate::analysis::numeric::sums;
use crate::units::Stated;

/// One line of a budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Contribution {
    /// What it comes from.
    pub name: String,
    /// What is stated of it: a half-width, a step, a standard deviation of a mean.
    pub stated: f64,
    /// How it is distributed.
    pub distribution: &'static str,
    /// What `stated` is divided by.
    pub divisor: f64,
    /// Change of the result per change of the influence (5.1.3).
    pub sensitivity: f64,
    /// Degrees of freedom; infinite where the statement counts as certain.
    pub dof: f64,
}

impl Contribution {
    fn new(name: &str, stated: f64, distribution: &'static str, divisor: f64) -> Self {
        Self { name: name.into(), stated, distribution, divisor, sensitivity: 1.0, dof: f64::INFINITY }
    }

    /// A half-width, and what it means.
    pub fn stated(name: &str, half_width: f64, meaning: Stated) -> Self {
        Self::new(name, half_width, meaning.name(), meaning.divisor())
    }

    /// A smallest step d: d / sqrt 12 (F.2.2.1).
    pub fn resolution(name: &str, step: f64) -> Self {
        Self::new(name, step, "rectangular, full width", 12f64.sqrt())
    }

    /// A standard uncertainty that is known as such.
    pub fn standard(name: &str, u: f64) -> Self {
        Self::new(name, u, "normal", 1.0)
    }

    /// The mean of repeated readings (type A).
    pub fn repeated(name: &str, of: &Repeated) -> Self {
        Self { dof: of.dof, ..Self::new(name, of.u, "normal, of a mean", 1.0) }
    }

    /// With a sensitivity.
    #[must_use]
    pub fn times(self, sensitivity: f64) -> Self {
        Self { sensitivity, ..self }
    }

    /// With degrees of freedom.
    #[must_use]
    pub fn with_dof(self, dof: f64) -> Self {
        Self { dof, ..self }
    }

    /// Its standard uncertainty.
    pub fn u(&self) -> f64 {
        self.stated.abs() / self.divisor
    }

    /// What it adds to the result: |c| u.
    pub fn share(&self) -> f64 {
        self.sensitivity.abs() * self.u()
    }
}

/// Degrees of freedom of an uncertainty that is itself good to this share only: 1 / (2 r^2)
/// (G.3).
pub fn judged_dof(relative: f64) -> f64 {
    0.5 / (relative * relative)
}

/// Readings repeated under the same conditions (type A, 4.2).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Repeated {
    /// Their mean.
    pub mean: f64,
    /// Standard deviation of one reading.
    pub deviation: f64,
    /// Standard uncertainty of the mean.
    pub u: f64,
    /// n - 1.
    pub dof: f64,
}

/// Mean and uncertainty of repeated readings; `None` below two, or where one is not
/// finite.
pub fn repeated(values: &[f64]) -> Option<Repeated> {
    let (mean, deviation) = (sums::mean(values)?, sums::deviation(values)?);
    // Counts of readings are far below 2^53.
    #[allow(clippy::cast_precision_loss)]
    let n = values.len() as f64;
    Some(Repeated { mean, deviation, u: deviation / n.sqrt(), dof: n - 1.0 })
}

/// Contributions and what is known of their dependence.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Budget {
    /// The lines.
    pub lines: Vec<Contribution>,
    /// Correlation coefficients of pairs of lines that depend on each other.
    correlations: Vec<(usize, usize, f64)>,
    /// Second derivatives by pairs of lines, for a model with products.
    products: Vec<(usize, usize, f64)>,
}

/// An expanded uncertainty and how it came about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expanded {
    /// Combined standard uncertainty.
    pub u: f64,
    /// Effective degrees of freedom, not rounded.
    pub dof: f64,
    /// Coverage factor: Student's t for the degrees of freedom rounded down.
    pub k: f64,
    /// k u.
    pub expanded: f64,
    /// The level of confidence asked for.
    pub level: f64,
}

impl Budget {
    /// Of lines that do not depend on each other.
    pub fn of(lines: impl IntoIterator<Item = Contribution>) -> Self {
        Self { lines: lines.into_iter().collect(), ..Self::default() }
    }

    /// With two lines correlated by r (5.2.2).
    #[must_use]
    pub fn correlate(mut self, i: usize, j: usize, r: f64) -> Self {
        self.correlations.push((i, j, r));
        self
    }

    /// With a product of two lines in the model, whose second derivative is given: the
    /// term of second order where the first order vanishes (5.1.2, note; H.1.7).
    #[must_use]
    pub fn product(mut self, i: usize, j: usize, derivative: f64) -> Self {
        self.products.push((i, j, derivative));
        self
    }

    /// The combined standard uncertainty (equations 10 and 16); `None` where a line is
    /// not finite or names no line, or a correlation is not between -1 and 1.
    pub fn combined(&self) -> Option<f64> {
        let own = sums::sum(self.lines.iter().map(|l| l.share().powi(2)));
        let mut pairs = 0.0;
        for (i, j, r) in &self.correlations {
            if i == j || !(-1.0..=1.0).contains(r) {
                return None;
            }
            let (a, b) = (self.lines.get(*i)?, self.lines.get(*j)?);
            pairs += 2.0 * a.sensitivity * a.u() * b.sensitivity * b.u() * r;
        }
        for (i, j, derivative) in &self.products {
            pairs += (derivative * self.lines.get(*i)?.u() * self.lines.get(*j)?.u()).powi(2);
        }
        let variance = own + pairs;
        // Full negative correlation leaves a rounding below zero.
        variance.is_finite().then(|| variance.max(0.0).sqrt())
    }

    /// Effective degrees of freedom by Welch and Satterthwaite (G.4.1). Their formula is
    /// for lines that do not depend on each other; with correlated ones the smallest
    /// number among all lines is taken, which is on the safe side.
    pub fn effective_dof(&self) -> Option<f64> {
        let u = self.combined()?;
        if self.lines.iter().any(|l| l.dof.is_nan() || l.dof <= 0.0) {
            return None;
        }
        if !self.correlations.is_empty() {
            return Some(self.lines.iter().filter(|l| l.share() > 0.0).map(|l| l.dof).fold(f64::INFINITY, f64::min));
        }
        // Of the terms of first order alone, to which the formula belongs.
        let below = sums::sum(self.lines.iter().map(|l| l.share().powi(4) / l.dof));
        Some(if below > 0.0 { u.powi(4) / below } else { f64::INFINITY })
    }

    /// The expanded uncertainty at a level of confidence between 0 and 1, by Student's t
    /// (G.4.1 and table G.2). The degrees of freedom are rounded down (G.4.1, note 1);
    /// `None` below 1, or as [`Budget::combined`].
    pub fn expanded(&self, level: f64) -> Option<Expanded> {
        let (u, dof) = (self.combined()?, self.effective_dof()?);
        let whole = dof.floor();
        if whole < 1.0 {
            return None;
        }
        let k = student_t_two_sided(level, whole)?;
        Some(Expanded { u, dof, k, expanded: k * u, level })
    }
}
