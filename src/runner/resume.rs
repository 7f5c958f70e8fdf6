//! Going on with a run that was cut short: what of the plan is done, and what the
//! stage in hand had seen, read back from the record.
//!
//! Holds always: a stage that ended as planned is not done again; a start that was
//! cut short stays void and keeps its number; what was measured before the gap is
//! judged together with what is measured after it.

use super::judge::Tally;
use super::{Gathered, Look, lot};
use crate::analysis::finding::{Finding, LeakageStep, Severity};
use crate::analysis::marks::Mark;
use crate::analysis::start::Outcome;
use crate::analysis::{Level, starts as many};
use crate::document::Document;
use crate::plan::{Leakage, Log, OnFault, Passed, Plan, Stage, StageKind, Start};
use crate::record::{FileRow, FindingRow, RecordError, Run, StartRow};
use crate::units::{Amperes, Joules, Seconds, Volts};

/// How a stage ends that was carried out.
pub(super) const DONE: &str = "done";

/// What a run goes on from.
pub struct Resume {
    /// Every random choice follows from it, as before.
    pub(super) seed: u64,
    /// Where the run's time goes on.
    pub(super) at: Seconds,
    /// Since the last row before.
    pub(super) gap: Seconds,
    /// Wall clock, RFC 3339.
    pub(super) wall: String,
    /// What differs from before, in words; or empty.
    pub differs: String,
    /// The files that it follows from now on, where they are others.
    pub files: Vec<FileRow>,
    /// The number of the last stage that was carried out.
    pub(super) done: u32,
    /// The part that stands in place of the unit.
    pub(super) in_place: Option<String>,
    /// What the stages that are done have found.
    pub(super) findings: Vec<Finding>,
    /// The sweeps of those stages.
    pub(super) swept: Vec<(u32, Vec<LeakageStep>)>,
    /// Of a lot: what is known of it.
    pub(super) lot: Option<lot::Known>,
    pub(super) cut: Cut,
    /// What the operator has marked.
    pub(super) marks: Vec<Mark>,
}

/// What the stage that was cut had come to.
#[derive(Default)]
pub(super) struct Cut {
    pub(super) gathered: Gathered,
    /// The next start or step, from 1.
    pub(super) next: u32,
    /// A log's time under power so far.
    pub(super) logged: Seconds,
    /// Energy that the stage has used.
    pub(super) spent: Joules,
    /// A failed start, or a claim that was decided, had ended it, as the plan wants.
    pub(super) over: bool,
}

impl Cut {
    /// With what follows from what has been seen: where the stage goes on.
    pub(super) fn counted(mut self, stage: &StageKind) -> Self {
        let after = |seen: usize| u32::try_from(seen).unwrap_or(u32::MAX).saturating_add(1);
        match (stage, &self.gathered) {
            (StageKind::Start(start), Gathered::Starts(tally)) => {
                self.next = after(tally.rows.len());
                let failed = tally.rows.last().is_some_and(|r| r.outcome.is_failure());
                self.over = (start.on_fault != OnFault::GoOn && failed) || tally.decides(start);
            }
            (StageKind::Log(log), Gathered::Log(looks, spans)) => {
                self.logged = looks.last().map_or(Seconds(0.0), |l| upto(log, l.at)).min(log.length);
                self.next = spans.saturating_add(1);
            }
            (StageKind::Leakage(_), Gathered::Sweep(steps)) => self.next = after(steps.len()),
            _ => {}
        }
        self
    }
}

impl Resume {
    /// What is left of a run. `wall` is the wall clock now, `since` what it says has
    /// passed since the run began.
    ///
    /// # Errors
    /// In words: nothing is left, or the plan's stages are others than the record's.
    pub fn read(run: &Run, passed: &Passed, wall: String, since: Seconds) -> Result<Self, String> {
        let plan = passed.plan();
        if passed.lot().is_some() || run.lot().map_err(|e| e.to_string())?.is_some() {
            return Self::of_a_lot(run, passed, wall, since);
        }
        let stages = run.stages().map_err(|e| e.to_string())?;
        for row in &stages {
            let kind = plan.stages.iter().find(|s| s.number == row.number).map(|s| s.kind.word());
            if kind != Some(row.kind.as_str()) {
                let now = kind.map_or("no stage".into(), |k| format!("a {k} stage"));
                return Err(format!("stage {} of the record is a {} stage; in the plan it is {now}", row.number, row.kind));
            }
        }
        let done = stages.iter().take_while(|s| s.how.as_deref() == Some(DONE)).map(|s| s.number).last().unwrap_or(0);
        let Some(next) = plan.stages.iter().find(|s| s.number > done) else {
            return Err("the run was carried out to its end: nothing of it is left".into());
        };
        let words = |e: RecordError| e.to_string();
        if stages.iter().any(|s| s.number == next.number) {
            same_conditions(run, next)?;
        }
        let last = run.last_moment().map_err(words)?;
        // A wall clock that was set back must not send the run's time backwards.
        let at = since.max(last);
        let findings = run.findings().map_err(words)?;
        let events = run.events().map_err(words)?;
        let sweeps = stages.iter().filter(|s| s.number <= done && s.kind == "leakage");
        let swept = sweeps.map(|s| Ok((s.number, swept(run, s.number)?))).collect::<Result<Vec<_>, _>>().map_err(words)?;
        let connected = events.iter().rev().find(|e| e.kind == "connected").map(|e| e.text.clone());
        Ok(Self {
            seed: run.seed,
            at,
            gap: at - last,
            wall,
            differs: String::new(),
            files: Vec::new(),
            done,
            in_place: connected.filter(|what| *what != plan.unit.name),
            // A self-check is made again; what tripped stays told.
            findings: findings
                .iter()
                .filter(|f| f.code == "tripped" || f.stage.map_or(!f.code.starts_with("self-check"), |s| s <= done))
                .map(finding)
                .collect(),
            swept,
            marks: run.marks().map_err(words)?,
            lot: None,
            cut: if stages.iter().any(|s| s.number == next.number) { cut(run, next).map_err(words)? } else { Cut::default() },
        })
    }

