//! A circuit in time: it moves on when it is told to, in steps as long as the
//! error allows, and can be looked at and changed at any moment.
//!
//! A step may reach beyond the moment that was asked for; what is seen in between
//! is the step's own continuation, of the method's order. Only when something is
//! changed from outside is the rest of the step given up. So a look costs nothing,
//! and a circuit at rest costs nothing either: its steps grow without bound.

use super::failure::{Failure, Why};
use super::newton::Unsolved;
use super::parts::{Circuit, Contact, Kind, Part};
use super::system::{Place, System};
use super::tableau::{STAGES, integral_weights, value_weights};
use crate::units::Seconds;

/// How a circuit begins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Start {
    /// At its operating point: all at rest under what the sources give at time 0.
    #[default]
    OperatingPoint,
    /// As given for capacitors, inductors and nodes; what is not given begins at zero
    /// (SPICE's `UIC`).
    Given,
}

/// How exact each step is. The error of a node's voltage in one step stays below
/// `volts` + `relative` x the largest voltage that it has had; of an inductor's
/// current likewise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    /// Share of the largest value so far.
    pub relative: f64,
    /// Volts.
    pub volts: f64,
    /// Amperes.
    pub amperes: f64,
}

impl Default for Accuracy {
    fn default() -> Self {
        Self { relative: 1e-6, volts: 1e-7, amperes: 1e-9 }
    }
}

/// What it has cost so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Effort {
    /// Steps that were taken.
    pub steps: u64,
    /// Steps that were tried and were too long.
    pub rejected: u64,
    /// Moments at which something changed.
    pub moments: u64,
    /// Iterations towards solutions, where a part is not linear.
    pub iterations: u64,
}

/// Charge through a part up to its last change, and where its count goes on from.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Ledger {
    pub(super) carried: f64,
    pub(super) mark: f64,
}

/// A circuit in time.
#[derive(Debug)]
pub struct Transient {
    pub(super) system: System,
    pub(super) places: Vec<Place>,
    pub(super) part_names: Vec<String>,
    names: Vec<String>,
    pub(super) ledgers: Vec<Ledger>,
    pub(super) accuracy: Accuracy,
    pub(super) longest: f64,
    pub(super) effort: Effort,
    /// The step in hand: where it begins, its length, and where it ends (sooner than its
    /// length says where a moment was found inside it).
    pub(super) from: f64,
    pub(super) length: f64,
    pub(super) to: f64,
    /// The share of its length at which it ends.
    pub(super) end_share: f64,
    /// Whether something changes at its end.
    pub(super) ends_in_moment: bool,
    pub(super) now: f64,
    /// Something was changed: the currents of the stores must be found anew.
    pub(super) unsettled: bool,
    /// Unknowns, rates of the stores and flows at the stages of the step.
    pub(super) stages: [Vec<f64>; STAGES],
    pub(super) rates: [Vec<f64>; STAGES],
    pub(super) flows: [Vec<f64>; STAGES],
    /// Charges and fluxes at the step's beginning.
    pub(super) held: Vec<f64>,
    pub(super) memory: Vec<f64>,
    pub(super) error: Vec<f64>,
    /// Integrals of unknowns and flows up to the step's beginning.
    pub(super) areas: Vec<f64>,
    pub(super) flow_areas: Vec<f64>,
    pub(super) peaks: Vec<f64>,
    pub(super) next_length: f64,
    pub(super) last_length: f64,
    /// The share of it, and the least, of the step that takes up changes.
    pulse: (f64, f64),
    /// The next corner of a source or moment of a device, and the longest step that they allow.
    pub(super) corner: f64,
    pub(super) allowed: f64,
    /// The number of the part that changed last.
    last_changed: usize,
    /// The count of moments, and the time, when it was last seen that time goes on.
    pub(super) crowd: (u64, f64),
    /// Weights of the stages now, for values and for integrals.
    pub(super) weights: ([f64; STAGES], [f64; STAGES]),
}

/// Changes at one moment, at most.
const CHANGES: usize = 200;
/// So many moments must take more time than this share of the time that it is.
const CROWD: (u64, f64) = (20_000, 1e-6);
/// The step that finds the currents after a change, as a share of the last one, and at least.
const PULSE: (f64, f64) = (1e-9, 1e-21);
/// The same of a netlist: long enough for a capacitor between two nodes not to hide what
/// ties both to ground (C / h against G), and it has few changes.
const PULSE_OF_NETLIST: (f64, f64) = (1e-5, 1e-15);

