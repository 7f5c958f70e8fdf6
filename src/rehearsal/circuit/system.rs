//! The circuit's equations (modified nodal analysis), laid out for speed: flat
//! lists of stamps, indices instead of names, one trash index for ground.
//!
//! Unknowns are the voltages of all nodes but ground, then the currents of the
//! branches of voltage sources, inductors and amplifiers. Everything that is
//! linear is in `base` for one value of `alpha` = 1/(gamma h); `newton` adds the rest.

use super::device::Device;
use super::diode::{Diode, Junction};
use super::drive::Drive;
use super::matrix::Matrix;
use super::parts::{Circuit, Contact, Kind, Node, Placed, Switch};

/// Conductance from every node to ground, so that a node between two capacitors has
/// an operating point: less than dry air lets through.
pub(super) const AIR: f64 = 1e-15;
/// Conductance that holds a node at its given voltage.
const HOLD: f64 = 1e6;

/// Slots of a conductance between two nodes: aa, bb, ab, ba.
type Four = [usize; 4];

#[derive(Debug)]
pub(super) struct Conductor {
    pub(super) a: usize,
    pub(super) b: usize,
    slots: Four,
    pub(super) siemens: f64,
    pub(super) live: bool,
}

/// A capacitor or an inductor.
#[derive(Debug)]
pub(super) struct Store {
    pub(super) a: usize,
    pub(super) b: usize,
    /// Of an inductor: its branch.
    pub(super) branch: Option<usize>,
    slots: Four,
    /// Farads or henries.
    pub(super) value: f64,
    pub(super) live: bool,
}

/// A voltage source or amplifier: its branch's equation.
#[derive(Debug)]
pub(super) struct Branch {
    pub(super) row: usize,
    /// a and b in the row, the row in a and b, the row's own.
    slots: [usize; 5],
    /// Control nodes' slots in the row, and the gain.
    control: Option<([usize; 2], f64)>,
    pub(super) drive: Drive,
    pub(super) live: bool,
    /// What its whole equation is multiplied by. Of an inductor 1 / (1 + alpha L): over a short
    /// step alpha L is beyond all conductances, and a voltage that was sought from such an
    /// equation would be the difference of two enormous numbers.
    pub(super) weight: f64,
}

#[derive(Debug)]
pub(super) struct Source {
    pub(super) a: usize,
    pub(super) b: usize,
    pub(super) drive: Drive,
    pub(super) live: bool,
    pub(super) flow: usize,
}

#[derive(Debug)]
pub(super) struct Transconductor {
    pub(super) control: [usize; 2],
    pub(super) siemens: f64,
    slots: Four,
    pub(super) live: bool,
}

#[derive(Debug)]
pub(super) struct Controlled {
    pub(super) conductor: usize,
    pub(super) control: [usize; 2],
    pub(super) model: Switch,
    pub(super) contact: Contact,
    pub(super) part: usize,
}

#[derive(Debug)]
pub(super) struct Pn {
    pub(super) a: usize,
    pub(super) b: usize,
    pub(super) slots: Four,
    pub(super) model: Diode,
    pub(super) store: Option<usize>,
    pub(super) live: bool,
    pub(super) flow: usize,
    /// Where it was last linearised, and what it was there.
    pub(super) volts: f64,
    pub(super) at: Junction,
    /// The slope that the factors hold.
    pub(super) used: f64,
}

#[derive(Debug)]
pub(super) struct Own {
    pub(super) device: Box<dyn Device>,
    pub(super) nodes: Vec<usize>,
    pub(super) slots: Vec<usize>,
    pub(super) live: bool,
    pub(super) flow: usize,
    pub(super) volts: Vec<f64>,
    pub(super) currents: Vec<f64>,
    pub(super) slopes: Vec<f64>,
    pub(super) used: Vec<f64>,
    pub(super) trial: Vec<f64>,
    /// What the linearisation said of the currents at the trial.
    pub(super) fresh: Vec<f64>,
    pub(super) part: usize,
}

/// Where a part of the circuit went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Place {
    Conductor(usize),
    Store(usize),
    Branch(usize),
    Source(usize),
    Transconductor(usize),
    Switch(usize),
    /// The junction, and the resistor in series with it.
    Pn(usize),
    Own(usize),
}

