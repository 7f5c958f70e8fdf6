//! What a stand-in's output is like, electrically.

use crate::instrument::profile::{Accuracy, OffState, Setting, SupplyProfile};
use crate::plan::{Quirks, SupplyElectrics};
use crate::rehearsal::world::{Counts, Electrics, Loops, Noise, Sense};
use crate::units::Ratio;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::PI;

/// Time in which an output rises from nothing to the rated voltage, in seconds.
const RISE: f64 = 0.01;
/// How quick a regulator with loops is, where nothing is said, in seconds.
const LOOP: f64 = 20e-6;
/// The share of an accuracy row that is used up by a setting, and by a read-back, which has
/// noise and its step beside that.
const USED: (f64, f64) = (0.9, 0.5);

/// What a bench file says; where it says nothing, that of a usual linear bench supply of
/// these ratings.
pub fn of(profile: &SupplyProfile, told: &SupplyElectrics, quirks: &Quirks) -> Electrics {
    let capacitance = told.capacitor.map_or(10e-6, |c| c.0);
    // What brings its own capacitor down from the rated voltage in the time that it falls in.
    let sink = || capacitance * profile.rated_voltage.0 / falls(profile, told).max(1e-3);
    let has_loops = told.voltage_loop.is_some() || told.current_loop.is_some() || told.overshoot.is_some();
    let loops = Loops {
        voltage: told.voltage_loop.map_or(LOOP, |t| t.0),
        damping: told.overshoot.map_or(1.0, damping),
        current: told.current_loop.map_or(LOOP, |t| t.0),
    };
    let sense = match (quirks.sense_lead_open, quirks.remote_sense) {
        (Ratio(more), _) if more > 0.0 => Sense::Open(more),
        (_, true) => Sense::Remote,
        (_, false) => Sense::Local,
    };
    Electrics {
        capacitance,
        preload: told.preload.map_or(10e3, |r| r.0),
        resistance: told.resistance.map_or(0.01, |r| r.0),
        crossover: told.crossover.map_or(200e-6, |t| t.0),
        surge: told.surge.map_or(1.5 * profile.rated_current.0, |i| i.0),
        recovery: told.recovery.map_or(50e-6, |t| t.0),
        sink: told.sink.map_or_else(sink, |i| i.0),
        loops: has_loops.then_some(loops),
        over_voltage_delay: told.over_voltage_delay.map_or(0.0, |t| t.0),
        counts: if told.delay_from_change { Counts::FromChange } else { Counts::FromLimiting },
        noise: told.noise.filter(|n| n.0.0 > 0.0).map(|(rms, bandwidth)| Noise { rms: rms.0, bandwidth: bandwidth.0 }),
        sense,
    }
}

/// The damping at which a system of second order overshoots a step by this share:
/// exp(-pi z / sqrt(1 - z^2)) (K. Ogata, "Modern Control Engineering", chapter 5, maximum
/// overshoot; from memory).
fn damping(overshoot: Ratio) -> f64 {
    if overshoot.0 <= 0.0 {
        return 1.0;
    }
    let log = overshoot.0.ln();
    -log / PI.hypot(log)
}

fn falls(profile: &SupplyProfile, told: &SupplyElectrics) -> f64 {
    told.fall.map_or(profile.output.fall.0.max(1e-3), |t| t.0)
}

/// Volts per second, up and down.
pub fn slew(profile: &SupplyProfile, told: &SupplyElectrics) -> (f64, f64) {
    let rated = profile.rated_voltage.0;
    (rated / told.rise.map_or(RISE, |t| t.0), rated / falls(profile, told))
}

pub fn off(profile: &SupplyProfile, told: &SupplyElectrics) -> OffState {
    told.off_is.unwrap_or(profile.output.off_is)
}

/// How far a value is off within an accuracy row: shares of what is in proportion and of
/// what is fixed, drawn once.
#[derive(Clone, Copy, Debug)]
pub struct Off(f64, f64);

impl Off {
    fn draw(random: &mut ChaCha8Rng, used: f64) -> Self {
        Self(random.random_range(-used..used), random.random_range(-used..used))
    }

    /// What is in proportion to a value, and what is not.
    pub fn of(self, value: f64, row: &Accuracy, range: f64) -> (f64, f64) {
        (self.0 * row.reading.0 * value.abs(), self.1 * (row.range.0 * range.abs() + row.offset))
    }
}

/// How far the settings and read-backs of a channel are off.
#[derive(Clone, Copy, Debug)]
pub struct Offs {
    pub voltage: Off,
    pub limit: Off,
    pub level: Off,
    pub reads_voltage: Off,
    pub reads_current: Off,
}

impl Offs {
    /// Of every channel, in their order.
    pub fn draw(channels: u32, seed: u64) -> Vec<Self> {
        let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x0FF5_0E75);
        let mut one = |used| Off::draw(&mut random, used);
        let (sets, reads) = USED;
        let mut channel = || Self {
            voltage: one(sets),
            limit: one(sets),
            level: one(sets),
            reads_voltage: one(reads),
            reads_current: one(reads),
        };
        (0..channels).map(|_| channel()).collect()
    }
}

/// What a setting really comes to. A profile that says nothing of that is taken at its word.
pub fn comes_to(value: f64, setting: &Setting, range: f64, off: Off) -> f64 {
    let (in_proportion, fixed) = setting.accuracy.as_ref().map_or((0.0, 0.0), |row| off.of(value, row, range));
    (value + in_proportion + fixed).max(0.0)
}
