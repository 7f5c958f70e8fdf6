//! Changing a circuit in time, at the present moment. What is changed takes effect
//! at once; what it makes of the voltages is seen after the next
//! [`Transient::advance`], be it to the very same moment.

use super::device::Device;
use super::drive::Drive;
use super::parts::{Contact, Part};
use super::system::Place;
use super::transient::Transient;
use crate::units::{Amperes, Farads, Ohms, Volts};
use std::any::Any;

/// Whether a part is in the circuit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wired {
    /// As it was put there.
    Connected,
    /// Nothing flows through it.
    Disconnected,
}

impl Transient {
    /// Gives up what lies beyond now of the step in hand, and changes something.
    fn change(&mut self, part: Part, act: impl FnOnce(&mut Self, Place)) {
        if !self.unsettled {
            self.close();
            self.unsettled = true;
        }
        self.bank(part);
        if let Some(place) = self.places.get(part.0) {
            act(self, *place);
        }
        self.system.changed();
        self.mark(part);
    }

    /// Gives a resistor another value; above zero.
    pub fn set_resistance(&mut self, part: Part, value: Ohms) {
        self.change(part, |this, place| {
            if let Place::Conductor(i) = place {
                this.system.conductors[i].siemens = 1.0 / value.0;
            }
        });
    }

    /// Gives a capacitor another value; it keeps its voltage.
    pub fn set_capacitance(&mut self, part: Part, value: Farads) {
        self.change(part, |this, place| {
            if let Place::Store(i) = place {
                let store = &mut this.system.stores[i];
                this.held[i] *= value.0 / store.value;
                store.value = value.0;
            }
        });
    }

    /// Has a source give something else. Times in `drive` are the circuit's own.
    pub fn set_drive(&mut self, part: Part, drive: Drive) {
        self.change(part, |this, place| match place {
            Place::Branch(i) => this.system.branches[i].drive = drive,
            Place::Source(i) => this.system.sources[i].drive = drive,
            _ => {}
        });
    }

    /// Has a voltage source give a constant voltage.
    pub fn set_source_voltage(&mut self, part: Part, value: Volts) {
        self.set_drive(part, Drive::Constant(value.0));
    }

    /// Has a current source give a constant current.
    pub fn set_source_current(&mut self, part: Part, value: Amperes) {
        self.set_drive(part, Drive::Constant(value.0));
    }

    /// Puts a capacitor at a voltage: shorted by hand, that is 0 V. What flows in doing so
    /// is not counted as current.
    pub fn set_capacitor_voltage(&mut self, part: Part, value: Volts) {
        self.change(part, |this, place| {
            if let Place::Store(i) = place {
                let store = &this.system.stores[i];
                if store.branch.is_none() {
                    this.held[i] = store.value * value.0;
                    // A guess, and what the charge is counted from.
                    let b = this.stages[0][store.b];
                    if store.a < this.system.size {
                        this.stages[0][store.a] = b + value.0;
                    } else if store.b < this.system.size {
                        this.stages[0][store.b] = -value.0;
                    }
                }
            }
        });
    }

    /// Puts a current into an inductor.
    pub fn set_inductor_current(&mut self, part: Part, value: Amperes) {
        self.change(part, |this, place| {
            if let Place::Store(i) = place
                && let Some(branch) = this.system.stores[i].branch
            {
                this.held[i] = this.system.stores[i].value * value.0;
                let row = this.system.branches[branch].row;
                this.stages[0][row] = value.0;
            }
        });
    }

    /// Takes a part out of the circuit, or puts it back. A capacitor keeps its charge
    /// meanwhile, an inductor does not keep its current.
    pub fn wire(&mut self, part: Part, wired: Wired) {
        let live = wired == Wired::Connected;
        self.change(part, |this, place| {
            let system = &mut this.system;
            match place {
                Place::Conductor(i) => {
                    let conductor = &mut system.conductors[i];
                    conductor.live = live;
                }
                Place::Store(i) => {
                    let store = &mut system.stores[i];
                    store.live = live;
                    if let Some(branch) = store.branch {
                        system.branches[branch].live = live;
                    }
                }
                Place::Branch(i) => system.branches[i].live = live,
                Place::Source(i) => system.sources[i].live = live,
                Place::Transconductor(i) => system.transconductors[i].live = live,
                Place::Switch(i) => {
                    let conductor = system.switches[i].conductor;
                    system.conductors[conductor].live = live;
                }
                Place::Pn(i) => system.junctions[i].live = live,
                Place::Own(i) => system.devices[i].live = live,
            }
        });
    }

    /// Moves a switch by hand; its control moves it on from there.
    pub fn set_contact(&mut self, part: Part, contact: Contact) {
        self.change(part, |this, place| {
            if let Place::Switch(i) = place {
                this.system.move_contact(i, contact);
            }
        });
    }

    /// Changes a device of type `T`.
    pub fn change_device<T: Device>(&mut self, part: Part, act: impl FnOnce(&mut T)) {
        self.change(part, |this, place| {
            if let Place::Own(i) = place {
                let device: &mut dyn Any = this.system.devices[i].device.as_mut();
                if let Some(device) = device.downcast_mut() {
                    act(device);
                }
            }
        });
    }
}
