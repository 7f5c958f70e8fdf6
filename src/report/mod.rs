//! To come.

use crate::record::RecordError;
use std::path::{Path, PathBuf};

/// Writes the report into a run's folder and returns its path.
///
/// # Errors
/// The record's and the system's.
pub fn write(folder: &Path) -> Result<PathBuf, RecordError> {
    Ok(folder.join(crate::record::REPORT))
}
