//! Control parts: measured like any other, put on their chart, and what follows where
//! they are out of control.

use super::turns::Checked;
use super::{Known, Work, begin_trial, hands, measure};
use crate::analysis::finding::inspection as told;
use crate::analysis::inspection::chart::{self, Basis, From};
use crate::analysis::inspection::{Outcome, Seen};
use crate::interlock::Halt;
use crate::plan::{CLEANED, Control, Controls, GOOD, OnDrift};
use crate::record::{ControlRow, Doubtful, TrialBegin};
use crate::runner::{Bench, Progress, Question};
use crate::units::engineering;

/// Control points of fewer earlier lots make no limits.
const LOTS: usize = 3;

/// Measures a control part; where it is out of control, what the plan wants then.
pub(super) async fn run(bench: &mut Bench<'_>, work: &mut Work<'_>, index: usize) -> Result<(), Halt> {
    if once(bench, work, index).await? {
        return Ok(());
    }
    match work.turns.inspection.on_drift {
        OnDrift::GoOn => Ok(()),
        OnDrift::Hold => {
            work.known.held = Some("a control part is out of control".into());
            Ok(())
        }
        OnDrift::Mend => mended(bench, work, index).await,
    }
}

/// The operator mends the fixture, and the control is measured again; where it is still
/// out of control, no further part is taken.
pub(super) async fn mended(bench: &mut Bench<'_>, work: &mut Work<'_>, index: usize) -> Result<(), Halt> {
    let text = "A control part is out of control: what is measured now cannot be trusted. Clean or mend the fixture, look at leads and settings. Then Enter: the control part is measured again.";
    hands::put(bench, &Question::done(text.to_owned(), Some(CLEANED.to_owned()))).await?;
    if !once(bench, work, index).await? {
        work.known.held = Some("a control part is out of control, also after the fixture was mended".into());
    }
    Ok(())
}

/// Measures it once. Returns whether it is in control.
async fn once(bench: &mut Bench<'_>, work: &mut Work<'_>, index: usize) -> Result<bool, Halt> {
    let inspection = work.turns.inspection;
    let Some(controls) = &inspection.controls else { return Ok(true) };
    let Some((control, kind)) = controls.all().nth(index) else { return Ok(true) };
    let what = format!("{kind} {}", control.name);
    let known_to_be = if kind == GOOD { "good" } else { "bad" };
    let head = format!("Control part {} (known to be {known_to_be})", control.name);
    let how = hands::control(bench, work, &head, &control.name).await?;
    let name = control.name.clone();
    let begin = TrialBegin { number: 0, kind, name, position: None, retest_of: None, why: None, stages: (0, 0) };
    let number = begin_trial(bench, work, begin, &what, &how)?;
    let (outcome, why) = measure(bench, work, number).await?;
    let row = judged(bench, &work.known, controls, control, kind, number, outcome);
    bench.journal.write(|r| r.control(&row))?;
    let in_control = row.is_in_control();
    let value = row.value.map(|v| v.0);
    work.known.checked.push(Checked { number, name: control.name.clone(), value, in_control });
    let count = work.turns.count(&work.known);
    let read = match (row.value, row.unit) {
        (Some((value, _)), Some(unit)) => format!("{} {}", row.what, engineering(value, unit, 4)),
        _ => why,
    };
    let words = if in_control { read.clone() } else { format!("{read}: {}", row.signals) };
    bench.watcher.see(&Progress::TrialDone {
        what: &what,
        outcome: &row.state,
        why: &words,
        judged: count.judged,
        nonconforming: count.nonconforming,
    });
    if !in_control {
        let doubted = doubt(bench, &mut work.known, &control.name, number)?;
        let names: Vec<String> = doubted.iter().map(|p| work.lot.name(*p)).collect();
        let finding = told::out_of_control(&what, &row.signals, &read, &names);
        let stage = Some(bench.stage);
        bench.journal.write(|r| r.finding(stage, &finding))?;
        bench.watcher.see(&Progress::Finding(&finding));
        bench.findings.push(finding);
    }
    Ok(in_control)
}

