//! Many starts together: how many failed, how, and after what.

use super::dependence::{self, Along, Condition, Looked};
use super::marks::{self, Mark};
use super::proportion::{Interval, clopper_pearson, starts_needed, upper_bound};
use super::rank::median;
use super::sequential::Claim;
use super::start::Outcome;
use super::{Level, series};
use crate::units::{Amperes, Ratio, Seconds, Unit, Volts};
use std::collections::BTreeMap;

/// One judged start with its conditions.
#[derive(Clone, Debug)]
pub struct Row {
    /// How it ended.
    pub outcome: Outcome,
    /// The declared state at its end.
    pub state: Option<usize>,
    /// When it was switched on, since the run began.
    pub at: Option<Seconds>,
    /// Time without power before it; the first start of a stage has none.
    pub off_time: Option<Seconds>,
    /// Voltage left before it.
    pub residual: Option<Volts>,
    /// Current at its end.
    pub plateau: Level,
    /// Whether limiting was seen.
    pub limited: bool,
    /// Where it ended in limiting: the voltage when its last quarter began, and at its end.
    pub held: Option<(Volts, Volts)>,
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
    /// What the failures hang on, as far as it can be looked at.
    pub looked: Looked,
    /// Good starts in which limiting was seen.
    pub limited: u64,
    /// Of failed starts that ended in limiting the medians of the voltage when their last
    /// quarter began, and at their end.
    pub held: Option<(Volts, Volts)>,
}

/// Confidence of the intervals.
pub const CONFIDENCE: f64 = 0.95;

/// Sums up starts: as many as were planned, or until a claim was decided; with the
/// operator's marks, in their order.
pub fn summarise(rows: &[Row], claim: Option<Claim>, marks: &[Mark]) -> Summary {
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
        looked: looked(rows, marks),
        limited: of(Outcome::Started).filter(|r| r.limited).count() as u64,
        held: held(of(Outcome::InLimit).filter_map(|r| r.held)),
        outcomes,
    }
}

fn held(ends: impl Iterator<Item = (Volts, Volts)>) -> Option<(Volts, Volts)> {
    let (from, to): (Vec<f64>, Vec<f64>) = ends.map(|(from, to)| (from.0, to.0)).unzip();
    median(&from).zip(median(&to)).map(|(from, to)| (Volts(from), Volts(to)))
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
pub fn middle(levels: &[Level]) -> Option<(Amperes, Amperes)> {
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

/// A day, in seconds.
const DAY: f64 = 86_400.0;

/// What the starts that count were made under, and how they ended.
fn looked(rows: &[Row], marks: &[Mark]) -> Looked {
    let counted: Vec<(usize, &Row)> = (1..).zip(rows).filter(|(_, r)| r.outcome != Outcome::Void).collect();
    let failed: Vec<bool> = counted.iter().map(|(_, r)| r.outcome.is_failure()).collect();
    type Pick = fn(usize, &Row) -> Option<f64>;
    let condition = |name: &'static str, unit, along, span, pick: Pick| Condition {
        name: name.into(),
        unit,
        along,
        span,
        values: counted.iter().map(|(number, r)| pick(*number, r)).collect(),
    };
    let mut conditions = vec![
        condition(OFF_TIME, Some(Unit::Second), Along::Doubling, 1.1, |_, r| r.off_time.map(|t| t.0)),
        condition(LEFT, Some(Unit::Volt), Along::Straight, 0.01, |_, r| r.residual.map(|v| v.0)),
        condition(ORDER, None, Along::Straight, 1.0, |number, _| Some(number as f64)),
        // A start that failed by being held in limiting has limited: that says nothing.
        condition(LIMITING, None, Along::Straight, 1.0, |_, r| {
            let of_itself = matches!(r.outcome, Outcome::InLimit | Outcome::Tripped);
            (!of_itself).then_some(f64::from(u8::from(r.limited)))
        }),
    ];
    // Within one day the hour and the order are the same.
    let hours = condition(HOUR, Some(Unit::Second), Along::Cycle(DAY), DAY, |_, r| r.at.map(|t| t.0));
    conditions.push(hours);
    conditions.extend(marks::held(marks).into_iter().map(|held| Condition {
        name: format!("mark \"{}\"", held.text).into(),
        unit: None,
        along: Along::Held { for_good: held.for_good() },
        span: 1.0,
        values: counted.iter().map(|(_, r)| Some(f64::from(u8::from(held.at(r.at?))))).collect(),
    }));
    dependence::look(&failed, &conditions)
}

/// The conditions by their names.
pub const OFF_TIME: &str = "off-time";
/// See [`OFF_TIME`].
pub const LEFT: &str = "voltage left before the start";
/// See [`OFF_TIME`].
pub const ORDER: &str = "number of the start";
/// See [`OFF_TIME`].
pub const LIMITING: &str = "limiting while starting";
/// See [`OFF_TIME`].
pub const HOUR: &str = "time of day";

/// How many starts without failure would show that the failing rate has become
/// lower than the least that it was: the lower end of the interval is the rate to
/// beat, since the rate before the repair is uncertain too.
pub fn starts_for_proof(summary: &Summary) -> Option<u64> {
    let low: Ratio = summary.rate?.low;
    starts_needed(low, CONFIDENCE)
}
