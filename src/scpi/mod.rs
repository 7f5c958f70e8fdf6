//! Messages of IEEE 488.2 and SCPI-1999, in both directions.
//!
//! - A driver emits commands ([`emit`], [`header`]) and parses what comes back
//!   ([`response`], [`error_queue`], [`status`]); [`message_end`] tells it where
//!   a response ends.
//! - A device parses program messages ([`program`]) and emits responses.
//!
//! The two sides share the grammar of the data elements (`element`) and nothing
//! else. Everything is a pure function of bytes: no socket, no clock, no log.
//! Holds always: no input panics, none makes more than 100 bytes for each of its
//! own, and what is not a number never becomes one.

mod element;
pub mod emit;
pub mod error_queue;
mod framing;
pub mod header;
pub mod program;
pub mod response;
pub mod status;

pub use framing::message_end;
