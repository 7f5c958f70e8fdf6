//! Circuits in time: a solver for small circuits, in the way of Berkeley SPICE.
//!
//! Knows nothing of instruments, of clocks or of the bench; everything is at the
//! circuit's own time, which begins at 0.
//!
//! ```
//! use rampart::rehearsal::circuit::{Circuit, GROUND, Transient};
//! use rampart::units::{Farads, Ohms, Seconds, Volts};
//!
//! let mut circuit = Circuit::new();
//! let (rail, node) = (circuit.node("rail"), circuit.node("arm"));
//! let supply = circuit.voltage("supply", rail, GROUND, Volts(9.0));
//! let lead = circuit.resistor("lead", rail, node, Ohms(100e3));
//! circuit.capacitor("c7", node, GROUND, Farads(4.7e-6));
//!
//! let mut now = Transient::new(circuit, 1)?;        // at its operating point: charged
//! now.set_source_voltage(supply, Volts(0.0));        // the output is switched to 0 V
//! now.advance(Seconds(0.47))?;                       // one time constant later
//! assert!((now.voltage(node).0 - 9.0 * (-1.0_f64).exp()).abs() < 1e-4);
//! let before = now.charge(lead);
//! now.advance(Seconds(3600.0))?;                     // an hour: a few dozen steps
//! assert!((now.charge(lead) - before).0 < 0.0);      // it flowed back
//! # Ok::<(), rampart::rehearsal::circuit::Failure>(())
//! ```
//!
//! - [`Circuit`] is put together from parts between named nodes; [`Node`] and [`Part`]
//!   stay valid for the [`Transient`] that is made of it.
//! - [`Transient::advance`] moves on. Voltages, currents, and their integrals
//!   ([`Transient::charge`], [`Transient::volt_seconds`]) are those of the moment that
//!   was asked for, exact to the tolerance of the steps ([`Accuracy`]), wherever it lies
//!   in a step. So looking often is cheap, and the mean over any window is right.
//! - `set_...`, [`Transient::wire`] and [`Transient::change_device`] change something now.
//! - [`Device`] is a part of one's own: currents as a function of voltages, states that
//!   change at moments.
//!
//! Holds always: the same circuit, seed, moments and changes give the same figures, bit
//! for bit, whether or not somebody looked in between.

mod change;
mod device;
mod diode;
mod drive;
mod failure;
mod gate;
mod load;
mod look;
mod matrix;
mod netlist;
mod newton;
mod parts;
mod run;
mod solid;
mod step;
mod system;
mod tableau;
#[cfg(test)]
mod tests;
mod transient;
mod what_if;

pub use change::Wired;
pub use device::Device;
pub use diode::Diode;
pub use drive::Drive;
pub use failure::{Failure, Why};
pub use gate::{Gate, GateKind, Logic};
pub use load::{Condition, Draws, Load, State, Transition};
pub use netlist::{Analysis, FirstLine, Netlist};
pub use parts::{Circuit, Contact, GROUND, Kind, Node, Part, Switch};
pub use run::{Unrun, Waveforms, run, run_to};
pub use solid::{AfterRest, Field, Leakage, Solid, SolidParts, Telegraph};
pub use transient::{Accuracy, Effort, Start, Transient};
pub use what_if::{Suspect, Unanswered, what_if};