#[derive(Debug)]
pub(super) struct System {
    /// Unknowns; also the index that stands for ground.
    pub(super) size: usize,
    pub(super) nodes: usize,
    pub(super) matrix: Matrix,
    pub(super) base: Vec<f64>,
    base_for: Option<f64>,
    /// Whether the factors are those of `base` (and of the slopes that parts note as used).
    pub(super) factored: bool,
    pub(super) right: Vec<f64>,
    pub(super) trial_right: Vec<f64>,
    pub(super) next: Vec<f64>,
    pub(super) conductors: Vec<Conductor>,
    pub(super) stores: Vec<Store>,
    pub(super) branches: Vec<Branch>,
    pub(super) sources: Vec<Source>,
    pub(super) transconductors: Vec<Transconductor>,
    pub(super) switches: Vec<Controlled>,
    pub(super) junctions: Vec<Pn>,
    pub(super) devices: Vec<Own>,
    pub(super) diagonals: Vec<usize>,
    pub(super) initial: Vec<(usize, f64)>,
    pub(super) hold_initial: bool,
    /// Convergence aids: a conductance to ground at every node, and a share of all sources.
    pub(super) shunt: f64,
    pub(super) scale: f64,
    /// A trial's current may miss the part's by this share, and by what so many volts make.
    pub(super) miss_share: f64,
    pub(super) miss_volts: f64,
    /// Charges and fluxes: linear stores first, then those of junctions.
    pub(super) charges: usize,
    /// Currents that are no unknowns: sources, junctions, terminals of devices.
    pub(super) flows: usize,
    /// Iterations so far.
    pub(super) rounds: u64,
}

impl System {
    /// Lays out a circuit; also says where each part went.
    pub(super) fn new(circuit: Circuit) -> (Self, Vec<Place>) {
        let nodes = circuit.nodes.len() - 1;
        let inner = circuit.parts.iter().filter(|p| matches!(&p.kind, Kind::Diode(d) if d.series > 0.0)).count();
        let branches =
            circuit.parts.iter().filter(|p| matches!(p.kind, Kind::Voltage(_) | Kind::Inductor(..) | Kind::Amplifier(_))).count();
        let size = nodes + inner + branches;
        let mut system = Self {
            size,
            nodes: nodes + inner,
            matrix: Matrix::new(size),
            base: Vec::new(),
            base_for: None,
            factored: false,
            right: vec![0.0; size + 1],
            trial_right: vec![0.0; size + 1],
            next: vec![0.0; size + 1],
            conductors: Vec::new(),
            stores: Vec::new(),
            branches: Vec::new(),
            sources: Vec::new(),
            transconductors: Vec::new(),
            switches: Vec::new(),
            junctions: Vec::new(),
            devices: Vec::new(),
            diagonals: Vec::new(),
            initial: circuit.initial.iter().map(|(node, value)| (index(*node, size), *value)).collect(),
            hold_initial: false,
            shunt: 0.0,
            scale: 1.0,
            miss_share: 1e-7,
            miss_volts: 1e-8,
            charges: 0,
            flows: 0,
            rounds: 0,
        };
        for node in 0..system.nodes {
            let slot = system.matrix.slot(node, node);
            system.diagonals.push(slot);
        }
        let mut next = (nodes, nodes + inner);
        let places = circuit.parts.into_iter().zip(0..).map(|(placed, part)| system.place(placed, part, &mut next)).collect();
        for pn in &mut system.junctions {
            if pn.model.stores() {
                pn.store = Some(system.stores.len() + system.charges);
                system.charges += 1;
            }
        }
        system.charges += system.stores.len();
        system.ground_slots();
        system.base = vec![0.0; system.matrix.values.len()];
        (system, places)
    }

    fn four(&mut self, a: usize, b: usize) -> Four {
        self.cross(a, b, a, b)
    }

    /// Slots of a current from a to b that the voltage from c to d makes.
    fn cross(&mut self, a: usize, b: usize, c: usize, d: usize) -> Four {
        [self.matrix.slot(a, c), self.matrix.slot(b, d), self.matrix.slot(a, d), self.matrix.slot(b, c)]
    }

    fn flow(&mut self, count: usize) -> usize {
        self.flows += count;
        self.flows - count
    }

