//! The index's file: a row a run with the times of its files, a row a part.

use super::super::{FILE, RecordError};
use super::Refresh;
use super::entry::{self, Entry, Filter, PartEntry, State};
use rusqlite::{Connection, TransactionBehavior, params};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::time::{Duration, UNIX_EPOCH};

/// The first figure grows with every change of what is kept. An index of another version,
/// or made when records were of another, is made anew.
const VERSION: i64 = 1_000 + super::super::VERSION;

const SCHEMA: &str = "
    CREATE TABLE run (
      name TEXT PRIMARY KEY, mark TEXT NOT NULL, exit_code INTEGER, damage TEXT, kind TEXT NOT NULL, unit TEXT NOT NULL,
      title TEXT NOT NULL, plan TEXT NOT NULL, lot TEXT NOT NULL, moment TEXT NOT NULL, anomalies INTEGER NOT NULL,
      undecided INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE part (run TEXT NOT NULL, name TEXT NOT NULL, kind TEXT NOT NULL) STRICT;
    CREATE INDEX part_run ON part (run);";

/// A run's name, and the times and lengths of its files: others where anything was written.
pub(super) type Marks = BTreeMap<String, String>;

/// The marks of all folders that hold a record.
pub(super) fn marks(logs: &Path) -> Result<Marks, RecordError> {
    let entries = match std::fs::read_dir(logs) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Marks::new()),
        Err(error) => return Err(RecordError::file(logs)(error)),
    };
    let mut marks = Marks::new();
    for entry in entries.filter_map(Result::ok) {
        let folder = entry.path();
        let Some(record) = of(&folder.join(FILE)) else { continue };
        // A record that is written grows in the log beside it.
        let log = of(&folder.join(format!("{FILE}-wal"))).unwrap_or_default();
        marks.insert(entry.file_name().to_string_lossy().into_owned(), format!("{record} {log}"));
    }
    Ok(marks)
}

fn of(path: &Path) -> Option<String> {
    let seen = std::fs::metadata(path).ok().filter(std::fs::Metadata::is_file)?;
    let time = seen.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok()).unwrap_or_default();
    Some(format!("{}:{}", time.as_nanos(), seen.len()))
}

pub(super) struct Index {
    store: Connection,
}

impl Index {
    /// Opens the index, or makes it where there is none that can be used.
    pub(super) fn open(path: &Path, refresh: Refresh) -> rusqlite::Result<Self> {
        if refresh == Refresh::Changed
            && path.is_file()
            && let Ok(index) = Self::with(Connection::open(path)?)
        {
            return Ok(index);
        }
        // Of another version, damaged, or to be made anew.
        let journal = path.with_extension("sqlite-journal");
        for old in [path, journal.as_path()] {
            if let Err(error) = std::fs::remove_file(old)
                && error.kind() != std::io::ErrorKind::NotFound
            {
                tracing::info!("{}: {error}", old.display());
            }
        }
        Self::with(Connection::open(path)?)
    }

    pub(super) fn in_memory() -> rusqlite::Result<Self> {
        Self::with(Connection::open_in_memory()?)
    }

    fn with(store: Connection) -> rusqlite::Result<Self> {
        store.busy_timeout(Duration::from_secs(2))?;
        let version: i64 = store.pragma_query_value(None, "user_version", |r| r.get(0))?;
        if version == 0 && store.query_row("SELECT count(*) FROM sqlite_schema", [], |r| r.get::<_, i64>(0))? == 0 {
            store.execute_batch(&format!("BEGIN IMMEDIATE; {SCHEMA} PRAGMA user_version = {VERSION}; COMMIT"))?;
        } else if version != VERSION {
            return Err(rusqlite::Error::InvalidQuery);
        }
        Ok(Self { store })
    }

