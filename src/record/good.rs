//! Good units: the records of one or more runs, kept below the folder of logs in
//! `good/NAME/`, each as it was written, and `good.toml` beside them that says of which
//! unit each is.
//!
//! Holds always: a record is copied whole, with its seals, and only when it is as it was
//! written; a copy that has been changed since is refused. Wherever a good unit is named,
//! a run may be named instead: a good unit of one.

use super::{FILE, RecordError, Run, find, verify};
use crate::document::Document;
use std::path::{Path, PathBuf};

/// The folder of good units, below that of logs.
pub const GOOD: &str = "good";
/// The list of its runs, in a good unit's folder.
const LIST: &str = "good.toml";

/// A good unit: at least one run.
#[derive(Clone, Debug, PartialEq)]
pub struct Good {
    /// Its name; of a run, the run's.
    pub name: String,
    /// Its runs, in the order in which they were added.
    pub runs: Vec<GoodRun>,
    /// Whether it was stored as a good unit, or is a run that is taken for one.
    pub stored: bool,
}

/// A run of a good unit.
#[derive(Clone, Debug, PartialEq)]
pub struct GoodRun {
    /// The folder of its record.
    pub folder: PathBuf,
    /// Which unit it was; `None`: not said, then as its plan names it.
    pub unit: Option<String>,
    /// The record's last hash when it was added.
    pub fingerprint: Option<String>,
}

/// The good unit of a name or in a folder, or the run that is named so.
///
/// # Errors
/// There is neither; its list cannot be read.
pub fn good(logs: &Path, what: &str) -> Result<Good, RecordError> {
    let named = [logs.join(GOOD).join(what), PathBuf::from(what)];
    if let Some(folder) = named.iter().find(|folder| folder.join(LIST).is_file()) {
        let name = folder.file_name().map_or(what.to_owned(), |n| n.to_string_lossy().into_owned());
        return Ok(Good { name, runs: read(folder)?, stored: true });
    }
    let folder = find(logs, what).map_err(|error| match error {
        RecordError::NoRun(why) => {
            RecordError::NoRun(format!("there is no good unit {what:?} in {}, and {why}", logs.join(GOOD).display()))
        }
        other => other,
    })?;
    let name = folder.file_name().map_or(what.to_owned(), |n| n.to_string_lossy().into_owned());
    Ok(Good { name, runs: vec![GoodRun { folder, unit: None, fingerprint: None }], stored: false })
}

/// The names of all good units that have been stored.
///
/// # Errors
/// The system's.
pub fn good_units(logs: &Path) -> Result<Vec<String>, RecordError> {
    let folder = logs.join(GOOD);
    let entries = match std::fs::read_dir(&folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(RecordError::file(&folder)(error)),
    };
    let stored = entries.filter_map(Result::ok).filter(|e| e.path().join(LIST).is_file());
    let mut names: Vec<String> = stored.map(|e| e.file_name().to_string_lossy().into_owned()).collect();
    names.sort();
    Ok(names)
}

fn read(folder: &Path) -> Result<Vec<GoodRun>, RecordError> {
    let path = folder.join(LIST);
    let wrong = |why: String| RecordError::File { path: path.display().to_string(), why };
    let document = Document::open(&path).map_err(|problems| wrong(problems.to_string()))?;
    let runs = document.read(|root| {
        let runs = root.tables("run").into_iter().map(|mut table| {
            let (record, unit, fingerprint) = (table.need_text("record"), table.text("unit"), table.text("fingerprint"));
            table.finish();
            Some(GoodRun { folder: folder.join(record?), unit, fingerprint })
        });
        runs.collect::<Option<Vec<_>>>()
    });
    let runs = runs.map_err(|problems| wrong(problems.to_string()))?;
    if runs.is_empty() {
        return Err(wrong("it names no [[run]]".into()));
    }
    for run in &runs {
        let now = Run::open(&run.folder)?.fingerprint()?;
        if run.fingerprint.as_ref().is_some_and(|then| *then != now) {
            let what = "its fingerprint is not the one that it was stored with".into();
            return Err(RecordError::Damaged { path: run.folder.join(FILE).display().to_string(), what });
        }
    }
    Ok(runs)
}

/// Adds a run to a good unit, which begins with its first. Returns the good unit.
///
/// # Errors
/// The name is none for a folder; the record is not as it was written; the run is there
/// already; the system's.
pub fn add_good(logs: &Path, name: &str, run: &Path, unit: Option<&str>) -> Result<Good, RecordError> {
    let usable = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.');
    if name.is_empty() || name.starts_with('.') || !name.chars().all(usable) {
        return Err(RecordError::NoRun(format!("{name:?} is no name for a good unit: letters, digits, - and _")));
    }
    if name == "last" || name.starts_with('-') || super::runs::names(logs)?.iter().any(|n| n.starts_with(name)) {
        return Err(RecordError::NoRun(format!("{name:?} is what a run is called by: give the good unit another name")));
    }
    if let Some(first) = verify(run)?.damage.into_iter().next() {
        return Err(RecordError::Damaged { path: run.join(FILE).display().to_string(), what: first });
    }
    let record = run.canonicalize().ok().and_then(|p| Some(p.file_name()?.to_string_lossy().into_owned()));
    let Some(record) = record else { return Err(RecordError::NoRun(format!("{} has no name", run.display()))) };
    let opened = Run::open(run)?;
    let (fingerprint, own) = (opened.fingerprint()?, opened.unit.clone());
    drop(opened);
    let folder = logs.join(GOOD).join(name);
    let before = if folder.join(LIST).is_file() { read(&folder)? } else { Vec::new() };
    if before.iter().any(|r| r.fingerprint.as_deref() == Some(&fingerprint)) {
        return Err(RecordError::Exists(format!("{record} in the good unit {name}")));
    }
    let place = folder.join(&record);
    std::fs::create_dir_all(&folder).map_err(RecordError::file(&folder))?;
    std::fs::create_dir(&place).map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists => RecordError::Exists(place.display().to_string()),
        _ => RecordError::file(&place)(error),
    })?;
    // What was committed last may still stand in the log beside it.
    for file in [FILE.to_owned(), format!("{FILE}-wal")] {
        let from = run.join(&file);
        if from.is_file() {
            std::fs::copy(&from, place.join(&file)).map_err(RecordError::file(&from))?;
        }
    }
    let copied = Run::open(&place)?.fingerprint()?;
    if copied != fingerprint {
        let what = "the run is still being written".into();
        return Err(RecordError::Damaged { path: run.join(FILE).display().to_string(), what });
    }
    let list = folder.join(LIST);
    let mut text = if before.is_empty() {
        "# A good unit: the records of its runs stand beside this file. Written by rampart good.\n".to_owned()
    } else {
        std::fs::read_to_string(&list).map_err(RecordError::file(&list))?
    };
    let (record, unit) = (quoted(&record), quoted(unit.unwrap_or(&own)));
    text.push_str(&format!("\n[[run]]\nrecord      = {record}\nunit        = {unit}\nfingerprint = \"{fingerprint}\"\n"));
    std::fs::write(&list, text).map_err(RecordError::file(&list))?;
    Ok(Good { name: name.to_owned(), runs: read(&folder)?, stored: true })
}

/// A basic string of TOML: what JSON escapes, TOML reads alike.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}
