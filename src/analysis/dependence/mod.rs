//! What the failures hang on: each condition that was noted before a start against
//! how the start ended, and the order in which they came.
//!
//! Every condition gets one test (penalised likelihood ratio, `firth`), the order one
//! for clusters (`runs`); Holm's correction makes the chance of any false alarm among
//! them what it says. What is found hangs together and is not yet a cause: conditions
//! that go with each other are named.

pub mod firth;
pub mod runs;

use super::numeric::distribution::{Chance, normal_at};
use super::numeric::sums;
use super::proportion::{Interval, clopper_pearson};
use crate::units::Unit;
use firth::{FitError, Model};
use runs::Runs;
use std::borrow::Cow;

/// How the odds of failing are taken to follow a condition.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Along {
    /// With its logarithm: each doubling multiplies the odds. The values are above zero.
    Doubling,
    /// With itself.
    Straight,
    /// Around a cycle of this length, as the hours of a day.
    Cycle(f64),
    /// With whether it held, 1, or not, 0; once and for good, or from time to time.
    Held {
        /// It was so from one start on, and not before.
        for_good: bool,
    },
}

/// A condition with its value before each start, where it is known.
#[derive(Clone, Debug)]
pub struct Condition {
    /// What it is called.
    pub name: Cow<'static, str>,
    /// Its unit, where it has one.
    pub unit: Option<Unit>,
    /// How it is taken to act.
    pub along: Along,
    /// The least span of values that is worth a look: a ratio for [`Along::Doubling`].
    pub span: f64,
    /// One value a start.
    pub values: Vec<Option<f64>>,
}

/// The failing rate at one end of a condition.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct End {
    /// The value at which this end stops, towards the middle.
    pub edge: f64,
    /// Failed starts.
    pub failed: u64,
    /// All that count.
    pub counted: u64,
    /// The exact interval of their rate at 95 %.
    pub rate: Interval,
}

/// How one condition goes with the failures.
#[derive(Clone, Debug, PartialEq)]
pub struct Dependence {
    /// The condition's name.
    pub on: Cow<'static, str>,
    /// Its unit.
    pub unit: Option<Unit>,
    /// How it was taken to act.
    pub along: Along,
    /// Starts with a value.
    pub counted: u64,
    /// The chance of so strong a dependence without any, by itself.
    pub p: f64,
    /// The same, with all that was looked at taken into account (Holm).
    pub adjusted: f64,
    /// By how much each doubling, or the way from the lower to the upper third,
    /// multiplies the odds of failing, with its 95 % interval. For the strongest alone but
    /// for [`Along::Held`], where it is not put down to chance.
    pub odds: Option<(f64, f64, f64)>,
    /// The rates at the lower and at the upper third. As `odds`; of [`Along::Held`] always,
    /// without it and with it.
    pub ends: Option<(End, End)>,
    /// The factor of the odds, as in `odds`, that four of five such stages would show.
    pub visible: Option<f64>,
    /// The condition that goes with it most. As `odds`; of [`Along::Held`] wherever it is
    /// not put down to chance.
    pub beside: Option<Beside>,
}

/// A condition that goes together with another.
#[derive(Clone, Debug, PartialEq)]
pub struct Beside {
    /// The other condition's name.
    pub name: Cow<'static, str>,
    /// Spearman's rank correlation of the two.
    pub correlation: f64,
    /// The chance of so strong a dependence without any, with the other taken into
    /// account; `None` where the two cannot be told apart.
    pub p: Option<f64>,
    /// The same of the other, with this one taken into account.
    pub other: Option<f64>,
}

/// What was looked at, and what came of it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Looked {
    /// The conditions that could be looked at, the strongest first.
    pub dependences: Vec<Dependence>,
    /// The order, with the chance of such clusters, adjusted as the others.
    pub runs: Option<(Runs, f64)>,
}

/// The chance of any false alarm among all that is looked at.
pub const FALSE_ALARM: f64 = 0.05;
/// Fewer failed or good starts than this say nothing of conditions.
pub const FEWEST: u64 = 4;
/// Conditions that go together as closely as this cannot be told apart by these starts.
const INSEPARABLE: f64 = 0.95;
/// Those that go together less than this need not be named.
const TOGETHER: f64 = 0.3;