impl Transient {
    /// Begins at time 0, from the operating point. Devices draw their chances from `seed`.
    ///
    /// # Errors
    /// There is no operating point; the node is named.
    pub fn new(circuit: Circuit, seed: u64) -> Result<Self, Failure> {
        Self::begin(circuit, seed, Start::OperatingPoint, Accuracy::default())
    }

    /// Begins at time 0.
    ///
    /// # Errors
    /// There is no beginning; the node is named.
    pub fn begin(mut circuit: Circuit, seed: u64, start: Start, accuracy: Accuracy) -> Result<Self, Failure> {
        for (placed, number) in circuit.parts.iter_mut().zip(1_u64..) {
            if let Kind::Device(device) = &mut placed.kind {
                device.begin(seed.wrapping_add(number.wrapping_mul(0x9E37_79B9_7F4A_7C15)));
            }
        }
        let mut names: Vec<String> = circuit.nodes.iter().skip(1).map(|n| format!("v({n})")).collect();
        let inner = circuit.parts.iter().filter(|p| matches!(&p.kind, Kind::Diode(d) if d.series > 0.0));
        names.extend(inner.map(|p| format!("the junction of {}", p.name)));
        let branches =
            circuit.parts.iter().filter(|p| matches!(p.kind, Kind::Voltage(_) | Kind::Inductor(..) | Kind::Amplifier(_)));
        names.extend(branches.map(|p| format!("i({})", p.name)));
        let part_names = circuit.parts.iter().map(|p| p.name.clone()).collect();
        let given: Vec<Option<f64>> = circuit
            .parts
            .iter()
            .map(|p| match p.kind {
                Kind::Capacitor(_, given) | Kind::Inductor(_, given) => given,
                _ => None,
            })
            .collect();
        let (system, places) = System::new(circuit);
        let (size, charges, flows) = (system.size, system.charges, system.flows);
        let mut this = Self {
            ledgers: vec![Ledger::default(); places.len()],
            part_names,
            names,
            accuracy,
            longest: f64::INFINITY,
            effort: Effort::default(),
            from: 0.0,
            length: 0.0,
            to: 0.0,
            end_share: 0.0,
            ends_in_moment: false,
            now: 0.0,
            unsettled: true,
            stages: std::array::from_fn(|_| vec![0.0; size + 1]),
            rates: std::array::from_fn(|_| vec![0.0; charges]),
            flows: std::array::from_fn(|_| vec![0.0; flows]),
            held: vec![0.0; charges],
            memory: vec![0.0; charges],
            error: vec![0.0; size + 1],
            areas: vec![0.0; size + 1],
            flow_areas: vec![0.0; flows],
            peaks: vec![0.0; size + 1],
            next_length: 1e-6,
            last_length: 1e-3,
            pulse: PULSE,
            corner: f64::INFINITY,
            allowed: f64::INFINITY,
            last_changed: usize::MAX,
            crowd: (0, 0.0),
            weights: (value_weights(0.0), integral_weights(0.0)),
            system,
            places,
        };
        this.set_tolerance();
        match start {
            Start::OperatingPoint => this.rest()?,
            Start::Given => this.take_given(&given),
        }
        this.settle()?;
        Ok(this)
    }

    /// The operating point: capacitors open, inductors as wires.
    fn rest(&mut self) -> Result<(), Failure> {
        self.system.hold_initial = !self.system.initial.is_empty();
        // A switch or device that changes at the operating point makes another one.
        for _ in 0..CHANGES {
            self.system.changed();
            let [x, ..] = &mut self.stages;
            self.system.solve_by_all_means(0.0, 0.0, &self.memory, x).map_err(|u| self.failure(u, 0.0))?;
            if !self.change_what_is_due() {
                self.system.hold_initial = false;
                self.system.changed();
                self.hold_stage(0);
                return Ok(());
            }
        }
        Err(self.chatter())
    }