    /// The same of a run that inspects a lot: the trial in hand was void, and the part is
    /// put in anew.
    fn of_a_lot(run: &Run, passed: &Passed, wall: String, since: Seconds) -> Result<Self, String> {
        let words = |e: RecordError| e.to_string();
        let (named, inspection) = passed.lot().ok_or("the run inspects the parts of a lot: say --lot FILE")?;
        lot::same(run, named, inspection)?;
        for stage in &passed.plan().stages {
            same_conditions(run, stage)?;
        }
        let known = lot::known(run).map_err(words)?;
        if lot::is_over(&known, named, inspection, run.seed) {
            return Err("the lot was inspected to its end: nothing of it is left".into());
        }
        let last = run.last_moment().map_err(words)?;
        let at = since.max(last);
        // What the parts have shown stands in their trials; the lot is judged anew.
        let stays = |f: &&FindingRow| f.code == "tripped" || f.code == "control-out";
        Ok(Self {
            seed: run.seed,
            at,
            gap: at - last,
            wall,
            differs: String::new(),
            files: Vec::new(),
            done: 0,
            in_place: None,
            findings: run.findings().map_err(words)?.iter().filter(stays).map(finding).collect(),
            swept: Vec::new(),
            lot: Some(known),
            cut: Cut::default(),
            marks: run.marks().map_err(words)?,
        })
    }

    /// The number of the last stage that was carried out.
    pub fn done(&self) -> u32 {
        self.done
    }

    /// Where the run's time goes on.
    pub fn at(&self) -> Seconds {
        self.at
    }

    /// In a sentence, for record and terminal.
    pub fn told(&self) -> String {
        let differs = if self.differs.is_empty() { String::new() } else { format!("; different from before: {}", self.differs) };
        let place = self.lot.as_ref().map_or_else(|| format!("in stage {}", self.done + 1), lot::Known::place);
        format!("the run goes on {place}, {} after its last row{differs}", crate::units::spell(self.gap))
    }
}

/// A stage that was cut goes on under the conditions under which it began: how long, how
/// often and after what time off may be others, and nothing else.
fn same_conditions(run: &Run, stage: &Stage) -> Result<(), String> {
    let files = run.files().map_err(|e| e.to_string())?;
    // A record without its plan (a test's) has nothing to compare with.
    let Some(file) = files.iter().rfind(|f| f.kind == "plan") else { return Ok(()) };
    let before = Plan::read(&Document::new(&file.name, &file.text)).map_err(|p| p.to_string())?;
    let before = before.stages.into_iter().find(|s| s.number == stage.number).map(|s| s.kind);
    let alike = match (before, &stage.kind) {
        (Some(StageKind::Start(a)), StageKind::Start(b)) => {
            let a = Start { times: b.times, off: b.off.clone(), off_patience: b.off_patience, on_fault: b.on_fault, ..*a };
            format!("{a:?}") == format!("{b:?}")
        }
        (Some(StageKind::Log(a)), StageKind::Log(b)) => format!("{:?}", Log { length: b.length, ..a }) == format!("{b:?}"),
        (Some(StageKind::Leakage(a)), StageKind::Leakage(b)) => format!("{a:?}") == format!("{b:?}"),
        (None, _) => false,
        // These begin again.
        _ => true,
    };
    if alike {
        return Ok(());
    }
    Err(format!(
        "stage {} is another than the one that was cut: what was measured before cannot be judged together with what comes after it; begin a new run",
        stage.number
    ))
}

fn finding(row: &FindingRow) -> Finding {
    let severity = Severity::ALL.into_iter().find(|s| s.name() == row.severity).unwrap_or(Severity::Undecided);
    let made = Finding::new(row.code.clone(), severity, row.sentence.clone());
    match &row.advice {
        Some(advice) => made.advise(advice.clone()),
        None => made,
    }
}

