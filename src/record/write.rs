//! Writing a record, in place: no thread, no queue.

use super::rows::{Header, InstrumentRow, LeakageRow, StartBegin, StartEnd, columns, figures};
use super::{FILE, RecordError, SCHEMA};
use crate::analysis::finding::Finding;
use crate::instrument::{Measurand, Reading, Sample};
use crate::units::Seconds;
use rusqlite::{Connection, OpenFlags, ToSql, params};
use sha2::{Digest, Sha256};
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
    open: bool,
    failed: Option<RecordError>,
}

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
        let begin = RecordError::store("the record cannot be begun");
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let store = Connection::open_with_flags(&path, flags).map_err(&begin)?;
        store.pragma_update(None, "journal_mode", "WAL").map_err(&begin)?;
        let synchronous = match durability {
            Durability::Full => "FULL",
            Durability::Rehearsal => "OFF",
        };
        store.pragma_update(None, "synchronous", synchronous).map_err(&begin)?;
        // Nobody shares the file for writing; readers of a live run still can. Somebody
        // who writes all the same is an error at once: no waiting while an output is on.
        store.busy_timeout(std::time::Duration::ZERO).map_err(&begin)?;
        store.execute_batch(&format!("BEGIN; {SCHEMA}")).map_err(&begin)?;
        store.set_prepared_statement_cache_capacity(32);
        let mut record = Self { store, open: true, failed: None };
        record.header(header)?;
        record.commit()?;
        Ok(record)
    }

    fn header(&mut self, header: &Header) -> Result<(), RecordError> {
        let tool = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"));
        // SQLite's integers are signed: the seed keeps its bits.
        let seed = header.seed.cast_signed();
        self.insert(
            "INSERT INTO run (tool, kind, title, unit, seed, began, cautions) VALUES (?, ?, ?, ?, ?, ?, ?)",
            params![tool, header.kind, header.title, header.unit, seed, header.began, header.cautions],
        )?;
        for file in &header.files {
            let hash = Sha256::digest(file.text.as_bytes());
            let hash: String = hash.iter().map(|b| format!("{b:02x}")).collect();
            self.insert("INSERT INTO file VALUES (?, ?, ?, ?)", params![file.kind, file.name, file.text, hash])?;
        }
        Ok(())
    }

    /// One statement, inside the open transaction; an error latches.
    fn insert(&mut self, sql: &str, values: &[&dyn ToSql]) -> Result<(), RecordError> {
        if let Some(error) = &self.failed {
            return Err(error.clone());
        }
        let result = (|| {
            if !self.open {
                self.store.execute_batch("BEGIN")?;
                self.open = true;
            }
            self.store.prepare_cached(sql)?.execute(values)
        })();
        match result {
            Ok(_) => Ok(()),
            Err(error) => Err(self.latch("a row could not be written", &error)),
        }
    }

    fn latch(&mut self, what: &str, error: &rusqlite::Error) -> RecordError {
        let error = RecordError::Store { what: what.to_owned(), why: error.to_string() };
        self.failed = Some(error.clone());
        error
    }

    /// Makes everything so far permanent.
    ///
    /// # Errors
    /// SQLite's; it latches.
    pub fn commit(&mut self) -> Result<(), RecordError> {
        if let Some(error) = &self.failed {
            return Err(error.clone());
        }
        if !self.open {
            return Ok(());
        }
        match self.store.execute_batch("COMMIT") {
            Ok(()) => {
                self.open = false;
                Ok(())
            }
            Err(error) => Err(self.latch("what was written could not be made permanent", &error)),
        }
    }

    /// Notes an instrument.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn instrument(&mut self, row: &InstrumentRow) -> Result<(), RecordError> {
        self.insert(
            "INSERT INTO instrument VALUES (?, ?, ?, ?, ?)",
            params![row.role, row.identity, row.profile, row.address, row.calibration_due],
        )
    }

    /// Notes the beginning of a stage.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn begin_stage(&mut self, number: u32, kind: &str, what: &str, at: Seconds) -> Result<(), RecordError> {
        self.insert("INSERT INTO stage (number, kind, what, began_s) VALUES (?, ?, ?, ?)", params![number, kind, what, at.0])
    }

    /// Notes the end of a stage, and commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn end_stage(&mut self, number: u32, how: &str, at: Seconds) -> Result<(), RecordError> {
        self.insert("UPDATE stage SET ended_s = ?, how = ? WHERE number = ?", params![at.0, how, number])?;
        self.commit()
    }

    /// Notes what was set and read back.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn setting(
        &mut self,
        stage: u32,
        what: &str,
        of: Measurand,
        wanted: f64,
        read_back: Option<f64>,
        at: Seconds,
    ) -> Result<(), RecordError> {
        self.insert(
            "INSERT INTO setting VALUES (?, ?, ?, ?, ?, ?)",
            params![stage, at.0, what, of.unit().symbol(), wanted, read_back],
        )
    }

    /// Notes a reading.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn reading(&mut self, stage: u32, start: Option<u32>, step: Option<u32>, reading: &Reading) -> Result<(), RecordError> {
        let (value, u, floor) = match reading.sample {
            Sample::Value { value, u } => (Some(value), Some(u), None),
            Sample::BelowFloor { floor } => (None, None, Some(floor)),
            _ => (None, None, None),
        };
        self.insert(
            "INSERT INTO reading (stage, start, step, role, measurand, asked_s, answered_s, kind, value, u, floor, regulation)
             VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            params![
                stage,
                start,
                step,
                reading.role.name(),
                reading.measurand.name(),
                reading.asked.0,
                reading.answered.0,
                reading.sample.word(),
                value,
                u,
                floor,
                reading.regulation.word()
            ],
        )
    }

    /// Notes that a start begins. Without its end it is void.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn begin_start(&mut self, stage: u32, number: u32, begin: &StartBegin) -> Result<(), RecordError> {
        let volts = match begin.residual {
            Some(Sample::Value { value, .. }) => Some(value),
            _ => None,
        };
        let kind = begin.residual.map(Sample::word);
        self.insert(
            "INSERT INTO start (stage, number, off_wanted_s, residual_V, residual_kind) VALUES (?, ?, ?, ?, ?)",
            params![stage, number, begin.off_wanted.0, volts, kind],
        )
    }

    /// Notes how a start ended.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn end_start(&mut self, stage: u32, number: u32, end: &StartEnd) -> Result<(), RecordError> {
        let (kind, plateau, u) = columns(end.plateau);
        self.insert(
            "UPDATE start SET off_s = ?, on_s = ?, outcome = ?, counts = ?, state = ?, reached_s = ?, plateau_A = ?,
             plateau_u_A = ?, plateau_kind = ?, peak_A = ?, limited_s = ?, reason = ? WHERE stage = ? AND number = ?",
            params![
                end.off.map(|t| t.0),
                end.on.map(|t| t.0),
                end.outcome,
                end.counts,
                end.state,
                end.reached.map(|t| t.0),
                plateau,
                u,
                kind,
                end.peak.map(|a| a.0),
                end.limited.0,
                end.reason,
                stage,
                number
            ],
        )
    }

    /// Notes a step of a sweep.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn leakage(&mut self, stage: u32, row: &LeakageRow) -> Result<(), RecordError> {
        let (kind, leakage, u) = columns(row.leakage);
        self.insert(
            "INSERT INTO leakage VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            params![
                stage,
                row.step,
                row.part,
                row.set.0,
                row.at_part.map(|v| v.0),
                leakage,
                u,
                kind,
                row.limit.0,
                row.electrified.0,
                row.change,
                row.drift.map(|a| a.0)
            ],
        )
    }

    /// Notes an event.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn event(&mut self, at: Seconds, kind: &str, text: &str) -> Result<(), RecordError> {
        self.insert("INSERT INTO event VALUES (?, ?, ?)", params![at.0, kind, text])
    }

    /// Notes a finding.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn finding(&mut self, stage: Option<u32>, finding: &Finding) -> Result<(), RecordError> {
        self.insert(
            "INSERT INTO finding VALUES (?, ?, ?, ?, ?, ?)",
            params![stage, finding.code, finding.severity.name(), finding.sentence, finding.advice, figures(finding)],
        )
    }

    /// Notes how the run ended, and commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn finish(&mut self, how: &str, exit_code: u8, at: Seconds) -> Result<(), RecordError> {
        self.insert("UPDATE run SET ended_s = ?, how = ?, exit_code = ?", params![at.0, how, exit_code])?;
        self.commit()?;
        // One file from here on, readable on any medium. Where somebody reads at this
        // moment it stays as it is, and whole all the same.
        self.store.pragma_update(None, "journal_mode", "DELETE").unwrap_or_default();
        Ok(())
    }
}
