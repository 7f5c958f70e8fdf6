//! Columns and cells: what stands in a table, whatever the format.

use super::super::{RecordError, Run};
use rusqlite::types::ValueRef;
use std::borrow::Cow;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Whole numbers of 64 bits.
    Integer,
    /// Numbers of double precision.
    Real,
    /// Texts.
    Text,
    /// Moments of the wall clock in UTC, from seconds of the run, to the microsecond.
    Moment,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its name; a quantity's ends in its unit.
    pub name: String,
    /// What it holds.
    pub kind: Kind,
}

impl Column {
    /// The unit at the end of its name, by its symbol.
    pub fn unit(&self) -> Option<&'static str> {
        const UNITS: [&str; 10] = ["s", "V", "A", "ohm", "F", "W", "J", "Hz", "degC", "K"];
        let (_, last) = self.name.rsplit_once('_')?;
        UNITS.into_iter().find(|u| *u == last && self.kind == Kind::Real)
    }
}

/// What stands in a row under a column.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cell<'r> {
    /// Nothing.
    Missing,
    /// A whole number.
    Integer(i64),
    /// A number.
    Real(f64),
    /// A text.
    Text(Cow<'r, str>),
    /// Microseconds since 1970 in UTC.
    Moment(i64),
}

/// From seconds of the run to the wall clock: each stretch has its own beginning.
pub(super) struct Clock {
    /// From which second of the run on, and the wall clock then in microseconds.
    stretches: Vec<(f64, i64)>,
}

impl Clock {
    pub(super) fn of(run: &Run) -> Result<Self, RecordError> {
        let mut stretches = Vec::new();
        stretches.extend(microseconds(&run.began).map(|wall| (f64::NEG_INFINITY, wall)));
        stretches.extend(run.resumed()?.iter().filter_map(|r| Some((r.at.0, microseconds(&r.wall)?))));
        Ok(Self { stretches })
    }

    /// The wall clock at a second of the run.
    pub(super) fn at(&self, seconds: f64) -> Option<i64> {
        let (from, wall) = self.stretches.iter().rfind(|s| s.0 <= seconds)?;
        let since = if from.is_finite() { seconds - from } else { seconds };
        // Beyond what a date can be it is none.
        let micro = (since * 1e6).round();
        (micro.abs() < 1e17).then(|| wall + micro as i64)
    }

    pub(super) fn cell<'r>(&self, kind: Kind, value: ValueRef<'r>) -> Cell<'r> {
        match (kind, value) {
            (_, ValueRef::Null) => Cell::Missing,
            (Kind::Integer, ValueRef::Integer(i)) => Cell::Integer(i),
            (Kind::Real, ValueRef::Real(r)) => Cell::Real(r),
            (Kind::Real, ValueRef::Integer(i)) => Cell::Real(i as f64),
            (Kind::Moment, ValueRef::Real(r)) => self.at(r).map_or(Cell::Missing, Cell::Moment),
            (_, ValueRef::Text(t) | ValueRef::Blob(t)) => Cell::Text(String::from_utf8_lossy(t)),
            (_, ValueRef::Integer(i)) => Cell::Text(i.to_string().into()),
            (_, ValueRef::Real(r)) => Cell::Text(number(r).into()),
        }
    }
}

/// A moment as the record keeps it, in microseconds.
fn microseconds(text: &str) -> Option<i64> {
    text.parse::<jiff::Timestamp>().ok().map(jiff::Timestamp::as_microsecond)
}

/// A moment in RFC 3339, with microseconds and the offset of UTC.
pub(super) fn moment(microseconds: i64) -> String {
    jiff::Timestamp::from_microsecond(microseconds)
        .map(|at| at.strftime("%Y-%m-%dT%H:%M:%S.%6f+00:00").to_string())
        .unwrap_or_default()
}

/// The shortest digits that give the same bits back, point as the decimal sign;
/// `inf` and `-inf` where it has no end.
pub(super) fn number(value: f64) -> String {
    if value == 0.0 || !value.is_finite() || (1e-5..1e16).contains(&value.abs()) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}
