//! The binary over real TCP, in real time: trips, cut wires, signals, and a kill
//! that nothing can catch. Each looks at the stand-in's own state, from its own
//! process. Where a wait is needed it is for something to happen, not for a time;
//! the kills come at moments drawn from a seed.

#![cfg(unix)]
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test that cannot go on stops"
)]

mod ends;
mod guard;
mod kill;
mod kills;
mod lot;
mod resume;
mod support;
mod terminal;
#[path = "../cli/support.rs"]
#[allow(dead_code, reason = "only its plan and its unit are used here")]
mod texts;
