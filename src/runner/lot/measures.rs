//! What a stage says of a part, as quantities with their limits.

use crate::analysis::Level;
use crate::analysis::finding::LeakageStep;
use crate::analysis::inspection::{Charted, Measure, Seen};
use crate::analysis::series::{Point, mean_and_deviation};
use crate::analysis::uncertainty::Limit;
use crate::plan::{Leakage, Log, Ramp, accepted};
use crate::units::{Amperes, Unit, Volts};

/// Each voltage of a sweep against the largest leakage; the highest voltage is charted.
pub(in crate::runner) fn swept(stage: u32, sweep: &Leakage, steps: &[LeakageStep]) -> Vec<Measure> {
    let most = sweep.voltages.iter().copied().fold(Volts(0.0), Volts::max);
    let first = steps.iter().position(|s| s.set == most);
    let limit = Limit::Upper(accepted(sweep).0);
    let measure = |(index, step): (usize, &LeakageStep)| Measure {
        stage,
        step: u32::try_from(index + 1).ok(),
        what: format!("leakage at {}", step.set),
        unit: Some(Unit::Ampere),
        seen: step.soak.leakage.into(),
        limit,
        charted: if Some(index) == first { Charted::Yes } else { Charted::No },
    };
    let mut made: Vec<Measure> = steps.iter().enumerate().map(measure).collect();
    // A sweep that a trip cut short says nothing of the voltages that it did not reach.
    for (index, voltage) in sweep.voltages.iter().enumerate().skip(steps.len()) {
        let what = format!("leakage at {voltage}");
        let step = u32::try_from(index + 1).ok();
        made.push(Measure { stage, step, what, unit: Some(Unit::Ampere), seen: Seen::Missing, limit, charted: Charted::No });
    }
    made
}

/// The current that a ramp ends in.
pub(in crate::runner) fn held(stage: u32, ramp: &Ramp, reached: Option<Level>) -> Vec<Measure> {
    let seen = reached.map_or(Seen::Missing, Seen::from);
    current(stage, format!("current at {}", ramp.to), ramp.expect, seen)
}

/// The mean current of a log, with the instrument's uncertainty and that of the mean.
pub(in crate::runner) fn logged(stage: u32, log: &Log, points: &[Point]) -> Vec<Measure> {
    let known: Vec<(f64, f64)> = points
        .iter()
        .filter_map(|p| match p.current {
            Level::Known { value, u } => Some((value.0, u.0)),
            _ => None,
        })
        .collect();
    let values: Vec<f64> = known.iter().map(|k| k.0).collect();
    let seen = match mean_and_deviation(&values) {
        // Half of them must be values: a few do not speak for the rest.
        Some((value, deviation)) if known.len() * 2 > points.len() => {
            let instrument = known.iter().map(|k| k.1).fold(0.0, f64::max);
            let scatter = deviation.unwrap_or(0.0) / (known.len() as f64).sqrt();
            Seen::Value { value, u: instrument.hypot(scatter) }
        }
        _ => points.iter().rev().map(|p| p.current).find(|c| c.value().is_none()).map_or(Seen::Missing, Seen::from),
    };
    current(stage, format!("mean current at {}", log.voltage), log.expect, seen)
}

fn current(stage: u32, what: String, expect: Option<(Amperes, Amperes)>, seen: Seen) -> Vec<Measure> {
    let Some((low, high)) = expect else { return Vec::new() };
    let limit = Limit::Between(low.0, high.0);
    vec![Measure { stage, step: None, what, unit: Some(Unit::Ampere), seen, limit, charted: Charted::Yes }]
}

/// The starts that failed: none may. Without a start that counts nothing was seen.
pub(in crate::runner) fn started(stage: u32, good: u32, failed: u32) -> Vec<Measure> {
    let all = good + failed;
    let seen = if all > 0 { Seen::Value { value: failed.into(), u: 0.0 } } else { Seen::Missing };
    // Counts are exact: the limit lies between none and one.
    let limit = Limit::Upper(0.5);
    let what = format!("failed of {all} starts");
    vec![Measure { stage, step: None, what, unit: None, seen, limit, charted: Charted::No }]
}
