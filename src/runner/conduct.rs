//! One run from open links to a finished record: what `run`, `rehearse` and the
//! tests have in common.

use super::good::Where;
use super::{Ended, Exit, Job, Operator, Resume, Watcher, run};
use crate::clock::Clock;
use crate::instrument::{Fault, InstrumentError, Meter, Role};
use crate::interlock::{Clocks, Guard, Halt, Journal, Papers, Reopen, Station, Supply, open_meter, open_supply};
use crate::link::trace::Traced;
use crate::link::{Link, LinkError};
use crate::plan::Passed;
use crate::record::{self, Durability, EarlierLot, Header, InstrumentRow, Record, RecordError, RoleTraffic, TrafficLog};
use crate::units::Seconds;
use std::future::Future;
use std::path::Path;
use std::sync::Arc;

/// A link, or why it could not be opened.
pub type Tried = Result<Box<dyn Link>, LinkError>;

/// How a run begins.
pub enum Begin {
    /// In a new record, with this.
    New(Header),
    /// In the record that it was cut short in.
    Again(Box<Resume>),
}

/// Everything that one run is made of.
pub struct Conduct<'r> {
    /// The plan and the bench, checked.
    pub passed: &'r Passed,
    /// The run's folder.
    pub folder: &'r Path,
    /// The folder of logs, where the good units are that the plan names.
    pub logs: &'r Path,
    /// A new run, or one that goes on.
    pub begin: Begin,
    /// How sure a commit must be.
    pub durability: Durability,
    /// The bench's clock.
    pub clock: Clock,
    /// How long each stage will take.
    pub expected: Vec<Seconds>,
    /// To the supply.
    pub supply: Tried,
    /// To the meter, where the bench has one.
    pub meter: Option<Tried>,
    /// Opens a link that dropped again; none: the run ends then.
    pub reopen: Option<Reopen>,
    /// The computer's clocks, to notice that it slept; none in rehearsal.
    pub clocks: Option<Clocks>,
    /// What is to be said of the computer and of papers before every stage.
    pub papers: Option<Papers>,
    /// The process that switches off if this one dies; none in rehearsal.
    pub guard: Option<Guard>,
    /// Who watches.
    pub watcher: &'r mut dyn Watcher,
    /// Who is asked.
    pub operator: &'r mut dyn Operator,
}

/// Carries out a run and leaves its record finished.
///
/// # Errors
/// The record could not be begun; nothing was energised.
pub async fn conduct(work: Conduct<'_>, stop: impl Future<Output = String>) -> Result<Ended, RecordError> {
    let Some(guard) = work.guard.clone() else { return carry_out(work, stop).await };
    let ended = carry_out(work, stop).await;
    // An output that may be on is left to the guard: it goes on when this process ends.
    if !matches!(&ended, Ok(Ended { exit: Exit::NotOff, .. })) {
        guard.farewell().await;
    }
    ended
}

async fn carry_out(work: Conduct<'_>, stop: impl Future<Output = String>) -> Result<Ended, RecordError> {
    let Conduct {
        passed,
        folder,
        logs,
        begin,
        durability,
        clock,
        expected,
        supply,
        meter,
        reopen,
        clocks,
        papers,
        guard,
        watcher,
        operator,
    } = work;
    let good = super::good::expected(passed.plan(), passed.bench(), Where { logs, rehearsal: Some(guard.is_none()) })?;
    let earlier = earlier_lots(passed, folder, guard.is_none())?;
    let (record, traffic, seed, resume) = match begin {
        Begin::New(header) => {
            let record = Record::create(folder, &header, durability)?;
            (record, TrafficLog::create(folder)?, header.seed, None)
        }
        Begin::Again(resume) => {
            // All of it is verified, which may take a while: beside the beats for the guard.
            let place = folder.to_owned();
            let opened = tokio::task::spawn_blocking(move || Record::append(&place, durability)).await;
            let mut record = opened.map_err(|e| RecordError::NoRun(e.to_string()))??;
            record.resumed(resume.at, resume.gap, &resume.wall, &resume.differs, &resume.files)?;
            record.event(resume.at, "resumed", &resume.told())?;
            (record, TrafficLog::append(folder)?, resume.seed, Some(*resume))
        }
    };
    let traffic = Arc::new(traffic);
    let journal = Journal::new(record, traffic.clone(), clock);
    if let Some(guard) = &guard {
        journal.event("guard", &format!("stands ready, process {}", guard.process()))?;
    }
    let mut stop = std::pin::pin!(stop);
    let opened = tokio::select! {
        biased;
        why = &mut stop => Err(Halt::Stopped(format!(": {why}"))),
        result = open(passed, clock, &journal, &traffic, supply, meter) => result,
    };
    let (supply, meter) = match opened {
        Ok(instruments) => instruments,
        Err(halt) => return Ok(not_begun(&halt, &journal, clock)),
    };
    let station = Station::new(passed, supply, meter, clock, journal.clone())
        .guarded(guard)
        .awake(clocks)
        .papers(papers)
        .reopened_by(traced(reopen, clock, &traffic));
    let ended = run(Job { passed, station, seed, expected, resume, good, earlier, watcher, operator }, stop).await;
    traffic.flush();
    Ok(ended)
}

