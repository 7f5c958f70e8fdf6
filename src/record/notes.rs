//! The rows of a record, one function a kind.

use super::rows::{InstrumentRow, LeakageRow, StartBegin, StartEnd, columns, figures};
use super::soak::{decay_columns, wander_columns};
use super::{Record, RecordError};
use crate::analysis::finding::Finding;
use crate::instrument::{Reading, Sample};
use crate::units::{Seconds, Unit};
use rusqlite::params;

impl Record {
    /// Notes an instrument.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn instrument(&mut self, row: &InstrumentRow) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert("instrument", params![stretch, row.role, row.identity, row.profile, row.address, row.calibration_due])
    }

    /// Notes the beginning of a stage.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn begin_stage(&mut self, number: u32, kind: &str, what: &str, at: Seconds) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert("stage_begin", params![stretch, number, kind, what, at.0])
    }

    /// Notes the end of a stage, and commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn end_stage(&mut self, number: u32, how: &str, at: Seconds) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert("stage_end", params![stretch, number, at.0, how])?;
        self.commit()
    }

    /// Notes what was made sure of before a stage, and how it was found.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn preflight(&mut self, stage: u32, at: Seconds, what: &str, found: &str, good: bool) -> Result<(), RecordError> {
        self.insert("preflight", params![stage, at.0, what, found, good])
    }

    /// Notes what was set and read back.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn setting(
        &mut self,
        stage: u32,
        what: &str,
        unit: Unit,
        wanted: f64,
        read_back: Option<f64>,
        at: Seconds,
    ) -> Result<(), RecordError> {
        self.insert("setting", params![stage, at.0, what, unit.symbol(), wanted, read_back])
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
            "reading",
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
        self.insert("start_begin", params![stage, number, begin.off_wanted.0, begin.off_note, volts, kind])
    }

    /// Notes how a start ended.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn end_start(&mut self, stage: u32, number: u32, end: &StartEnd) -> Result<(), RecordError> {
        let (kind, plateau, u) = columns(end.plateau);
        self.insert(
            "start_end",
            params![
                stage,
                number,
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
                end.held.map(|h| h.0.0),
                end.held.map(|h| h.1.0),
                end.reason
            ],
        )
    }

    /// Notes a step of a sweep.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn leakage(&mut self, stage: u32, row: &LeakageRow) -> Result<(), RecordError> {
        let soak = &row.soak;
        let (kind, leakage, u) = columns(soak.leakage);
        let (told, [steady, low, high, absorbed, exponent, scatter]) = decay_columns(soak.decay.as_ref());
        let (wander, wander_a, wander_u, wander_s, wander_n) = wander_columns(soak.wander.as_ref());
        self.insert(
            "leakage",
            params![
                stage,
                row.step,
                row.part,
                row.set.0,
                soak.at_part.map(|v| v.0),
                soak.at_part_u.map(|v| v.0),
                leakage,
                u,
                kind,
                row.limit.0,
                soak.electrified.0,
                soak.change,
                soak.drift.map(|d| d.current.0),
                soak.drift.map(|d| d.u.0),
                told,
                steady,
                low,
                high,
                absorbed,
                exponent,
                scatter,
                wander,
                wander_a,
                wander_u,
                wander_s,
                wander_n,
                soak.reform.map(|r| r.from.0),
                soak.reform.map(|r| r.at.0),
                soak.reform.map(|r| r.charge.0),
                soak.reform.map(|r| r.absorbed.0),
                soak.reform.map(|r| r.pace)
            ],
        )
    }

    /// Notes an event.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn event(&mut self, at: Seconds, kind: &str, text: &str) -> Result<(), RecordError> {
        self.insert("event", params![at.0, kind, text])
    }

    /// Notes a finding.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn finding(&mut self, stage: Option<u32>, finding: &Finding) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert(
            "finding",
            params![stretch, stage, finding.code, finding.severity.name(), finding.sentence, finding.advice, figures(finding)],
        )
    }
}