    fn place(&mut self, placed: Placed, part: usize, next: &mut (usize, usize)) -> Place {
        let size = self.size;
        let nodes: Vec<usize> = placed.nodes.iter().map(|n| index(*n, size)).collect();
        let node = |i: usize| nodes.get(i).copied().unwrap_or(size);
        let (a, b) = (node(0), node(1));
        let mut inner = |range: fn(&mut (usize, usize)) -> &mut usize| {
            let slot = range(next);
            *slot += 1;
            *slot - 1
        };
        match placed.kind {
            Kind::Resistor(ohms) => {
                let slots = self.four(a, b);
                self.conductors.push(Conductor { a, b, slots, siemens: 1.0 / ohms, live: true });
                Place::Conductor(self.conductors.len() - 1)
            }
            Kind::Capacitor(value, _) => {
                let slots = self.four(a, b);
                self.stores.push(Store { a, b, branch: None, slots, value, live: true });
                Place::Store(self.stores.len() - 1)
            }
            Kind::Inductor(value, _) => {
                let row = inner(|n| &mut n.1);
                let branch = self.branch(row, a, b);
                self.branches.push(branch);
                let slots = [self.matrix.slot(row, row), usize::MAX, usize::MAX, usize::MAX];
                self.stores.push(Store { a, b, branch: Some(self.branches.len() - 1), slots, value, live: true });
                Place::Store(self.stores.len() - 1)
            }
            Kind::Voltage(drive) => {
                let row = inner(|n| &mut n.1);
                let branch = self.branch(row, a, b);
                self.branches.push(Branch { drive, ..branch });
                Place::Branch(self.branches.len() - 1)
            }
            Kind::Amplifier(gain) => {
                let row = inner(|n| &mut n.1);
                let branch = self.branch(row, a, b);
                let control = [self.matrix.slot(row, node(2)), self.matrix.slot(row, node(3))];
                self.branches.push(Branch { control: Some((control, gain)), ..branch });
                Place::Branch(self.branches.len() - 1)
            }
            Kind::Current(drive) => {
                let flow = self.flow(1);
                self.sources.push(Source { a, b, drive, live: true, flow });
                Place::Source(self.sources.len() - 1)
            }
            Kind::Transconductor(siemens) => {
                let slots = self.cross(a, b, node(2), node(3));
                self.transconductors.push(Transconductor { control: [node(2), node(3)], siemens, slots, live: true });
                Place::Transconductor(self.transconductors.len() - 1)
            }
            Kind::Switch(model, contact) => {
                let slots = self.four(a, b);
                self.conductors.push(Conductor { a, b, slots, siemens: 0.0, live: true });
                let conductor = self.conductors.len() - 1;
                self.switches.push(Controlled { conductor, control: [node(2), node(3)], model, contact, part });
                self.move_contact(self.switches.len() - 1, contact);
                Place::Switch(self.switches.len() - 1)
            }
            Kind::Diode(model) => {
                let anode = if model.series > 0.0 {
                    let anode = inner(|n| &mut n.0);
                    let slots = self.four(a, anode);
                    self.conductors.push(Conductor { a, b: anode, slots, siemens: 1.0 / model.series, live: true });
                    anode
                } else {
                    a
                };
                let (slots, model, flow) = (self.four(anode, b), model.fitted(), self.flow(1));
                let at = model.at(0.0);
                let used = f64::NAN;
                self.junctions.push(Pn { a: anode, b, slots, model, store: None, live: true, flow, volts: 0.0, at, used });
                Place::Pn(self.junctions.len() - 1)
            }
            Kind::Device(device) => {
                let count = nodes.len();
                let slots = nodes.iter().flat_map(|i| nodes.iter().map(move |j| (*i, *j)));
                let slots = slots.map(|(i, j)| self.matrix.slot(i, j)).collect();
                let (flow, square) = (self.flow(count), count * count);
                self.devices.push(Own {
                    device,
                    nodes,
                    slots,
                    live: true,
                    flow,
                    volts: vec![0.0; count],
                    currents: vec![0.0; count],
                    slopes: vec![0.0; square],
                    used: vec![f64::NAN; square],
                    trial: vec![0.0; count],
                    fresh: vec![0.0; count],
                    part,
                });
                Place::Own(self.devices.len() - 1)
            }
        }
    }

    fn branch(&mut self, row: usize, a: usize, b: usize) -> Branch {
        let m = &mut self.matrix;
        let slots = [m.slot(row, a), m.slot(row, b), m.slot(a, row), m.slot(b, row), m.slot(row, row)];
        Branch { row, slots, control: None, drive: Drive::Constant(0.0), live: true, weight: 1.0 }
    }

    /// Gives ground's slots their number, now that it is known.
    fn ground_slots(&mut self) {
        let ground = self.matrix.ground();
        let fix = |slot: &mut usize| *slot = (*slot).min(ground);
        self.conductors.iter_mut().for_each(|c| c.slots.iter_mut().for_each(fix));
        self.stores.iter_mut().for_each(|s| s.slots.iter_mut().for_each(fix));
        self.transconductors.iter_mut().for_each(|g| g.slots.iter_mut().for_each(fix));
        self.junctions.iter_mut().for_each(|j| j.slots.iter_mut().for_each(fix));
        self.devices.iter_mut().for_each(|d| d.slots.iter_mut().for_each(fix));
        for branch in &mut self.branches {
            branch.slots.iter_mut().for_each(fix);
            if let Some((control, _)) = &mut branch.control {
                control.iter_mut().for_each(fix);
            }
        }
    }

