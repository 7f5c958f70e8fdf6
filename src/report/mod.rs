//! The report: one HTML file that needs nothing else, from a record.
//!
//! Findings first, then what was done, by which instruments, the plots, the
//! tables, the cautions. Read on a phone, printed on paper, legible without
//! colour: what matters is told by shape and word.

mod axis;
pub mod compare;
pub mod handover;
mod history;
mod leakage;
mod lot;
mod marks;
mod page;
mod plot;
mod ramp;
mod sampling;
mod signature;
mod stages;

pub use history::{History, Table};

use crate::record::{REPORT, RecordError, Run};
use std::path::{Path, PathBuf};

/// How pages and pictures look.
const STYLE: &str = include_str!("style.css");

/// Renders the report of a run.
///
/// # Errors
/// The record's.
pub fn render(run: &Run) -> Result<String, RecordError> {
    Ok(page::page(run)?.into_string())
}

/// Writes the report into a run's folder and returns its path.
///
/// # Errors
/// The record's and the system's.
pub fn write(folder: &Path) -> Result<PathBuf, RecordError> {
    let run = Run::open(folder)?;
    let path = folder.join(REPORT);
    let failed = |error: std::io::Error| RecordError::File { path: path.display().to_string(), why: error.to_string() };
    std::fs::write(&path, render(&run)?).map_err(failed)?;
    Ok(path)
}

/// The operating characteristic of a sampling plan for a lot of so many parts, as SVG.
pub fn operating_characteristic(plan: crate::analysis::sampling::Plan, lot: u64) -> String {
    sampling::plot(plan, lot).alone(STYLE).into_string()
}
