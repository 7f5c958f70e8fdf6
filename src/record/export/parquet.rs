//! Apache Parquet with Arrow's types: Int64, Float64, Utf8, Timestamp in microseconds and
//! UTC; all may be null. A column's metadata has its unit, the file's what it came from.
//! Pages are compressed with Snappy. A group of rows is written as soon as it is full.

use super::Sheet;
use super::columns::{Cell, Column, Kind};
use arrow_array::builder::{Float64Builder, Int64Builder, StringBuilder, TimestampMicrosecondBuilder};
use arrow_array::{ArrayRef, RecordBatch};
use arrow_schema::{DataType, Field, Schema, TimeUnit};
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use std::collections::HashMap;
use std::io::{Error, Result, Write};
use std::sync::Arc;

/// Rows that are handed over together, and rows of a group.
const BATCH: usize = 4096;
const GROUP: usize = 65_536;

pub(super) struct Parquet<W: Write + Send> {
    writer: ArrowWriter<W>,
    schema: Arc<Schema>,
    columns: Vec<Builder>,
    rows: usize,
}

enum Builder {
    Integer(Int64Builder),
    Real(Float64Builder),
    Text(StringBuilder),
    Moment(TimestampMicrosecondBuilder),
}

impl Builder {
    fn of(kind: Kind) -> Self {
        match kind {
            Kind::Integer => Builder::Integer(Int64Builder::new()),
            Kind::Real => Builder::Real(Float64Builder::new()),
            Kind::Text => Builder::Text(StringBuilder::new()),
            Kind::Moment => Builder::Moment(TimestampMicrosecondBuilder::new().with_timezone("UTC")),
        }
    }

    /// What does not fit its column is missing: the columns' kinds are those of the
    /// record's strict tables, so there is none such.
    fn push(&mut self, cell: &Cell<'_>) {
        match (self, cell) {
            (Builder::Integer(b), Cell::Integer(i)) => b.append_value(*i),
            (Builder::Integer(b), _) => b.append_null(),
            (Builder::Real(b), Cell::Real(r)) => b.append_value(*r),
            (Builder::Real(b), _) => b.append_null(),
            (Builder::Text(b), Cell::Text(t)) => b.append_value(t),
            (Builder::Text(b), _) => b.append_null(),
            (Builder::Moment(b), Cell::Moment(at)) => b.append_value(*at),
            (Builder::Moment(b), _) => b.append_null(),
        }
    }

    fn take(&mut self) -> ArrayRef {
        match self {
            Builder::Integer(b) => Arc::new(b.finish()),
            Builder::Real(b) => Arc::new(b.finish()),
            Builder::Text(b) => Arc::new(b.finish()),
            Builder::Moment(b) => Arc::new(b.finish()),
        }
    }
}

fn field(column: &Column) -> Field {
    let kind = match column.kind {
        Kind::Integer => DataType::Int64,
        Kind::Real => DataType::Float64,
        Kind::Text => DataType::Utf8,
        Kind::Moment => DataType::Timestamp(TimeUnit::Microsecond, Some("UTC".into())),
    };
    let unit = column.unit().map(|unit| ("unit".to_owned(), unit.to_owned()));
    Field::new(&column.name, kind, true).with_metadata(unit.into_iter().collect::<HashMap<_, _>>())
}

impl<W: Write + Send> Parquet<W> {
    pub(super) fn begin(sink: W, columns: &[Column], about: &[(&str, String)]) -> Result<Self> {
        let fields: Vec<Field> = columns.iter().map(field).collect();
        let schema = Arc::new(Schema::new(fields));
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_max_row_group_row_count(Some(GROUP))
            .set_created_by(super::super::TOOL.to_owned())
            .set_key_value_metadata(Some(
                about.iter().map(|(k, v)| KeyValue::new((*k).to_owned(), v.clone())).collect::<Vec<_>>(),
            ))
            .build();
        let writer = ArrowWriter::try_new(sink, schema.clone(), Some(properties)).map_err(Error::other)?;
        Ok(Self { writer, schema, columns: columns.iter().map(|c| Builder::of(c.kind)).collect(), rows: 0 })
    }

    fn flush(&mut self) -> Result<()> {
        let arrays: Vec<ArrayRef> = self.columns.iter_mut().map(Builder::take).collect();
        self.rows = 0;
        let batch = RecordBatch::try_new(self.schema.clone(), arrays).map_err(Error::other)?;
        self.writer.write(&batch).map_err(Error::other)
    }
}

impl<W: Write + Send> Sheet for Parquet<W> {
    fn row(&mut self, cells: &[Cell<'_>]) -> Result<()> {
        self.columns.iter_mut().zip(cells).for_each(|(column, cell)| column.push(cell));
        self.rows += 1;
        if self.rows == BATCH { self.flush() } else { Ok(()) }
    }

    fn end(mut self: Box<Self>) -> Result<()> {
        if self.rows > 0 {
            self.flush()?;
        }
        self.writer.close().map(|_| ()).map_err(Error::other)
    }
}
