//! Two runs, or a run and good units, against each other: conditions first, then rates,
//! currents, courses of starts, ramps and leakage.
//!
//! Holds always: what was measured under other conditions proves nothing; a difference
//! counts where it is larger than its expanded uncertainty and than what good units are
//! apart; what was not measured on both sides is not compared.

pub mod condition;
pub mod course;
pub mod current;
pub mod distribution;
pub mod feature;
pub mod leakage;
pub mod ramp;
pub mod rate;
pub mod say;
pub mod text;

pub use super::ramp::compare::ALIKE;