/// Looks at failed and good starts, in their order, under some conditions. Void starts
/// are in neither.
pub fn look(failed: &[bool], conditions: &[Condition]) -> Looked {
    let mut found: Vec<(Dependence, &Condition)> = conditions.iter().filter_map(|c| Some((single(failed, c)?, c))).collect();
    let bad = failed.iter().filter(|f| **f).count() as u64;
    let enough = bad >= FEWEST && failed.len() as u64 - bad >= FEWEST;
    let runs = Runs::of(failed).filter(|_| enough);
    let chances: Vec<f64> = found.iter().map(|(d, _)| d.p).chain(runs.map(|r| r.fewer)).collect();
    let adjusted = holm(&chances);
    for ((dependence, _), adjusted) in found.iter_mut().zip(&adjusted) {
        dependence.adjusted = *adjusted;
    }
    let of_runs = adjusted.get(found.len()).copied();
    found.sort_by(|a, b| a.0.p.total_cmp(&b.0.p));
    let mut first = true;
    for (dependence, condition) in found.iter_mut().filter(|(d, _)| d.adjusted < FALSE_ALARM) {
        let held = matches!(condition.along, Along::Held { .. });
        if !held && !std::mem::take(&mut first) {
            continue;
        }
        if !held {
            detail(failed, dependence, condition);
        }
        dependence.beside = conditions
            .iter()
            .filter(|c| c.name != condition.name)
            .filter_map(|other| beside(failed, condition, other))
            .max_by(|a, b| a.correlation.abs().total_cmp(&b.correlation.abs()))
            .filter(|b| b.correlation.abs() >= TOGETHER);
    }
    let looks = chances.len().max(1) as f64;
    for (dependence, condition) in &mut found {
        dependence.visible = visible(failed, condition, looks);
    }
    Looked { dependences: found.into_iter().map(|(d, _)| d).collect(), runs: runs.zip(of_runs) }
}

/// Holm's adjusted chances, in the order given (Holm 1979, Scandinavian Journal of
/// Statistics 6:65): the chance of any false alarm is kept, however the tests hang together.
pub fn holm(chances: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..chances.len()).collect();
    let at = |i: &usize| chances.get(*i).copied().unwrap_or(1.0);
    order.sort_by(|a, b| at(a).total_cmp(&at(b)));
    let mut adjusted = vec![1.0; chances.len()];
    let mut largest = 0.0_f64;
    for (rank, i) in order.iter().enumerate() {
        largest = largest.max(at(i) * (chances.len() - rank) as f64).min(1.0);
        if let Some(slot) = adjusted.get_mut(*i) {
            *slot = largest;
        }
    }
    adjusted
}

/// Spearman's rank correlation; `None` where one of them does not vary.
pub fn spearman(pairs: &[(f64, f64)]) -> Option<f64> {
    let ranks = |values: Vec<f64>| -> Vec<f64> {
        let mut order: Vec<(f64, usize)> = values.into_iter().zip(0..).collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut ranks = vec![0.0; order.len()];
        let mut before = 0;
        for tied in order.chunk_by(|a, b| a.0 == b.0) {
            let rank = before as f64 + (tied.len() as f64 + 1.0) / 2.0;
            for (_, i) in tied {
                if let Some(slot) = ranks.get_mut(*i) {
                    *slot = rank;
                }
            }
            before += tied.len();
        }
        ranks
    };
    let (x, y) = (ranks(pairs.iter().map(|p| p.0).collect()), ranks(pairs.iter().map(|p| p.1).collect()));
    let (mx, my) = (sums::mean(&x)?, sums::mean(&y)?);
    let (sx, sy) = (sums::deviation(&x)?, sums::deviation(&y)?);
    let product = sums::sum(x.iter().zip(&y).map(|(a, b)| (a - mx) * (b - my)));
    let r = product / (sx * sy * (x.len() as f64 - 1.0));
    r.is_finite().then_some(r)
}

/// Starts with a value of this condition, with the columns that it makes.
struct Known {
    failed: Vec<bool>,
    values: Vec<f64>,
    columns: Vec<Vec<f64>>,
    /// What one unit of the first column is, on the condition's own scale.
    scale: f64,
}

fn known(failed: &[bool], condition: &Condition) -> Option<Known> {
    let usable = |v: &f64| v.is_finite() && (condition.along != Along::Doubling || *v > 0.0);
    let pairs: Vec<(bool, f64)> =
        failed.iter().zip(&condition.values).filter_map(|(f, v)| Some((*f, (*v).filter(usable)?))).collect();
    let bad = pairs.iter().filter(|(f, _)| *f).count() as u64;
    if bad < FEWEST || pairs.len() as u64 - bad < FEWEST {
        return None;
    }
    let (failed, values): (Vec<bool>, Vec<f64>) = pairs.into_iter().unzip();
    let (least, most) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), v| (l.min(*v), m.max(*v)));
    let wide = if condition.along == Along::Doubling { most >= least * condition.span } else { most - least >= condition.span };
    if !wide || most <= least {
        return None;
    }
    let (columns, scale) = match condition.along {
        Along::Cycle(length) => {
            let turn = |v: &f64| v / length * std::f64::consts::TAU;
            (vec![values.iter().map(|v| turn(v).cos()).collect(), values.iter().map(|v| turn(v).sin()).collect()], 1.0)
        }
        Along::Doubling | Along::Straight | Along::Held { .. } => {
            let along: Vec<f64> = values.iter().map(|v| if condition.along == Along::Doubling { v.log2() } else { *v }).collect();
            let (mean, deviation) = (sums::mean(&along)?, sums::deviation(&along).filter(|d| *d > 0.0)?);
            (vec![along.iter().map(|v| (v - mean) / deviation).collect()], deviation)
        }
    };
    Some(Known { failed, values, columns, scale })
}

