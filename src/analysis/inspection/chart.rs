//! Shewhart's chart of single values: a control part that is measured again and again,
//! so that a fixture or an instrument that drifts is noticed.
//!
//! Centre and spread are stated beforehand, or estimated from the mean moving range of
//! two (ISO 7870-2; NIST/SEMATECH handbook 6.3.2.2). The rules are those of the Western
//! Electric handbook (1956) with the trend of L. S. Nelson (Journal of Quality Technology
//! 16, 1984, 237-239), as the NIST/SEMATECH handbook lists them in 6.3.2.

use crate::analysis::numeric::distribution::{Chance, student_t_at};
use crate::analysis::numeric::sums::mean;
use crate::analysis::series::mean_and_deviation;

/// d2 of two: a normal spread's mean moving range over its standard deviation.
pub const D2: f64 = 1.128;

/// Fewer points of this lot alone make no limits.
pub const LEAST: usize = 5;
/// With fewer points than this, limits are provisional (common practice: 20 to 25).
pub const SURE: usize = 20;

/// Chance of a normal value above three standard deviations.
const TAIL: f64 = 0.001_349_898;

/// Where centre and spread come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum From {
    /// The plan states them.
    Stated,
    /// Estimated from earlier lots.
    Earlier,
    /// Estimated from this lot's own points.
    Own,
}

impl From {
    /// As the record names it.
    pub fn name(self) -> &'static str {
        match self {
            From::Stated => "stated",
            From::Earlier => "earlier lots",
            From::Own => "this lot",
        }
    }
}

/// Centre and spread of a chart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Basis {
    /// The centre line.
    pub centre: f64,
    /// Standard deviation, in the same unit.
    pub sigma: f64,
    /// How many points it rests on; 0 where it is stated.
    pub points: usize,
    /// Where it comes from.
    pub from: From,
}

impl Basis {
    /// By mean and mean moving range of points in their order; `None` with fewer than two.
    pub fn of(points: &[f64], from: From) -> Option<Self> {
        let ranges: Vec<f64> = points.windows(2).filter_map(|w| Some((w.get(1)? - w.first()?).abs())).collect();
        let sigma = mean(&ranges)? / D2;
        Some(Self { centre: mean(points)?, sigma, points: points.len(), from })
    }

    /// Of points of several lots: their mean and standard deviation, which holds what
    /// differs from lot to lot, too; at least `least`, by which the instrument may read
    /// otherwise on another day. `None` with fewer than [`LEAST`] points.
    pub fn earlier(points: &[f64], least: f64) -> Option<Self> {
        if points.len() < LEAST {
            return None;
        }
        let (centre, deviation) = mean_and_deviation(points)?;
        Some(Self { centre, sigma: deviation?.max(least), points: points.len(), from: From::Earlier })
    }

    /// With a spread so much larger that a further point of the same lies beyond three of
    /// it as rarely as beyond three true ones, though it is estimated from few points: by
    /// Student's t. Toward its tail a mean moving range of n points is as sure as a standard
    /// deviation of 0.7 (n - 1) + 0.8 degrees of freedom (fitted to a million simulated
    /// rows each of 5 to 30 points; the test holds it).
    #[must_use]
    pub fn widened(self) -> Self {
        let n = self.points as f64;
        let chance = Chance::Above(TAIL);
        let factor = student_t_at(chance, (0.7 * (n - 1.0) + 0.8).max(1.0)).map_or(1.0, |t| t * (1.0 + 1.0 / n).sqrt() / 3.0);
        Self { sigma: self.sigma * factor.max(1.0), ..self }
    }

    /// Lower and upper control limit, three standard deviations from the centre.
    pub fn limits(&self) -> (f64, f64) {
        (self.centre - 3.0 * self.sigma, self.centre + 3.0 * self.sigma)
    }
}

