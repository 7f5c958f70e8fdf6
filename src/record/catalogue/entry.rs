//! What the catalogue knows of a run, and what one may ask it for.

use super::super::{RecordError, Run, open};
use std::path::Path;

/// How a run stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// It ended, with this exit code.
    Ended(u8),
    /// It has no end, and a process has its record open.
    Open,
    /// It has no end, and nobody is writing.
    CutOff,
    /// Its record cannot be read, and why.
    Unreadable(String),
}

/// A part that a run measured.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PartEntry {
    /// As the plan names it.
    pub name: String,
    /// What it is, as `solid tantalum`; empty where nothing says.
    pub kind: String,
}

/// A run in the catalogue.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The folder's name.
    pub name: String,
    /// How it stands.
    pub state: State,
    /// `run` or `rehearsal`; this and what follows is empty where the record cannot be read.
    pub kind: String,
    /// The unit.
    pub unit: String,
    /// The plan's title.
    pub title: String,
    /// The plan's file.
    pub plan: String,
    /// The lot's number; empty: no lot.
    pub lot: String,
    /// When it began, in UTC; of a rehearsal, whose own dates are made up, when its
    /// folder was made.
    pub moment: String,
    /// How many anomalies were found.
    pub anomalies: u32,
    /// How much was left undecided.
    pub undecided: u32,
}

/// What one asks for; each `None` lets everything through.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filter {
    /// Stands in the unit's name.
    pub unit: Option<String>,
    /// Is the name or the kind of a part.
    pub part: Option<String>,
    /// Is the lot's number.
    pub lot: Option<String>,
    /// Stands in the plan's title or file name.
    pub plan: Option<String>,
    /// Is among these.
    pub states: Option<Vec<State>>,
    /// `run` or `rehearsal`.
    pub kind: Option<String>,
    /// Began on this day or later: 2026-11-25, or its beginning, as 2026-11.
    pub since: Option<String>,
    /// Began on this day or before.
    pub until: Option<String>,
}

impl Filter {
    /// Whether it lets everything through.
    pub fn is_open(&self) -> bool {
        *self == Self::default()
    }

    /// Whether a run gets through, but for its parts.
    pub(super) fn passes(&self, entry: &Entry) -> bool {
        let within = |asked: &Option<String>, texts: &[&str]| {
            asked.as_ref().is_none_or(|a| texts.iter().any(|t| t.to_lowercase().contains(&a.to_lowercase())))
        };
        let is = |asked: &Option<String>, text: &str| asked.as_ref().is_none_or(|a| a.to_lowercase() == text.to_lowercase());
        // A shorter date stands for all that begins with it.
        let day = |asked: &str| entry.moment.chars().take(asked.chars().count()).collect::<String>();
        within(&self.unit, &[&entry.unit])
            && within(&self.plan, &[&entry.title, &entry.plan])
            && is(&self.lot, &entry.lot)
            && is(&self.kind, &entry.kind)
            && self.states.as_ref().is_none_or(|asked| asked.iter().any(|s| same(s, &entry.state)))
            && self.since.as_ref().is_none_or(|since| day(since) >= *since)
            && self.until.as_ref().is_none_or(|until| !entry.moment.is_empty() && day(until) <= *until)
    }
}

/// Alike but for why one cannot be read.
fn same(a: &State, b: &State) -> bool {
    a == b || matches!((a, b), (State::Unreadable(_), State::Unreadable(_)))
}

/// What a record says of itself, without its end's lock.
pub(super) struct Read {
    pub(super) entry: Entry,
    pub(super) parts: Vec<PartEntry>,
}

/// Reads what the catalogue keeps of a run. One that cannot be read has that as its state.
pub(super) fn read(logs: &Path, name: &str) -> Read {
    let folder = logs.join(name);
    run(&folder, name).unwrap_or_else(|why| {
        let blank = String::new;
        let entry = Entry {
            name: name.to_owned(),
            state: State::Unreadable(why),
            kind: blank(),
            unit: blank(),
            title: blank(),
            plan: blank(),
            lot: blank(),
            moment: stamp(name).unwrap_or_default(),
            anomalies: 0,
            undecided: 0,
        };
        Read { entry, parts: Vec::new() }
    })
}

fn run(folder: &Path, name: &str) -> Result<Read, String> {
    open::whole(folder)?;
    let run = Run::open(folder).map_err(|e| e.to_string())?;
    let words = |e: RecordError| e.to_string();
    let findings = run.findings().map_err(words)?;
    let count = |severity: &str| u32::try_from(findings.iter().filter(|f| f.severity == severity).count()).unwrap_or(u32::MAX);
    let files = run.files().map_err(words)?;
    let lot = run.lot().map_err(words)?;
    let plan = files.into_iter().rfind(|f| f.kind == "plan");
    let made_up = run.is_rehearsal().then(|| stamp(name)).flatten();
    let entry = Entry {
        name: name.to_owned(),
        state: run.exit_code.map_or(State::CutOff, State::Ended),
        kind: run.kind.clone(),
        unit: run.unit.clone(),
        title: run.title.clone(),
        plan: plan.as_ref().map(|f| f.name.clone()).unwrap_or_default(),
        lot: lot.as_ref().map(|l| l.number.clone()).unwrap_or_default(),
        moment: made_up.unwrap_or_else(|| run.began.clone()),
        anomalies: count("anomaly"),
        undecided: count("undecided"),
    };
    let mut parts = plan.map(|f| parts(&f.text)).unwrap_or_default();
    if let Some(lot) = lot {
        parts.push(PartEntry { name: lot.part, kind: String::new() });
        // What has no serial number is called by its place in its lot, which names nothing elsewhere.
        let serials = run.trials().map_err(words)?.into_iter().filter(|t| t.kind == "part" && t.name.parse::<u32>().is_err());
        parts.extend(serials.map(|t| PartEntry { name: t.name, kind: String::new() }));
    }
    Ok(Read { entry, parts })
}

/// The parts that a plan names. A plan of another version is read as far as it can be.
pub(in crate::record) fn parts(plan: &str) -> Vec<PartEntry> {
    let Ok(plan) = plan.parse::<toml::Table>() else { return Vec::new() };
    let stages = plan.get("stage").and_then(toml::Value::as_array);
    let mut made: Vec<PartEntry> = Vec::new();
    for part in stages.into_iter().flatten().filter_map(|s| s.get("part")) {
        let text = |key: &str| part.get(key).and_then(toml::Value::as_str).unwrap_or_default().to_owned();
        let part = PartEntry { name: text("name"), kind: text("kind") };
        if !made.contains(&part) {
            made.push(part);
        }
    }
    made
}

/// The moment in a folder's name, `20261125T150426-…`, as the record writes moments.
fn stamp(name: &str) -> Option<String> {
    let stamp = name.get(..15)?;
    let digits = |from: usize, to: usize| stamp.get(from..to).filter(|d| d.bytes().all(|b| b.is_ascii_digit()));
    let (date, time) = (digits(0, 8)?, digits(9, 15)?);
    let (y, m, d) = (date.get(..4)?, date.get(4..6)?, date.get(6..)?);
    let (h, min, s) = (time.get(..2)?, time.get(2..4)?, time.get(4..)?);
    (stamp.get(8..9) == Some("T")).then(|| format!("{y}-{m}-{d}T{h}:{min}:{s}Z"))
}
