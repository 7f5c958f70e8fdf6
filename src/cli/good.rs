//! `rampart good`: stores a good unit from one or more runs, and shows what is stored.

use super::common::complaint;
use crate::record::{self, Good, RecordError};
use crate::runner::Exit;
use crate::runner::against::conditions;
use crate::runner::good::{STARTS, UNITS, runs, thin};
use crate::runner::past::{Past, What};
use crate::view::outln;
use std::path::{Path, PathBuf};

/// Arguments of `good`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Its name; without it all that are stored are listed
    name: Option<String>,
    /// The runs to add; without any it is shown
    runs: Vec<String>,
    /// Which unit these runs were made with, as its serial number; without it as their plans name it
    #[arg(long, requires = "runs")]
    unit: Option<String>,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let logs = &arguments.logs;
    let Some(name) = &arguments.name else { return list(logs, arguments.json) };
    for run in &arguments.runs {
        let added = record::find(logs, run).and_then(|folder| record::add_good(logs, name, &folder, arguments.unit.as_deref()));
        if let Err(error) = added {
            return complaint(&error.to_string());
        }
    }
    match shown(logs, name) {
        Ok((good, runs)) if arguments.json => outln!("{}", json(&good, &runs)),
        Ok((good, runs)) => print(&good, &runs),
        Err(error) => return complaint(&error.to_string()),
    }
    Exit::Within
}

fn shown(logs: &Path, name: &str) -> Result<(Good, Vec<Past>), RecordError> {
    let good = record::good(logs, name)?;
    let read = runs(&good)?;
    Ok((good, read))
}

fn list(logs: &Path, json: bool) -> Exit {
    let names = match record::good_units(logs) {
        Ok(names) => names,
        Err(error) => return complaint(&error.to_string()),
    };
    if json {
        outln!("{}", serde_json::json!(names));
    } else if names.is_empty() {
        outln!("No good unit is stored. `rampart good NAME RUN` stores one.");
    } else {
        names.iter().for_each(|name| outln!("{name}"));
    }
    Exit::Within
}

/// What a run has of each kind of stage.
fn holds(run: &Past) -> String {
    let of = run.stages.iter().map(|seen| match &seen.what {
        What::Ramp(steps) => format!("a ramp of {} readings", steps.len()),
        What::Log(points) => format!("a log of {} readings", points.len()),
        What::Starts(s) => format!("{} good starts of {}", s.group.counted - s.group.failed, s.group.counted),
        What::Sweep(steps) => format!("leakage at {} voltages", steps.len()),
    });
    of.collect::<Vec<_>>().join(", ")
}

fn print(good: &Good, runs: &[Past]) {
    let stored = if good.stored { "good unit" } else { "run, taken for a good unit" };
    outln!("{}: {stored} of {} run{}", good.name, runs.len(), if runs.len() == 1 { "" } else { "s" });
    for run in runs {
        outln!("  {}  {}\n      {}", run.unit, run.name, holds(run));
    }
    if let Some((first, others)) = runs.split_first() {
        let differing = conditions(std::slice::from_ref(first), others);
        for c in differing.iter().filter(|c| !c.forbids.is_empty()) {
            outln!("  Its runs differ in what matters: {}: {}, and {}. {}.", c.what, c.a, c.b, c.means());
        }
    }
    match thin(runs) {
        few if few.is_empty() => {
            outln!("At least {UNITS} units with {STARTS} good starts each: enough for how far good ones are apart.")
        }
        few => outln!("{few} Better are at least {UNITS} units with {STARTS} good starts each."),
    }
    outln!("In a plan: good = \"{}\" in a stage. Compared with: rampart compare RUN {}", good.name, good.name);
}

fn json(good: &Good, runs: &[Past]) -> serde_json::Value {
    let list: Vec<serde_json::Value> = runs
        .iter()
        .map(|r| serde_json::json!({ "run": r.name, "unit": r.unit, "title": r.title, "fingerprint": r.fingerprint, "holds": holds(r) }))
        .collect();
    serde_json::json!({ "name": good.name, "runs": list, "few": thin(runs) })
}
