//! The rows of a lot: written as they come, one function a table.

use super::{Record, RecordError};
use crate::analysis::inspection::{Charted, Measure, Outcome, Seen};
use crate::analysis::uncertainty::{Guard, Limit};
use crate::units::{Seconds, Unit};
use rusqlite::params;

pub use earlier::{EarlierLot, earlier_lots};
pub use read::{ControlRow, Doubtful, DrawnRow, LotEnd, LotRow, MeasureRow, PartRow, SkipRow, TrialRow};

mod earlier;
mod read;

/// A part, or a control part, that is put in.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialBegin {
    /// From 1.
    pub number: u32,
    /// `part`, `good control`, `bad control`.
    pub kind: &'static str,
    /// Serial, position, or the control's name.
    pub name: String,
    /// In the lot.
    pub position: Option<u32>,
    /// The part's first trial, where this is another.
    pub retest_of: Option<u32>,
    /// Why it is made again.
    pub why: Option<String>,
    /// The first and the last of its stages, as the record numbers them.
    pub stages: (u32, u32),
}

impl Record {
    /// Notes the lot that this stretch inspects.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn lot(&mut self, row: &LotRow) -> Result<(), RecordError> {
        let stretch = self.stretch;
        self.insert(
            "lot",
            params![
                stretch,
                row.number,
                row.supplier,
                row.part,
                row.date_code,
                row.quantity,
                row.operator,
                row.fixture,
                row.sample,
                row.accept,
                row.reject,
                row.stops,
                row.sampled,
                row.rule,
                row.counting,
                row.overdue
            ],
        )
    }

    /// Notes a part in the order in which they are taken.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn drawn(&mut self, row: &DrawnRow) -> Result<(), RecordError> {
        self.insert("drawn", params![row.turn, row.position, row.name])
    }

    /// Notes that a part was put in and is measured. Without its end the trial is void.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn begin_trial(&mut self, row: &TrialBegin, at: Seconds) -> Result<(), RecordError> {
        self.insert(
            "trial_begin",
            params![row.number, row.kind, row.name, row.position, row.retest_of, row.why, row.stages.0, row.stages.1, at.0],
        )
    }

    /// Notes what came of a trial, and commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn end_trial(&mut self, number: u32, outcome: Outcome, why: &str, at: Seconds) -> Result<(), RecordError> {
        self.insert("trial_end", params![number, at.0, outcome.word(), why])?;
        self.commit()
    }

    /// Notes a quantity that a trial was judged by; `stage` as the record numbers it.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn measure(&mut self, trial: u32, stage: u32, measure: &Measure, guard: Guard) -> Result<(), RecordError> {
        let (value, u, floor) = match measure.seen {
            Seen::Value { value, u } => (Some(value), Some(u), None),
            Seen::BelowFloor { floor } => (None, None, Some(floor)),
            Seen::Overload | Seen::Missing => (None, None, None),
        };
        let (low, high) = match measure.limit {
            Limit::Upper(high) => (None, Some(high)),
            Limit::Lower(low) => (Some(low), None),
            Limit::Between(low, high) => (Some(low), Some(high)),
        };
        self.insert(
            "measure",
            params![
                trial,
                stage,
                measure.stage,
                measure.step,
                measure.what,
                measure.unit.map(Unit::symbol),
                measure.seen.word(),
                value,
                u,
                floor,
                low,
                high,
                measure.band(guard),
                measure.standing(guard).word(),
                measure.charted == Charted::Yes
            ],
        )
    }

    /// Notes what the operator has acknowledged; `trial` is `None` for all of the lot.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn acknowledged(&mut self, trial: Option<u32>, what: &str, how: &str, at: Seconds) -> Result<(), RecordError> {
        self.insert("acknowledged", params![trial, at.0, what, how])
    }

    /// Notes a part that was left out, and commits.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn skipped(&mut self, row: &SkipRow) -> Result<(), RecordError> {
        self.insert("skipped", params![row.position, row.name, row.at.0, row.why])?;
        self.commit()
    }

    /// Notes a point of a control part's chart.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn control(&mut self, row: &ControlRow) -> Result<(), RecordError> {
        self.insert(
            "control",
            params![
                row.trial,
                row.name,
                row.kind,
                row.what,
                row.unit.map(Unit::symbol),
                row.value.map(|v| v.0),
                row.value.map(|v| v.1),
                row.centre,
                row.sigma,
                row.basis,
                row.points,
                row.signals,
                row.state
            ],
        )
    }

    /// Notes that a trial does not count, for a control that failed after it.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn doubted(&mut self, row: Doubtful) -> Result<(), RecordError> {
        self.insert("doubted", params![row.trial, row.control])
    }

    /// Notes what came of the lot in this stretch.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn end_lot(&mut self, row: &LotEnd) -> Result<(), RecordError> {
        let (stretch, count) = (self.stretch, row.count);
        self.insert(
            "lot_end",
            params![
                stretch,
                row.at.0,
                row.decision.name(),
                row.why,
                count.judged,
                count.nonconforming,
                count.not_adequate,
                count.doubtful,
                count.skipped,
                count.open
            ],
        )
    }
}