    fn take_given(&mut self, given: &[Option<f64>]) {
        for (node, value) in &self.system.initial {
            self.stages[0][*node] = *value;
        }
        self.stages[0][self.system.size] = 0.0;
        for (place, given) in self.places.iter().zip(given) {
            if let Place::Store(number) = place {
                let store = &self.system.stores[*number];
                self.held[*number] = match (given, store.branch) {
                    (Some(value), _) => store.value * value,
                    (None, None) => store.value * (self.stages[0][store.a] - self.stages[0][store.b]),
                    (None, Some(_)) => 0.0,
                };
            }
        }
        self.hold_junctions(0);
    }

    /// Moves on to a moment; looks and changes are then at that moment. A moment that
    /// has passed is taken as now.
    ///
    /// # Errors
    /// The circuit could not be solved; the node is named. It then stands where it was
    /// still solved.
    pub fn advance(&mut self, to: Seconds) -> Result<(), Failure> {
        let to = to.0.max(self.now);
        if to == self.now && to <= self.to && !self.unsettled {
            return Ok(());
        }
        loop {
            if self.unsettled {
                self.settle()?;
            }
            if to <= self.to {
                self.now = to;
                let share = self.share();
                self.weights = (value_weights(share), integral_weights(share));
                return Ok(());
            }
            self.now = self.to;
            self.unsettled = self.ends_in_moment;
            self.close();
            if !self.unsettled {
                self.step()?;
            }
        }
    }

    /// Now, in the circuit's own time.
    pub fn time(&self) -> Seconds {
        Seconds(self.now)
    }

    /// What it has cost so far.
    pub fn effort(&self) -> Effort {
        Effort { iterations: self.system.rounds, ..self.effort }
    }

    /// Takes no step longer than this. Without it steps grow as far as the error allows.
    pub fn limit_step(&mut self, longest: Seconds) {
        self.longest = longest.0;
    }

    /// Which share of the step in hand has passed.
    pub(super) fn share(&self) -> f64 {
        if self.now >= self.to { self.end_share } else { ((self.now - self.from) / self.length).clamp(0.0, self.end_share) }
    }

    /// Ends the step in hand now, wherever that is in it.
    pub(super) fn close(&mut self) {
        let share = self.share();
        let (values, integrals) = (value_weights(share), integral_weights(share));
        for i in 0..self.areas.len() {
            let (mut value, mut area) = (0.0, 0.0);
            for (stage, (v, a)) in self.stages.iter().zip(values.iter().zip(integrals)) {
                value += v * stage[i];
                area += a * stage[i];
            }
            self.areas[i] += self.length * area;
            let end = self.stages[STAGES - 1][i];
            self.stages[0][i] = if share < 1.0 { value } else { end };
        }
        for i in 0..self.flow_areas.len() {
            let area: f64 = self.flows.iter().zip(integrals).map(|(flow, a)| a * flow[i]).sum();
            let value: f64 = self.flows.iter().zip(values).map(|(flow, v)| v * flow[i]).sum();
            self.flow_areas[i] += self.length * area;
            self.flows[0][i] = value;
        }
        for i in 0..self.held.len() {
            let value: f64 = self.rates.iter().zip(values).map(|(rate, v)| v * rate[i]).sum();
            self.rates[0][i] = if share < 1.0 { value } else { self.rates[STAGES - 1][i] };
        }
        self.hold_stage(0);
        self.from = self.now;
        self.to = self.now;
        self.length = 0.0;
        self.end_share = 0.0;
        self.ends_in_moment = false;
        self.weights = (value_weights(0.0), integral_weights(0.0));
    }

    /// The stores hold what the voltages and currents of a stage say.
    fn hold_stage(&mut self, stage: usize) {
        for store in 0..self.system.stores.len() {
            self.held[store] = self.system.held(store, &self.stages[stage]);
        }
        self.hold_junctions(stage);
    }

    fn hold_junctions(&mut self, stage: usize) {
        for pn in &self.system.junctions {
            if let Some(store) = pn.store {
                let x = &self.stages[stage];
                self.held[store] = pn.model.at(x[pn.a] - x[pn.b]).charge;
            }
        }
    }

