//! The made-up board: an input capacitor, a reset that must be re-armed, an
//! arming delay with a capacitor that may leak, a gate, and what it draws in each
//! of its states.

use super::leaky::{Leaky, Part};
use crate::units::{Amperes, Farads, Ohms, Ratio, Seconds, Volts};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// What a board is like.
#[derive(Clone, Debug)]
pub struct Board {
    /// Across the input.
    pub input: Farads,
    /// Below this it stops working.
    pub dropout: Volts,
    /// The supply must have fallen below this, or its reset is not re-armed and it hangs.
    pub reset_below: Volts,
    /// Drawn asleep, beside what the arming delay takes.
    pub asleep: Amperes,
    /// Drawn running.
    pub running: Amperes,
    /// Ripple of the running current, its share and its period.
    pub ripple: (Ratio, Seconds),
    /// Drawn when hung.
    pub hung: Amperes,
    /// The arming delay: resistor from the input, capacitor, threshold of the gate as a share of the input.
    pub arming: Option<(Ohms, Leaky, Ratio)>,
    /// Latch-up: when, and the current then.
    pub latch_up: Option<(LatchUp, Amperes)>,
    /// A path that opens above a voltage, with this resistance for what is above it.
    pub short: Option<(Volts, Ohms)>,
}

/// Which starts end in latch-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LatchUp {
    /// Each with this chance.
    Chance(Ratio),
    /// One alone, counted from 1.
    AtStart(u64),
}

/// A latched-up path holds this many volts, and carries its full current a little above.
const HOLDING: (f64, f64) = (0.8, 1.0);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Without power, reset re-armed.
    Off,
    /// Below drop-out, reset not yet re-armed.
    BrownOut,
    /// Working, waiting for the arming delay.
    Asleep,
    Running,
    Hung,
    LatchedUp,
}

/// A board in time.
#[derive(Debug)]
pub struct Live {
    kind: Board,
    /// Voltage at its input.
    pub voltage: f64,
    state: State,
    time: f64,
    arming: Option<Part>,
    starts: u64,
    random: ChaCha8Rng,
}

impl Live {
    /// A board without power.
    pub fn new(kind: Board, seed: u64) -> Self {
        let arming = kind.arming.as_ref().map(|(_, leaky, _)| Part::new(leaky.clone(), seed ^ 0xA5A5));
        Self {
            kind,
            voltage: 0.0,
            state: State::Off,
            time: 0.0,
            arming,
            starts: 0,
            random: ChaCha8Rng::seed_from_u64(seed ^ 0xB0A4D),
        }
    }

    /// Moves on by `h` seconds: `feed` amperes from a source that falls by
    /// `conductance` amperes for each volt the input rises.
    pub fn step(&mut self, h: f64, feed: f64, conductance: f64) {
        let arming = self.arm(h);
        let v = self.voltage;
        let (clamped, clamps) = self.clamped();
        // Implicit throughout: a load that cannot draw from nothing counts as a
        // conductance, so that no step, however long, undershoots zero.
        let load = if v > 0.0 { (self.draws() + arming.max(0.0)) / v } else { 0.0 };
        let back = (-arming).max(0.0);
        let slope = conductance + clamps;
        let by = h / self.kind.input.0;
        self.voltage = ((v + by * (feed + back - clamped + slope * v)) / (1.0 + by * (slope + load))).max(0.0);
        self.time += h;
        self.change_state();
    }

    /// A source of current that holds no more than `level` volts: what the last step
    /// of `h` seconds brought beyond it did not flow. Returns that, in amperes.
    pub fn hold_to(&mut self, level: f64, h: f64) -> f64 {
        let beyond = (self.voltage - level).max(0.0);
        self.voltage -= beyond;
        beyond * self.kind.input.0 / h
    }

    /// Taken off the bench: discharged by hand.
    pub fn put_away(&mut self) {
        self.voltage = 0.0;
        self.state = State::Off;
        if let Some(part) = &mut self.arming {
            part.discharge();
        }
    }

    /// What flows in paths that open above a voltage, and how steeply it rises with it.
    fn clamped(&self) -> (f64, f64) {
        let v = self.voltage;
        let short = self.kind.short.map(|(above, ohms)| (above.0, ohms.0));
        let latched = match (self.state, self.kind.latch_up) {
            (State::LatchedUp, Some((_, amperes))) if v < HOLDING.1 => Some((HOLDING.0, (HOLDING.1 - HOLDING.0) / amperes.0)),
            _ => None,
        };
        let paths = [short, latched].into_iter().flatten().filter(|(above, _)| v > *above);
        paths.fold((0.0, 0.0), |sum, (above, ohms)| (sum.0 + (v - above) / ohms, sum.1 + 1.0 / ohms))
    }

    /// The arming delay; returns what it takes from the input. While the board is
    /// without power the capacitor empties through the same resistor.
    fn arm(&mut self, h: f64) -> f64 {
        match (&mut self.arming, &self.kind.arming) {
            (Some(part), Some((resistor, ..))) => part.step(h, self.voltage, resistor.0),
            _ => 0.0,
        }
    }

    fn draws(&self) -> f64 {
        let v = self.voltage;
        let (share, period) = self.kind.ripple;
        let ripple = 1.0 + share.0 * (std::f64::consts::TAU * self.time / period.0).sin();
        let own = match self.state {
            State::Off | State::BrownOut => self.kind.asleep.0 * (v / self.kind.dropout.0).min(1.0),
            State::Asleep => self.kind.asleep.0,
            State::Running => self.kind.running.0 * ripple,
            State::Hung => self.kind.hung.0,
            State::LatchedUp if v < HOLDING.1 => 0.0,
            State::LatchedUp => self.kind.latch_up.map_or(0.0, |(_, amperes)| amperes.0),
        };
        // Nothing is drawn from nothing.
        own * (v / 0.2).min(1.0)
    }

    fn change_state(&mut self) {
        let (v, dropout, reset) = (self.voltage, self.kind.dropout.0, self.kind.reset_below.0);
        self.state = match self.state {
            State::Off if v > dropout => {
                self.starts += 1;
                let latches = match self.kind.latch_up {
                    Some((LatchUp::Chance(chance), _)) => self.random.random_bool(chance.0.clamp(0.0, 1.0)),
                    Some((LatchUp::AtStart(number), _)) => self.starts == number,
                    None => false,
                };
                if latches { State::LatchedUp } else { State::Asleep }
            }
            State::BrownOut if v < reset => State::Off,
            State::BrownOut if v > dropout => State::Hung,
            State::Asleep if self.armed() => State::Running,
            State::Asleep | State::Running | State::Hung if v < dropout * 0.9 => State::BrownOut,
            // A latch-up lasts until the power is gone, also where the supply limits it.
            State::LatchedUp if v < HOLDING.0 * 0.5 => State::BrownOut,
            same => same,
        };
    }

    fn armed(&self) -> bool {
        match (&self.arming, &self.kind.arming) {
            (Some(part), Some((_, _, threshold))) => part.voltage > threshold.0 * self.voltage,
            _ => true,
        }
    }

    /// The longest step that keeps its changes small, in seconds.
    pub fn longest_step(&self) -> f64 {
        let own = match self.state {
            State::Running => 0.01,
            _ => 0.02,
        };
        self.arming.as_ref().map_or(own, |p| p.longest_step().min(own))
    }
}
