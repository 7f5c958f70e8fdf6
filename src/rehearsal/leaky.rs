//! A solid capacitor that leaks: ohmic and field-assisted leakage, more after a
//! rest than under bias, with a telegraph component, and absorption.

use crate::units::{Farads, Ohms, Ratio, Seconds, Volts};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What a capacitor is like.
#[derive(Clone, Debug)]
pub struct Leaky {
    /// Capacitance.
    pub capacitance: Farads,
    /// Ohmic part of the leakage.
    pub insulation: Ohms,
    /// Field-assisted part, I = I1 (V / 1 V) exp(b (sqrt(V / 1 V) - 1)): I1 in amperes
    /// at 1 V (Poole and Frenkel's form in the applied voltage).
    pub field_current: f64,
    /// The b above.
    pub field_slope: f64,
    /// How much more it leaks after a long rest.
    pub rest_gain: Ratio,
    /// How fast it gets there without bias.
    pub rest_time: Seconds,
    /// How fast it settles under bias.
    pub settle_time: Seconds,
    /// How much more it leaks in the upper telegraph state.
    pub telegraph_gain: Ratio,
    /// Mean stay in a telegraph state.
    pub telegraph_stay: Seconds,
    /// Share of the capacitance in each of three absorbing branches (1, 10 and 100 s).
    pub absorption: Ratio,
}

impl Leaky {
    /// A resistor, with a little capacitance across it.
    pub fn resistor(resistance: Ohms) -> Self {
        Self {
            capacitance: Farads(1e-6),
            insulation: resistance,
            field_current: 0.0,
            field_slope: 0.0,
            rest_gain: Ratio(0.0),
            rest_time: Seconds(1.0),
            settle_time: Seconds(1.0),
            telegraph_gain: Ratio(0.0),
            telegraph_stay: Seconds(1.0),
            absorption: Ratio(0.0),
        }
    }
}

/// Time constants of the absorbing branches, in seconds.
const BRANCHES: [f64; 3] = [1.0, 10.0, 100.0];
/// Below this it counts as resting.
const BIAS: Volts = Volts(0.5);

/// A capacitor in time.
#[derive(Clone, Debug)]
pub struct Part {
    kind: Leaky,
    /// Voltage across it.
    pub voltage: f64,
    rested: f64,
    upper: bool,
    until_switch: f64,
    branches: [f64; 3],
    random: ChaCha8Rng,
}

impl Part {
    /// A discharged part that has rested long.
    pub fn new(kind: Leaky, seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let until_switch = stay(&kind, &mut random);
        Self { kind, voltage: 0.0, rested: 1.0, upper: false, until_switch, branches: [0.0; 3], random }
    }

    /// Leakage in amperes and its slope in amperes for each volt; in reverse it is the same.
    fn leakage(&self) -> (f64, f64) {
        let v = self.voltage.abs();
        let kind = &self.kind;
        let gain = (1.0 + kind.rest_gain.0 * self.rested) * (1.0 + if self.upper { kind.telegraph_gain.0 } else { 0.0 });
        let share = kind.field_current * (kind.field_slope * (v.sqrt() - 1.0)).min(40.0).exp() * gain;
        let slope = share * (1.0 + 0.5 * kind.field_slope * v.sqrt()) + 1.0 / kind.insulation.0;
        ((v / kind.insulation.0 + v * share) * self.voltage.signum(), slope)
    }

    /// Moves on by `h` seconds, fed through `resistance` from `source` volts. Exact for
    /// a linear part whatever the step is: the leakage is taken as a straight line about
    /// the present voltage, and the exponential towards the end voltage is followed
    /// (Rosenbrock and Euler's method). Returns the mean current that it took.
    pub fn step(&mut self, h: f64, source: f64, resistance: f64) -> f64 {
        let (c, v) = (self.kind.capacitance.0, self.voltage);
        let absorbed: f64 = self.branch_currents().iter().sum();
        let (leakage, slope) = self.leakage();
        let branches: f64 = BRANCHES.iter().map(|tau| c * self.kind.absorption.0 / tau).sum();
        let conductance = 1.0 / resistance + slope.max(0.0) + branches;
        let swing = ((source - v) / resistance - leakage - absorbed) / conductance;
        let x = conductance * h / c;
        let share = -(-x).exp_m1();
        let mean = v + swing * (1.0 - share / x);
        self.voltage = v + swing * share;
        for (held, tau) in self.branches.iter_mut().zip(BRANCHES) {
            *held += (mean - *held) * -(-h / tau).exp_m1();
        }
        self.age(h);
        (source - mean) / resistance
    }

    /// Shorted out by hand.
    pub fn discharge(&mut self) {
        self.voltage = 0.0;
        self.branches = [0.0; 3];
    }

    fn branch_currents(&self) -> [f64; 3] {
        let c = self.kind.capacitance.0 * self.kind.absorption.0;
        let mut currents = [0.0; 3];
        for ((current, held), tau) in currents.iter_mut().zip(self.branches).zip(BRANCHES) {
            *current = c * (self.voltage - held) / tau;
        }
        currents
    }

    /// Rest and telegraph states go on whatever else happens.
    fn age(&mut self, h: f64) {
        let (target, tau) =
            if self.voltage.abs() < BIAS.0 { (1.0, self.kind.rest_time.0) } else { (0.0, self.kind.settle_time.0) };
        self.rested += (target - self.rested) * (1.0 - (-h / tau).exp());
        self.until_switch -= h;
        while self.until_switch <= 0.0 {
            self.upper = !self.upper;
            self.until_switch += stay(&self.kind, &mut self.random);
        }
    }

    /// The longest step that keeps its changes small, in seconds.
    pub fn longest_step(&self) -> f64 {
        self.until_switch.clamp(1e-4, 0.02)
    }
}

/// An exponentially distributed stay.
fn stay(kind: &Leaky, random: &mut ChaCha8Rng) -> f64 {
    let share: f64 = random.random_range(1e-9..1.0);
    (-share.ln() * kind.telegraph_stay.0).max(1e-3)
}
