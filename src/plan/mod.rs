//! What shall be done to the unit (a plan), on which instruments (a bench), and
//! whether it can be: everything that can be known before anything is energised.
//!
//! A plan names roles, never addresses. Leaves to others: carrying it out
//! (`runner`), keeping it within its limits (`interlock`).

mod bench;
mod check;
mod electrics;
mod front;
mod inspection;
mod lot;
mod metering;
mod model;
mod quirks;
mod ramp;
mod read;
mod sampling;
mod setup;
#[cfg(test)]
mod tests;

pub use bench::{Bench, Leads, MeterSeat, SupplySeat, Wiring};
pub use check::{Checked, Estimate, Passed, StageEstimate, check, check_lot};
pub use electrics::SupplyElectrics;
pub use front::{AtPanel, Coupling, Key, PowerOn};
pub use inspection::{BAD, CLEANED, Control, Controls, EMPTY, GOOD, Inspection, Often, OnDrift};
pub use lot::Lot;
pub use metering::{AutoRange, Hand, Holds, Hum, Memory, MeterInput, NOWHERE, THRESHOLDS, Turn, Zero};
pub use model::{
    Ask, Ceiling, Foretold, Interlock, Leakage, LeakageLimit, Limits, Log, Node, OffTimes, OnFault, Order, Part, PartKind, Plan,
    Retry, SelfCheck, Spacing, Stage, StageKind, Start, State, TripCause, UnitUnderTest,
};
pub use quirks::{Quirks, Whose};
pub use ramp::{Ramp, Way};
pub use sampling::{LotBefore, Sampled};
pub use setup::{MeterSetup, accepted, limit_of, meter_setup};
