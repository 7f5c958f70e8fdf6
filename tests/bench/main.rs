//! Whole runs on the rehearsal bench, through the public library: what ends a run
//! ends it with the output off, and the record says what happened. The clock is
//! paused: nothing sleeps, and one seed gives one outcome. Units are invented.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a test that cannot go on stops"
)]

mod changed;
mod claims;
mod compared;
mod dialects;
mod faults;
mod lively;
mod lots;
mod marks;
mod metering;
mod outcomes;
mod preflight;
mod quirks;
mod ramps;
mod report;
mod resumed;
mod safety;
mod self_check;
mod slept;
mod station;
mod support;
mod trips;
mod units;
