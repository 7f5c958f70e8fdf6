//! A capacitor with a solid electrolyte: it leaks in proportion to the voltage and,
//! helped by the field, far more than that; it leaks more after a rest than under
//! bias; part of its leakage comes and goes (random telegraph noise); and it gives
//! back later what its dielectric has absorbed.
//!
//! The field-assisted part has Poole and Frenkel's form in the applied voltage,
//! I = I1 (V / 1 V) exp(b (sqrt(V / 1 V) - 1)): J. Frenkel, "On pre-breakdown phenomena
//! in insulators and electronic semi-conductors", Physical Review 54 (1938) 647-648.
//! Absorption as branches of a resistor and a capacitor in series: P. Hyde, Y. Ho and
//! others since G. L. Dow; the trade's usual equivalent circuit.

use super::device::Device;
use super::parts::{Circuit, Kind, Node, Part};
use crate::units::{Amperes, Farads, Ohms, Ratio, Seconds, Volts};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What a solid capacitor is like.
#[derive(Clone, Debug, PartialEq)]
pub struct Solid {
    /// Capacitance.
    pub capacitance: Farads,
    /// The resistance of its ohmic leakage.
    pub insulation: Ohms,
    /// Leakage that the field assists.
    pub field: Option<Field>,
    /// How it changes with rest.
    pub after_rest: Option<AfterRest>,
    /// The part of its leakage that comes and goes.
    pub telegraph: Option<Telegraph>,
    /// Absorbing branches: share of the capacitance, time constant.
    pub absorption: Vec<(Ratio, Seconds)>,
}

/// Field-assisted leakage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Field {
    /// I1: what it is at 1 V.
    pub at_one_volt: Amperes,
    /// b: how steeply it rises with the root of the voltage.
    pub slope: f64,
}

/// More field-assisted leakage after a rest than under bias.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AfterRest {
    /// How much more after a long rest.
    pub more: Ratio,
    /// Time constant of the rest.
    pub time: Seconds,
    /// Time constant with which it settles under bias.
    pub settles_in: Seconds,
}

/// Field-assisted leakage that switches between two levels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Telegraph {
    /// How much more in the upper state.
    pub more: Ratio,
    /// Mean stay in either state; the stays are distributed exponentially.
    pub stay: Seconds,
}

/// The parts that a solid capacitor became.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SolidParts {
    /// The capacitance itself.
    pub capacitor: Part,
    /// The capacitors of the absorbing branches.
    pub absorbing: Vec<Part>,
    /// The leakage.
    pub leakage: Part,
}

/// Below this it rests, above the other it is under bias.
const BIAS: (Volts, Volts) = (Volts(0.45), Volts(0.55));
/// The exponent is not followed further than this.
const STEEPEST: f64 = 40.0;
/// A rest is over after so many time constants, and is followed in steps of this share of one.
const OVER: f64 = 12.0;
const FOLLOWED: f64 = 0.3;
/// No stay is shorter, in seconds.
const SHORTEST_STAY: f64 = 1e-3;

impl Solid {
    /// Puts it into a circuit, between two nodes.
    pub fn place(&self, circuit: &mut Circuit, name: &str, a: Node, b: Node) -> SolidParts {
        let capacitor = circuit.add(name, Kind::Capacitor(self.capacitance.0, None), &[a, b]);
        let mut absorbing = Vec::new();
        for (number, (share, time)) in (1..).zip(&self.absorption) {
            let inner = circuit.node(&format!("{name}#{number}"));
            let farads = Farads(self.capacitance.0 * share.0);
            circuit.resistor(&format!("{name}#r{number}"), a, inner, Ohms(time.0 / farads.0));
            absorbing.push(circuit.capacitor(&format!("{name}#c{number}"), inner, b, farads));
        }
        let leakage = circuit.device(&format!("{name}#leak"), &[a, b], Leakage::new(self.clone()));
        SolidParts { capacitor, absorbing, leakage }
    }
}

/// The leakage of a solid capacitor, as a part of two terminals.
#[derive(Debug)]
pub struct Leakage {
    kind: Solid,
    /// Share of a long rest that it had at `since`, and whether it rests since then.
    rested: f64,
    since: f64,
    rests: bool,
    /// Whether its rest, or its settling, is over.
    over: bool,
    upper: bool,
    switches_at: f64,
    random: ChaCha8Rng,
}

