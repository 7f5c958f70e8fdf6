//! The rows of a record as SQLite takes them: inside transactions that are sealed one
//! after the other. An error latches.

use super::RecordError;
use super::seal::{self, Hash, RowDigest, SEAL, TABLES};
use rusqlite::{Connection, ToSql, params};

/// A record's file, open for writing.
pub(super) struct Ledger {
    store: Connection,
    failed: Option<RecordError>,
    /// The number of the batch that is open or comes next, and the hash before it.
    batch: i64,
    hash: Hash,
    /// The digests of the rows of the open batch, with their tables; empty: none is open.
    rows: Vec<(usize, Hash)>,
    /// What inserts a row, by table, once it has been used.
    inserts: [String; TABLES.len()],
}

impl Ledger {
    /// After so many batches, the last of which has this hash.
    pub(super) fn after(store: Connection, batches: i64, hash: Hash) -> Self {
        Self { store, failed: None, batch: batches + 1, hash, rows: Vec::new(), inserts: <_>::default() }
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
    pub(super) fn commit(&mut self) -> Result<(), RecordError> {
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

    /// One file from here on, readable on any medium. Where somebody reads at this moment
    /// it stays as it is, and whole all the same.
    pub(super) fn close(&mut self) {
        self.store.pragma_update(None, "journal_mode", "DELETE").unwrap_or_default();
    }

    /// The hash over everything that has been committed.
    pub(super) fn hash(&self) -> Hash {
        self.hash
    }
}
