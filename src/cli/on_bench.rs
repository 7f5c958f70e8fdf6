//! What `run` and `resume` share: the same refusals before power, the guard, the
//! locks, the links, the words at the end.

use super::common::{farewell, needed_space, now, refuse, today, wrong};
use super::operator::AtTerminal;
use crate::clock::Clock;
use crate::instrument::Role;
use crate::instrument::profile::Profile;
use crate::interlock::guard::Brief;
use crate::interlock::{Assured, Guard, Lock, NoLock, Papers, Reopen, reach};
use crate::link::Address;
use crate::link::serial::Line;
use crate::plan::{Bench, Checked, Passed, StageKind};
use crate::record::{Durability, GUARD};
use crate::runner::{Begin, Conduct, Ended, Exit, conduct};
use crate::sys::{KeepAwake, UsbIdentity};
use crate::units::Seconds;
use crate::view::{Terminal, errln};
use std::path::{Path, PathBuf};

/// A run that gives no sign of life for this long, beyond the longest silence of its
/// instruments, counts as dead.
const HUNG: Seconds = Seconds(3.0);

/// What can be chosen for both.
#[derive(clap::Args)]
pub(super) struct Choices {
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    pub(super) logs: PathBuf,
    /// Take every question to the operator as done, and record that
    #[arg(long)]
    pub(super) assume_done: bool,
    /// Let bench time run this much faster: with stand-ins only
    #[arg(long, default_value_t = 1.0, value_parser = pace)]
    pub(super) pace: f64,
    /// Print the findings as JSON
    #[arg(long)]
    pub(super) json: bool,
}

fn pace(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(pace) if (1.0..=100.0).contains(&pace) => Ok(pace),
        _ => Err("expected a number from 1 to 100".into()),
    }
}

/// The bench that is named or lies here, fit to be opened.
pub(super) fn bench(named: Option<&Path>, choices: &Choices) -> Result<Bench, Exit> {
    let bench = match super::common::bench(named) {
        Ok(Some(bench)) => bench,
        Ok(None) => {
            return Err(refuse(
                "no bench file: name one with --bench, or put bench.toml into this folder; `rampart rehearse` needs none",
            ));
        }
        Err(problems) => return Err(wrong(&problems)),
    };
    if let Err(problems) = bench.addressed() {
        return Err(wrong(&problems));
    }
    if choices.pace > 1.0 && bench.patch.is_none() {
        return Err(refuse("--pace is for stand-ins alone, and this bench file has no [patch]: real instruments keep real time"));
    }
    Ok(bench)
}

/// Nobody may be asked where nobody can answer. `after` is the last stage that is done.
pub(super) fn somebody_can_answer(passed: &Passed, choices: &Choices, after: u32) -> Result<(), Exit> {
    let asks = |s: &&crate::plan::Stage| s.number > after && matches!(s.kind, StageKind::Ask(_) | StageKind::Leakage(_));
    let nobody = !choices.assume_done && passed.bench().patch.is_none() && crate::sys::nobody_types();
    if nobody && passed.plan().self_check.is_some() {
        return Err(refuse(
            "the self-check asks the operator to connect the known load, and nobody can answer here; --assume-done takes every question as done",
        ));
    }
    if nobody && !passed.bench().supply.to_look_at().is_empty() {
        return Err(refuse(
            "this supply cannot be asked for everything, so somebody has to look at it, and nobody can answer here: say looked_at = [...] in the bench file's [supply], or --assume-done",
        ));
    }
    if nobody && passed.lot().is_some() {
        return Err(refuse(
            "the operator puts every part of the lot in, and nobody can answer here; --assume-done takes every question as done",
        ));
    }
    match passed.plan().stages.iter().find(asks) {
        Some(stage) if nobody => Err(refuse(&format!(
            "stage {} asks the operator for something, and nobody can answer here: standard input is closed, or this run is in the background; --assume-done takes every question as done",
            stage.number
        ))),
        _ => Ok(()),
    }
}

