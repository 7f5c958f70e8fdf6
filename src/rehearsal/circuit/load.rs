//! A load that is a small state machine: in each state it draws a current that is a
//! function of its voltage, and it goes from state to state on the voltages at its
//! terminals, on the time in a state, and by chance.

use super::device::Device;
use crate::units::{Amperes, Ohms, Ratio, Seconds, Volts, Watts};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A current as a function of the voltage. Nothing is drawn at or below 0 V.
#[derive(Clone, Debug, PartialEq)]
pub enum Draws {
    /// The voltage over a resistance.
    Resistance(Ohms),
    /// A constant current; in proportion to the voltage below the voltage given.
    Current(Amperes, Volts),
    /// A constant power; in proportion to the voltage below the voltage given.
    Power(Watts, Volts),
    /// What is above a voltage, over a resistance.
    Above(Volts, Ohms),
    /// Straight lines between points, constant beyond them; the voltages ascend.
    Points(Vec<(Volts, Amperes)>),
}

impl Draws {
    /// Current and its slope at a voltage.
    pub fn at(&self, volts: f64) -> (f64, f64) {
        if volts <= 0.0 {
            return (0.0, 0.0);
        }
        let below = |current: f64, knee: f64| (current * volts / knee, current / knee);
        match self {
            Draws::Resistance(r) => (volts / r.0, 1.0 / r.0),
            Draws::Current(i, knee) if volts < knee.0 => below(i.0, knee.0),
            Draws::Current(i, _) => (i.0, 0.0),
            Draws::Power(p, knee) if volts < knee.0 => below(p.0 / knee.0, knee.0),
            Draws::Power(p, _) => (p.0 / volts, -p.0 / (volts * volts)),
            Draws::Above(from, r) if volts > from.0 => ((volts - from.0) / r.0, 1.0 / r.0),
            Draws::Above(..) => (0.0, 0.0),
            Draws::Points(points) => {
                let after = points.partition_point(|(v, _)| v.0 <= volts);
                match (after.checked_sub(1).and_then(|i| points.get(i)), points.get(after)) {
                    (Some((v0, i0)), Some((v1, i1))) => {
                        let slope = (i1.0 - i0.0) / (v1.0 - v0.0);
                        (i0.0 + slope * (volts - v0.0), slope)
                    }
                    (Some((_, current)), None) | (None, Some((_, current))) => (current.0, 0.0),
                    (None, None) => (0.0, 0.0),
                }
            }
        }
    }
}

/// What must hold for a transition. Terminals are counted from 0, against terminal 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Condition {
    /// A terminal is above a voltage.
    Above(usize, Volts),
    /// A terminal is below a voltage.
    Below(usize, Volts),
    /// A terminal is above a share of another.
    AboveShare(usize, Ratio, usize),
    /// A terminal is below a share of another.
    BelowShare(usize, Ratio, usize),
    /// So long in this state.
    After(Seconds),
    /// On the so-manieth visit to this state, counted from 1.
    Visit(u64),
}

/// A way out of a state.
#[derive(Clone, Debug, PartialEq)]
pub struct Transition {
    /// The number of the state that it leads to.
    pub to: usize,
    /// All of these must hold.
    pub when: Vec<Condition>,
    /// The chance that this way is open; drawn once in each visit.
    pub chance: Ratio,
}

/// A state.
#[derive(Clone, Debug, PartialEq)]
pub struct State {
    /// Its name.
    pub name: String,
    /// The sum of these is drawn.
    pub draws: Vec<Draws>,
    /// A sine on all of it: share, period.
    pub ripple: Option<(Ratio, Seconds)>,
    /// Ways out; the first that is open is taken.
    pub transitions: Vec<Transition>,
}

/// A load in a circuit. Terminal 0 draws from it, terminal 1 is its ground, further
/// terminals are looked at only.
#[derive(Debug)]
pub struct Load {
    states: Vec<State>,
    now: usize,
    entered: f64,
    visits: Vec<u64>,
    open: Vec<bool>,
    /// The last moment that it has dealt with.
    dealt: f64,
    random: ChaCha8Rng,
}

impl Load {
    /// A load that begins in the first of its states.
    pub fn new(states: Vec<State>) -> Self {
        let visits = vec![0; states.len()];
        let random = ChaCha8Rng::seed_from_u64(0);
        let mut load = Self { states, now: 0, entered: 0.0, visits, open: Vec::new(), dealt: 0.0, random };
        load.enter(0, 0.0);
        load
    }

