//! The catalogue: what a folder of runs holds, quickly, from an index beside them.
//!
//! The index is a copy. Each look compares it with the folders' names and the files'
//! times, reads anew what has changed and forgets what is gone; where it is damaged, of
//! another version, or cannot be written, it is made anew, in memory if need be. So no
//! answer depends on it but in the time that it takes.

mod entry;
mod index;

pub(super) use entry::parts;
pub use entry::{Entry, Filter, PartEntry, State};

use super::RecordError;
use index::Index;
use std::path::Path;

/// The index's file in a folder of runs.
pub const INDEX: &str = "index.sqlite";

/// How the index is brought up to date.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refresh {
    /// What has changed is read.
    Changed,
    /// All is forgotten and read anew.
    All,
}

/// The runs that a filter lets through, oldest first.
///
/// # Errors
/// The folder's.
pub fn runs(logs: &Path, refresh: Refresh, filter: &Filter) -> Result<Vec<Entry>, RecordError> {
    let marks = index::marks(logs)?;
    if marks.is_empty() && !logs.join(INDEX).exists() {
        return Ok(Vec::new());
    }
    let from = |mut index: Index| {
        index.update(logs, &marks)?;
        index.runs(logs, filter)
    };
    match Index::open(&logs.join(INDEX), refresh).and_then(from) {
        Ok(found) => Ok(found),
        Err(why) => {
            tracing::info!("the index is not used: {why}");
            Index::in_memory().and_then(from).map_err(RecordError::store("the runs cannot be listed"))
        }
    }
}

#[cfg(test)]
mod tests;