fn cut(run: &Run, stage: &Stage) -> Result<Cut, RecordError> {
    let number = stage.number;
    let gathered = match &stage.kind {
        StageKind::Start(start) => starts(run, number, start)?,
        StageKind::Log(it) => {
            let (looks, span) = looks_of_log(run, number, it)?;
            Gathered::Log(looks, span)
        }
        StageKind::Leakage(sweep) => steps(run, number, sweep)?,
        StageKind::Ramp(_) | StageKind::Ask(_) => Gathered::Nothing,
    };
    Ok(Cut { gathered, spent: spent(run, number)?, ..Cut::default() }.counted(&stage.kind))
}

fn starts(run: &Run, stage: u32, start: &Start) -> Result<Gathered, RecordError> {
    let limited = run.limited_starts(stage)?;
    let rows = run.starts(stage)?;
    let mut tally = Tally::default();
    let judged = |row: &StartRow| judged(row, start, limited.binary_search(&row.number).is_ok());
    // Some have no course: they were not switched on, or the run ended there.
    let mut next = 0;
    run.each_course(stage, |number, looks| {
        while let Some(row) = rows.get(next).filter(|row| row.number <= number) {
            let own = if row.number == number { looks } else { &[] };
            tally.add(judged(row), own.iter().copied());
            next += 1;
        }
    })?;
    for row in rows.iter().skip(next) {
        tally.add(judged(row), std::iter::empty());
    }
    Ok(Gathered::Starts(tally))
}

pub(super) fn judged(row: &StartRow, start: &Start, limited: bool) -> many::Row {
    let outcome = match row.counts.as_str() {
        "void" => Outcome::Void,
        // `no start: ` and the state's name.
        _ => Outcome::ALL.into_iter().find(|o| o.name() == row.outcome).unwrap_or(Outcome::OtherState),
    };
    many::Row {
        outcome,
        state: row.state.as_ref().and_then(|name| start.states.iter().position(|s| s.name == *name)),
        at: row.on,
        off_time: row.off,
        residual: row.residual,
        plateau: match row.plateau {
            Some((value, u)) => Level::Known { value, u },
            None if row.plateau_kind == "below floor" => Level::BelowFloor { floor: Amperes(0.0) },
            None if row.plateau_kind == "overload" => Level::Overload,
            None => Level::Missing,
        },
        limited,
        held: row.held,
    }
}

/// Until when a reading of a log stands: the next is due at a whole pace.
fn upto(log: &Log, at: Seconds) -> Seconds {
    log.every * ((at / log.every).round() + 1.0)
}

/// The looks of a log so far, on a time that stands still while the unit was off. What
/// was seen between the looks, so that an output is never unwatched, is none of them.
pub(super) fn looks_of_log(run: &Run, stage: u32, log: &Log) -> Result<(Vec<Look>, u32), RecordError> {
    let mut looks: Vec<Look> = Vec::new();
    // The first look of the span in hand, and the time under power before it.
    let (mut first, mut base, mut span) = (Seconds(0.0), Seconds(0.0), 0);
    for point in run.currents(stage)? {
        let Some(step) = point.step else { continue };
        if step != span {
            base = looks.last().map_or(Seconds(0.0), |l| upto(log, l.at));
            (first, span) = (point.at, step);
        }
        let within = point.at - first;
        if span > 1 && within < log.settled() {
            continue;
        }
        let at = base + within;
        looks.push(Look {
            at,
            voltage: point.volts,
            voltage_u: None,
            at_most: point.volts,
            current: point.current,
            limiting: None,
            step: Some(step),
        });
    }
    Ok((looks, span))
}

fn steps(run: &Run, stage: u32, sweep: &Leakage) -> Result<Gathered, RecordError> {
    Ok(Gathered::Sweep(swept(run, stage)?.into_iter().take(sweep.voltages.len()).collect()))
}

fn swept(run: &Run, stage: u32) -> Result<Vec<LeakageStep>, RecordError> {
    Ok(run.leakages(stage)?.into_iter().map(|row| LeakageStep { set: row.set, soak: row.soak }).collect())
}

/// The energy that a stage has used: each of the supply's readings for the time since
/// the one before, within the same span under power. A voltage without a current after
/// it was read with the output off, and so ends a span.
fn spent(run: &Run, stage: u32) -> Result<Joules, RecordError> {
    let taken_up: Vec<Seconds> = run.resumed()?.iter().map(|r| r.at).collect();
    let span = |start: Option<u32>, at: Seconds| (start, taken_up.iter().filter(|t| at >= **t).count());
    let mut spent = Joules(0.0);
    let (mut volts, mut last): (Option<Volts>, _) = (None, None);
    run.each_reading(stage, |r| {
        if r.role != "supply" {
            return;
        }
        let value = r.value.unwrap_or(0.0);
        if r.measurand == "voltage" {
            if volts.is_some() {
                last = None;
            }
            volts = Some(Volts(value));
            return;
        }
        let (power, now) = (volts.take().unwrap_or_default() * Amperes(value.max(0.0)), span(r.start, r.answered));
        if let Some((before, at, earlier)) = last
            && before == now
        {
            spent = spent + power.max(earlier) * (r.answered - at);
        }
        last = Some((now, r.answered, power));
    })?;
    Ok(spent)
}
