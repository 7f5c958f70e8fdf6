//! CSV as in RFC 4180: comma, CRLF after every line, the first line the names; a quote
//! inside quotes is doubled. A missing cell is empty, an empty text is `""`.

use super::columns::{Cell, Column, moment, number};
use super::{Sheet, Texts};
use std::io::{BufWriter, Result, Write};

pub(super) struct Csv<W: Write> {
    sink: BufWriter<W>,
    texts: Texts,
}

impl<W: Write> Csv<W> {
    pub(super) fn begin(sink: W, columns: &[Column], texts: Texts) -> Result<Self> {
        let mut made = Self { sink: BufWriter::new(sink), texts };
        let names: Vec<Cell<'_>> = columns.iter().map(|c| Cell::Text(c.name.as_str().into())).collect();
        made.row(&names)?;
        Ok(made)
    }

    fn text(&mut self, text: &str) -> Result<()> {
        let computed = |c: char| matches!(c, '=' | '+' | '-' | '@' | '\t' | '\r' | '\n' | '\'');
        let guard = if self.texts == Texts::Guarded && text.starts_with(computed) { "'" } else { "" };
        let plain = !text.is_empty()
            && !text.contains([',', '"', '\r', '\n'])
            && !text.starts_with([' ', '\t'])
            && !text.ends_with([' ', '\t']);
        if plain {
            return write!(self.sink, "{guard}{text}");
        }
        write!(self.sink, "\"{guard}{}\"", text.replace('"', "\"\""))
    }
}

impl<W: Write> Sheet for Csv<W> {
    fn row(&mut self, cells: &[Cell<'_>]) -> Result<()> {
        for (place, cell) in cells.iter().enumerate() {
            if place > 0 {
                self.sink.write_all(b",")?;
            }
            match cell {
                Cell::Missing => {}
                Cell::Integer(i) => write!(self.sink, "{i}")?,
                Cell::Real(r) => self.sink.write_all(number(*r).as_bytes())?,
                Cell::Moment(at) => self.sink.write_all(moment(*at).as_bytes())?,
                Cell::Text(text) => self.text(text)?,
            }
        }
        self.sink.write_all(b"\r\n")
    }

    fn end(mut self: Box<Self>) -> Result<()> {
        self.sink.flush()
    }
}
