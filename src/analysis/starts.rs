//! Many starts together: how many failed, how, and after what.

use super::proportion::{Interval, clopper_pearson, starts_needed, upper_bound};
use super::rank::{mann_whitney, median};
use super::sequential::Claim;
use super::start::Outcome;
use super::{Level, series};
use crate::units::{Amperes, Ratio, Seconds, Volts};
use std::collections::BTreeMap;

/// One judged start with its conditions.
#[derive(Clone, Debug)]
pub struct Row {
    /// How it ended.
    pub outcome: Outcome,
    /// The declared state at its end.
    pub state: Option<usize>,
    /// Time without power before it; the first start of a stage has none.
    pub off_time: Option<Seconds>,
    /// Voltage left before it.
    pub residual: Option<Volts>,
    /// Current at its end.
    pub plateau: Level,
    /// Whether limiting was seen.
    pub limited: bool,
}

/// A condition in which failed and good starts differ.
#[derive(Clone, Debug, PartialEq)]
pub struct Dependence {
    /// `off-time` or `voltage left before the start`.
    pub on: &'static str,
    /// Median before failed starts, in the condition's unit.
    pub failed: f64,
    /// Median before good starts.
    pub good: f64,
    /// Chance of so large a difference without any (Mann and Whitney), times the
    /// number of conditions that were tried (Bonferroni).
    pub p: f64,
}

/// What many starts say.
#[derive(Clone, Debug)]
pub struct Summary {
    /// How many of each outcome.
    pub outcomes: BTreeMap<Outcome, u64>,
    /// Good starts.
    pub good: u64,
    /// Failed starts.
    pub failed: u64,
    /// Void starts; they count for nothing.
    pub void: u64,
    /// Interval of the failing rate at 95 %: the exact one; where the starts went on
    /// until a claim was decided, the one that holds whenever one stops.
    pub rate: Option<Interval>,
    /// The upper bound of the failing rate at 95 %, one-sided, in the same way.
    pub bound: Option<Ratio>,
    /// The claim that the starts went on for.
    pub claim: Option<Claim>,
    /// Mean current at the end of good starts, with the standard uncertainty of the instrument and of the mean.
    pub good_current: Option<(Amperes, Amperes)>,
    /// For each outcome that is a failure: median current at its end, as far as there are values.
    pub failed_current: BTreeMap<Outcome, Option<(Amperes, Amperes)>>,
    /// For each outcome that is a failure: the declared state that most ended in.
    pub failed_state: BTreeMap<Outcome, usize>,
    /// Conditions that failed and good starts were compared by.
    pub dependences: Vec<Dependence>,
    /// Good starts in which limiting was seen.
    pub limited: u64,
}

/// Confidence of the intervals.
pub const CONFIDENCE: f64 = 0.95;

/// Sums up starts: as many as were planned, or until a claim was decided.
pub fn summarise(rows: &[Row], claim: Option<Claim>) -> Summary {
    let mut outcomes = BTreeMap::new();
    for row in rows {
        *outcomes.entry(row.outcome).or_insert(0) += 1;
    }
    let count = |is: fn(Outcome) -> bool| outcomes.iter().filter(|(o, _)| is(**o)).map(|(_, n)| n).sum::<u64>();
    let (good, failed) = (count(Outcome::is_good), count(Outcome::is_failure));
    let of = |outcome: Outcome| rows.iter().filter(move |r| r.outcome == outcome);
    let failed_current = outcomes
        .keys()
        .filter(|o| o.is_failure())
        .map(|o| (*o, middle(&of(*o).map(|r| r.plateau).collect::<Vec<_>>())))
        .collect();
    Summary {
        good,
        failed,
        void: rows.len() as u64 - good - failed,
        rate: match claim {
            None => clopper_pearson(failed, good + failed, CONFIDENCE),
            Some(_) => Claim::interval(failed, good + failed, CONFIDENCE),
        },
        bound: match claim {
            None => upper_bound(failed, good + failed, CONFIDENCE),
            Some(_) => Claim::upper(failed, good + failed, CONFIDENCE),
        },
        claim,
        good_current: middle(&of(Outcome::Started).map(|r| r.plateau).collect::<Vec<_>>()),
        failed_state: outcomes
            .keys()
            .filter(|o| o.is_failure())
            .filter_map(|o| Some((*o, commonest(of(*o).filter_map(|r| r.state))?)))
            .collect(),
        failed_current,
        dependences: dependences(rows),
        limited: of(Outcome::Started).filter(|r| r.limited).count() as u64,
        outcomes,
    }
}

fn commonest(states: impl Iterator<Item = usize>) -> Option<usize> {
    let mut counts = BTreeMap::new();
    for state in states {
        *counts.entry(state).or_insert(0_usize) += 1;
    }
    counts.into_iter().max_by_key(|(_, n)| *n).map(|(state, _)| state)
}

/// Mean of the values and its standard uncertainty: the instrument's, which
/// averaging does not remove, with the spread of the mean.
fn middle(levels: &[Level]) -> Option<(Amperes, Amperes)> {
    let known: Vec<(f64, f64)> = levels
        .iter()
        .filter_map(|l| match l {
            Level::Known { value, u } => Some((value.0, u.0)),
            _ => None,
        })
        .collect();
    let values: Vec<f64> = known.iter().map(|(v, _)| *v).collect();
    let (mean, sd) = series::mean_and_deviation(&values)?;
    let u = known.iter().map(|(_, u)| *u).fold(0.0, f64::max);
    let of_mean = sd.map_or(0.0, |sd| sd / (values.len() as f64).sqrt());
    Some((Amperes(mean), Amperes(u.hypot(of_mean))))
}

fn dependences(rows: &[Row]) -> Vec<Dependence> {
    type Pick = fn(&Row) -> Option<f64>;
    let conditions: [(&'static str, Pick); 2] =
        [("off-time", |r| r.off_time.map(|t| t.0)), ("voltage left before the start", |r| r.residual.map(|v| v.0))];
    conditions
        .iter()
        .filter_map(|(on, pick)| {
            let group = |is: fn(Outcome) -> bool| rows.iter().filter(|r| is(r.outcome)).filter_map(pick).collect::<Vec<f64>>();
            let (failed, good) = (group(Outcome::is_failure), group(Outcome::is_good));
            let p = mann_whitney(&failed, &good)?;
            let p = (p * conditions.len() as f64).min(1.0);
            Some(Dependence { on, failed: median(&failed)?, good: median(&good)?, p })
        })
        .collect()
}

/// How many starts without failure would show that the failing rate has become
/// lower than the least that it was: the lower end of the interval is the rate to
/// beat, since the rate before the repair is uncertain too.
pub fn starts_for_proof(summary: &Summary) -> Option<u64> {
    let low: Ratio = summary.rate?.low;
    starts_needed(low, CONFIDENCE)
}