    /// Something linear was changed.
    pub(super) fn changed(&mut self) {
        self.base_for = None;
        self.factored = false;
    }

    /// Puts a switch into a position.
    pub(super) fn move_contact(&mut self, switch: usize, to: Contact) {
        if let Some(switch) = self.switches.get_mut(switch) {
            switch.contact = to;
            let ohms = match to {
                Contact::Closed => switch.model.closed,
                Contact::Open => switch.model.open,
            };
            if let Some(conductor) = self.conductors.get_mut(switch.conductor) {
                conductor.siemens = 1.0 / ohms;
            }
        }
        self.changed();
    }

    /// The linear part for `alpha`, into `base`.
    pub(super) fn prepare(&mut self, alpha: f64) {
        if self.base_for == Some(alpha) {
            return;
        }
        self.base_for = Some(alpha);
        self.factored = false;
        let base = &mut self.base;
        base.fill(0.0);
        for slot in &self.diagonals {
            base[*slot] += AIR + self.shunt;
        }
        if self.hold_initial {
            for (node, _) in &self.initial {
                if let Some(slot) = self.diagonals.get(*node) {
                    base[*slot] += HOLD;
                }
            }
        }
        for conductor in self.conductors.iter().filter(|c| c.live) {
            stamp(base, &conductor.slots, conductor.siemens);
        }
        for transconductor in self.transconductors.iter().filter(|g| g.live) {
            stamp(base, &transconductor.slots, transconductor.siemens);
        }
        for store in &self.stores {
            if let Some(branch) = store.branch.and_then(|b| self.branches.get_mut(b)) {
                branch.weight = 1.0 / (1.0 + alpha * store.value);
            }
        }
        for branch in &self.branches {
            let [row_a, row_b, a_row, b_row, own] = branch.slots;
            base[a_row] += 1.0;
            base[b_row] -= 1.0;
            if branch.live {
                base[row_a] += branch.weight;
                base[row_b] -= branch.weight;
                if let Some(([c, d], gain)) = branch.control {
                    base[c] -= gain;
                    base[d] += gain;
                }
            } else {
                base[own] += 1.0;
            }
        }
        for store in self.stores.iter().filter(|s| s.live) {
            match store.branch {
                None => stamp(base, &store.slots, alpha * store.value),
                Some(branch) => {
                    let weight = self.branches.get(branch).map_or(1.0, |b| b.weight);
                    base[store.slots[0]] -= alpha * store.value * weight;
                }
            }
        }
    }

    /// The right side: sources at `time`, and what the stores remember.
    pub(super) fn fill_right(&mut self, time: f64, alpha: f64, memory: &[f64]) {
        let (right, scale) = (&mut self.right, self.scale);
        right.fill(0.0);
        for branch in self.branches.iter().filter(|b| b.live) {
            right[branch.row] = scale * branch.drive.at(time);
        }
        for source in self.sources.iter().filter(|s| s.live) {
            let value = scale * source.drive.at(time);
            right[source.a] -= value;
            right[source.b] += value;
        }
        for (store, held) in self.stores.iter().zip(memory).filter(|(s, _)| s.live) {
            match store.branch.and_then(|b| self.branches.get(b)) {
                None => {
                    right[store.a] += alpha * held;
                    right[store.b] -= alpha * held;
                }
                Some(branch) => right[branch.row] -= alpha * held * branch.weight,
            }
        }
        if self.hold_initial {
            for (node, value) in &self.initial {
                right[*node] += HOLD * value * scale;
            }
        }
    }

    /// The matrix's values begin anew from the linear part.
    pub(super) fn restart_values(&mut self) {
        self.matrix.values.copy_from_slice(&self.base);
    }

    /// What a linear store holds at these unknowns: coulombs or webers.
    pub(super) fn held(&self, store: usize, x: &[f64]) -> f64 {
        let Some(store) = self.stores.get(store) else { return 0.0 };
        match store.branch.and_then(|b| self.branches.get(b)) {
            None => store.value * (x[store.a] - x[store.b]),
            Some(branch) => store.value * x[branch.row],
        }
    }
}

/// Adds a conductance.
pub(super) fn stamp(values: &mut [f64], slots: &Four, siemens: f64) {
    values[slots[0]] += siemens;
    values[slots[1]] += siemens;
    values[slots[2]] -= siemens;
    values[slots[3]] -= siemens;
}

fn index(node: Node, ground: usize) -> usize {
    node.0.checked_sub(1).unwrap_or(ground)
}