fn single(failed: &[bool], condition: &Condition) -> Option<Dependence> {
    let known = known(failed, condition)?;
    let model = Model { columns: &known.columns, failed: &known.failed };
    let tested: Vec<usize> = (1..=known.columns.len()).collect();
    let p = model.fit(&[]).and_then(|full| model.chance_without(&full, &tested)).ok()?;
    let ends = if matches!(condition.along, Along::Held { .. }) { ends(&known) } else { None };
    Some(Dependence {
        on: condition.name.clone(),
        unit: condition.unit,
        along: condition.along,
        counted: known.failed.len() as u64,
        p,
        adjusted: 1.0,
        odds: None,
        ends,
        visible: None,
        beside: None,
    })
}

/// Size and rates of the strongest.
fn detail(failed: &[bool], strongest: &mut Dependence, condition: &Condition) {
    let Some(known) = known(failed, condition) else { return };
    strongest.ends = ends(&known);
    let model = Model { columns: &known.columns, failed: &known.failed };
    let Some(unit) = step(&known, condition) else { return };
    let odds = || -> Result<(f64, f64, f64), FitError> {
        let full = model.fit(&[])?;
        let (low, high) = model.interval(&full, 1, 0.95)?;
        let middle = full.coefficients.get(1).copied().ok_or(FitError::Shape)?;
        let factor = |b: f64| (b * unit).exp();
        Ok((factor(middle), factor(low), factor(high)))
    };
    strongest.odds = odds().ok();
}

/// A doubling, or the way from the middle of the lower third to that of the upper, in
/// units of the column; `None` for a cycle.
fn step(known: &Known, condition: &Condition) -> Option<f64> {
    match condition.along {
        Along::Doubling | Along::Held { .. } => Some(1.0 / known.scale),
        Along::Straight => {
            let mut sorted = known.values.clone();
            sorted.sort_by(f64::total_cmp);
            let (low, high) = (sorted.get(sorted.len() / 6)?, sorted.get(sorted.len() - 1 - sorted.len() / 6)?);
            Some((high - low) / known.scale).filter(|s| *s > 0.0)
        }
        Along::Cycle(_) => None,
    }
}

/// The rates at the lower and the upper third; of two values, at each of them.
fn ends(known: &Known) -> Option<(End, End)> {
    let mut sorted: Vec<(f64, bool)> = known.values.iter().copied().zip(known.failed.iter().copied()).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let third = sorted.len() / 3;
    let (low, high) = (sorted.get(third.checked_sub(1)?)?.0, sorted.get(sorted.len() - third)?.0);
    let (least, most) = (sorted.first()?.0, sorted.last()?.0);
    let (low, high) = if low < high { (low, high) } else { (least, most) };
    let end = |edge: f64, is: &dyn Fn(f64) -> bool| -> Option<End> {
        let counted = sorted.iter().filter(|(v, _)| is(*v)).count() as u64;
        let failed = sorted.iter().filter(|(v, f)| is(*v) && *f).count() as u64;
        Some(End { edge, failed, counted, rate: clopper_pearson(failed, counted, 0.95)? })
    };
    Some((end(low, &|v| v <= low)?, end(high, &|v| v >= high)?))
}

/// The factor of the odds that would be seen with a chance of four in five: the
/// slope's standard deviation without a dependence is 1 / (s sqrt(n p (1 - p))).
fn visible(failed: &[bool], condition: &Condition, looks: f64) -> Option<f64> {
    let known = known(failed, condition)?;
    let n = known.failed.len() as f64;
    let p = known.failed.iter().filter(|f| **f).count() as f64 / n;
    let reach = normal_at(Chance::Above(FALSE_ALARM / (2.0 * looks)))? + normal_at(Chance::Below(0.8))?;
    Some((reach / (n * p * (1.0 - p)).sqrt() * step(&known, condition)?).exp())
}

/// How another condition goes with this one, and what is left of each beside the other.
fn beside(failed: &[bool], condition: &Condition, other: &Condition) -> Option<Beside> {
    let straight = |c: &Condition| !matches!(c.along, Along::Cycle(_));
    if !straight(condition) || !straight(other) {
        return None;
    }
    let both: Vec<bool> = condition.values.iter().zip(&other.values).map(|(a, b)| a.is_some() && b.is_some()).collect();
    let shared = |c: &Condition| Condition {
        values: c.values.iter().zip(&both).map(|(v, both)| v.filter(|_| *both)).collect(),
        ..c.clone()
    };
    let (first, second) = (known(failed, &shared(condition))?, known(failed, &shared(other))?);
    if first.values.len() != second.values.len() {
        return None;
    }
    let pairs: Vec<(f64, f64)> = first.values.iter().copied().zip(second.values.iter().copied()).collect();
    let correlation = spearman(&pairs)?;
    let mut made = Beside { name: other.name.clone(), correlation, p: None, other: None };
    if correlation.abs() < INSEPARABLE {
        let columns: Vec<Vec<f64>> = first.columns.into_iter().chain(second.columns).collect();
        let model = Model { columns: &columns, failed: &first.failed };
        if let Ok(full) = model.fit(&[]) {
            (made.p, made.other) = (model.chance_without(&full, &[1]).ok(), model.chance_without(&full, &[2]).ok());
        }
    }
    Some(made)
}
