//! A plan that is carried out for each part of a lot: asks for a part, measures it by all
//! stages, judges it; controls, retests and doubts in between; and the lot at its end.
//!
//! Holds always: a result is never written over, a retest stands beside it; a part that
//! was in hand when the run was cut is put in anew.

mod control;
mod hands;
pub(super) mod measures;
mod resume;
mod turns;

pub(super) use resume::{is_over, known, same};
pub(super) use turns::Known;

use super::{Bench, Progress, stage};
use crate::analysis::finding::inspection as told;
use crate::analysis::inspection::decision::Decision;
use crate::analysis::inspection::lot::{Part, Tried, part};
use crate::analysis::inspection::{Charted, Measure, Outcome};
use crate::analysis::uncertainty::Standing;
use crate::interlock::{Cause, Halt};
use crate::plan::{Inspection, Lot, LotBefore, OnDrift};
use crate::record::{DrawnRow, EarlierLot, LotEnd, LotRow, SkipRow, TrialBegin};
use crate::units::Seconds;
use hands::Hands;
use turns::{Next, Turns};

/// A part, or a control part, in its fixture.
#[derive(Debug)]
pub(super) struct Trial {
    /// Its stages come after this number.
    pub(super) before: u32,
    /// `None` of a control.
    position: Option<u32>,
    measures: Vec<Measure>,
}

impl Trial {
    /// Whether it is a part's, and no control's.
    pub(super) fn is_of_the_lot(&self) -> bool {
        self.position.is_some()
    }
}

impl Bench<'_> {
    /// What the stage in hand says of the part, where the parts of a lot are measured.
    pub(super) fn measure(&mut self, made: impl FnOnce(u32) -> Vec<Measure>) {
        let stage = self.plan_stage();
        if let Some(trial) = &mut self.trial {
            // What is judged again, because it was cut, is judged whole.
            trial.measures.retain(|m| m.stage != stage);
            trial.measures.extend(made(stage));
        }
    }
}

/// What a lot needs beside the bench.
struct Work<'p> {
    lot: &'p Lot,
    turns: Turns<'p>,
    known: Known,
}

/// Carries the plan out for each part.
pub(super) async fn run(bench: &mut Bench<'_>, lot: &Lot, inspection: &Inspection) -> Result<(), Halt> {
    let known = bench.lot.take();
    let mut lot = lot.after(&series(lot, &bench.earlier));
    // A lot that goes on is sampled as it was begun, whatever has come in between.
    if let Some(begun) = known.as_ref().and_then(|k| k.sampling) {
        lot.sampling.numbers = begun;
    }
    let lot = &lot;
    let again = known.is_some();
    let turns = Turns::new(lot, inspection, bench.seed);
    bench.journal.write(|r| r.lot(&row(lot, inspection)))?;
    if !again {
        let drawn =
            (1..).zip(&turns.order).map(|(turn, position)| DrawnRow { turn, position: *position, name: lot.name(*position) });
        bench.journal.write(|r| drawn.into_iter().try_for_each(|row| r.drawn(&row)))?;
    }
    if !lot.is_whole() || lot.sampling.series.is_some() {
        let numbers = lot.sampling.numbers;
        let text = format!(
            "{} of {} parts are taken, accepted with {} nonconforming or fewer: {}",
            numbers.sample, lot.quantity, numbers.accept, lot.sampling.by
        );
        bench.journal.event("sampling", &text)?;
        bench.watcher.see(&Progress::Event { at: bench.station.clock().now(), text: &text });
    }
    let mut work = Work { lot, turns, known: known.unwrap_or_default() };
    let result = parts(bench, &mut work, again).await;
    conclude(bench, &work, result.is_ok())?;
    result
}

/// The lots before it in its series: of the same supplier, decided, each number once, at
/// its first inspection.
fn series(lot: &Lot, earlier: &[EarlierLot]) -> Vec<LotBefore> {
    let mut seen = vec![lot.number.as_str()];
    let mut before = Vec::new();
    for one in earlier.iter().filter(|one| one.supplier == lot.supplier) {
        let decided = matches!(one.decision, Some(Decision::Accepted | Decision::Refused));
        if decided && !seen.contains(&one.number.as_str()) {
            seen.push(&one.number);
            before.push(LotBefore { quantity: one.quantity, nonconforming: one.nonconforming });
        }
    }
    before
}

