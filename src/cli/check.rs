//! `rampart check`: everything that can be known before power.

use super::common::{bench, checked, rehearsal_bench, unit, wrong};
use super::rehearse::rehearse;
use crate::plan::{Checked, Estimate, Passed, StageKind};
use crate::record::TRAFFIC;
use crate::runner::good::Where;
use crate::runner::{Exit, Progress, Watcher};
use crate::units::{Unit, engineering, spell};
use crate::view::outln;
use std::collections::HashMap;
use std::path::{Path, PathBuf};

/// Arguments of `check`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The plan
    #[arg(required_unless_present = "profile")]
    plan: Option<PathBuf>,
    /// Check a profile instead: a file, or the name of one that is shipped
    #[arg(long, conflicts_with_all = ["plan", "lot", "bench", "commands", "json"])]
    profile: Option<String>,
    /// The lot file, where the plan is carried out for each part of a lot
    #[arg(long)]
    lot: Option<PathBuf>,
    /// The bench file; without it bench.toml in this folder, or else the bench made for rehearsals
    #[arg(long)]
    bench: Option<PathBuf>,
    /// Print every command that would be sent, with how often, as a rehearsal finds them
    #[arg(long, conflicts_with = "json")]
    commands: bool,
    /// Where the folders of runs are, for the good units that the plan names
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Print the estimate as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    match (&arguments.profile, &arguments.plan) {
        (Some(profile), _) => super::profile::check(profile),
        (None, Some(plan)) => check(arguments, plan),
        (None, None) => Exit::Wrong,
    }
}

fn check(arguments: &Arguments, plan: &Path) -> Exit {
    let bench = match bench(arguments.bench.as_deref()) {
        Ok(Some(bench)) => Ok(bench),
        Ok(None) => rehearsal_bench(None),
        Err(problems) => Err(problems),
    };
    let bench = match bench {
        Ok(bench) => bench,
        Err(problems) => return wrong(&problems),
    };
    let good = Where { logs: &arguments.logs, rehearsal: None };
    let checked = match checked(plan, arguments.lot.as_deref(), bench, good) {
        Ok(checked) => checked,
        Err(exit) => return exit,
    };
    super::common::complain(&checked.problems);
    if arguments.json {
        print_json(&checked);
    } else {
        print(&checked);
    }
    if arguments.commands { commands((plan, &arguments.logs), &checked) } else { Exit::Within }
}

fn print(checked: &Checked) {
    let estimate = &checked.estimate;
    if let Some(passed) = &checked.passed {
        outln!("{}\nunit: {}", passed.plan().title, passed.plan().unit.name);
    }
    outln!("{:>5}  {:<8} {:>14}  {:>6}  {:>12}", "stage", "", "time", "starts", "worst energy");
    for stage in &estimate.stages {
        let starts = if stage.starts > 0 { stage.starts.to_string() } else { String::new() };
        outln!(
            "{:>5}  {:<8} {:>14}  {starts:>6}  {:>12}",
            stage.number,
            stage.kind,
            spell(stage.duration),
            energy(stage.worst_energy.0)
        );
    }
    if let Some((lot, _)) = checked.passed.as_ref().and_then(|p| p.lot()) {
        outln!(
            "for each of {} parts of lot {} and for its control parts, {} times in all, without the time for the hands; {}, accepted with {} nonconforming or fewer",
            lot.sampling.numbers.sample,
            lot.number,
            estimate.trials,
            lot.sampling.by,
            lot.sampling.numbers.accept
        );
    }
    let starts = if estimate.starts > 0 { estimate.starts.to_string() } else { String::new() };
    outln!("{:>5}  {:<8} {:>14}  {starts:>6}  {:>12}", "", "all", spell(estimate.duration), energy(estimate.worst_energy.0));
    if let Some(passed) = &checked.passed {
        open_ended(passed, estimate);
    }
    outln!("record and traffic: about {:.1} MB", estimate.bytes / 1e6);
    let verdict = if checked.problems.is_empty() { "No mistake found." } else { "No error found, but see the warnings." };
    outln!("{verdict} Nothing was energised.");
}

/// What stages take at most that end when something is decided.
fn open_ended(passed: &Passed, estimate: &Estimate) {
    for (stage, taken) in passed.plan().stages.iter().zip(&estimate.stages) {
        if let StageKind::Start(start) = &stage.kind
            && start.until.is_some()
        {
            outln!("stage {}: {}, {} at most", stage.number, start.how_many(), spell(taken.longest));
        }
    }
}

fn energy(joules: f64) -> String {
    engineering(joules, Unit::Joule, 3)
}

fn print_json(checked: &Checked) {
    let e = &checked.estimate;
    let stages: Vec<serde_json::Value> = e
        .stages
        .iter()
        .map(|s| serde_json::json!({ "number": s.number, "kind": s.kind, "duration_s": s.duration.0, "longest_s": s.longest.0, "starts": s.starts, "most_starts": s.most_starts, "worst_energy_J": s.worst_energy.0 }))
        .collect();
    let value = serde_json::json!({
        "duration_s": e.duration.0, "longest_s": e.longest.0, "starts": e.starts, "most_starts": e.most_starts, "worst_energy_J": e.worst_energy.0, "bytes": e.bytes, "trials": e.trials, "stages": stages,
    });
    outln!("{value}");
}

/// Sees nothing.
struct Blind;

impl Watcher for Blind {
    fn see(&mut self, _: &Progress<'_>) {}
}

/// Rehearses with the same code that would run, and lists what was sent.
fn commands((plan, logs): (&Path, &Path), checked: &Checked) -> Exit {
    let Some(passed) = &checked.passed else { return Exit::Wrong };
    let unit = match unit(None, plan) {
        Ok(unit) => unit,
        Err(problems) => return wrong(&problems),
    };
    let folder = std::env::temp_dir().join(format!("rampart-check-{}", std::process::id()));
    let listed = std::fs::create_dir(&folder).map_err(|e| e.to_string()).and_then(|()| {
        rehearse(passed, checked, &unit, 1, (&folder, logs), &mut Blind)?;
        std::fs::read_to_string(folder.join(TRAFFIC)).map_err(|e| e.to_string())
    });
    // What is left of it does no harm.
    std::fs::remove_dir_all(&folder).unwrap_or_default();
    match listed {
        Ok(traffic) => {
            outln!(
                "\nEvery command that would be sent, in the order in which each first comes, with how often\n(by a rehearsal of this plan; how long a real unit takes decides how often some are repeated):"
            );
            for (role, command, count) in tally(&traffic) {
                outln!("{count:>7}  {role:<6}  {command}");
            }
            Exit::Within
        }
        Err(why) => super::common::refuse(&why),
    }
}

/// Role, command and count of everything that was sent.
fn tally(traffic: &str) -> Vec<(&str, &str, usize)> {
    let mut order: Vec<(&str, &str, usize)> = Vec::new();
    let mut place: HashMap<(&str, &str), usize> = HashMap::new();
    for line in traffic.lines() {
        let mut fields = line.splitn(4, ' ');
        let (Some(_), Some(role), Some(">"), Some(command)) = (fields.next(), fields.next(), fields.next(), fields.next()) else {
            continue;
        };
        let index = *place.entry((role, command)).or_insert_with(|| {
            order.push((role, command, 0));
            order.len() - 1
        });
        if let Some(entry) = order.get_mut(index) {
            entry.2 += 1;
        }
    }
    order
}
