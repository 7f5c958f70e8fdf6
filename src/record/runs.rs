//! The folders of runs: making, finding.

use super::{FILE, RecordError};
use std::path::{Path, PathBuf};

/// Makes a new folder below `logs`: date, time and title. `moment` as
/// 2026-11-25T15:30:12Z.
///
/// # Errors
/// The system's.
pub fn new_folder(logs: &Path, moment: &str, title: &str) -> Result<PathBuf, RecordError> {
    let stamp: String = moment.chars().filter(|c| c.is_ascii_digit() || *c == 'T').take(15).collect();
    let words: Vec<String> =
        title.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).take(3).map(str::to_lowercase).collect();
    let base = if words.is_empty() { stamp } else { format!("{stamp}-{}", words.join("-")) };
    std::fs::create_dir_all(logs).map_err(RecordError::file(logs))?;
    for attempt in 1..1000 {
        let path = if attempt == 1 { logs.join(&base) } else { logs.join(format!("{base}-{attempt}")) };
        match std::fs::create_dir(&path) {
            Ok(()) => return Ok(path),
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(RecordError::file(&path)(error)),
        }
    }
    Err(RecordError::Exists(logs.join(base).display().to_string()))
}

/// The names of all folders that hold a record, oldest first.
pub(super) fn names(logs: &Path) -> Result<Vec<String>, RecordError> {
    let entries = match std::fs::read_dir(logs) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(RecordError::file(logs)(error)),
    };
    let mut names: Vec<String> = entries
        .filter_map(Result::ok)
        .filter(|e| e.path().join(FILE).is_file())
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    Ok(names)
}

/// The folder of a run by its name, an unambiguous beginning of it, `last`, or a path.
///
/// # Errors
/// In words: none, or more than one.
pub fn find(logs: &Path, what: &str) -> Result<PathBuf, RecordError> {
    if Path::new(what).join(FILE).is_file() {
        return Ok(PathBuf::from(what));
    }
    let names = names(logs)?;
    let none = |why: String| RecordError::NoRun(why);
    if what == "last" {
        return names.last().map(|n| logs.join(n)).ok_or_else(|| none(format!("there is no run in {}", logs.display())));
    }
    let fitting: Vec<&String> = names.iter().filter(|n| n.starts_with(what)).collect();
    match fitting.as_slice() {
        [one] => Ok(logs.join(one)),
        [] => Err(none(format!("no run in {} begins with {what:?}; `rampart runs` lists them", logs.display()))),
        many => match many.iter().find(|n| n.as_str() == what) {
            Some(exact) => Ok(logs.join(exact)),
            None => Err(none(format!("{} runs begin with {what:?}: write more of the name", many.len()))),
        },
    }
}
