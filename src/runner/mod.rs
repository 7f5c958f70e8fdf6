//! Carries out a plan: one file a kind of stage, no arithmetic beyond bookkeeping.
//!
//! Holds always: whatever ends a run (its end, an error, a panic, a signal), the
//! output is switched off and verified before anything else is said; a run whose
//! output could not be verified off ends in its own exit code.

pub mod against;
mod ask;
mod conduct;
mod exit;
pub mod good;
mod judge;
mod leakage;
mod log;
mod lot;
mod mark;
mod operator;
pub mod past;
mod progress;
mod ramp;
mod resume;
mod self_check;
mod stage;
mod start;

pub use conduct::{Begin, Conduct, Tried, conduct};
pub use exit::Exit;
pub use operator::{Answer, Operator, Question, Said};
pub use progress::{Progress, Watcher};
pub use resume::Resume;

use crate::analysis::Level;
use crate::analysis::finding::{Finding, LeakageStep, Severity};
use crate::analysis::marks::Mark;
use crate::instrument::{OffProof, Reading, Regulation, Sample};
use crate::interlock::{Energised, Halt, Journal, Observation, Station, told};
use crate::plan::{Passed, SelfCheck, Stage, StageKind, State};
use crate::record::{EarlierLot, RecordError};
use crate::units::{Amperes, Seconds, Volts};
use std::collections::BTreeMap;
use std::future::Future;
use std::pin::Pin;
use std::sync::Mutex;
use std::task::{Context, Poll};

/// A unit counts as without power below this, before a ramp, a log or a sweep.
const AT_REST: Volts = Volts(0.5);
/// Longest wait for that.
const PATIENCE: Seconds = Seconds(120.0);

/// Everything that a run needs.
pub struct Job<'r> {
    /// The plan and the bench, checked.
    pub passed: &'r Passed,
    /// Supply and meter behind the gate.
    pub station: Station,
    /// Every random choice follows from it.
    pub seed: u64,
    /// How long it will take.
    pub expected: Vec<Seconds>,
    /// What it goes on from, where it was cut short.
    pub resume: Option<Resume>,
    /// The good units that the plan's stages name, by number of stage.
    pub good: BTreeMap<u32, good::Expected>,
    /// Earlier lots of the part that is inspected, the oldest first.
    pub earlier: Vec<EarlierLot>,
    /// Who watches.
    pub watcher: &'r mut dyn Watcher,
    /// Who is asked.
    pub operator: &'r mut dyn Operator,
}

/// How a run ended.
#[derive(Debug)]
pub struct Ended {
    /// As the process returns it.
    pub exit: Exit,
    /// In a sentence.
    pub how: String,
    /// That the output is off, or why that is not known.
    pub off: Result<OffProof, String>,
    /// The findings.
    pub findings: Vec<Finding>,
    /// What the operator has marked.
    pub marks: Vec<Mark>,
}

/// What the stages work with.
struct Bench<'r> {
    passed: &'r Passed,
    station: Station,
    journal: Journal,
    seed: u64,
    expected: Vec<Seconds>,
    watcher: &'r mut dyn Watcher,
    operator: &'r mut dyn Operator,
    marks: mark::Marks,
    stage: u32,
    /// The part that the operator was asked to connect in place of the unit, until the
    /// unit is asked for again.
    in_place: Option<String>,
    /// What the stage in hand has seen, so that it is judged even when it is cut short.
    gathered: Gathered,
    /// Where the stage that is entered next goes on, when the run was cut in it.
    cut: Option<resume::Cut>,
    /// From when on the unit is known to have been off, before anything was switched on.
    rested_since: Seconds,
    /// Something else was connected since the unit was last under power.
    swapped: bool,
    /// The self-check that is due before the next start.
    check_due: Option<SelfCheck>,
    findings: Vec<Finding>,
    /// The part in hand, where the plan is carried out for each part of a lot.
    trial: Option<lot::Trial>,
    /// What is known of the lot so far, where the run was cut in it.
    lot: Option<lot::Known>,
    /// The sweeps that were made, by their stage: parts of one lot are compared.
    swept: Vec<(u32, Vec<LeakageStep>)>,
    good: BTreeMap<u32, good::Expected>,
    /// Earlier lots of the same part, the oldest first.
    earlier: Vec<EarlierLot>,
}

/// What a stage has seen so far.
#[derive(Default)]
enum Gathered {
    #[default]
    Nothing,
    Ramp(Vec<Look>),
    /// The looks, and how many spans under power there have been.
    Log(Vec<Look>, u32),
    Starts(judge::Tally),
    Sweep(Vec<LeakageStep>),
}

impl Gathered {
    /// A look of a ramp.
    fn add(&mut self, seen: Look) {
        if let Self::Ramp(looks) = self {
            looks.push(seen);
        }
    }

    /// Of a stage that begins.
    fn begun(stage: &StageKind) -> Self {
        match stage {
            StageKind::Log(_) => Self::Log(Vec::new(), 0),
            StageKind::Start(_) => Self::Starts(judge::Tally::default()),
            StageKind::Leakage(_) => Self::Sweep(Vec::new()),
            StageKind::Ramp(_) => Self::Ramp(Vec::new()),
            StageKind::Ask(_) => Self::Nothing,
        }
    }
}