    /// The name of the state that it is in.
    pub fn state(&self) -> &str {
        self.states.get(self.now).map_or("", |s| s.name.as_str())
    }

    /// How often it has entered a state, by its number.
    pub fn visits(&self, state: usize) -> u64 {
        self.visits.get(state).copied().unwrap_or(0)
    }

    fn enter(&mut self, state: usize, time: f64) {
        self.now = state;
        self.entered = time;
        if let Some(visits) = self.visits.get_mut(state) {
            *visits += 1;
        }
        self.open.clear();
        for transition in self.states.get(state).iter().flat_map(|s| &s.transitions) {
            let chance = transition.chance.0.clamp(0.0, 1.0);
            self.open.push(chance >= 1.0 || self.random.random_bool(chance));
        }
    }

    /// How far a condition is fulfilled.
    fn margin(&self, condition: Condition, time: f64, volts: &[f64]) -> f64 {
        let ground = volts.get(1).copied().unwrap_or(0.0);
        let at = |terminal: usize| volts.get(terminal).copied().unwrap_or(0.0) - ground;
        let surely = |holds: bool| if holds { f64::INFINITY } else { f64::NEG_INFINITY };
        match condition {
            Condition::Above(terminal, v) => at(terminal) - v.0,
            Condition::Below(terminal, v) => v.0 - at(terminal),
            Condition::AboveShare(terminal, share, of) => at(terminal) - share.0 * at(of),
            Condition::BelowShare(terminal, share, of) => share.0 * at(of) - at(terminal),
            Condition::After(wait) => surely(time >= self.entered + wait.0),
            Condition::Visit(number) => surely(self.visits(self.now) == number),
        }
    }

    /// The open ways out of this state, and how far each is fulfilled.
    fn ways<'a>(&'a self, time: f64, volts: &'a [f64]) -> impl Iterator<Item = (usize, f64)> + 'a {
        let transitions = self.states.get(self.now).into_iter().flat_map(|s| &s.transitions);
        transitions.zip(&self.open).filter(|(_, open)| **open).map(move |(transition, _)| {
            let margins = transition.when.iter().map(|c| self.margin(*c, time, volts));
            (transition.to, margins.fold(f64::INFINITY, f64::min))
        })
    }
}

impl Device for Load {
    fn begin(&mut self, seed: u64) {
        self.random = ChaCha8Rng::seed_from_u64(seed);
        self.visits.fill(0);
        self.enter(0, 0.0);
    }

    fn currents(&self, time: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]) {
        let (Some(state), &[plus, minus, ..]) = (self.states.get(self.now), volts) else { return };
        let (mut current, mut slope) = (0.0, 0.0);
        for draws in &state.draws {
            let (i, g) = draws.at(plus - minus);
            current += i;
            slope += g;
        }
        if let Some((share, period)) = state.ripple {
            let ripple = 1.0 + share.0 * (std::f64::consts::TAU * time / period.0).sin();
            current *= ripple;
            slope *= ripple;
        }
        let count = volts.len();
        for (row, sign) in [(0, 1.0), (1, -1.0)] {
            if let Some(place) = currents.get_mut(row) {
                *place = sign * current;
            }
            for (column, other) in [(0, 1.0), (1, -1.0)] {
                if let Some(place) = slopes.get_mut(row * count + column) {
                    *place = sign * other * slope;
                }
            }
        }
    }

    fn urge(&self, time: f64, volts: &[f64]) -> f64 {
        self.ways(time, volts).map(|(_, margin)| margin).fold(f64::NEG_INFINITY, f64::max)
    }

    fn next_moment(&self) -> f64 {
        let transitions = self.states.get(self.now).into_iter().flat_map(|s| &s.transitions);
        let waits = transitions.flat_map(|t| &t.when).filter_map(|c| match c {
            Condition::After(wait) => Some(self.entered + wait.0),
            _ => None,
        });
        waits.filter(|at| *at > self.dealt).fold(f64::INFINITY, f64::min)
    }

    fn change(&mut self, time: f64, volts: &[f64]) {
        let way = self.ways(time, volts).find(|(_, margin)| *margin > 0.0);
        if let Some((to, _)) = way {
            self.enter(to, time);
        }
        self.dealt = time;
    }

    fn longest_step(&self) -> f64 {
        let ripple = self.states.get(self.now).and_then(|s| s.ripple);
        ripple.map_or(f64::INFINITY, |(_, period)| 0.1 * period.0)
    }
}
