//! `rampart export`: a record for other programs.

use super::common::complaint;
use crate::record::export::{Format, Texts, export, junit, tables};
use crate::record::{self, RecordError, Run};
use crate::runner::Exit;
use crate::view::{errln, outln};
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Arguments of `export`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// A folder's name, its unambiguous beginning, a path, or `last`
    run: String,
    /// In which form
    #[arg(long, value_enum)]
    format: Form,
    /// Only these tables, as `readings,starts`; all where it is left out
    #[arg(long, value_delimiter = ',')]
    table: Vec<String>,
    /// The folder to write into, made where there is none; `-` writes one table, junit or html to standard output
    #[arg(long, default_value = "export")]
    out: PathBuf,
    /// CSV: leave texts that a spreadsheet would take for a formula as they are
    #[arg(long)]
    plain_texts: bool,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
}

/// The forms, as they are called on the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum Form {
    /// A table a file, RFC 4180
    Csv,
    /// JSON Lines: a table a file, a row a line
    Jsonl,
    /// Apache Parquet: a table a file
    Parquet,
    /// What was judged as JUnit XML, for build servers
    Junit,
    /// The report, one HTML file, laid out for A4 as well
    Html,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    match written(arguments) {
        Ok(()) => Exit::Within,
        Err(why) => complaint(&why),
    }
}

fn written(a: &Arguments) -> Result<(), String> {
    let words = |e: RecordError| e.to_string();
    let run = record::find(&a.logs, &a.run).and_then(|folder| Run::open(&folder)).map_err(words)?;
    let format = match a.format {
        Form::Csv if a.plain_texts => Format::Csv(Texts::Plain),
        Form::Csv => Format::Csv(Texts::Guarded),
        Form::Jsonl => Format::JsonLines,
        Form::Parquet => Format::Parquet,
        Form::Junit => return whole(a, "junit.xml", &junit(&run).map_err(words)?),
        Form::Html => return whole(a, record::REPORT, &crate::report::render(&run).map_err(words)?),
    };
    let mut all = tables(&run).map_err(words)?;
    if let Some(unknown) = a.table.iter().find(|name| !all.iter().any(|t| t.name == **name)) {
        let names: Vec<&str> = all.iter().map(|t| t.name.as_str()).collect();
        return Err(format!("there is no table {unknown:?}; there are {}", names.join(", ")));
    }
    all.retain(|table| a.table.is_empty() || a.table.contains(&table.name));
    if is_standard_output(&a.out) {
        let [table] = all.as_slice() else { return Err("to standard output goes one table: name it with --table".into()) };
        return export(&run, table, format, std::io::stdout(), "standard output").map(|_| ()).map_err(words);
    }
    for table in &all {
        let name = format!("{}.{}", table.name, format.extension());
        let mut rows = 0;
        let path = into(&a.out, &name, |file, path| {
            rows = export(&run, table, format, file, &path.display().to_string()).map_err(words)?;
            Ok(())
        })?;
        outln!("{}  {rows} {}", path.display(), if rows == 1 { "row" } else { "rows" });
    }
    Ok(())
}

fn is_standard_output(path: &Path) -> bool {
    path == Path::new("-")
}

/// One text that is a file of its own.
fn whole(a: &Arguments, name: &str, text: &str) -> Result<(), String> {
    if !a.table.is_empty() {
        return Err("--table belongs to csv, jsonl and parquet".into());
    }
    if is_standard_output(&a.out) {
        return std::io::stdout().write_all(text.as_bytes()).map_err(|e| format!("standard output: {e}"));
    }
    let path =
        into(&a.out, name, |mut file, path| file.write_all(text.as_bytes()).map_err(|e| format!("{}: {e}", path.display())))?;
    outln!("{}", path.display());
    Ok(())
}

/// Writes a file beside its place and moves it there when it is whole.
fn into(folder: &Path, name: &str, write: impl FnOnce(File, &Path) -> Result<(), String>) -> Result<PathBuf, String> {
    let (path, part) = (folder.join(name), folder.join(format!("{name}.part")));
    let words = |error: std::io::Error| format!("{}: {error}", path.display());
    std::fs::create_dir_all(folder).map_err(words)?;
    let written = File::create(&part).map_err(words).and_then(|file| write(file, &part));
    if let Err(why) = written {
        if let Err(left) = std::fs::remove_file(&part) {
            errln!("{} is left there: {left}", part.display());
        }
        return Err(why);
    }
    std::fs::rename(&part, &path).map_err(words)?;
    Ok(path)
}
