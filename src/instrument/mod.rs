//! Instruments: how each speaks ([`profile`]), the conversation with it
//! ([`session`]), and what a supply and a meter do.
//!
//! A reading is born here, once, with its times, its uncertainty and its flags.
//! Holds always: one query at a time; an answer that came late is never taken
//! for the next one; a write that can be read back is read back.

mod error;
mod meter;
pub mod profile;
mod reading;
mod reply;
pub mod session;
mod supply;
mod template;

pub use error::{Fault, InstrumentError};
pub use meter::Meter;
pub use reading::{Measurand, Reading, Regulation, Role, Sample, Snapshot};
pub use supply::{Asked, Belief, Found, OffProof, SetPoint, Supply};