/// Earlier lots of the part that is inspected, out of the records beside this one.
fn earlier_lots(passed: &Passed, folder: &Path, rehearsal: bool) -> Result<Vec<EarlierLot>, RecordError> {
    let Some((lot, _)) = passed.lot() else { return Ok(Vec::new()) };
    let kind = if rehearsal { "rehearsal" } else { "run" };
    record::earlier_lots(folder, kind, &passed.plan().title, &lot.part)
}

async fn open(
    passed: &Passed,
    clock: Clock,
    journal: &Journal,
    traffic: &Arc<TrafficLog>,
    supply: Tried,
    meter: Option<Tried>,
) -> Result<(Supply, Option<Meter>), Halt> {
    let sink = |role| Arc::new(RoleTraffic { log: traffic.clone(), clock, role });
    let reached = |role: Role| move |error: LinkError| -> InstrumentError { Fault::from(error).of(role) };
    let bench = passed.bench();
    // Both are tried before anything is said to either.
    let supply = supply.map_err(reached(Role::Supply))?;
    let meter = meter.transpose().map_err(reached(Role::Meter))?;
    let seat = &bench.supply;
    let supply = open_supply(supply, seat, clock, sink(Role::Supply)).await?;
    note(journal, Role::Supply, supply.identity, &seat.profile.name, &seat.address, &seat.calibration_due, supply.old_errors)?;
    let meter = match (meter, &bench.meter) {
        (Some(link), Some(seat)) => {
            let meter = open_meter(link, seat, clock, sink(Role::Meter)).await?;
            note(
                journal,
                Role::Meter,
                meter.identity,
                &seat.profile.name,
                &seat.address,
                &seat.calibration_due,
                meter.old_errors,
            )?;
            Some(meter.instrument)
        }
        _ => None,
    };
    Ok((supply.instrument, meter))
}

/// What is opened again is written down like what was opened first.
fn traced(reopen: Option<Reopen>, clock: Clock, log: &Arc<TrafficLog>) -> Option<Reopen> {
    let (reopen, log) = (reopen?, log.clone());
    Some(Arc::new(move |role| {
        let (opening, log) = (reopen(role), log.clone());
        Box::pin(async move {
            let link: Box<dyn Link> = Box::new(Traced::new(opening.await?, Arc::new(RoleTraffic { log, clock, role })));
            Ok(link)
        })
    }))
}

fn note(
    journal: &Journal,
    role: Role,
    identity: Option<String>,
    profile: &str,
    address: &Option<String>,
    due: &Option<String>,
    old_errors: Option<String>,
) -> Result<(), RecordError> {
    let row = InstrumentRow {
        role: role.name().into(),
        identity,
        profile: profile.to_owned(),
        address: address.clone(),
        calibration_due: due.clone(),
    };
    journal.write(|r| r.instrument(&row))?;
    match old_errors {
        Some(text) => journal.event("old errors", &format!("the {} had in its error queue from before: {text}", role.name())),
        None => Ok(()),
    }
}

/// The instruments did not come up: nothing was energised by this run.
fn not_begun(halt: &Halt, journal: &Journal, clock: Clock) -> Ended {
    let (exit, off) = match halt {
        Halt::Instrument(InstrumentError { role: Role::Supply, fault: Fault::NotOff { .. } }) => {
            (Exit::NotOff, Err(halt.to_string()))
        }
        _ => (Exit::of_halt(halt, true), Err("nothing was energised by this run".to_owned())),
    };
    let mut how = halt.to_string();
    if let Err(error) = journal.write(|r| r.finish(&how, exit.code(), clock.now())) {
        how = format!("{how}; its end could not be recorded: {error}");
    }
    Ended { exit, how, off, findings: Vec::new(), marks: Vec::new() }
}
