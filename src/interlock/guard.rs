//! The guard: a second process that switches off when the one that runs a plan dies.
//!
//! It is the same program, started before anything is opened, in a session of its
//! own, at the end of a pipe. [`Guard`] is the run's end of that pipe: it beats while
//! the run is alive and looks at what it has energised, and says farewell once the
//! output has been verified off. [`watch`] is the guard's own life, and
//! [`switch_off`] what it does when the farewell does not come; `rampart off` does
//! the same.
//!
//! Holds always: no farewell without an output that was seen to be off; a run that
//! is alive but no longer looks counts as dead; the guard says nothing to an
//! instrument before it has to.

mod post;
mod switch_off;
mod watch;

pub use post::Guard;
pub use switch_off::switch_off;
pub use watch::{Brief, Lost, VERB, watch};

/// What the run says while it is alive.
const BEAT: &str = "beat";
/// What it says when the output is off.
const FAREWELL: &str = "farewell";
/// What the guard says once it knows its bench.
pub const READY: &str = "ready";
