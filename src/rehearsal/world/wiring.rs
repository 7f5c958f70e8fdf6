//! One thing that is connected, with the supply's output and the meter around it, as
//! one circuit.

use super::Seen;
use super::electrics::{Electrics, Guards, Sense, Source};
use super::lead::Lead;
use super::output::{DRIVE, Output};
use crate::instrument::profile::OffState;
use crate::rehearsal::board::Board;
use crate::rehearsal::circuit::{Accuracy, Circuit, Failure, GROUND, Node, Part, Solid, Start, Transient, Wired as Contacted};
use crate::rehearsal::unit::Described;
use crate::units::{Farads, Ohms, Volts};
use std::sync::Arc;

/// Leads without any resistance are none.
const LEADS: Ohms = Ohms(1e-3);
/// What nothing leads through.
pub const OPEN: Ohms = Ohms(1e12);
/// What stands for a cable that is not there; it is not connected.
const NO_CABLE: Farads = Farads(1e-12);
/// The filter by which sense leads count for slow changes alone.
const SENSE: (Ohms, Farads) = (Ohms(100.0), Farads(1e-6));
/// How exact the solver is: instruments of six digits must not see its error.
const ACCURACY: Accuracy = Accuracy { relative: 2e-6, volts: 1e-6, amperes: 1e-9 };
/// For a part, whose current is read in nanoamperes behind a kiloohm.
const FINE: Accuracy = Accuracy { relative: 1e-8, volts: 1e-8, amperes: 1e-12 };

/// What the meter is in the circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    /// In the lead: its shunt.
    pub series: Ohms,
    /// The rating of the fuse there.
    pub fuse: Option<f64>,
    /// Across what is connected.
    pub across: Ohms,
    /// Beside that: of input and cable.
    pub capacitance: Farads,
}

impl Default for Input {
    /// None at all.
    fn default() -> Self {
        Self { series: Ohms(0.0), fuse: None, across: OPEN, capacitance: Farads(0.0) }
    }
}

/// What can be connected.
#[derive(Clone, Debug)]
pub enum Thing {
    /// A board.
    Board(Box<Board>),
    /// A unit by its netlist.
    Described(Arc<Described>),
    /// A part in a fixture behind a resistor.
    Part(Box<Solid>, Ohms),
    /// A resistor.
    Resistor(Ohms),
}

/// A circuit with what is connected in it.
pub struct Wired {
    pub(super) circuit: Transient,
    output: Part,
    lead: Part,
    input: Part,
    cable: Part,
    held: Node,
    capacitor: Part,
    terminal: Node,
    unit: Node,
}

impl Wired {
    /// Without charge, at time 0; `beside` is what the fixture has across a part.
    pub(super) fn new(
        thing: &Thing,
        beside: Option<Ohms>,
        electrics: Electrics,
        source: Source,
        melted: Vec<f64>,
        seed: u64,
    ) -> Result<Self, Failure> {
        let (mut circuit, near, unit) = thing.begin();
        // With a sign in their names that no netlist's node has.
        let [held, terminal] = ["#supply", "#terminal"].map(|name| circuit.node(name));
        let capacitor = circuit.capacitor("#c.supply", held, GROUND, Farads(electrics.capacitance));
        circuit.resistor("#r.supply", held, GROUND, Ohms(electrics.preload));
        let lead = circuit.device("#lead", &[terminal, near], Lead::new(melted));
        let input = circuit.resistor("#meter", unit, GROUND, OPEN);
        let sense = match electrics.sense {
            Sense::Local | Sense::Open(_) => terminal,
            Sense::Remote => {
                let sense = circuit.node("#sense");
                circuit.resistor("#r.sense", near, sense, SENSE.0);
                circuit.capacitor("#c.sense", terminal, sense, SENSE.1);
                sense
            }
        };
        let mut terminals = vec![held, terminal, sense];
        if electrics.loops.is_some() {
            let drive = circuit.node("#drive");
            circuit.capacitor("#c.drive", drive, GROUND, Farads(DRIVE));
            terminals.push(drive);
        }
        let output = circuit.device("#output", &terminals, Output::new(electrics, source));
        thing.wire(&mut circuit, near, unit, beside);
        let cable = circuit.capacitor("#c.meter", unit, GROUND, NO_CABLE);
        let mut circuit = Transient::begin(circuit, seed, Start::Given, thing.accuracy())?;
        circuit.wire(cable, Contacted::Disconnected);
        Ok(Self { circuit, output, lead, input, cable, held, capacitor, terminal, unit })
    }

