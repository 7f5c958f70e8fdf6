//! Which law of conduction a curve of leakage over voltage follows: fitted with the
//! uncertainties as weights, compared by the corrected information criterion (AICc;
//! Hurvich and Tsai 1989, Burnham and Anderson 2002).
//!
//! A straight line in such a plot proves little: linear ln I over sqrt V does not
//! prove Schottky's law (the permittivity that follows may be below 1), and linear I
//! over V does not prove an ohmic path. So the answer is a ranking, and "not
//! distinguishable" where the criterion does not tell the laws apart.

use crate::analysis::numeric::distribution::chi_square;
use crate::analysis::numeric::sums::weighted_line;
use crate::units::{Amperes, Volts};

/// What must go with every answer.
pub const CAUTION: &str =
    "A straight line in such a plot proves little: only other temperatures and thicknesses show which mechanism it is.";

/// A law, in the applied voltage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Law {
    /// I = a V.
    Ohmic,
    /// I = a V^2 (Mott and Gurney).
    SpaceCharge,
    /// I = a V^n; with n above 2 as a space charge with traps makes it.
    Power,
    /// I = a exp(b sqrt V), b > 0.
    Schottky,
    /// I = a V exp(b sqrt V), b > 0.
    PooleFrenkel,
    /// I = a V^2 exp(-b / V), b > 0.
    FowlerNordheim,
}

impl Law {
    /// Every one.
    pub const ALL: [Law; 6] = [Law::Ohmic, Law::SpaceCharge, Law::Power, Law::Schottky, Law::PooleFrenkel, Law::FowlerNordheim];

    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Law::Ohmic => "ohmic",
            Law::SpaceCharge => "space-charge-limited (V²)",
            Law::Power => "a power of the voltage (Vⁿ)",
            Law::Schottky => "Schottky",
            Law::PooleFrenkel => "Poole-Frenkel",
            Law::FowlerNordheim => "Fowler-Nordheim",
        }
    }

    /// The power of V that stands before: ln I − that × ln V is a line over [`Law::abscissa`].
    fn prefactor(self) -> f64 {
        match self {
            Law::Ohmic | Law::PooleFrenkel => 1.0,
            Law::SpaceCharge | Law::FowlerNordheim => 2.0,
            Law::Power | Law::Schottky => 0.0,
        }
    }

    /// What ln I goes in proportion to; `None` where a is all there is.
    fn abscissa(self, volts: f64) -> Option<f64> {
        match self {
            Law::Ohmic | Law::SpaceCharge => None,
            Law::Power => Some(volts.ln()),
            Law::Schottky | Law::PooleFrenkel => Some(volts.sqrt()),
            Law::FowlerNordheim => Some(-1.0 / volts),
        }
    }

    fn parameters(self) -> f64 {
        if self.abscissa(1.0).is_some() { 2.0 } else { 1.0 }
    }

    /// The value of this law's second parameter at which it is `other`, a law with one less.
    fn contains(self, other: Law) -> Option<f64> {
        match (self, other) {
            (Law::Power, Law::Ohmic) => Some(1.0),
            (Law::Power, Law::SpaceCharge) => Some(2.0),
            (Law::PooleFrenkel, Law::Ohmic) | (Law::FowlerNordheim, Law::SpaceCharge) => Some(0.0),
            _ => None,
        }
    }
}

/// A point of the curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct At {
    /// Across the part.
    pub volts: Volts,
    /// Its leakage.
    pub current: Amperes,
    /// Its standard uncertainty, without what is common to all points.
    pub u: Amperes,
}

/// A law fitted to a curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// Which.
    pub law: Law,
    /// ln of a, a in A, A/V, A/V^2 ... as the law has it.
    pub ln_a: f64,
    /// The second parameter (b or n); 0 where the law has none.
    pub b: f64,
    /// Its standard uncertainty by the points' uncertainties.
    pub u_b: f64,
    /// Sum of the squared residuals in units of the uncertainties.
    pub chi_square: f64,
    /// The criterion less the least of all laws; infinite where there are too few points.
    pub delta: f64,
}

impl Fitted {
    /// The current at a voltage.
    pub fn at(&self, volts: Volts) -> Amperes {
        let x = self.law.abscissa(volts.0).unwrap_or(0.0);
        Amperes((self.ln_a + self.law.prefactor() * volts.0.ln() + self.b * x).exp())
    }
}

/// What the comparison says.
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// One law, and no other comes near.
    One(Law),
    /// These are not distinguishable; the best first.
    NotApart(Vec<Law>),
    /// None of them describes the curve within its uncertainties; the nearest.
    None(Law),
}

/// The laws, best first, and the verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Ranking {
    /// Best first, by the criterion; but a law goes before one that holds it and one
    /// parameter more, where that gains less than [`APART`].
    pub fits: Vec<Fitted>,
    /// What may be said.
    pub verdict: Verdict,
    /// Points that were used.
    pub points: usize,
    /// By how much the squared uncertainties had to be widened for the best law to fit; 1 where they need not.
    pub widened: f64,
}

/// Below this difference of the criterion two laws are not told apart: "considerably
/// less support" begins there (Burnham and Anderson 2002, 2.6).
pub const APART: f64 = 4.0;
/// Least points: a law with two parameters has a criterion from four on.
pub const LEAST: usize = 5;
/// A law that holds a simpler one is no rival to it where it bends the curve by less
/// than this over the whole span.
const SAME: f64 = 0.2;
/// A point whose uncertainty is above this share of its value says nothing of a shape.
pub const TOO_UNCERTAIN: f64 = 0.3;
/// Least uncertainty of a point that is believed, relative: voltages are not exact either.
const LEAST_U: f64 = 1e-4;

