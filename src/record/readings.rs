//! The readings of a record, in the order in which they were made.
//!
//! Holds always: they are handed over one at a time, and who keeps what of them is the
//! caller's affair: a stage of ten thousand starts has a million.

use super::read::level;
use super::rows::ReadingRow;
use super::{RecordError, Run};
use crate::analysis::Level;
use crate::analysis::start::Look;
use crate::units::{Seconds, Volts};

/// A reading reduced to what a plot needs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// When.
    pub at: Seconds,
    /// Its start, if it belongs to one.
    pub start: Option<u32>,
    /// Its step, if it belongs to one.
    pub step: Option<u32>,
    /// Voltage at the supply beside it.
    pub volts: Option<Volts>,
    /// Current.
    pub current: Level,
}

impl ReadingRow {
    /// What it says, of a current.
    pub fn level(&self) -> Level {
        level(&self.kind, self.value, self.u, self.floor)
    }
}

impl Run {
    /// Every reading of a stage, one at a time.
    ///
    /// # Errors
    /// SQLite's.
    pub fn each_reading(&self, stage: u32, mut take: impl FnMut(ReadingRow)) -> Result<(), RecordError> {
        let sql = "SELECT stage, start, step, role, measurand, asked_s, answered_s, kind, value, u, floor, regulation
                   FROM reading WHERE stage = ? ORDER BY rowid";
        self.visit(sql, Some(stage), |r| {
            take(ReadingRow {
                stage: r.get(0)?,
                start: r.get(1)?,
                step: r.get(2)?,
                role: r.get(3)?,
                measurand: r.get(4)?,
                asked: Seconds(r.get(5)?),
                answered: Seconds(r.get(6)?),
                kind: r.get(7)?,
                value: r.get(8)?,
                u: r.get(9)?,
                floor: r.get(10)?,
                regulation: r.get(11)?,
            });
            Ok(())
        })
    }

    /// Every reading of a stage.
    ///
    /// # Errors
    /// SQLite's.
    pub fn readings(&self, stage: u32) -> Result<Vec<ReadingRow>, RecordError> {
        let mut readings = Vec::new();
        self.each_reading(stage, |reading| readings.push(reading))?;
        Ok(readings)
    }

    /// The currents of a stage, by the meter where there is one, else by the supply, one
    /// at a time.
    ///
    /// # Errors
    /// SQLite's.
    pub fn each_current(&self, stage: u32, mut take: impl FnMut(Point)) -> Result<(), RecordError> {
        let mut metered = false;
        let sql = "SELECT 1 FROM reading WHERE stage = ? AND role = 'meter' AND measurand = 'current' LIMIT 1";
        self.visit(sql, Some(stage), |_| {
            metered = true;
            Ok(())
        })?;
        let by = if metered { "meter" } else { "supply" };
        // The text columns are looked at where they lie: taking them out costs more than all the rest.
        let sql = "SELECT role, measurand, asked_s, answered_s, start, step, kind, value, u, floor
                   FROM reading WHERE stage = ? ORDER BY rowid";
        let mut volts = None;
        self.visit(sql, Some(stage), |r| {
            let (role, measurand) = (r.get_ref(0)?.as_str()?, r.get_ref(1)?.as_str()?);
            if role == "supply" && measurand == "voltage" {
                volts = r.get::<_, Option<f64>>(7)?.map(Volts);
            }
            if role == by && measurand == "current" {
                let (asked, answered) = (Seconds(r.get(2)?), Seconds(r.get(3)?));
                let current = level(r.get_ref(6)?.as_str()?, r.get(7)?, r.get(8)?, r.get(9)?);
                take(Point { at: (asked + answered) / 2.0, start: r.get(4)?, step: r.get(5)?, volts, current });
            }
            Ok(())
        })
    }

    /// The currents of a stage, by the meter where there is one, else by the supply.
    ///
    /// # Errors
    /// SQLite's.
    pub fn currents(&self, stage: u32) -> Result<Vec<Point>, RecordError> {
        let mut points = Vec::new();
        self.each_current(stage, |point| points.push(point))?;
        Ok(points)
    }

    /// What was read during each start of a stage, on the start's own time: its number and
    /// its looks from its switching on, start by start in their order. Whether the supply
    /// limited is not among them.
    ///
    /// # Errors
    /// SQLite's.
    pub fn each_course(&self, stage: u32, mut take: impl FnMut(u32, &[Look])) -> Result<(), RecordError> {
        let mut on: Vec<(u32, Seconds)> = Vec::new();
        let sql = "SELECT number, on_s FROM start_end WHERE stage = ? AND on_s IS NOT NULL ORDER BY number";
        self.visit(sql, Some(stage), |r| {
            on.push((r.get(0)?, Seconds(r.get(1)?)));
            Ok(())
        })?;
        let mut course: Vec<Look> = Vec::new();
        let mut hand: Option<(u32, Seconds)> = None;
        self.each_current(stage, |point| {
            let Some(number) = point.start else { return };
            if hand.is_none_or(|(other, _)| other != number) {
                if let Some((before, _)) = hand.filter(|_| !course.is_empty()) {
                    take(before, &course);
                }
                course.clear();
                hand = on.binary_search_by_key(&number, |s| s.0).ok().and_then(|place| on.get(place).copied());
            }
            if let Some((_, on)) = hand.filter(|(_, on)| point.at >= *on) {
                course.push(Look { at: point.at - on, voltage: point.volts, current: point.current, limiting: None });
            }
        })?;
        if let Some((last, _)) = hand.filter(|_| !course.is_empty()) {
            take(last, &course);
        }
        Ok(())
    }
}