fn row(lot: &Lot, inspection: &Inspection) -> LotRow {
    LotRow {
        number: lot.number.clone(),
        supplier: lot.supplier.clone(),
        part: lot.part.clone(),
        date_code: lot.date_code.clone(),
        quantity: lot.quantity,
        operator: lot.operator.clone(),
        fixture: lot.fixture.clone(),
        sample: lot.sampling.numbers.sample,
        accept: lot.sampling.numbers.accept,
        reject: lot.sampling.numbers.reject,
        stops: lot.sampling.numbers.stops.name().into(),
        sampled: lot.sampling.by.clone(),
        rule: format!("w = {}", inspection.guard.name()),
        counting: inspection.counting.name().into(),
        overdue: lot.overdue.clone(),
    }
}

async fn parts(bench: &mut Bench<'_>, work: &mut Work<'_>, again: bool) -> Result<(), Halt> {
    hands::once(bench, work).await?;
    // What had failed when the run ended is measured before anything else.
    if again
        && work.turns.inspection.on_drift != OnDrift::GoOn
        && let Some(control) = work.turns.failed(&work.known)
    {
        control::mended(bench, work, control).await?;
    }
    loop {
        match work.turns.next(&work.known) {
            Next::Over => return Ok(()),
            Next::Control(index) => control::run(bench, work, index).await?,
            Next::Part { position, why } => one(bench, work, position, why).await?,
        }
    }
}

/// One part, or what the operator wants instead.
async fn one(bench: &mut Bench<'_>, work: &mut Work<'_>, position: u32, why: Option<String>) -> Result<(), Halt> {
    let name = work.lot.name(position);
    let what = called(work, position, why.is_some());
    let how = match hands::part(bench, work, &what, position, why.as_deref()).await? {
        Hands::In(how) => how,
        Hands::Skip(reason) => return skip(bench, work, position, &reason),
        Hands::Again(position, reason) => {
            work.known.wanted.push_front((position, reason));
            return Ok(());
        }
        Hands::Hold(reason) => {
            work.known.held = Some(reason);
            return Ok(());
        }
    };
    if work.known.wanted.front().is_some_and(|(wanted, _)| *wanted == position) {
        work.known.wanted.pop_front();
    }
    let retest_of = Turns::first(&work.known, position);
    let begin = TrialBegin { number: 0, kind: "part", name, position: Some(position), retest_of, why, stages: (0, 0) };
    let number = begin_trial(bench, work, begin, &what, &how)?;
    let (outcome, reason) = measure(bench, work, number).await?;
    work.known.tried.push(Tried { number, position, outcome, doubted: false });
    let count = work.turns.count(&work.known);
    bench.watcher.see(&Progress::TrialDone {
        what: &what,
        outcome: outcome.word(),
        why: &reason,
        judged: count.judged,
        nonconforming: count.nonconforming,
    });
    Ok(())
}

fn skip(bench: &mut Bench<'_>, work: &mut Work<'_>, position: u32, reason: &str) -> Result<(), Halt> {
    work.known.wanted.retain(|(wanted, _)| *wanted != position);
    let row = SkipRow { position, name: work.lot.name(position), at: bench.station.clock().now(), why: reason.into() };
    bench.journal.write(|r| r.skipped(&row))?;
    work.known.skipped.push(position);
    let text = format!("part {} is left out: {reason}", row.name);
    bench.watcher.see(&Progress::Event { at: row.at, text: &text });
    Ok(())
}

/// `part 7 of 125`, and what is different from that.
fn called(work: &Work<'_>, position: u32, again: bool) -> String {
    let (lot, name) = (work.lot, work.lot.name(position));
    let again = if again { ", again" } else { "" };
    let turn = work.turns.order.iter().position(|p| *p == position).map_or(0, |i| i + 1);
    if lot.is_whole() && lot.serials.is_empty() {
        format!("part {name} of {}{again}", lot.quantity)
    } else if lot.serials.is_empty() {
        format!("part {name} ({turn} of {}){again}", lot.sampling.numbers.sample)
    } else {
        format!("part {name} (position {position}){again}")
    }
}

/// From here on what is read is this trial's.
fn begin_trial(
    bench: &mut Bench<'_>,
    work: &mut Work<'_>,
    begin: TrialBegin,
    what: &str,
    how: &[(&str, String)],
) -> Result<u32, Halt> {
    let stages = u32::try_from(bench.passed.plan().stages.len()).unwrap_or(u32::MAX);
    let number = work.known.begun + 1;
    let before = work.known.begun.saturating_mul(stages);
    work.known.begun = number;
    let begin = TrialBegin { number, stages: (before + 1, before + stages), ..begin };
    let now = bench.station.clock().now();
    bench.trial = Some(Trial { before, position: begin.position, measures: Vec::new() });
    bench.journal.write(|r| {
        r.begin_trial(&begin, now)?;
        how.iter().try_for_each(|(what, how)| r.acknowledged(Some(number), what, how, now))
    })?;
    let expected = bench.expected.iter().fold(Seconds(0.0), |sum, t| sum + *t);
    bench.watcher.see(&Progress::Trial { at: now, what, expected });
    Ok(number)
}

