//! JSON Lines: every row an object (RFC 8259) with the columns' names, in their order; a
//! missing cell is `null`. JSON has no infinity: it stands as the text `"inf"` or `"-inf"`.

use super::Sheet;
use super::columns::{Cell, Column, moment, number};
use std::io::{BufWriter, Result, Write};

pub(super) struct Lines<W: Write> {
    sink: BufWriter<W>,
    /// `{"name":` of the first column, `,"name":` of the others.
    names: Vec<String>,
}

impl<W: Write> Lines<W> {
    pub(super) fn begin(sink: W, columns: &[Column]) -> Self {
        let named = |(place, column): (usize, &Column)| {
            format!("{}{}:", if place == 0 { '{' } else { ',' }, serde_json::Value::from(column.name.as_str()))
        };
        Self { sink: BufWriter::new(sink), names: columns.iter().enumerate().map(named).collect() }
    }
}

impl<W: Write> Sheet for Lines<W> {
    fn row(&mut self, cells: &[Cell<'_>]) -> Result<()> {
        for (name, cell) in self.names.iter().zip(cells) {
            self.sink.write_all(name.as_bytes())?;
            match cell {
                Cell::Missing => self.sink.write_all(b"null")?,
                Cell::Integer(i) => write!(self.sink, "{i}")?,
                Cell::Real(r) if r.is_finite() => serde_json::to_writer(&mut self.sink, r)?,
                Cell::Real(r) => write!(self.sink, "\"{}\"", number(*r))?,
                Cell::Moment(at) => write!(self.sink, "\"{}\"", moment(*at))?,
                Cell::Text(text) => serde_json::to_writer(&mut self.sink, text)?,
            }
        }
        self.sink.write_all(b"}\n")
    }

    fn end(mut self: Box<Self>) -> Result<()> {
        self.sink.flush()
    }
}