/// Takes the bench's instruments: a second run would switch off under the first.
/// `what` is the run, for whoever comes while they are taken.
pub(super) fn locks(passed: &Passed, what: &str) -> Result<Vec<Lock>, Exit> {
    let bench = passed.bench();
    let meter = bench.meter.as_ref().and_then(|m| m.address.as_ref());
    let holder = format!("{what}, since {}", now());
    let taken: Result<Vec<Lock>, NoLock> =
        bench.supply.address.iter().chain(meter).map(|address| Lock::take(address, &holder)).collect();
    taken.map_err(|why| {
        errln!("error: {why}\nNothing was energised by this run.");
        Exit::Instrument
    })
}

/// A run that has passed every refusal.
#[derive(Clone, Copy)]
pub(super) struct Work<'w> {
    pub(super) checked: &'w Checked,
    pub(super) passed: &'w Passed,
    pub(super) folder: &'w Path,
    pub(super) choices: &'w Choices,
    /// The bench time at its beginning.
    pub(super) origin: Seconds,
}

/// Carries a run out and says how it ended.
pub(super) fn carry_out(work: Work<'_>, begin: Begin) -> Exit {
    let mut terminal = Terminal::new();
    let ended = energise(work, begin, &mut terminal);
    terminal.close();
    let folder = work.folder;
    match ended {
        Ok(ended) => {
            let report = crate::report::write(folder).map_err(|e| e.to_string());
            farewell(&ended, folder, report, ended.exit, work.choices.json);
            if ended.exit == Exit::NotOff {
                errln!("The guard process goes on trying; what it does stands in {}.", folder.join(GUARD).display());
            }
            ended.exit
        }
        Err(why) => refuse(&why),
    }
}

fn energise(work: Work<'_>, begin: Begin, terminal: &mut Terminal) -> Result<Ended, String> {
    let Work { checked, passed, folder, choices, origin } = work;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(|e| e.to_string())?;
    let ended = runtime.block_on(async {
        let clock = Clock::start_at(origin, choices.pace);
        let (plan, bench) = (passed.plan(), passed.bench());
        if let Some(patch) = &bench.patch {
            // What a run before has left there is not this one's unit.
            super::operator::tell(patch, super::common::UNIT).await?;
        }
        let guard = guard(passed, folder).await?;
        // From the first moment: what is reached slowly must not look like a run that hangs.
        tokio::spawn(guard.clone().keep_beating());
        let awake = KeepAwake::ask();
        let supply = reach(bench.supply.address.as_deref(), &bench.supply.line, &bench.supply.profile, clock).await;
        let meter = match &bench.meter {
            Some(seat) => Some(reach(seat.address.as_deref(), &seat.line, &seat.profile, clock).await),
            None => None,
        };
        let work = Conduct {
            passed,
            folder,
            logs: &choices.logs,
            begin,
            durability: Durability::Full,
            clock,
            expected: checked.estimate.stages.iter().map(|s| s.duration).collect(),
            supply,
            meter,
            reopen: Some(reopen(bench, clock)),
            clocks: Some(std::sync::Arc::new(crate::sys::times)),
            papers: Some(papers(checked, passed, folder, awake.as_ref().err().cloned())),
            guard: Some(guard),
            watcher: terminal,
            operator: &mut AtTerminal::new(choices.assume_done, bench.patch.clone(), plan.unit.name.clone()),
        };
        let ended = conduct(work, stop()).await.map_err(|e| e.to_string());
        drop(awake);
        ended
    });
    // A question that nobody answered keeps a thread reading; it must not hold the exit.
    runtime.shutdown_background();
    ended
}