/// Ranks the laws on a curve. `None` with fewer than five usable points (above zero,
/// uncertainty below 30 %) or fewer than five voltages.
pub fn rank(curve: &[At]) -> Option<Ranking> {
    let used: Vec<&At> = curve
        .iter()
        .filter(|p| p.volts.0 > 0.0 && p.current.0 > 0.0 && p.volts.0.is_finite() && p.current.0.is_finite())
        .filter(|p| p.u.0 >= 0.0 && p.u.0 <= TOO_UNCERTAIN * p.current.0)
        .collect();
    let mut voltages: Vec<f64> = used.iter().map(|p| p.volts.0).collect();
    voltages.sort_by(f64::total_cmp);
    voltages.dedup_by(|a, b| (*a / *b - 1.0).abs() < 0.01);
    if voltages.len() < LEAST {
        return None;
    }
    let known = used.iter().any(|p| p.u.0 > 0.0);
    let weight = |p: &At| if known { (p.u.0 / p.current.0).max(LEAST_U).powi(-2) } else { 1.0 };
    let mut fits: Vec<Fitted> = Law::ALL.iter().filter_map(|law| fit(*law, &used, weight)).collect();
    let n = used.len() as f64;
    let widened = widening(&fits, n, known);
    let criterion = |f: &Fitted| {
        let k = f.law.parameters() + if known { 0.0 } else { 1.0 };
        let misfit = if known { f.chi_square / widened } else { n * (f.chi_square / n).max(1e-12).ln() };
        if n - k - 1.0 > 0.0 { misfit + 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0) } else { f64::INFINITY }
    };
    for f in &mut fits {
        f.delta = criterion(f);
    }
    fits.sort_by(|a, b| a.delta.total_cmp(&b.delta));
    // The law with one parameter less goes before one that holds it and gains too little.
    if let Some(best) = fits.first().copied()
        && let Some(i) = fits.iter().position(|f| best.law.contains(f.law).is_some() && f.delta - best.delta < APART)
    {
        let simpler = fits.remove(i);
        fits.insert(0, simpler);
    }
    let best = fits.iter().map(|f| f.delta).fold(f64::INFINITY, f64::min);
    for f in &mut fits {
        f.delta -= best;
    }
    let span = (*voltages.first()?, *voltages.last()?);
    let verdict = verdict(&fits, widened, span)?;
    Some(Ranking { fits, verdict, points: used.len(), widened })
}

fn fit(law: Law, points: &[&At], weight: impl Fn(&At) -> f64) -> Option<Fitted> {
    let y = |p: &At| p.current.0.ln() - law.prefactor() * p.volts.0.ln();
    let weights: f64 = points.iter().map(|p| weight(p)).sum();
    let mean = |of: &dyn Fn(&At) -> f64| points.iter().map(|p| weight(p) * of(p)).sum::<f64>() / weights;
    let chi = |a: f64, b: f64| {
        points.iter().map(|p| weight(p) * (y(p) - a - b * law.abscissa(p.volts.0).unwrap_or(0.0)).powi(2)).sum::<f64>()
    };
    let (ln_a, b, u_b) = match law.abscissa(1.0) {
        None => (mean(&y), 0.0, 0.0),
        Some(_) => {
            let x = |p: &At| law.abscissa(p.volts.0).unwrap_or(0.0);
            let line = weighted_line(&points.iter().map(|p| (x(p), y(p), weight(p))).collect::<Vec<_>>())?;
            let middle = mean(&x);
            let spread: f64 = points.iter().map(|p| weight(p) * (x(p) - middle).powi(2)).sum();
            // The field helps; a slope the other way is no field effect.
            if line.slope > 0.0 {
                (line.intercept, line.slope, spread.sqrt().recip())
            } else {
                (mean(&y), 0.0, spread.sqrt().recip())
            }
        }
    };
    let made = Fitted { law, ln_a, b, u_b, chi_square: chi(ln_a, b), delta: 0.0 };
    (made.ln_a.is_finite() && made.chi_square.is_finite()).then_some(made)
}

/// Where even the best law misses by more than chance (1 %), the uncertainties are
/// widened until it fits (quasi-likelihood; Burnham and Anderson 2002, 2.5).
fn widening(fits: &[Fitted], n: f64, known: bool) -> f64 {
    if !known {
        return 1.0;
    }
    let excess = |f: &Fitted| {
        let dof = n - f.law.parameters();
        let chance = chi_square(f.chi_square, dof).map_or(0.0, |t| t.above);
        if chance < 0.01 { f.chi_square / dof } else { 1.0 }
    };
    fits.iter().map(excess).fold(f64::INFINITY, f64::min).max(1.0)
}

/// Widened by more than this, no law is said to describe the curve.
const NO_LAW: f64 = 25.0;

fn verdict(fits: &[Fitted], widened: f64, span: (f64, f64)) -> Option<Verdict> {
    let best = fits.first()?;
    if widened > NO_LAW {
        return Some(Verdict::None(best.law));
    }
    let near = |f: &&Fitted| match f.law.contains(best.law) {
        // It holds the best law: a rival only where it may bend the curve noticeably.
        Some(same) => {
            let width = f.law.abscissa(span.1).unwrap_or(0.0) - f.law.abscissa(span.0).unwrap_or(0.0);
            let bend = ((f.b - same).abs() + 1.96 * f.u_b * widened.sqrt()) * width;
            f.delta < APART && bend > (1.0 + SAME).ln()
        }
        None => f.delta < APART,
    };
    let rivals: Vec<Law> = fits.iter().skip(1).filter(near).map(|f| f.law).collect();
    if rivals.is_empty() {
        return Some(Verdict::One(best.law));
    }
    Some(Verdict::NotApart(std::iter::once(best.law).chain(rivals).collect()))
}
