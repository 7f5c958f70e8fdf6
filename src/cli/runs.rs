//! `rampart runs`: what has been recorded.

use super::common::complaint;
use crate::record;
use crate::runner::Exit;
use crate::view::outln;
use std::path::PathBuf;

/// Arguments of `runs`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let runs = match record::list(&arguments.logs) {
        Ok(runs) => runs,
        Err(error) => return complaint(&error.to_string()),
    };
    if arguments.json {
        let list: Vec<serde_json::Value> = runs
            .iter()
            .map(|s| match &s.run {
                Ok(r) => serde_json::json!({ "run": s.name, "kind": r.kind, "unit": r.unit, "title": r.title, "exit_code": r.exit_code, "anomalies": r.anomalies }),
                Err(why) => serde_json::json!({ "run": s.name, "error": why }),
            })
            .collect();
        outln!("{}", serde_json::Value::Array(list));
        return Exit::Within;
    }
    if runs.is_empty() {
        outln!("No runs in {}.", arguments.logs.display());
    }
    for summary in runs {
        match summary.run {
            Ok(run) => {
                let exit = run.exit_code.map_or("not ended".into(), |c| format!("exit {c}"));
                outln!("{}  {}  {exit}  {} anomalies  {}", summary.name, run.kind, run.anomalies, run.unit);
            }
            Err(why) => outln!("{}  cannot be read: {why}", summary.name),
        }
    }
    Exit::Within
}
