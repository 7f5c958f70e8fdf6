//! Stand-in instruments and a made-up unit, so that a plan is tried before it
//! meets a board that exists once.
//!
//! The stand-ins speak a profile's dialect from the device's side, with code of
//! their own: a fault of the drivers must not hide in its double. The unit is
//! physics (`world`); its true cause stands in the unit file.
//!
//! Holds always: one seed, one outcome; nothing is computed while nobody looks.

mod board;
pub mod circuit;
mod lan;
mod message;
mod meter;
mod panel;
mod rig;
mod serve;
mod supply;
#[cfg(test)]
mod tests;
mod unit;
mod world;

pub use lan::{serve_hislip, serve_portmapper, serve_vxi11};
pub use panel::Panel;
pub use rig::{Rig, SupplyState, Switch};
pub use serve::{patch, serve, serve_tcp, serve_terminal};
pub use unit::{Remark, Truth, UnitFile};