/// A control as a point of its chart.
fn judged(
    bench: &Bench<'_>,
    known: &Known,
    controls: &Controls,
    control: &Control,
    kind: &'static str,
    number: u32,
    outcome: Outcome,
) -> ControlRow {
    let charted = known.charted.get(&number);
    let value = charted.and_then(|c| match c.seen {
        Seen::Value { value, u } => Some((value, u)),
        Seen::BelowFloor { .. } | Seen::Overload | Seen::Missing => None,
    });
    let own: Vec<&Checked> = known.checked.iter().filter(|c| c.name == control.name).collect();
    // What had a cause that was mended is no part of the run of points.
    let since = own.iter().rposition(|c| !c.in_control).map_or(0, |i| i + 1);
    let good: Vec<f64> = own.iter().filter(|c| c.in_control).filter_map(|c| c.value).collect();
    let mut points: Vec<f64> = own.iter().skip(since).filter_map(|c| c.value).collect();
    let basis = basis(bench, control, &good, value.map_or(0.0, |v| v.1));
    let mut signals = Vec::new();
    if kind == GOOD && !outcome.is_conforming() {
        signals.push(format!("it is known to be good, and is found: {}", outcome.word()));
    }
    if kind != GOOD && !outcome.is_nonconforming() {
        signals.push(format!("it is known to be bad, and is found: {}", outcome.word()));
    }
    if let Some((value, _)) = value {
        points.push(value);
        signals.extend(chart::broken(&points, basis.as_ref()).into_iter().map(|rule| rule.name().to_owned()));
        let reference = control.stated.map(|s| s.0.0).or_else(|| good.first().copied());
        if let (Some(share), Some(reference)) = (controls.moves, reference)
            && (value / reference - 1.0).abs() > share.0
        {
            signals.push(format!("more than {share} away from its value"));
        }
    } else if !good.is_empty() {
        signals.push("it has no value, and had one before".to_owned());
    }
    ControlRow {
        trial: number,
        name: control.name.clone(),
        kind: kind.to_owned(),
        what: charted.map_or(String::new(), |c| c.what.clone()),
        unit: charted.and_then(|c| c.unit),
        value,
        centre: basis.map(|b| b.centre),
        sigma: basis.map(|b| b.sigma),
        basis: basis.map_or("none", |b| b.from.name()).to_owned(),
        points: basis.map_or(0, |b| u32::try_from(b.points).unwrap_or(u32::MAX)),
        state: if signals.is_empty() { "in control" } else { "out of control" }.to_owned(),
        signals: signals.join("; "),
    }
}

/// What the chart of a control rests on: what the plan states, else this lot's own points
/// so far, else earlier lots, of which an instrument with the uncertainty `u` may read
/// another value on another day.
fn basis(bench: &Bench<'_>, control: &Control, good: &[f64], u: f64) -> Option<Basis> {
    if let Some((centre, sigma)) = control.stated {
        return Some(Basis { centre: centre.0, sigma: sigma.0, points: 0, from: From::Stated });
    }
    if good.len() >= chart::LEAST {
        return Basis::of(good, From::Own).map(Basis::widened);
    }
    let earlier = || bench.earlier.iter().map(|e| e.controls.iter().filter(|(name, _)| *name == control.name));
    // One or two lots say nothing of how lots differ.
    if earlier().filter(|points| points.clone().next().is_some()).count() < LOTS {
        return None;
    }
    let points: Vec<f64> = earlier().flatten().map(|(_, value)| *value).collect();
    Basis::earlier(&points, u)
}

/// Puts what was measured since the control's last good trial in doubt. Returns the parts.
fn doubt(bench: &Bench<'_>, known: &mut Known, control: &str, failed: u32) -> Result<Vec<u32>, Halt> {
    let last = known.checked.iter().rfind(|c| c.name == control && c.in_control).map_or(0, |c| c.number);
    let mut parts = Vec::new();
    for trial in known.tried.iter_mut().filter(|t| t.number > last && t.counts()) {
        trial.doubted = true;
        parts.push(trial.position);
        let row = Doubtful { trial: trial.number, control: failed };
        bench.journal.write(|r| r.doubted(row))?;
    }
    parts.sort_unstable();
    parts.dedup();
    Ok(parts)
}