/// Carries out the plan until its end, a halt, a panic, or until `stop` says why
/// to stop. Then the output is off and verified, or the exit code says that it is not.
pub async fn run(job: Job<'_>, stop: impl Future<Output = String>) -> Ended {
    let Job { passed, station, seed, expected, resume, good, earlier, watcher, operator } = job;
    let journal = station.journal().clone();
    let rested_since = station.clock().now();
    let committer = tokio::spawn(journal.clone().keep_committed());
    let marks = resume.as_ref().map_or_else(mark::Marks::default, |r| mark::Marks::of(r.marks.clone()));
    let watcher = Mutex::new(watcher);
    let (mut by_stages, mut by_marks) = (mark::Shared(&watcher), mark::Shared(&watcher));
    let marking = mark::stamp(operator.says(), station.clock(), journal.clone(), marks.clone(), &mut by_marks);
    let mut bench = Bench {
        passed,
        station,
        journal,
        seed,
        expected,
        watcher: &mut by_stages,
        operator,
        marks,
        stage: resume.as_ref().map_or(0, |r| r.done),
        in_place: None,
        gathered: Gathered::Nothing,
        cut: None,
        rested_since,
        swapped: false,
        check_due: None,
        findings: Vec::new(),
        trial: None,
        lot: None,
        swept: Vec::new(),
        good,
        earlier,
    };
    if let Some(resume) = resume {
        (bench.in_place, bench.findings, bench.cut) = (resume.in_place, resume.findings, Some(resume.cut));
        (bench.swept, bench.lot) = (resume.swept, resume.lot);
    }
    // The work is dropped here, at the latest: an output that it left on is then being switched off.
    let halt = tokio::select! {
        biased;
        why = stop => Some(Stopped::By(Halt::Stopped(format!(": {why}")))),
        never = marking => match never {},
        result = CatchPanic(Box::pin(stages(&mut bench))) => match result {
            Ok(Ok(())) => None,
            Ok(Err(halt)) => Some(Stopped::By(halt)),
            Err(panic) => Some(Stopped::Panic(panic)),
        },
    };
    let halt = halt.map(|halt| match (halt, bench.station.latched()) {
        (Stopped::By(Halt::Instrument(_) | Halt::NoPermit(_) | Halt::Record(_)), Some(trip)) => Stopped::By(Halt::Tripped(trip)),
        (halt, _) => halt,
    });
    let mut off = bench.station.make_safe().await.map_err(|e| e.to_string());
    if off.is_err() && matches!(bench.station.recover().await, Ok(true)) {
        off = bench.station.make_safe().await.map_err(|e| e.to_string());
    }
    if let Some(Stopped::By(halt)) = &halt {
        judge::interrupted(&mut bench, halt);
    }
    let energised = bench.station.ever_energised();
    let (mut exit, mut how) = match &halt {
        None => (of_findings(&bench.findings), "the plan was carried out".to_owned()),
        Some(Stopped::By(halt)) => (Exit::of_halt(halt, energised), halt.to_string()),
        Some(Stopped::Panic(what)) => (Exit::Instrument, format!("a fault in this tool: {what}")),
    };
    let words = match &off {
        Ok(proof) => told(proof),
        Err(why) => why.clone(),
    };
    if let Err(why) = &off {
        exit = Exit::NotOff;
        if !how.contains(why.as_str()) {
            how = format!("{how}; {why}");
        }
    }
    committer.abort();
    let at = bench.station.clock().now();
    let written = bench.journal.event("off", &words).and_then(|()| bench.journal.write(|r| r.finish(&how, exit.code(), at)));
    if let Err(error) = written {
        how = format!("{how}; its end could not be recorded: {error}");
        exit = if exit == Exit::NotOff { exit } else { Exit::Instrument };
    }
    if off.is_ok()
        && let Err(error) = bench.station.release().await
    {
        tracing::warn!("an instrument was not given back to its front panel: {error}");
    }
    Ended { exit, how, off, findings: bench.findings, marks: bench.marks.all() }
}

enum Stopped {
    By(Halt),
    Panic(String),
}

fn of_findings(findings: &[Finding]) -> Exit {
    match findings.iter().map(|f| f.severity).max() {
        Some(Severity::Anomaly) => Exit::Anomaly,
        Some(Severity::Undecided) => Exit::Undecided,
        _ => Exit::Within,
    }
}

