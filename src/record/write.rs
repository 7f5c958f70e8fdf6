//! Writing a record. Rows are only ever added, and every commit is sealed. A run writes
//! in place: no thread, no queue; a rehearsal may leave that to a thread.

use super::aside::Aside;
use super::ledger::Ledger;
use super::rows::{FileRow, Header};
use super::seal::{self, Hash};
use super::{FILE, RecordError, SCHEMA, verify};
use crate::units::Seconds;
use rusqlite::{Connection, OpenFlags, ToSql, params};
use std::path::Path;

/// How sure a commit must be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Durability {
    /// Survives a power cut.
    Full,
    /// A rehearsal: survives the process, not the computer.
    Rehearsal,
    /// The same, written by a thread of its own: twice as fast where there are two cores.
    /// An error of the disk is noticed a little after the row that met it.
    Aside,
}

/// A record that is being written.
pub struct Record {
    writer: Writer,
    durability: Durability,
    /// How often the run was begun or taken up, this time included.
    pub(super) stretch: u32,
}

/// Who hands the rows to SQLite.
enum Writer {
    /// Whoever calls.
    Here(Box<Ledger>),
    /// A thread of its own.
    Aside(Aside),
}

/// Name and version, as records keep them.
pub const TOOL: &str = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"));

impl Record {
    /// Begins a record in an existing folder.
    ///
    /// # Errors
    /// [`RecordError::Exists`] where there is one already; the system's and SQLite's.
    pub fn create(folder: &Path, header: &Header, durability: Durability) -> Result<Self, RecordError> {
        let path = folder.join(FILE);
        if path.exists() {
            return Err(RecordError::Exists(path.display().to_string()));
        }
        let store =
            open(&path, OpenFlags::SQLITE_OPEN_CREATE, durability).map_err(RecordError::store("the record cannot be begun"))?;
        store.execute_batch(&format!("BEGIN; {SCHEMA}; COMMIT")).map_err(RecordError::store("the record cannot be begun"))?;
        let mut record = Self::after(store, durability, 1, 0, Hash::default());
        // SQLite's integers are signed: the seed keeps its bits.
        let seed = header.seed.cast_signed();
        record.insert("begun", params![TOOL, header.kind, header.title, header.unit, seed, header.began, header.cautions])?;
        record.files(&header.files)?;
        record.commit()?;
        Ok(record)
    }

    /// Opens the record of a run that was cut short, to go on with it: from here on
    /// the next stretch is written. The whole chain is verified first.
    ///
    /// # Errors
    /// [`RecordError::Damaged`] where it is not as it was written; SQLite's.
    pub fn append(folder: &Path, durability: Durability) -> Result<Self, RecordError> {
        let path = folder.join(FILE);
        let failed = RecordError::store("the record cannot be gone on with");
        let store = open(&path, OpenFlags::empty(), durability).map_err(&failed)?;
        let whole = verify::check(&store).map_err(&failed)?;
        if let Some(first) = whole.damage.first() {
            return Err(RecordError::Damaged { path: path.display().to_string(), what: first.clone() });
        }
        let sql = "SELECT coalesce(max(stretch), 1) + 1 FROM resumed";
        let stretch = store.query_row(sql, [], |r| r.get(0)).map_err(&failed)?;
        Ok(Self::after(store, durability, stretch, whole.batches, whole.hash))
    }

    fn after(store: Connection, durability: Durability, stretch: u32, batches: i64, hash: Hash) -> Self {
        let ledger = Box::new(Ledger::after(store, batches, hash));
        let writer = match durability {
            Durability::Full | Durability::Rehearsal => Writer::Here(ledger),
            Durability::Aside => Writer::Aside(Aside::new(ledger)),
        };
        Self { writer, durability, stretch }
    }

    /// Notes that the run goes on at `at`, `gap` after its last row; what differs
    /// from before in words, and the files that it follows from now on where they
    /// are others. Commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn resumed(
        &mut self,
        at: Seconds,
        gap: Seconds,
        wall: &str,
        differs: &str,
        files: &[FileRow],
    ) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert("resumed", params![stretch, at.0, gap.0, wall, TOOL, differs])?;
        self.files(files)?;
        self.commit()
    }

    fn files(&mut self, files: &[FileRow]) -> Result<(), RecordError> {
        let stretch = self.stretch;
        for file in files {
            let hash = seal::sha256(&file.text);
            self.insert("file", params![stretch, file.kind, file.name, file.text, hash])?;
        }
        Ok(())
    }

    /// One row, inside the open transaction, with its batch and seal; an error latches.
    pub(super) fn insert(&mut self, table: &'static str, values: &[&dyn ToSql]) -> Result<(), RecordError> {
        match &mut self.writer {
            Writer::Here(ledger) => ledger.insert(table, values),
            Writer::Aside(aside) => aside.insert(table, values),
        }
    }

    /// Seals everything so far and makes it permanent.
    ///
    /// # Errors
    /// SQLite's; it latches.
    pub fn commit(&mut self) -> Result<(), RecordError> {
        match &mut self.writer {
            Writer::Here(ledger) => ledger.commit(),
            Writer::Aside(aside) => aside.commit(),
        }
    }

    /// The same; where a thread of its own writes, without waiting for it: an error is the
    /// next call's.
    ///
    /// # Errors
    /// SQLite's; it latches.
    pub fn commit_soon(&mut self) -> Result<(), RecordError> {
        match &mut self.writer {
            Writer::Here(ledger) => ledger.commit(),
            Writer::Aside(aside) => aside.commit_soon(),
        }
    }

    /// Notes how the run, or this stretch of it, ended, and commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn finish(&mut self, how: &str, exit_code: u8, at: Seconds) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert("ended", params![stretch, at.0, how, exit_code])?;
        self.commit()?;
        match &mut self.writer {
            Writer::Here(ledger) => ledger.close(),
            Writer::Aside(aside) => aside.close()?,
        }
        Ok(())
    }

    /// How sure its commits are.
    pub fn durability(&self) -> Durability {
        self.durability
    }

    /// The hash over everything that has been committed, in hexadecimal.
    pub fn fingerprint(&self) -> String {
        let hash = match &self.writer {
            Writer::Here(ledger) => ledger.hash(),
            Writer::Aside(aside) => aside.hash(),
        };
        seal::hexadecimal(&hash)
    }
}

fn open(path: &Path, more: OpenFlags, durability: Durability) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | more;
    let store = Connection::open_with_flags(path, flags)?;
    store.pragma_update(None, "journal_mode", "WAL")?;
    let synchronous = match durability {
        Durability::Full => "FULL",
        Durability::Rehearsal | Durability::Aside => "OFF",
    };
    store.pragma_update(None, "synchronous", synchronous)?;
    // Nobody shares the file for writing; readers of a live run still can. Somebody
    // who writes all the same is an error at once: no waiting while an output is on.
    store.busy_timeout(std::time::Duration::ZERO)?;
    store.set_prepared_statement_cache_capacity(32);
    Ok(store)
}