/// All stages of the plan on the part in its fixture, and what came of it.
async fn measure(bench: &mut Bench<'_>, work: &mut Work<'_>, number: u32) -> Result<(Outcome, String), Halt> {
    let passed = bench.passed;
    let mut halted = None;
    for stage in &passed.plan().stages {
        if let Err(halt) = stage::run(bench, stage).await {
            halted = Some(halt);
            break;
        }
    }
    let guard = work.turns.inspection.guard;
    let mut measures = bench.trial.as_mut().map(|t| std::mem::take(&mut t.measures)).unwrap_or_default();
    let (outcome, why) = match &halted {
        None => {
            let (outcome, worst) = Outcome::of(&measures, guard);
            (outcome, worst.map_or("nothing was measured".to_owned(), Measure::told))
        }
        // The others speak of the instruments, the computer or the operator.
        Some(Halt::Tripped(trip)) if !matches!(trip.cause, Cause::NoReading(_) | Cause::Changed | Cause::Sanity) => {
            (Outcome::Judged(Standing::Fail), format!("the interlock switched off: {trip}"))
        }
        Some(halt) => (Outcome::Void, halt.to_string()),
    };
    // One is charted: the last that may be.
    let last = measures.iter().rposition(|m| m.charted == Charted::Yes);
    for (index, measure) in measures.iter_mut().enumerate() {
        measure.charted = if Some(index) == last { Charted::Yes } else { Charted::No };
    }
    let now = bench.station.clock().now();
    let before = bench.trial.as_ref().map_or(0, |t| t.before);
    bench.journal.write(|r| {
        measures.iter().try_for_each(|m| r.measure(number, before + m.stage, m, guard))?;
        r.end_trial(number, outcome, &why, now)
    })?;
    if let Some(halt) = halted {
        return Err(halt);
    }
    if let Some(m) = last.and_then(|i| measures.get(i)) {
        let charted = turns::Charted { what: m.what.clone(), unit: m.unit, seen: m.seen, limit: m.limit };
        work.known.charted.insert(number, charted);
    }
    bench.trial = None;
    Ok((outcome, why))
}

/// The lot as a whole, as far as it was measured. Where the run halts it has no findings:
/// they would be of a part of it.
fn conclude(bench: &mut Bench<'_>, work: &Work<'_>, done: bool) -> Result<(), Halt> {
    let (lot, known) = (work.lot, &work.known);
    let count = work.turns.count(known);
    let failed = work.turns.failed(known).map(|_| "a control part is out of control");
    let (decision, why) = work.turns.sampling.decide(&count, known.held.as_deref().or(failed));
    let end = LotEnd { at: bench.station.clock().now(), decision, why: why.clone(), count };
    bench.journal.write(|r| r.end_lot(&end))?;
    if !done {
        return Ok(());
    }
    bench.stage = 0;
    bench.trial = None;
    let parts = measured(work);
    let title = told::Title { number: &lot.number, part: &lot.part, overdue: lot.overdue.as_deref() };
    let mut findings = vec![told::decided(&title, decision, &why, &count)];
    findings.extend(told::spread(&parts));
    let earlier: Vec<told::Earlier> = bench
        .earlier
        .iter()
        .filter(|e| e.number != lot.number)
        .map(|e| told::Earlier { number: e.number.clone(), values: e.values.clone() })
        .collect();
    findings.extend(told::unlike(&parts, &earlier));
    for finding in findings {
        bench.find(finding)?;
    }
    Ok(())
}

/// The charted quantity of each part that was judged, by the trial that counts.
fn measured(work: &Work<'_>) -> Vec<told::PartOf> {
    let known = &work.known;
    let one = |position: &u32| match part(&known.tried, *position, work.turns.inspection.counting) {
        Part::Judged(outcome, number) => {
            let charted = known.charted.get(&number)?;
            Some(told::PartOf {
                name: work.lot.name(*position),
                outcome,
                what: charted.what.clone(),
                unit: charted.unit,
                seen: charted.seen,
            })
        }
        Part::Open | Part::Doubtful => None,
    };
    work.turns.order.iter().filter_map(one).collect()
}
