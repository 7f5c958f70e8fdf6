//! Carries out a plan: one file a kind of stage, no arithmetic beyond bookkeeping.

mod progress;

pub use progress::{Progress, Watcher};
