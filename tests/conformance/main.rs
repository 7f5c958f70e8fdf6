//! The stand-ins' SCPI side against IEEE 488.2-1992 and SCPI-1999: bytes sent, bytes
//! expected, and where that stands. The client shares no code with the crate; what it
//! talks to is the binary, over TCP.
//!
//! Clauses are those of the standards; "from memory" where no print of them was at hand.
//! Texts of errors are those of SCPI-99 volume 2, 21.8 (from memory).

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test that cannot go on stops")]

mod client;
mod data;
mod errors;
mod exchange;
mod headers;
mod instruments;
mod status;