impl Leakage {
    /// A part that has rested long.
    pub fn new(kind: Solid) -> Self {
        let random = ChaCha8Rng::seed_from_u64(0);
        Self { kind, rested: 1.0, since: 0.0, rests: true, over: true, upper: false, switches_at: f64::INFINITY, random }
    }

    /// Share of a long rest that it has had: 1 after a long rest, 0 after long bias.
    pub fn rested(&self, time: Seconds) -> Ratio {
        let Some(rest) = self.kind.after_rest else { return Ratio(0.0) };
        let (goal, constant) = if self.rests { (1.0, rest.time.0) } else { (0.0, rest.settles_in.0) };
        Ratio(goal + (self.rested - goal) * (-(time.0 - self.since).max(0.0) / constant).exp())
    }

    /// Whether the telegraph is in its upper state.
    pub fn is_upper(&self) -> bool {
        self.upper
    }

    /// Current and its slope at a voltage.
    pub fn at(&self, time: Seconds, volts: Volts) -> (Amperes, f64) {
        let (v, ohmic) = (volts.0.abs(), 1.0 / self.kind.insulation.0);
        let Some(field) = self.kind.field else { return (Amperes(volts.0 * ohmic), ohmic) };
        let rest = self.kind.after_rest.map_or(0.0, |r| r.more.0 * self.rested(time).0);
        let telegraph = self.kind.telegraph.map_or(0.0, |t| if self.upper { t.more.0 } else { 0.0 });
        let exponent = field.slope * (v.sqrt() - 1.0);
        let share = field.at_one_volt.0 * exponent.min(STEEPEST).exp() * (1.0 + rest) * (1.0 + telegraph);
        let rise = if exponent < STEEPEST { 0.5 * field.slope * v.sqrt() } else { 0.0 };
        (Amperes(volts.0 * (ohmic + share)), ohmic + share * (1.0 + rise))
    }

    /// The time constant of what goes on.
    fn constant(&self) -> f64 {
        self.kind.after_rest.map_or(f64::INFINITY, |rest| if self.rests { rest.time.0 } else { rest.settles_in.0 })
    }

    fn stay(&mut self) -> f64 {
        let share: f64 = self.random.random_range(1e-12..1.0);
        let mean = self.kind.telegraph.map_or(f64::INFINITY, |t| t.stay.0);
        (-share.ln() * mean).max(SHORTEST_STAY)
    }
}

impl Device for Leakage {
    fn begin(&mut self, seed: u64) {
        self.random = ChaCha8Rng::seed_from_u64(seed);
        if self.kind.telegraph.is_some() {
            self.switches_at = self.stay();
        }
    }

    fn currents(&self, time: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]) {
        let &[a, b] = volts else { return };
        let (current, slope) = self.at(Seconds(time), Volts(a - b));
        currents.copy_from_slice(&[current.0, -current.0]);
        slopes.copy_from_slice(&[slope, -slope, -slope, slope]);
    }

    fn urge(&self, _: f64, volts: &[f64]) -> f64 {
        match (self.kind.after_rest, volts) {
            (Some(_), &[a, b]) if self.rests => (a - b).abs() - BIAS.1.0,
            (Some(_), &[a, b]) => BIAS.0.0 - (a - b).abs(),
            _ => f64::NEG_INFINITY,
        }
    }

    fn next_moment(&self) -> f64 {
        let over = if self.over { f64::INFINITY } else { self.since + OVER * self.constant() };
        self.switches_at.min(over)
    }

    fn longest_step(&self) -> f64 {
        if self.over { f64::INFINITY } else { FOLLOWED * self.constant() }
    }

    fn change(&mut self, time: f64, volts: &[f64]) {
        if self.urge(time, volts) > 0.0 {
            self.rested = self.rested(Seconds(time)).0;
            self.since = time;
            self.rests = !self.rests;
            self.over = false;
        } else if !self.over && time >= self.since + OVER * self.constant() {
            self.over = true;
        }
        while self.switches_at <= time {
            self.upper = !self.upper;
            self.switches_at += self.stay();
        }
    }
}
