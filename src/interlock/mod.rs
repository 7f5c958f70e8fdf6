//! Power is a permission: limits, the gate that every reading passes, trips, and
//! the permit without which nothing is energised.
//!
//! Leaves to others: what the supply's messages are (`instrument`), what is done
//! with the power (`runner`). The guard, a second process that switches off
//! when this one dies, is not here yet: a run that is killed outright leaves the
//! output as it is.

mod gate;
mod journal;
mod station;
#[cfg(test)]
mod tests;
mod trip;

pub use gate::{Bounds, Gate};
pub use journal::Journal;
pub use station::{Energised, Observation, Permit, Prepared, Request, Station, Supply, told};
pub use trip::{Cause, Halt, Trip};