/// Opens a link that dropped again: a serial adapter by its USB identity, whatever it
/// is called when it comes back.
fn reopen(bench: &Bench, clock: Clock) -> Reopen {
    let seat = |address: &Option<String>, line: &Line, profile: &Profile| Seat {
        usb: match address.as_deref().map(str::parse) {
            Some(Ok(Address::Serial { path })) => UsbIdentity::of(Path::new(&path)),
            _ => None,
        },
        address: address.clone(),
        line: line.clone(),
        profile: profile.clone(),
    };
    let supply = seat(&bench.supply.address, &bench.supply.line, &bench.supply.profile);
    let meter = bench.meter.as_ref().map(|m| seat(&m.address, &m.line, &m.profile));
    std::sync::Arc::new(move |role| {
        let seat = match (role, &meter) {
            (Role::Meter, Some(meter)) => meter.clone(),
            _ => supply.clone(),
        };
        Box::pin(async move {
            let found = seat.usb.and_then(|usb| usb.find()).map(|path| format!("ASRL{}::INSTR", path.display()));
            reach(found.as_deref().or(seat.address.as_deref()), &seat.line, &seat.profile, clock).await
        })
    })
}

/// What it takes to reach an instrument again.
#[derive(Clone)]
struct Seat {
    usb: Option<UsbIdentity>,
    address: Option<String>,
    line: Line,
    profile: Profile,
}

/// What is to be said of the computer and of papers before every stage.
fn papers(checked: &Checked, passed: &Passed, folder: &Path, sleeps: Option<String>) -> Papers {
    let bench = passed.bench();
    let due = |role: &str, due: &Option<String>| (format!("{role}: calibration"), due.clone());
    let mut calibrations = vec![due("supply", &bench.supply.calibration_due)];
    calibrations.extend(bench.meter.as_ref().map(|m| due("meter", &m.calibration_due)));
    // The bench file was written before now, by any clock that is right.
    let written = std::fs::metadata(&bench.document.name).and_then(|m| m.modified()).ok();
    let (folder, needed) = (folder.to_owned(), needed_space(checked));
    let awake = sleeps.map_or_else(|| "the system was asked to stay awake".to_owned(), |why| format!("may fall asleep: {why}"));
    std::sync::Arc::new(move || {
        let today = today();
        let mut lines: Vec<Assured> = calibrations
            .iter()
            .map(|(what, due)| {
                let found = match due {
                    // As text: both are written year, month, day.
                    Some(due) if *due < today => format!("EXPIRED on {due}; the uncertainties rest on it"),
                    Some(due) => format!("due {due}"),
                    None => "the bench file gives no date".into(),
                };
                Assured::new(what.clone(), found, true)
            })
            .collect();
        let free = crate::sys::free_space(&folder);
        let enough = free.is_none_or(|free| free as f64 >= needed);
        let free = free.map_or("not known".to_owned(), |free| format!("{:.0} MB", free as f64 / 1e6));
        lines.push(Assured::new("computer: disk", format!("{free} free, {:.0} MB may be needed", needed / 1e6), enough));
        let behind = written.is_some_and(|written| std::time::SystemTime::now() < written);
        let words = if behind { "the bench file was written after what the clock says is now: set it" } else { "runs" };
        lines.push(Assured::new("computer: clock", format!("{}; {words}", now()), !behind));
        lines.push(Assured::new("computer: sleep", awake.clone(), true));
        lines
    })
}

/// Starts the second process that switches off if this one dies.
async fn guard(passed: &Passed, folder: &Path) -> Result<Guard, String> {
    let no_reading = passed.plan().interlock.no_reading;
    let brief = Brief {
        bench: passed.bench().document.clone(),
        folder: folder.to_owned(),
        silence: no_reading + HUNG,
        runner: std::process::id(),
    };
    let program = std::env::current_exe().map_err(|e| format!("the guard process cannot be found: {e}"))?;
    Guard::start(&program, &brief, (no_reading + HUNG).duration()).await
}

async fn stop() -> String {
    match crate::sys::stop_signal().await {
        Ok(stop) => stop.name().to_owned(),
        // Signals are one of the ways to switch off: without them the run does not begin.
        Err(error) => format!("signals cannot be waited for: {error}"),
    }
}
