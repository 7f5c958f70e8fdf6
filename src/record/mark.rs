//! The operator's marks: what was done to the unit meanwhile, with its moment.

use super::{Record, RecordError, Run};
use crate::analysis::marks::Mark;
use crate::units::Seconds;
use rusqlite::params;

impl Record {
    /// Notes a mark of the operator's.
    ///
    /// # Errors
    /// SQLite's, or an earlier one.
    pub fn mark(&mut self, mark: &Mark) -> Result<(), RecordError> {
        self.insert("mark", params![mark.at.0, mark.text])
    }
}

impl Run {
    /// The operator's marks, in their order.
    ///
    /// # Errors
    /// SQLite's.
    pub fn marks(&self) -> Result<Vec<Mark>, RecordError> {
        let mut marks = Vec::new();
        self.visit("SELECT at_s, text FROM mark ORDER BY at_s, rowid", None, |r| {
            marks.push(Mark { at: Seconds(r.get(0)?), text: r.get(1)? });
            Ok(())
        })?;
        Ok(marks)
    }
}