async fn stages(bench: &mut Bench<'_>) -> Result<(), Halt> {
    let plan = bench.passed.plan();
    let count = u32::try_from(plan.stages.len()).unwrap_or(u32::MAX);
    let parts = bench.passed.lot().map_or(1.0, |(lot, _)| f64::from(lot.sampling.numbers.sample));
    let total = bench.expected.iter().fold(Seconds(0.0), |sum, t| sum + *t) * parts;
    bench.watcher.see(&Progress::Run { title: &plan.title, unit: &plan.unit.name, stages: count, expected: total });
    let done = bench.stage;
    ask::for_a_look(bench).await?;
    // What is found before the next stage is about the whole run.
    bench.stage = 0;
    if let Some(check) = &plan.self_check {
        self_check::run(bench, check).await?;
    }
    if let Some((lot, inspection)) = bench.passed.lot() {
        return lot::run(bench, lot, inspection).await;
    }
    for stage in plan.stages.iter().filter(|s| s.number > done) {
        stage::run(bench, stage).await?;
    }
    if let Some(part) = bench.in_place.clone() {
        let text = format!("{part} is still connected in place of {}", plan.unit.name);
        bench.journal.event("left", &text)?;
        bench.watcher.see(&Progress::Event { at: bench.station.clock().now(), text: &text });
    }
    Ok(())
}

impl Bench<'_> {
    /// The stage of the plan that is in hand.
    fn plan_stage(&self) -> u32 {
        self.stage - self.trial.as_ref().map_or(0, |trial| trial.before).min(self.stage)
    }

    /// How long a stage will take, as far as is known.
    fn expected_of(&self, stage: &Stage) -> Seconds {
        let index = usize::try_from(stage.number).ok().and_then(|n| n.checked_sub(1));
        index.and_then(|i| self.expected.get(i)).copied().unwrap_or_default()
    }

    /// Shows and records a finding.
    fn find(&mut self, finding: Finding) -> Result<(), RecordError> {
        // Before the first stage it is about the whole run.
        let stage = Some(self.stage).filter(|stage| *stage > 0);
        if let Some(trial) = &self.trial
            && finding.code != "tripped"
        {
            // The outcome of the part says it; what is odd beside that is kept with it.
            let kept = trial.is_of_the_lot() && finding.severity != Severity::Note;
            return if kept { self.journal.write(|r| r.finding(stage, &finding)) } else { Ok(()) };
        }
        self.watcher.see(&Progress::Finding(&finding));
        let written = self.journal.write(|r| r.finding(stage, &finding));
        self.findings.push(finding);
        written
    }
}

/// One look at the unit, reduced to what is judged.
#[derive(Clone, Copy, Debug)]
struct Look {
    /// Since the output was switched on.
    at: Seconds,
    /// At the supply.
    voltage: Option<Volts>,
    /// Standard uncertainty of that.
    voltage_u: Option<Volts>,
    /// The same, or its floor where it cannot be told from zero.
    at_most: Option<Volts>,
    /// By the best instrument.
    current: Level,
    /// Whether the supply was limiting.
    limiting: Option<bool>,
    /// Of a sweep or ramp.
    step: Option<u32>,
}

/// Looks once, shows it, and reduces it.
async fn look(on: &mut Energised<'_>, step: Option<u32>, states: &[State], watcher: &mut dyn Watcher) -> Result<Look, Halt> {
    let seen: Observation = on.observe(step).await?;
    let current = level(seen.current());
    let state = current.value().and_then(|v| states.iter().find(|s| v >= s.low && v <= s.high)).map(|s| s.name.as_str());
    watcher.see(&Progress::Live {
        at: on.clock().now(),
        voltage: Some(&seen.supply.voltage),
        current: Some(seen.current()),
        regulation: seen.supply.regulation,
        state,
    });
    Ok(Look {
        at: seen.current().at() - on.on_at(),
        voltage: seen.supply.voltage.volts(),
        voltage_u: match seen.supply.voltage.sample {
            Sample::Value { u, .. } => Some(Volts(u)),
            _ => None,
        },
        at_most: match seen.supply.voltage.sample {
            Sample::BelowFloor { floor } => Some(Volts(floor)),
            _ => seen.supply.voltage.volts(),
        },
        current,
        limiting: match seen.supply.regulation {
            Regulation::Current => Some(true),
            Regulation::Voltage => Some(false),
            Regulation::Neither | Regulation::Fault | Regulation::Unknown => None,
        },
        step,
    })
}

/// A reading of a current as analysis takes it.
fn level(reading: &Reading) -> Level {
    match reading.sample {
        Sample::Value { value, u } => Level::Known { value: Amperes(value), u: Amperes(u) },
        Sample::BelowFloor { floor } => Level::BelowFloor { floor: Amperes(floor) },
        Sample::Overload => Level::Overload,
        Sample::NotANumber | Sample::NoReply | Sample::Late | Sample::Garbled | Sample::Stale => Level::Missing,
    }
}

/// A future whose panic becomes a value: the output must be switched off after it.
struct CatchPanic<'f, T>(Pin<Box<dyn Future<Output = T> + 'f>>);

impl<T> Future for CatchPanic<'_, T> {
    type Output = Result<T, String>;

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Self::Output> {
        // The future is not polled again after a panic.
        let polled = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| self.0.as_mut().poll(context)));
        match polled {
            Ok(Poll::Ready(value)) => Poll::Ready(Ok(value)),
            Ok(Poll::Pending) => Poll::Pending,
            Err(payload) => {
                let text =
                    payload.downcast_ref::<&str>().map(ToString::to_string).or_else(|| payload.downcast_ref::<String>().cloned());
                Poll::Ready(Err(text.unwrap_or_else(|| "a panic".into())))
            }
        }
    }
}
