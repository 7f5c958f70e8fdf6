//! `rampart rehearse`: the very same run, on stand-ins in the process, with the
//! clock paused.

use super::common::{any_seed, checked, farewell, folder, header, now, refuse, rehearsal_bench, unit, wrong};
use super::operator::MadeUp;
use crate::clock::Clock;
use crate::instrument::Role;
use crate::instrument::session::framing;
use crate::link::{Link, memory};
use crate::plan::{Checked, Passed};
use crate::record::Durability;
use crate::rehearsal::{Rig, UnitFile, serve};
use crate::runner::good::Where;
use crate::runner::{Begin, Conduct, Ended, Exit, Watcher, conduct};
use crate::view::Terminal;
use crate::view::errln;
use std::path::{Path, PathBuf};

/// The wall clock of every rehearsal, so that one seed gives one record.
const MADE_UP_DATE: &str = "2000-01-01T00:00:00Z";

/// Arguments of `rehearse`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The plan
    plan: PathBuf,
    /// The lot file, where the plan is carried out for each part of a lot
    #[arg(long)]
    lot: Option<PathBuf>,
    /// The bench file, for its profiles and wiring; without it a bench made for rehearsals
    #[arg(long)]
    bench: Option<PathBuf>,
    /// The made-up unit; without it PLAN with the ending .unit.toml, or else a plain load
    #[arg(long)]
    unit: Option<PathBuf>,
    /// One seed, one outcome
    #[arg(long)]
    seed: Option<u64>,
    /// Where the run's folder goes
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Print the findings as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let bench = match rehearsal_bench(arguments.bench.as_deref()) {
        Ok(bench) => bench,
        Err(problems) => return wrong(&problems),
    };
    let unit = match unit(arguments.unit.as_deref(), &arguments.plan) {
        Ok(unit) => unit,
        Err(problems) => return wrong(&problems),
    };
    let checked =
        match checked(&arguments.plan, arguments.lot.as_deref(), bench, Where { logs: &arguments.logs, rehearsal: Some(true) }) {
            Ok(checked) => checked,
            Err(exit) => return exit,
        };
    super::common::complain(&checked.problems);
    let Some(passed) = &checked.passed else { return Exit::Wrong };
    let seed = arguments.seed.unwrap_or_else(any_seed);
    let folder = match folder(&arguments.logs, &now(), &format!("rehearsal {}", passed.plan().title), &checked) {
        Ok(folder) => folder,
        Err(why) => return refuse(&why),
    };
    errln!("Rehearsal on stand-in instruments and a made-up unit, seed {seed}.");
    let mut terminal = Terminal::new();
    let ended = rehearse(passed, &checked, &unit, seed, (&folder, &arguments.logs), &mut terminal);
    terminal.close();
    match ended {
        Ok(ended) => {
            let exit = judge(ended.exit);
            let report = crate::report::write(&folder).map_err(|e| e.to_string());
            farewell(&ended, &folder, report, exit, arguments.json);
            exit
        }
        Err(why) => refuse(&why),
    }
}

/// A rehearsal judges the plan: what the made-up unit is like is no failure of it.
fn judge(exit: Exit) -> Exit {
    match exit {
        Exit::Anomaly | Exit::Undecided => Exit::Within,
        other => other,
    }
}

/// Carries out a rehearsal in a runtime whose clock is paused.
pub(super) fn rehearse(
    passed: &Passed,
    checked: &Checked,
    unit: &UnitFile,
    seed: u64,
    (folder, logs): (&Path, &Path),
    watcher: &mut dyn Watcher,
) -> Result<Ended, String> {
    let stop = stop()?;
    // Nothing here waits for the system: asking it for events at every step of the clock
    // would cost more than the step.
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_time().start_paused(true).build().map_err(|e| e.to_string())?;
    runtime.block_on(async {
        let clock = Clock::start(1.0);
        let (plan, bench) = (passed.plan(), passed.bench());
        let rig = Rig::build(bench, unit, &plan.unit.name, seed, clock)?;
        if let Some(check) = &plan.self_check {
            rig.add_load(&check.name, check.load);
        }
        let connect = |role: Role, wire| -> Box<dyn Link> {
            let (near, far) = memory::pair(framing(wire));
            let rig = rig.clone();
            rig.quirk(role, |q| q.misses_early = true);
            tokio::spawn(async move { serve(&rig, role, far).await });
            Box::new(near)
        };
        let work = Conduct {
            passed,
            folder,
            logs,
            begin: Begin::New(header("rehearsal", checked, passed, seed, MADE_UP_DATE.into(), Some(unit))),
            durability: Durability::Aside,
            clock,
            expected: checked.estimate.stages.iter().map(|s| s.duration).collect(),
            supply: Ok(connect(Role::Supply, &bench.supply.profile.wire)),
            meter: bench.meter.as_ref().map(|m| Ok(connect(Role::Meter, &m.profile.wire))),
            reopen: None,
            clocks: None,
            papers: None,
            guard: None,
            watcher,
            operator: &mut MadeUp { rig: rig.clone(), remarks: unit.remarks.clone(), marks: unit.marks.clone() },
        };
        // Whatever the run waits for, it is asked first whether to stop: one thing to ask is enough.
        let (tell, told) = tokio::sync::oneshot::channel();
        let stuck = rig.clone();
        tokio::spawn(async move {
            let why = tokio::select! {
                biased;
                why = stuck.failed() => why,
                name = stop => name,
            };
            tell.send(why).unwrap_or_default();
        });
        let stop = async {
            match told.await {
                Ok(why) => why,
                Err(_) => std::future::pending().await,
            }
        };
        let ended = conduct(work, stop).await.map_err(|e| e.to_string())?;
        match rig.failure() {
            Some(why) => Err(format!("{why}\nNothing that this rehearsal says of the unit counts.")),
            None => Ok(ended),
        }
    })
}

/// The name of the signal that says to stop, waited for on a thread of its own.
fn stop() -> Result<impl Future<Output = String>, String> {
    let (tell, told) = tokio::sync::oneshot::channel();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(|e| e.to_string())?;
    std::thread::spawn(move || {
        // Without signals, or with nobody left to tell, a rehearsal still ends by itself.
        if let Ok(stop) = runtime.block_on(crate::sys::stop_signal()) {
            tell.send(stop.name().to_owned()).unwrap_or_default();
        }
    });
    Ok(async {
        match told.await {
            Ok(name) => name,
            Err(_) => std::future::pending().await,
        }
    })
}