    /// Reads what has other marks than before, and forgets what is gone.
    pub(super) fn update(&mut self, logs: &Path, marks: &Marks) -> rusqlite::Result<()> {
        let known: Marks = {
            let mut rows = self.store.prepare("SELECT name, mark FROM run")?;
            rows.query_map([], |r| Ok((r.get(0)?, r.get(1)?)))?.collect::<rusqlite::Result<_>>()?
        };
        let changed: Vec<(&String, &String)> = marks.iter().filter(|(name, mark)| known.get(*name) != Some(mark)).collect();
        let gone: Vec<&String> = known.keys().filter(|name| !marks.contains_key(*name)).collect();
        if changed.is_empty() && gone.is_empty() {
            return Ok(());
        }
        let write = self.store.transaction_with_behavior(TransactionBehavior::Immediate)?;
        for name in gone.into_iter().chain(changed.iter().map(|c| c.0)) {
            write.prepare_cached("DELETE FROM run WHERE name = ?")?.execute([name])?;
            write.prepare_cached("DELETE FROM part WHERE run = ?")?.execute([name])?;
        }
        for (name, mark) in changed {
            let entry::Read { entry: e, parts } = entry::read(logs, name);
            let (exit, damage) = match &e.state {
                State::Ended(code) => (Some(*code), None),
                State::Unreadable(why) => (None, Some(why)),
                State::Open | State::CutOff => (None, None),
            };
            let sql = "INSERT INTO run VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)";
            write.prepare_cached(sql)?.execute(params![
                name,
                mark,
                exit,
                damage,
                e.kind,
                e.unit,
                e.title,
                e.plan,
                e.lot,
                e.moment,
                e.anomalies,
                e.undecided
            ])?;
            for part in parts {
                write.prepare_cached("INSERT INTO part VALUES (?, ?, ?)")?.execute(params![name, part.name, part.kind])?;
            }
        }
        write.commit()
    }

    /// The runs that a filter lets through, oldest first.
    pub(super) fn runs(&self, logs: &Path, filter: &Filter) -> rusqlite::Result<Vec<Entry>> {
        let with_part = filter.part.as_ref().map(|asked| self.with_part(asked)).transpose()?;
        let sql = "SELECT name, exit_code, damage, kind, unit, title, plan, lot, moment, anomalies, undecided
                   FROM run ORDER BY moment, name";
        let mut rows = self.store.prepare(sql)?;
        let mut rows = rows.query([])?;
        let mut found = Vec::new();
        while let Some(r) = rows.next()? {
            let name: String = r.get(0)?;
            if with_part.as_ref().is_some_and(|with| !with.contains(&name)) {
                continue;
            }
            let state = match (r.get(1)?, r.get(2)?) {
                (Some(code), _) => State::Ended(code),
                (None, Some(why)) => State::Unreadable(why),
                // Who has it open is asked each time: a run that is killed leaves its files as they were.
                (None, None) if crate::sys::held_by_another(&logs.join(&name).join(FILE)) => State::Open,
                (None, None) => State::CutOff,
            };
            let entry = Entry {
                name,
                state,
                kind: r.get(3)?,
                unit: r.get(4)?,
                title: r.get(5)?,
                plan: r.get(6)?,
                lot: r.get(7)?,
                moment: r.get(8)?,
                anomalies: r.get(9)?,
                undecided: r.get(10)?,
            };
            if filter.passes(&entry) {
                found.push(entry);
            }
        }
        Ok(found)
    }

    /// The runs with a part of this name or kind.
    fn with_part(&self, asked: &str) -> rusqlite::Result<BTreeSet<String>> {
        let mut rows = self.store.prepare("SELECT run, name, kind FROM part")?;
        let all = rows.query_map([], |r| Ok((r.get(0)?, PartEntry { name: r.get(1)?, kind: r.get(2)? })))?;
        let asked = asked.to_lowercase();
        let fits = |part: &PartEntry| part.name.to_lowercase() == asked || part.kind.to_lowercase() == asked;
        let mut found = BTreeSet::new();
        for row in all {
            let (run, part): (String, PartEntry) = row?;
            if fits(&part) {
                found.insert(run);
            }
        }
        Ok(found)
    }
}
