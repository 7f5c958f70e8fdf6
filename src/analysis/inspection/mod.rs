//! Incoming inspection: parts of a lot, each against its limits; control parts over
//! time; the lot as a whole.
//!
//! - [`outcome`]: what was read against what may be, by the guard-banded rule; the worst
//!   of several quantities decides.
//! - [`chart`]: Shewhart's chart of a control part, with the rules for runs.
//! - [`spread`]: how a lot is distributed: outliers, groups, and against earlier lots.
//! - [`lot`]: which trial of a part counts, and the parts counted.
//! - [`decision`]: accepted, refused or on hold.

pub mod chart;
pub mod decision;
pub mod lot;
pub mod outcome;
pub mod spread;

pub use outcome::{Charted, Measure, Outcome, Seen};
