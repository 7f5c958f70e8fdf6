//! What happened: written as it happens, read afterwards.
//!
//! One run, one folder, one SQLite file in it (`schema.sql` says what each field
//! means), and `traffic.log` beside it. Holds always: rows are committed at the
//! latest 50 ms after they were written; rows are only ever added, and every batch of
//! them carries a hash that chains to the one before; after a failed write every further call
//! gives the same error; a value that is not there is NULL.

mod aside;
pub mod catalogue;
pub mod export;
mod good;
pub mod history;
mod ledger;
mod lot;
mod mark;
mod notes;
mod open;
mod read;
mod readings;
mod rows;
mod runs;
mod seal;
mod soak;
#[cfg(test)]
mod tests;
mod traffic;
mod verify;
mod write;

pub use good::{GOOD, Good, GoodRun, add_good, good, good_units};
pub use lot::{
    ControlRow, Doubtful, DrawnRow, EarlierLot, LotEnd, LotRow, MeasureRow, PartRow, SkipRow, TrialBegin, TrialRow, earlier_lots,
};
pub use read::Run;
pub use readings::Point;
pub use rows::{
    EventRow, FileRow, FindingRow, Header, InstrumentRow, LeakageRow, PreflightRow, ReadingRow, ResumedRow, SettingRow, StageRow,
    StartBegin, StartEnd, StartRow,
};
pub use runs::{find, new_folder};
pub use seal::sha256;
pub use traffic::{RoleTraffic, TrafficLog};
pub use verify::{Integrity, batches_since, verify};
pub use write::{Durability, Record, TOOL};

/// The record's file in a run's folder.
pub const FILE: &str = "run.sqlite";
/// The report's file in a run's folder.
pub const REPORT: &str = "report.html";
/// The traffic's file in a run's folder.
pub const TRAFFIC: &str = "traffic.log";
/// What the guard did, where it had to do something.
pub const GUARD: &str = "guard.log";

const SCHEMA: &str = include_str!("schema.sql");
const VERSION: i64 = 4;

/// Why a record could not be written or read.
#[derive(Clone, Debug, thiserror::Error)]
pub enum RecordError {
    /// SQLite's reason.
    #[error("{what}: {why}")]
    Store {
        /// What was being done.
        what: String,
        /// SQLite's words.
        why: String,
    },
    /// The folder or a file in it.
    #[error("{path}: {why}")]
    File {
        /// Which.
        path: String,
        /// The system's words.
        why: String,
    },
    /// It is not as it was written.
    #[error("{path} is not as it was written: {what}; `rampart verify` says more")]
    Damaged {
        /// Which file.
        path: String,
        /// The first damage.
        what: String,
    },
    /// There is something there already.
    #[error("{0} exists already; a record is never written over")]
    Exists(String),
    /// No run of that name.
    #[error("{0}")]
    NoRun(String),
}

impl RecordError {
    fn store(what: &str) -> impl Fn(rusqlite::Error) -> Self + '_ {
        move |error| Self::Store { what: what.to_owned(), why: error.to_string() }
    }

    fn file(path: &std::path::Path) -> impl Fn(std::io::Error) -> Self + '_ {
        move |error| Self::File { path: path.display().to_string(), why: error.to_string() }
    }
}
