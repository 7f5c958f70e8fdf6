//! `rampart runs`: what has been recorded.

use super::common::complaint;
use crate::record::catalogue::{Entry, Filter, Refresh, State, runs};
use crate::runner::Exit;
use crate::view::outln;
use std::path::PathBuf;

/// Arguments of `runs`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    asked: Asked,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Make the index anew from the records first
    #[arg(long)]
    rebuild: bool,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

/// Which runs.
#[derive(clap::Args)]
pub(super) struct Asked {
    /// Only units whose name contains this
    #[arg(long, value_name = "TEXT")]
    unit: Option<String>,
    /// Only runs that measured this part, by its name (C7) or kind (solid tantalum)
    #[arg(long, value_name = "NAME")]
    part: Option<String>,
    /// Only runs of this lot
    #[arg(long, value_name = "NUMBER")]
    lot: Option<String>,
    /// Only plans whose title or file name contains this
    #[arg(long, value_name = "TEXT")]
    plan: Option<String>,
    /// Only these outcomes, as `anomaly,undecided`
    #[arg(long, value_name = "OUTCOME", value_delimiter = ',', value_enum)]
    outcome: Vec<Outcome>,
    /// Only runs on the bench, or only rehearsals
    #[arg(long, value_enum)]
    kind: Option<Kind>,
    /// Began on this day (UTC) or later: 2026-11-25, 2026-11 or 2026
    #[arg(long, value_name = "DATE", value_parser = date)]
    since: Option<String>,
    /// Began on this day (UTC) or before
    #[arg(long, value_name = "DATE", value_parser = date)]
    until: Option<String>,
}

/// How runs came out, by their exit codes and without one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Outcome {
    /// 0: everything within its limits
    Within,
    /// 1: outside a limit, or an anomaly
    Anomaly,
    /// 2: nothing was energised
    Wrong,
    /// 3: an interlock tripped
    Tripped,
    /// 4: an instrument could not be reached or misbehaved
    Instrument,
    /// 5: not decidable
    Undecided,
    /// 6: an output could not be verified off
    NotOff,
    /// 130: stopped by the operator
    Stopped,
    /// Not ended, and going on
    Open,
    /// Not ended, and nobody is writing
    CutOff,
    /// The record cannot be read
    Unreadable,
}

impl Outcome {
    fn state(self) -> State {
        let exit = |exit: Exit| State::Ended(exit.code());
        match self {
            Outcome::Within => exit(Exit::Within),
            Outcome::Anomaly => exit(Exit::Anomaly),
            Outcome::Wrong => exit(Exit::Wrong),
            Outcome::Tripped => exit(Exit::Tripped),
            Outcome::Instrument => exit(Exit::Instrument),
            Outcome::Undecided => exit(Exit::Undecided),
            Outcome::NotOff => exit(Exit::NotOff),
            Outcome::Stopped => exit(Exit::Stopped),
            Outcome::Open => State::Open,
            Outcome::CutOff => State::CutOff,
            Outcome::Unreadable => State::Unreadable(String::new()),
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Kind {
    Run,
    Rehearsal,
}

impl Asked {
    pub(super) fn filter(&self) -> Filter {
        let kind = |kind| match kind {
            Kind::Run => "run".to_owned(),
            Kind::Rehearsal => "rehearsal".to_owned(),
        };
        Filter {
            unit: self.unit.clone(),
            part: self.part.clone(),
            lot: self.lot.clone(),
            plan: self.plan.clone(),
            states: (!self.outcome.is_empty()).then(|| self.outcome.iter().map(|o| o.state()).collect()),
            kind: self.kind.map(kind),
            since: self.since.clone(),
            until: self.until.clone(),
        }
    }
}

impl Asked {
    /// Runs on the bench, unless rehearsals are asked for: made-up ones are never among real ones.
    pub(super) fn of_one_kind(&self) -> Filter {
        let mut filter = self.filter();
        filter.kind.get_or_insert_with(|| "run".to_owned());
        filter
    }

    /// What is asked for, in words.
    pub(super) fn words(&self) -> String {
        let named = [&self.part, &self.unit, &self.plan];
        let mut words: Vec<String> = named.into_iter().flatten().map(|text| format!("\u{201c}{text}\u{201d}")).collect();
        words.extend(self.lot.iter().map(|lot| format!("lot {lot}")));
        if words.is_empty() { "all runs".into() } else { words.join(", ") }
    }
}

/// A day, a month or a year.
fn date(text: &str) -> Result<String, String> {
    let full = format!("{text}{}", "2000-01-01".get(text.len()..).unwrap_or_default());
    let whole = matches!(text.len(), 4 | 7 | 10) && full.parse::<jiff::civil::Date>().is_ok();
    if whole { Ok(text.to_owned()) } else { Err("write a date as 2026-11-25, a month as 2026-11, a year as 2026".into()) }
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let refresh = if arguments.rebuild { Refresh::All } else { Refresh::Changed };
    let filter = arguments.asked.filter();
    let found = match runs(&arguments.logs, refresh, &filter) {
        Ok(found) => found,
        Err(error) => return complaint(&error.to_string()),
    };
    if arguments.json {
        outln!("{}", serde_json::Value::Array(found.iter().map(json).collect()));
        return Exit::Within;
    }
    if found.is_empty() {
        let which = if filter.is_open() { "No runs" } else { "No such runs" };
        outln!("{which} in {}.", arguments.logs.display());
    }
    for entry in found {
        let Entry { name, kind, anomalies, unit, .. } = &entry;
        match &entry.state {
            State::Unreadable(why) => outln!("{name}  cannot be read: {why}"),
            State::Ended(code) => outln!("{name}  {kind}  exit {code}  {anomalies} anomalies  {unit}"),
            State::Open => outln!("{name}  {kind}  going on  {anomalies} anomalies  {unit}"),
            State::CutOff => outln!("{name}  {kind}  not ended  {anomalies} anomalies  {unit}"),
        }
    }
    Exit::Within
}

fn json(entry: &Entry) -> serde_json::Value {
    let (state, code, why) = match &entry.state {
        State::Ended(code) => ("ended", Some(*code), None),
        State::Open => ("going on", None, None),
        State::CutOff => ("not ended", None, None),
        State::Unreadable(why) => ("unreadable", None, Some(why)),
    };
    if let Some(why) = why {
        return serde_json::json!({ "run": entry.name, "state": state, "error": why });
    }
    serde_json::json!({
        "run": entry.name, "state": state, "began": entry.moment, "kind": entry.kind, "unit": entry.unit, "title": entry.title,
        "plan": entry.plan, "lot": (!entry.lot.is_empty()).then_some(&entry.lot), "exit_code": code,
        "anomalies": entry.anomalies, "undecided": entry.undecided,
    })
}