    pub(super) fn output(&self) -> Option<&Output> {
        self.circuit.device(self.output)
    }

    pub(super) fn set_output(&mut self, source: Source, guards: Guards) {
        let (time, mut volts) = (self.circuit.time().0, self.circuit.voltage(self.held).0);
        let was_on = self.output().is_some_and(Output::is_on);
        // Registers of an output that stays off: nothing flows otherwise, and the step in hand holds.
        if !source.on && !was_on && source.off != OffState::ZeroVolts && self.output().is_some_and(|o| o.stays_off(source)) {
            return;
        }
        if source.on && !was_on && source.off == OffState::Open {
            // Its switch closes when its capacitor has come to what it finds outside.
            volts = self.circuit.voltage(self.terminal).0;
            self.circuit.set_capacitor_voltage(self.capacitor, Volts(volts));
        }
        self.circuit.change_device(self.output, |output: &mut Output| output.set(source, guards, time, volts));
    }

    /// Another level of the supply's noise, from now on.
    pub(super) fn stir(&mut self, volts: f64) {
        self.circuit.change_device(self.output, |output: &mut Output| output.stir(volts));
    }

    pub(super) fn set_meter(&mut self, leads: Ohms, meter: Input) {
        let ohms = (leads + meter.series).max(LEADS).0;
        self.circuit.change_device(self.lead, |lead: &mut Lead| lead.set(ohms, meter.fuse));
        self.circuit.set_resistance(self.input, meter.across);
        if meter.capacitance.0 > 0.0 {
            self.circuit.set_capacitance(self.cable, meter.capacitance);
            self.circuit.wire(self.cable, Contacted::Connected);
        } else {
            self.circuit.wire(self.cable, Contacted::Disconnected);
        }
    }

    pub(super) fn melt_fuse(&mut self) {
        self.circuit.change_device(self.lead, Lead::melt);
    }

    pub(super) fn see(&self) -> Seen {
        Seen {
            terminal: self.circuit.voltage(self.terminal).0,
            current: self.circuit.current(self.lead).0,
            limiting: self.output().is_some_and(Output::limits),
            unit: self.circuit.voltage(self.unit).0,
        }
    }

    pub(super) fn melted(&self) -> Vec<f64> {
        self.circuit.device(self.lead).map_or_else(Vec::new, |lead: &Lead| lead.melted().to_vec())
    }

    pub(super) fn charge(&self) -> f64 {
        self.circuit.charge(self.lead).0
    }

    pub(super) fn volt_seconds(&self) -> f64 {
        self.circuit.volt_seconds(self.unit)
    }
}

impl Thing {
    /// The circuit that it brings with it, the node at which it is fed, and the one at
    /// which its voltage is seen.
    fn begin(&self) -> (Circuit, Node, Node) {
        let (mut circuit, input) = match self {
            // It was read without a mistake when the unit file was.
            Self::Described(unit) => (unit.circuit().unwrap_or_default(), unit.input()),
            Self::Board(_) | Self::Part(..) | Self::Resistor(_) => (Circuit::new(), "unit"),
        };
        let near = circuit.node(input);
        let seen = if matches!(self, Self::Part(..)) { circuit.node("part") } else { near };
        (circuit, near, seen)
    }

    fn accuracy(&self) -> Accuracy {
        match self {
            Self::Part(..) => FINE,
            Self::Board(_) | Self::Described(_) | Self::Resistor(_) => ACCURACY,
        }
    }

    /// Puts itself into a circuit, fed at a node and seen at a node; `beside` lies across a part.
    fn wire(&self, circuit: &mut Circuit, near: Node, seen: Node, beside: Option<Ohms>) {
        match self {
            Self::Board(board) => board.place(circuit, near),
            Self::Described(unit) => unit.place(circuit),
            Self::Resistor(resistance) => {
                circuit.resistor("load", near, GROUND, *resistance);
            }
            Self::Part(solid, series) => {
                circuit.resistor("series", near, seen, *series);
                solid.place(circuit, "c.part", seen, GROUND);
                if let Some(dirt) = beside {
                    circuit.resistor("fixture", seen, GROUND, dirt);
                }
            }
        }
    }
}
