//! `rampart run`: a plan on the bench.

use super::common::{any_seed, bench, checked, farewell, folder, header, now, refuse, wrong};
use super::operator::AtTerminal;
use crate::clock::Clock;
use crate::interlock::guard::Brief;
use crate::interlock::{Guard, Lock, NoLock, reach};
use crate::plan::{Checked, Passed, StageKind};
use crate::record::{Durability, GUARD};
use crate::runner::{Conduct, Ended, Exit, conduct};
use crate::units::Seconds;
use crate::view::{Terminal, errln};
use std::path::{Path, PathBuf};

/// A run that gives no sign of life for this long, beyond the longest silence of its
/// instruments, counts as dead.
const HUNG: Seconds = Seconds(3.0);

/// Arguments of `run`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The plan
    plan: PathBuf,
    /// The bench file; without it bench.toml in this folder
    #[arg(long)]
    bench: Option<PathBuf>,
    /// Draw random choices from this seed
    #[arg(long)]
    seed: Option<u64>,
    /// Where the run's folder goes
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Take every question to the operator as done, and record that
    #[arg(long)]
    assume_done: bool,
    /// Let bench time run this much faster: with stand-ins only
    #[arg(long, default_value_t = 1.0, value_parser = pace)]
    pace: f64,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

fn pace(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(pace) if (1.0..=100.0).contains(&pace) => Ok(pace),
        _ => Err("expected a number from 1 to 100".into()),
    }
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let bench = match bench(arguments.bench.as_deref()) {
        Ok(Some(bench)) => bench,
        Ok(None) => {
            return refuse(
                "no bench file: name one with --bench, or put bench.toml into this folder; `rampart rehearse` needs none",
            );
        }
        Err(problems) => return wrong(&problems),
    };
    if let Err(problems) = bench.addressed() {
        return wrong(&problems);
    }
    if arguments.pace > 1.0 && bench.patch.is_none() {
        return refuse("--pace is for stand-ins alone, and this bench file has no [patch]: real instruments keep real time");
    }
    let checked = match checked(&arguments.plan, bench) {
        Ok(checked) => checked,
        Err(exit) => return exit,
    };
    super::common::complain(&checked.problems);
    let Some(passed) = &checked.passed else { return Exit::Wrong };
    let asks = passed.plan().stages.iter().find(|s| matches!(s.kind, StageKind::Ask(_) | StageKind::Leakage(_)));
    if let Some(stage) = asks
        && !arguments.assume_done
        && passed.bench().patch.is_none()
        && crate::sys::nobody_types()
    {
        return refuse(&format!(
            "stage {} asks the operator for something, and nobody can answer here: standard input is closed, or this run is in the background; --assume-done takes every question as done",
            stage.number
        ));
    }
    let locks = match locks(passed, &arguments.plan) {
        Ok(locks) => locks,
        Err(why) => {
            errln!("error: {why}\nNothing was energised by this run.");
            return Exit::Instrument;
        }
    };
    let folder = match folder(&arguments.logs, &now(), &passed.plan().title, &checked) {
        Ok(folder) => folder,
        Err(why) => return refuse(&why),
    };
    let mut terminal = Terminal::new();
    let ended = carry_out(arguments, passed, &checked, &folder, &mut terminal);
    terminal.close();
    drop(locks);
    match ended {
        Ok(ended) => {
            let report = crate::report::write(&folder).map_err(|e| e.to_string());
            farewell(&ended, &folder, report, ended.exit, arguments.json);
            if ended.exit == Exit::NotOff {
                errln!("The guard process goes on trying; what it does stands in {}.", folder.join(GUARD).display());
            }
            ended.exit
        }
        Err(why) => refuse(&why),
    }
}

/// Takes the bench's instruments: a second run would switch off under the first.
fn locks(passed: &Passed, plan: &Path) -> Result<Vec<Lock>, NoLock> {
    let bench = passed.bench();
    let meter = bench.meter.as_ref().and_then(|m| m.address.as_ref());
    let holder = format!("rampart run {}, since {}", plan.display(), now());
    bench.supply.address.iter().chain(meter).map(|address| Lock::take(address, &holder)).collect()
}

fn carry_out(
    arguments: &Arguments,
    passed: &Passed,
    checked: &Checked,
    folder: &Path,
    terminal: &mut Terminal,
) -> Result<Ended, String> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(|e| e.to_string())?;
    let seed = arguments.seed.unwrap_or_else(any_seed);
    let ended = runtime.block_on(async {
        let clock = Clock::start(arguments.pace);
        let (plan, bench) = (passed.plan(), passed.bench());
        let guard = guard(passed, folder).await?;
        let supply = reach(bench.supply.address.as_deref(), &bench.supply.line, &bench.supply.profile, clock).await;
        let meter = match &bench.meter {
            Some(seat) => Some(reach(seat.address.as_deref(), &seat.line, &seat.profile, clock).await),
            None => None,
        };
        let work = Conduct {
            passed,
            folder,
            header: header("run", checked, plan, bench, seed, now(), None),
            durability: Durability::Full,
            clock,
            expected: checked.estimate.stages.iter().map(|s| s.duration).collect(),
            supply,
            meter,
            guard: Some(guard),
            watcher: terminal,
            operator: &mut AtTerminal::new(arguments.assume_done, bench.patch.clone(), plan.unit.name.clone()),
        };
        conduct(work, stop()).await.map_err(|e| e.to_string())
    });
    // A question that nobody answered keeps a thread reading; it must not hold the exit.
    runtime.shutdown_background();
    ended
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
