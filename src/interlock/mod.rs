//! Power is a permission: limits, the gate that every reading passes, trips, and
//! the permit without which nothing is energised.
//!
//! Leaves to others: what the supply's messages are (`instrument`), what is done
//! with the power (`runner`).

mod gate;
pub mod guard;
mod journal;
mod lock;
mod open;
mod station;
#[cfg(test)]
mod tests;
mod trip;
mod wake;

pub use gate::{Bounds, Gate};
pub use guard::Guard;
pub use journal::Journal;
pub use lock::{Lock, NoLock};
pub use open::{Opened, open_meter, open_supply, reach};
pub use station::{Assured, Energised, Observation, Opening, Papers, Permit, Prepared, Reopen, Request, Station, Supply, told};
pub use trip::{Cause, Halt, Trip};
pub use wake::Clocks;
