//! Writing a record, in place: no thread, no queue. Rows are only ever added, and
//! every commit is sealed.

use super::rows::{FileRow, Header};
use super::seal::{self, Hash, RowDigest, SEAL, TABLES};
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
}

/// A record that is being written.
pub struct Record {
    store: Connection,
    failed: Option<RecordError>,
    durability: Durability,
    /// How often the run was begun or taken up, this time included.
    pub(super) stretch: u32,
    /// The number of the batch that is open or comes next, and the hash before it.
    batch: i64,
    hash: Hash,
    /// The digests of the rows of the open batch, with their tables; empty: none is open.
    rows: Vec<(usize, Hash)>,
    /// What inserts a row, by table, once it has been used.
    inserts: [String; TABLES.len()],
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

    /// After so many batches, the last of which has this hash.
    fn after(store: Connection, durability: Durability, stretch: u32, batches: i64, hash: Hash) -> Self {
        let (rows, inserts) = (Vec::new(), <_>::default());
        Self { store, failed: None, durability, stretch, batch: batches + 1, hash, rows, inserts }
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
        if let Some(error) = &self.failed {
            return Err(error.clone());
        }
        self.try_insert(table, values).map_err(|error| self.latch("a row could not be written", &error))
    }

    fn try_insert(&mut self, table: &'static str, values: &[&dyn ToSql]) -> rusqlite::Result<()> {
        if self.rows.is_empty() && self.store.is_autocommit() {
            self.store.prepare_cached("BEGIN")?.execute([])?;
        }
        let mut digest = RowDigest::of(table);
        values.iter().try_for_each(|value| digest.bound(*value))?;
        let digest = digest.end();
        // Made once: a start of the demo unit writes two hundred rows.
        let place = TABLES.iter().position(|t| *t == table);
        let Some((place, insert)) = place.and_then(|place| Some((place, self.inserts.get_mut(place)?))) else {
            return Err(rusqlite::Error::InvalidParameterName(table.to_owned()));
        };
        if insert.is_empty() {
            *insert = format!("INSERT INTO {table} VALUES ({}?, ?)", "?, ".repeat(values.len()));
        }
        let mut statement = self.store.prepare_cached(insert)?;
        let (batch, seal) = (self.batch, digest.get(..SEAL));
        let sealed: [&dyn ToSql; 2] = [&batch, &seal];
        statement.execute(rusqlite::params_from_iter(values.iter().chain(&sealed)))?;
        self.rows.push((place, digest));
        Ok(())
    }

    fn latch(&mut self, what: &str, error: &rusqlite::Error) -> RecordError {
        let error = RecordError::Store { what: what.to_owned(), why: error.to_string() };
        self.failed = Some(error.clone());
        error
    }

    /// Seals everything so far and makes it permanent.
    ///
    /// # Errors
    /// SQLite's; it latches.
    pub fn commit(&mut self) -> Result<(), RecordError> {
        if let Some(error) = &self.failed {
            return Err(error.clone());
        }
        if self.rows.is_empty() {
            return Ok(());
        }
        self.try_commit().map_err(|error| self.latch("what was written could not be made permanent", &error))
    }

    fn try_commit(&mut self) -> rusqlite::Result<()> {
        // The order in which a reader meets them: table by table, each as it was written.
        self.rows.sort_by_key(|(table, _)| *table);
        let hash = seal::batch(&self.hash, self.batch, self.rows.iter().map(|(_, digest)| digest));
        let count = i64::try_from(self.rows.len()).unwrap_or(i64::MAX);
        self.store.prepare_cached("INSERT INTO batch VALUES (?, ?, ?)")?.execute(params![
            self.batch,
            count,
            seal::hexadecimal(&hash)
        ])?;
        self.store.prepare_cached("COMMIT")?.execute([])?;
        self.hash = hash;
        self.batch += 1;
        self.rows.clear();
        Ok(())
    }

    /// Notes how the run, or this stretch of it, ended, and commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn finish(&mut self, how: &str, exit_code: u8, at: Seconds) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert("ended", params![stretch, at.0, how, exit_code])?;
        self.commit()?;
        // One file from here on, readable on any medium. Where somebody reads at this
        // moment it stays as it is, and whole all the same.
        self.store.pragma_update(None, "journal_mode", "DELETE").unwrap_or_default();
        Ok(())
    }

    /// How sure its commits are.
    pub fn durability(&self) -> Durability {
        self.durability
    }

    /// The hash over everything that has been committed, in hexadecimal.
    pub fn fingerprint(&self) -> String {
        seal::hexadecimal(&self.hash)
    }
}

fn open(path: &Path, more: OpenFlags, durability: Durability) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX | more;
    let store = Connection::open_with_flags(path, flags)?;
    store.pragma_update(None, "journal_mode", "WAL")?;
    let synchronous = match durability {
        Durability::Full => "FULL",
        Durability::Rehearsal => "OFF",
    };
    store.pragma_update(None, "synchronous", synchronous)?;
    // Nobody shares the file for writing; readers of a live run still can. Somebody
    // who writes all the same is an error at once: no waiting while an output is on.
    store.busy_timeout(std::time::Duration::ZERO)?;
    store.set_prepared_statement_cache_capacity(32);
    Ok(store)
}