    /// Carries out what changes at this moment, and finds the currents that flow after it:
    /// two implicit steps of no length worth speaking of, the first of which takes up jumps.
    pub(super) fn settle(&mut self) -> Result<(), Failure> {
        let (moments, since) = self.crowd;
        if self.effort.moments >= moments + CROWD.0 {
            if self.from - since <= CROWD.1 * self.from {
                return Err(self.chatter());
            }
            self.crowd = (self.effort.moments, self.from);
        }
        let mut pulsed = false;
        for _ in 0..CHANGES {
            let changed = self.change_what_is_due();
            if pulsed && !changed {
                self.unsettled = false;
                self.look_ahead();
                return Ok(());
            }
            let (share, least) = self.pulse;
            let length = (self.last_length * share).clamp(least, 1e-9);
            self.pulse(length)?;
            self.pulse(length)?;
            pulsed = true;
        }
        Err(self.chatter())
    }

    /// From the first step on changes are taken up as suits a netlist.
    pub(super) fn as_netlist(&mut self) {
        self.pulse = PULSE_OF_NETLIST;
    }

    fn pulse(&mut self, length: f64) -> Result<(), Failure> {
        let alpha = 1.0 / length;
        let [x, ..] = &mut self.stages;
        let solved = self.system.solve_by_all_means(self.from, alpha, &self.held, x);
        solved.map_err(|unsolved| self.failure(unsolved, self.from))?;
        self.memory.copy_from_slice(&self.held);
        self.hold_stage(0);
        for (rate, (held, before)) in self.rates[0].iter_mut().zip(self.held.iter().zip(&self.memory)) {
            *rate = alpha * (held - before);
        }
        self.note_flows(0, self.from, alpha);
        for (area, value) in self.areas.iter_mut().zip(&self.stages[0]) {
            *area += length * value;
        }
        for (area, value) in self.flow_areas.iter_mut().zip(&self.flows[0]) {
            *area += length * value;
        }
        Ok(())
    }

    /// The flows of the last solution, as those of a stage.
    pub(super) fn note_flows(&mut self, stage: usize, time: f64, alpha: f64) {
        let flows = &mut self.flows[stage];
        for source in &self.system.sources {
            flows[source.flow] = if source.live { source.drive.at(time) } else { 0.0 };
        }
        for pn in &self.system.junctions {
            flows[pn.flow] = if pn.live { pn.current(alpha, &self.memory) } else { 0.0 };
        }
        for own in &self.system.devices {
            for (i, current) in own.currents.iter().enumerate() {
                flows[own.flow + i] = if own.live { *current } else { 0.0 };
            }
        }
    }

    /// Every switch and device that must change now does. Whether any did.
    fn change_what_is_due(&mut self) -> bool {
        let time = self.from;
        let mut changed = false;
        for i in 0..self.system.switches.len() {
            let x = &self.stages[0];
            let switch = &self.system.switches[i];
            if switch.urge(x) > 0.0 {
                let to = match switch.contact {
                    Contact::Open => Contact::Closed,
                    Contact::Closed => Contact::Open,
                };
                let part = Part(switch.part);
                self.last_changed = part.0;
                self.bank(part);
                self.system.move_contact(i, to);
                self.mark(part);
                changed = true;
            }
        }
        for own in &mut self.system.devices {
            for (trial, node) in own.trial.iter_mut().zip(&own.nodes) {
                *trial = self.stages[0][*node];
            }
            if own.device.next_moment() <= time || own.device.urge(time, &own.trial) > 0.0 {
                own.device.change(time, &own.trial);
                self.last_changed = own.part;
                changed = true;
            }
        }
        self.effort.moments += u64::from(changed);
        changed
    }

    pub(super) fn failure(&self, unsolved: Unsolved, time: f64) -> Failure {
        let (why, unknown) = match unsolved {
            Unsolved::Undetermined(unknown) => (Why::Undetermined, unknown),
            Unsolved::Unsettled(unknown) => (Why::NoConvergence, unknown),
        };
        let place = self.names.get(unknown).cloned().unwrap_or_else(|| "ground".into());
        Failure { why, place, time: Seconds(time) }
    }

    /// Something changes to and fro: who did last.
    fn chatter(&self) -> Failure {
        let part = self.part_names.get(self.last_changed).cloned();
        Failure { why: Why::Chatter, place: part.unwrap_or_else(|| "a part".into()), time: Seconds(self.from) }
    }
}
