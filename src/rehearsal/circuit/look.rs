//! Looking at a circuit in time: voltages, currents, and what has flowed so far.

use super::device::Device;
use super::parts::{Contact, Node, Part};
use super::system::Place;
use super::transient::Transient;
use crate::units::{Amperes, Coulombs, Volts};
use std::any::Any;

impl Transient {
    /// A value that is known at the stages, now.
    fn now_of(&self, at: impl Fn(usize) -> f64) -> f64 {
        self.weights.0.iter().enumerate().map(|(stage, w)| w * at(stage)).sum()
    }

    fn unknown(&self, i: usize) -> f64 {
        self.now_of(|stage| self.stages[stage][i])
    }

    fn area(&self, i: usize) -> f64 {
        let inside: f64 = self.weights.1.iter().zip(&self.stages).map(|(w, stage)| w * stage[i]).sum();
        self.areas[i] + self.length * inside
    }

    fn flow(&self, i: usize) -> f64 {
        self.now_of(|stage| self.flows[stage][i])
    }

    fn flow_area(&self, i: usize) -> f64 {
        let inside: f64 = self.weights.1.iter().zip(&self.flows).map(|(w, flow)| w * flow[i]).sum();
        self.flow_areas[i] + self.length * inside
    }

    /// The voltage of a node now.
    pub fn voltage(&self, node: Node) -> Volts {
        Volts(node.0.checked_sub(1).map_or(0.0, |i| self.unknown(i)))
    }

    /// The integral of a node's voltage over the time so far, in volt-seconds. The
    /// difference of two looks over the time between them is the mean.
    pub fn volt_seconds(&self, node: Node) -> f64 {
        node.0.checked_sub(1).map_or(0.0, |i| self.area(i))
    }

    /// The current through a part now, from its first to its second terminal (of a
    /// voltage source, as SPICE has it: negative when it gives power). Of a device: into
    /// its first terminal.
    pub fn current(&self, part: Part) -> Amperes {
        let system = &self.system;
        let across = |a: usize, b: usize| self.unknown(a) - self.unknown(b);
        let conductor = |i: usize| {
            let c = &system.conductors[i];
            if c.live { c.siemens * across(c.a, c.b) } else { 0.0 }
        };
        Amperes(match self.places[part.0] {
            Place::Conductor(i) => conductor(i),
            Place::Switch(i) => conductor(system.switches[i].conductor),
            Place::Store(i) => match system.stores[i].branch {
                Some(branch) => self.unknown(system.branches[branch].row),
                None => self.now_of(|stage| self.rates[stage][i]),
            },
            Place::Branch(i) => self.unknown(system.branches[i].row),
            Place::Source(i) => self.flow(system.sources[i].flow),
            Place::Transconductor(i) => {
                let g = &system.transconductors[i];
                if g.live { g.siemens * across(g.control[0], g.control[1]) } else { 0.0 }
            }
            Place::Pn(i) => self.flow(system.junctions[i].flow),
            Place::Own(i) => self.flow(system.devices[i].flow),
        })
    }

    /// The current from a node into a terminal of a device, counted from 0.
    pub fn terminal_current(&self, part: Part, terminal: usize) -> Amperes {
        match self.places[part.0] {
            Place::Own(i) if terminal < self.system.devices[i].nodes.len() => {
                Amperes(self.flow(self.system.devices[i].flow + terminal))
            }
            _ => self.current(part),
        }
    }

    /// The charge that has flowed through a part so far, signed as its current. The
    /// difference of two looks over the time between them is the mean current.
    pub fn charge(&self, part: Part) -> Coulombs {
        let Some(ledger) = self.ledgers.get(part.0) else { return Coulombs(0.0) };
        let (raw, factor) = self.raw(part);
        Coulombs(ledger.carried + factor * (raw - ledger.mark))
    }

    /// What a part's charge is counted from, and what one of it is worth.
    fn raw(&self, part: Part) -> (f64, f64) {
        let system = &self.system;
        let conductor = |i: usize| {
            let c = &system.conductors[i];
            (self.area(c.a) - self.area(c.b), if c.live { c.siemens } else { 0.0 })
        };
        match self.places[part.0] {
            Place::Conductor(i) => conductor(i),
            Place::Switch(i) => conductor(system.switches[i].conductor),
            Place::Store(i) => {
                let store = &system.stores[i];
                match store.branch {
                    Some(branch) => (self.area(system.branches[branch].row), 1.0),
                    None if store.live => (self.unknown(store.a) - self.unknown(store.b), store.value),
                    None => (0.0, 0.0),
                }
            }
            Place::Branch(i) => (self.area(system.branches[i].row), 1.0),
            Place::Source(i) => (self.flow_area(system.sources[i].flow), 1.0),
            Place::Transconductor(i) => {
                let g = &system.transconductors[i];
                (self.area(g.control[0]) - self.area(g.control[1]), if g.live { g.siemens } else { 0.0 })
            }
            Place::Pn(i) => (self.flow_area(system.junctions[i].flow), 1.0),
            Place::Own(i) => (self.flow_area(system.devices[i].flow), 1.0),
        }
    }

    /// The charge that has flowed into a terminal of a device so far.
    pub fn terminal_charge(&self, part: Part, terminal: usize) -> Coulombs {
        match self.places[part.0] {
            Place::Own(i) if terminal < self.system.devices[i].nodes.len() => {
                Coulombs(self.flow_area(self.system.devices[i].flow + terminal))
            }
            _ => self.charge(part),
        }
    }

    /// Counts a part's charge up to now, before the part is changed.
    pub(super) fn bank(&mut self, part: Part) {
        let charge = self.charge(part).0;
        if let Some(ledger) = self.ledgers.get_mut(part.0) {
            ledger.carried = charge;
        }
    }

    /// From here on the charge is counted with the part as it is now.
    pub(super) fn mark(&mut self, part: Part) {
        let (raw, _) = self.raw(part);
        if let Some(ledger) = self.ledgers.get_mut(part.0) {
            ledger.mark = raw;
        }
    }

    /// Whether a switch is closed; none where the part is no switch.
    pub fn contact(&self, part: Part) -> Option<Contact> {
        match self.places.get(part.0) {
            Some(Place::Switch(i)) => self.system.switches.get(*i).map(|s| s.contact),
            _ => None,
        }
    }

    /// A device as it is at the end of the step in hand, which has the states that it
    /// has now: states change at the ends of steps only.
    pub fn device<T: Device>(&self, part: Part) -> Option<&T> {
        match self.places.get(part.0) {
            Some(Place::Own(i)) => {
                let device: &dyn Any = self.system.devices.get(*i)?.device.as_ref();
                device.downcast_ref()
            }
            _ => None,
        }
    }
}
