//! A record as tables for other programs: CSV, JSON Lines, Parquet; and what was judged
//! as JUnit XML.
//!
//! One table a kind of thing, one row a thing, the unit at the end of a column's name
//! (`current_A`). Every format writes the same cells: a number keeps its bits, a moment is
//! given in UTC beside the seconds of the run, what is missing is missing, and why stands
//! in a column of its own. Rows go through one at a time: memory does not grow with the
//! record.

mod columns;
mod csv;
mod json;
mod junit;
#[cfg(feature = "parquet")]
mod parquet;
mod tables;
#[cfg(test)]
mod tests;

pub use columns::{Column, Kind};
pub use junit::junit;
pub use tables::{Table, tables};

use super::{RecordError, Run};
use columns::{Cell, Clock};
use std::io::Write;

/// A form in which tables are written, one file each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// RFC 4180: CRLF, quoted where it must be, UTF-8. `Texts` says what becomes of
    /// texts that a spreadsheet would take for a formula.
    Csv(Texts),
    /// One JSON object a line, in UTF-8.
    JsonLines,
    /// Apache Parquet with Arrow's schema; units in the columns' metadata.
    Parquet,
}

/// Texts in CSV that begin with `=`, `+`, `-`, `@`, a tab or a line break: a spreadsheet
/// computes them, and what an instrument calls itself must not be computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Texts {
    /// Get a `'` in front; so does a text that begins with one. Numbers never do.
    Guarded,
    /// Stand as they are.
    Plain,
}

impl Format {
    /// What files of it end in.
    pub fn extension(self) -> &'static str {
        match self {
            Format::Csv(_) => "csv",
            Format::JsonLines => "jsonl",
            Format::Parquet => "parquet",
        }
    }
}

/// What takes a table's rows.
trait Sheet {
    fn row(&mut self, cells: &[Cell<'_>]) -> std::io::Result<()>;
    fn end(self: Box<Self>) -> std::io::Result<()>;
}

/// Writes one table of a record; returns how many rows it has.
///
/// # Errors
/// SQLite's, and the sink's under the name `to`.
pub fn export<'w>(run: &Run, table: &Table, format: Format, sink: impl Write + Send + 'w, to: &str) -> Result<u64, RecordError> {
    let failed = RecordError::store("the record cannot be read");
    let file = RecordError::file(std::path::Path::new(to));
    let clock = Clock::of(run)?;
    #[cfg(feature = "parquet")]
    let about = [
        ("table", table.name.clone()),
        ("run", run.folder().file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default()),
        ("kind", run.kind.clone()),
        ("title", run.title.clone()),
        ("unit under test", run.unit.clone()),
        ("tool", super::TOOL.to_owned()),
        ("fingerprint", run.fingerprint()?),
    ];
    let mut sheet: Box<dyn Sheet + 'w> = match format {
        Format::Csv(texts) => Box::new(csv::Csv::begin(sink, &table.columns, texts).map_err(&file)?),
        Format::JsonLines => Box::new(json::Lines::begin(sink, &table.columns)),
        #[cfg(feature = "parquet")]
        Format::Parquet => Box::new(parquet::Parquet::begin(sink, &table.columns, &about).map_err(&file)?),
        #[cfg(not(feature = "parquet"))]
        Format::Parquet => {
            let why = "this build writes no Parquet: it was made without the feature `parquet`".to_owned();
            return Err(RecordError::File { path: to.to_owned(), why });
        }
    };
    let mut statement = run.store.prepare(&table.sql).map_err(&failed)?;
    let mut rows = statement.query([]).map_err(&failed)?;
    let mut count = 0;
    while let Some(row) = rows.next().map_err(&failed)? {
        let mut cells = Vec::with_capacity(table.columns.len());
        for (place, column) in table.columns.iter().enumerate() {
            cells.push(clock.cell(column.kind, row.get_ref(place).map_err(&failed)?));
        }
        sheet.row(&cells).map_err(&file)?;
        count += 1;
    }
    sheet.end().map_err(&file)?;
    Ok(count)
}
