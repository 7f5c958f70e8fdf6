//! A lot in JUnit XML: its decision, and a suite a part with what it was judged by.

use super::{Case, Outcome, Suite};
use crate::analysis::inspection::decision::Decision;
use crate::analysis::uncertainty::Standing;
use crate::record::{ControlRow, MeasureRow, RecordError, Run, TrialRow};

/// None where the run has no lot.
pub(super) fn suites(run: &Run, title: &str, stamp: &impl Fn(f64) -> String) -> Result<Vec<Suite>, RecordError> {
    let Some(lot) = run.lot()? else { return Ok(Vec::new()) };
    let (trials, measures, controls) = (run.trials()?, run.measures()?, run.controls()?);
    let decided = run.lot_end()?.map_or_else(
        || Case::of("decision", Outcome::Undecided("open", "the inspection has no end".into()), String::new()),
        |end| {
            let why = format!("{}: {}", end.decision.name(), end.why);
            let outcome = match end.decision {
                Decision::Accepted => Outcome::Passed,
                Decision::Refused => Outcome::Failed("refused", why.clone()),
                Decision::OnHold => Outcome::Undecided("on hold", why.clone()),
            };
            Case::of("decision", outcome, why)
        },
    );
    let mut cases = vec![decided];
    for skip in run.skips()? {
        let name = format!("part {}", skip.name);
        cases.push(Case::of(&name, Outcome::Skipped(skip.why.clone()), skip.why));
    }
    let name = format!("lot {}", lot.number);
    let class = format!("{title}.lot");
    let mut made = vec![Suite { name, class, stamp: stamp(0.0), seconds: 0.0, cases }];
    for trial in &trials {
        // One in doubt, and by the lot's rule every one, gives way to a later one that is not.
        let first = trial.retest_of.unwrap_or(trial.number);
        let again = trials.iter().rfind(|t| t.retest_of == Some(first) && t.number > trial.number && t.doubted.is_none());
        let superseded = again.filter(|_| lot.counting == "last" || trial.doubted.is_some()).map(|t| t.number);
        let cases = cases_of(trial, superseded, &measures, &controls);
        let seconds = trial.ended.map_or(0.0, |e| (e - trial.began).0);
        let name = format!("{} {}, trial {}", trial.kind, trial.name, trial.number);
        // Of its own: servers tell cases apart by class and name.
        let class = format!("{title}.{}", name.replace('.', " "));
        made.push(Suite { name, class, stamp: stamp(trial.began.0), seconds, cases });
    }
    Ok(made)
}

fn cases_of(trial: &TrialRow, superseded: Option<u32>, measures: &[MeasureRow], controls: &[ControlRow]) -> Vec<Case> {
    let own = measures.iter().filter(|m| m.trial == trial.number);
    let whole = format!("{}: {}", trial.outcome.word(), trial.why);
    // A control is judged by its chart: a bad one has to fail.
    if trial.kind != "part" {
        let charted = controls.iter().filter(|c| c.trial == trial.number);
        let cases = charted.map(|c| {
            let told = format!("{} {}", c.state, c.signals);
            let outcome = if c.is_in_control() { Outcome::Passed } else { Outcome::Failed("out of control", told.clone()) };
            Case::of(&c.what, outcome, told)
        });
        return cases.chain([Case::of("outcome", Outcome::Passed, whole)]).collect();
    }
    let instead = if let Some(later) = superseded {
        Some(Outcome::Skipped(format!("measured again: trial {later} counts")))
    } else if let Some(control) = trial.doubted {
        Some(Outcome::Undecided("doubtful", format!("the control in trial {control} failed after it")))
    } else if trial.outcome == crate::analysis::inspection::Outcome::Void {
        Some(Outcome::Undecided("void", whole.clone()))
    } else {
        None
    };
    if let Some(outcome) = instead {
        let told = own.map(MeasureRow::told).chain([whole]).collect::<Vec<_>>().join("\n");
        return vec![Case::of("outcome", outcome, told)];
    }
    own.map(|m| {
        let told = m.told();
        let outcome = match m.standing {
            Standing::Pass | Standing::ConditionalPass => Outcome::Passed,
            Standing::Fail | Standing::ConditionalFail => Outcome::Failed("limit", format!("{told}: {}", m.standing.name())),
            Standing::NotAdequate => Outcome::Undecided("not adequate", format!("{told}: {}", m.standing.name())),
        };
        Case::of(&m.what, outcome, told)
    })
    .collect()
}
