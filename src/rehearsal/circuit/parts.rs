//! A circuit as it is put together: nodes by name, parts between them.

use super::device::Device;
use super::diode::Diode;
use super::drive::Drive;
use crate::units::{Amperes, Farads, Ohms, Volts};
use std::collections::BTreeMap;

/// A node. Node 0 is ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Node(pub(super) usize);

/// Ground: zero volts.
pub const GROUND: Node = Node(0);

/// A part, as long as the circuit exists.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Part(pub(super) usize);

/// A voltage-controlled switch with hysteresis, SPICE's `.model ... SW`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Switch {
    /// VT, volts.
    pub threshold: f64,
    /// VH, volts: it closes above VT + VH and opens below VT - VH.
    pub hysteresis: f64,
    /// RON, ohms.
    pub closed: f64,
    /// ROFF, ohms.
    pub open: f64,
}

impl Default for Switch {
    /// SPICE's defaults; ROFF is 1/GMIN.
    fn default() -> Self {
        Self { threshold: 0.0, hysteresis: 0.0, closed: 1.0, open: 1e12 }
    }
}

/// Whether a switch is closed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Contact {
    /// ROFF.
    Open,
    /// RON.
    Closed,
}

/// What a part is.
#[derive(Debug)]
pub enum Kind {
    /// Ohms, not 0.
    Resistor(f64),
    /// Farads, and the voltage that it begins with where that is given.
    Capacitor(f64, Option<f64>),
    /// Henries, and the current that it begins with where that is given.
    Inductor(f64, Option<f64>),
    /// A voltage source: from its first to its second terminal.
    Voltage(Drive),
    /// A current source: the current flows through it from its first to its second terminal.
    Current(Drive),
    /// A diode, anode first.
    Diode(Diode),
    /// A switch, and its position between the thresholds. Terminals 3 and 4 control it.
    Switch(Switch, Contact),
    /// Voltage by voltage, SPICE's E: the gain. Terminals 3 and 4 control it.
    Amplifier(f64),
    /// Current by voltage, SPICE's G: siemens. Terminals 3 and 4 control it.
    Transconductor(f64),
    /// A part of one's own.
    Device(Box<dyn Device>),
}

#[derive(Debug)]
pub(super) struct Placed {
    pub(super) name: String,
    pub(super) kind: Kind,
    pub(super) nodes: Vec<Node>,
}

/// Nodes and parts.
#[derive(Debug)]
pub struct Circuit {
    pub(super) nodes: Vec<String>,
    by_name: BTreeMap<String, Node>,
    pub(super) parts: Vec<Placed>,
    /// Voltages that nodes are held at while the operating point is sought, or begin with.
    pub(super) initial: Vec<(Node, f64)>,
}

impl Default for Circuit {
    fn default() -> Self {
        Self::new()
    }
}

impl Circuit {
    /// Only ground, named `0`.
    pub fn new() -> Self {
        Self {
            nodes: vec!["0".into()],
            by_name: [("0".to_owned(), GROUND), ("gnd".to_owned(), GROUND)].into(),
            parts: Vec::new(),
            initial: Vec::new(),
        }
    }

    /// The node of a name, which is made where there is none yet. Names are taken in
    /// lower case; `0` and `gnd` are ground.
    pub fn node(&mut self, name: &str) -> Node {
        let name = name.to_ascii_lowercase();
        if let Some(node) = self.by_name.get(&name) {
            return *node;
        }
        let node = Node(self.nodes.len());
        self.nodes.push(name.clone());
        self.by_name.insert(name, node);
        node
    }

    /// The node of a name, if there is one.
    pub fn find(&self, name: &str) -> Option<Node> {
        self.by_name.get(&name.to_ascii_lowercase()).copied()
    }

    /// The part of a name, if there is one.
    pub fn part(&self, name: &str) -> Option<Part> {
        self.parts.iter().position(|p| p.name.eq_ignore_ascii_case(name)).map(Part)
    }

    /// Every node but ground with its name, in the order in which they were made.
    pub fn nodes(&self) -> impl Iterator<Item = (Node, &str)> {
        self.nodes.iter().enumerate().skip(1).map(|(i, name)| (Node(i), name.as_str()))
    }

    /// Every part with its name, in the order in which they were added.
    pub fn parts(&self) -> impl Iterator<Item = (Part, &str, &Kind)> {
        self.parts.iter().enumerate().map(|(i, placed)| (Part(i), placed.name.as_str(), &placed.kind))
    }

    /// Multiplies each resistor's value by what its number among the resistors gives.
    pub fn scale_resistors(&mut self, factor: impl Fn(usize) -> f64) {
        let resistors = self.parts.iter_mut().filter_map(|p| match &mut p.kind {
            Kind::Resistor(ohms) => Some(ohms),
            _ => None,
        });
        resistors.enumerate().for_each(|(number, ohms)| *ohms *= factor(number));
    }

    /// Adds a part between nodes: two, or four where the kind says so, or as many as a
    /// device has terminals.
    pub fn add(&mut self, name: &str, kind: Kind, nodes: &[Node]) -> Part {
        self.parts.push(Placed { name: name.to_ascii_lowercase(), kind, nodes: nodes.to_vec() });
        Part(self.parts.len() - 1)
    }

    /// Adds a resistor.
    pub fn resistor(&mut self, name: &str, a: Node, b: Node, value: Ohms) -> Part {
        self.add(name, Kind::Resistor(value.0), &[a, b])
    }

    /// Adds a capacitor.
    pub fn capacitor(&mut self, name: &str, a: Node, b: Node, value: Farads) -> Part {
        self.add(name, Kind::Capacitor(value.0, None), &[a, b])
    }

    /// Adds an inductor, in henries.
    pub fn inductor(&mut self, name: &str, a: Node, b: Node, henries: f64) -> Part {
        self.add(name, Kind::Inductor(henries, None), &[a, b])
    }

    /// Adds a source of constant voltage.
    pub fn voltage(&mut self, name: &str, plus: Node, minus: Node, value: Volts) -> Part {
        self.add(name, Kind::Voltage(Drive::Constant(value.0)), &[plus, minus])
    }

    /// Adds a source of constant current, which flows through it from `from` to `to`.
    pub fn current(&mut self, name: &str, from: Node, to: Node, value: Amperes) -> Part {
        self.add(name, Kind::Current(Drive::Constant(value.0)), &[from, to])
    }

    /// Adds a part of one's own.
    pub fn device(&mut self, name: &str, terminals: &[Node], device: impl Device + 'static) -> Part {
        self.add(name, Kind::Device(Box::new(device)), terminals)
    }

    /// What a node begins with: the operating point is sought with it held there, or,
    /// without an operating point, it starts so.
    pub fn begin_with(&mut self, node: Node, value: Volts) {
        self.initial.push((node, value.0));
    }
}