/// A rule that a point breaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rule {
    /// It lies beyond three standard deviations.
    Beyond,
    /// It is one of two of three in a row beyond two, on one side.
    TwoOfThree,
    /// It is one of four of five in a row beyond one, on one side.
    FourOfFive,
    /// It is the last of eight in a row on one side of the centre.
    Eight,
    /// It is the last of six in a row that rise, or fall, all along.
    Trend,
}

impl Rule {
    /// All.
    pub const ALL: [Rule; 5] = [Rule::Beyond, Rule::TwoOfThree, Rule::FourOfFive, Rule::Eight, Rule::Trend];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Rule::Beyond => "beyond three standard deviations",
            Rule::TwoOfThree => "two of three beyond two standard deviations on one side",
            Rule::FourOfFive => "four of five beyond one standard deviation on one side",
            Rule::Eight => "eight in a row on one side of the centre",
            Rule::Trend => "six in a row that rise or fall all along",
        }
    }
}

/// The rules that the last of `points` breaks. The trend needs no basis.
pub fn broken(points: &[f64], basis: Option<&Basis>) -> Vec<Rule> {
    let Some(last) = points.last() else { return Vec::new() };
    let mut rules = Vec::new();
    if let Some(basis) = basis.filter(|b| b.sigma > 0.0) {
        let z: Vec<f64> = points.iter().map(|p| (p - basis.centre) / basis.sigma).collect();
        let side = (last - basis.centre).signum();
        // Of the last `of`, how many lie beyond `far` on the side of the last one.
        let beyond = |of: usize, far: f64| {
            let span = z.get(z.len().saturating_sub(of)..).unwrap_or(&[]);
            span.iter().filter(|z| **z * side > far).count()
        };
        let own = |far: f64| z.last().is_some_and(|z| z * side > far);
        if own(3.0) {
            rules.push(Rule::Beyond);
        }
        if own(2.0) && beyond(3, 2.0) >= 2 {
            rules.push(Rule::TwoOfThree);
        }
        if own(1.0) && beyond(5, 1.0) >= 4 {
            rules.push(Rule::FourOfFive);
        }
        if own(0.0) && beyond(8, 0.0) >= 8 {
            rules.push(Rule::Eight);
        }
    }
    if let Some(six) = points.len().checked_sub(6).and_then(|from| points.get(from..)) {
        let steps = six.windows(2).filter_map(|w| Some(w.get(1)? - w.first()?));
        let signs: Vec<f64> = steps.map(f64::signum).collect();
        if six.windows(2).all(|w| w.first() != w.get(1)) && signs.windows(2).all(|w| w.first() == w.get(1)) {
            rules.push(Rule::Trend);
        }
    }
    rules
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::numeric::distribution::{Chance, normal_at};
    use rand::{RngExt, SeedableRng};

    /// NIST/SEMATECH handbook 6.3.2.2, individuals chart: ten flow rates; mean 50.81,
    /// mean moving range 1.8778, limits 45.8159 and 55.8041.
    #[test]
    fn limits_are_the_handbooks() {
        let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
        let basis = Basis::of(&flow, From::Own).unwrap();
        assert!((basis.centre - 50.81).abs() < 1e-9 && (basis.sigma * D2 - 1.8778).abs() < 5e-5);
        let (low, high) = basis.limits();
        assert!((low - 45.8159).abs() < 5e-5 && (high - 55.8041).abs() < 5e-5, "{low} {high}");
        assert!((1..=10).all(|n| broken(&flow[..n], Some(&basis)).is_empty()), "the handbook: in control");
        assert_eq!(Basis::of(&[1.0], From::Own), None);
    }

    /// Each rule by the shortest row that breaks it, and one point short of it.
    #[test]
    fn each_rule_holds_by_its_own_row() {
        let basis = Basis { centre: 10.0, sigma: 1.0, points: 0, from: From::Stated };
        let after = |z: &[f64]| broken(&z.iter().map(|z| 10.0 + z).collect::<Vec<_>>(), Some(&basis));
        assert_eq!(after(&[0.1, 3.1]), [Rule::Beyond]);
        assert_eq!(after(&[0.1, -3.1]), [Rule::Beyond]);
        assert_eq!(after(&[2.1, 0.3, 2.2]), [Rule::TwoOfThree]);
        assert_eq!(after(&[2.1, 0.3, -2.2]), []);
        assert_eq!(after(&[1.1, 1.4, 0.2, 1.2, 1.3]), [Rule::FourOfFive]);
        assert_eq!(after(&[1.1, 1.4, 0.2, 0.9, 1.3]), []);
        assert_eq!(after(&[0.3, 0.1, 0.4, 0.2, 0.3, 0.2, 0.5, 0.1]), [Rule::Eight]);
        assert_eq!(after(&[0.3, 0.1, 0.4, 0.2, 0.3, 0.2, 0.5]), []);
        assert_eq!(after(&[-0.9, -0.6, -0.2, 0.1, 0.4, 0.7]), [Rule::Trend]);
        assert_eq!(after(&[-0.9, -0.6, -0.2, 0.1, 0.1, 0.7]), []);
        let rising: Vec<f64> = (0..6).map(f64::from).collect();
        assert_eq!(broken(&rising, None), [Rule::Trend], "a trend needs no limits");
    }

    /// A further point of the same beyond the widened limits: 0.27 %, however few points
    /// they rest on; and some 5 % beyond those that are not widened.
    #[test]
    fn limits_of_few_points_are_widened() {
        let seed = 5;
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let mut one = || normal_at(Chance::Below(random.random_range(1e-12..1.0))).unwrap();
        for n in [5, 8, 20] {
            let (mut plain, mut widened) = (0, 0);
            let rounds = 20_000;
            for _ in 0..rounds {
                let points: Vec<f64> = (0..n).map(|_| one()).collect();
                let basis = Basis::of(&points, From::Own).unwrap();
                let next = one();
                let beyond = |b: &Basis| u32::from((next - b.centre).abs() > 3.0 * b.sigma);
                (plain, widened) = (plain + beyond(&basis), widened + beyond(&basis.widened()));
            }
            let share = |k: u32| f64::from(k) / f64::from(rounds);
            assert!((0.0012..0.0044).contains(&share(widened)), "seed {seed}, {n}: {}", share(widened));
            assert!(n > 5 || share(plain) > 0.02, "seed {seed}, {n}: {}", share(plain));
        }
    }

    /// The average number of points until a false alarm: 370.4 by the first rule alone
    /// (normal tails), 91.75 by the first four (Champ and Woodall, Technometrics 29, 1987,
    /// 393-399; quoted in NIST/SEMATECH 6.3.2).
    #[test]
    fn false_alarms_come_as_rarely_as_published() {
        let seed = 20_261_126;
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let basis = Basis { centre: 0.0, sigma: 1.0, points: 0, from: From::Stated };
        let mut until = |rules: &[Rule]| -> f64 {
            let rounds = 600;
            let mut total = 0usize;
            for _ in 0..rounds {
                let mut points: Vec<f64> = Vec::new();
                loop {
                    points.push(normal_at(Chance::Below(random.random_range(1e-12..1.0))).unwrap());
                    total += 1;
                    let last = &points[points.len().saturating_sub(8)..];
                    if broken(last, Some(&basis)).iter().any(|r| rules.contains(r)) {
                        break;
                    }
                }
            }
            total as f64 / f64::from(rounds)
        };
        let four = until(&[Rule::Beyond, Rule::TwoOfThree, Rule::FourOfFive, Rule::Eight]);
        // The run length is nearly geometric: its mean of 600 scatters by 1 / sqrt(600) = 4 %.
        assert!((four / 91.75 - 1.0).abs() < 0.16, "seed {seed}: {four}");
        let first = until(&[Rule::Beyond]);
        assert!((first / 370.4 - 1.0).abs() < 0.16, "seed {seed}: {first}");
    }
}
