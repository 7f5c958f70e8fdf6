//! One step: its stages, its error, its length, and the moments inside it.

use super::failure::{Failure, Why};
use super::newton::Unsolved;
use super::parts::Contact;
use super::system::Controlled;
use super::tableau::{AT, CONTINUED, GAMMA, STAGE, STAGES, error_weights, value_weights};
use super::transient::Transient;

/// Shorter than this share of the time that it is, a step no longer moves on.
const SHORTEST: f64 = 1e-15;
/// No step is longer, in seconds: some thirty years.
const LONGEST: f64 = 1e9;
/// The continuation's term of fourth order may be this share of the largest value: on a
/// smooth curve it is less, on one with a corner inside it is far more.
const BEND: f64 = 5e-4;
/// What the iteration may miss, as a share of what a step may.
const MISSED: f64 = 0.02;
/// Bisections towards a moment.
const HALVINGS: usize = 48;

impl Controlled {
    /// Above zero: the switch moves.
    pub(super) fn urge(&self, x: &[f64]) -> f64 {
        self.urge_at(x[self.control[0]] - x[self.control[1]])
    }

    fn urge_at(&self, volts: f64) -> f64 {
        // Without any hysteresis the rounding of the moment alone would move it to and fro.
        let half = self.model.hysteresis + 1e-9 * (1.0 + self.model.threshold.abs());
        match self.contact {
            Contact::Open => volts - (self.model.threshold + half),
            Contact::Closed => (self.model.threshold - half) - volts,
        }
    }
}

/// Guesses a stage from those before it: the polynomial through the last ones.
fn predict(stage: usize, before: &[Vec<f64>], x: &mut [f64]) {
    let share = |i: usize, known: &[usize]| -> f64 {
        known.iter().filter(|j| **j != i).map(|j| (AT[stage] - AT[*j]) / (AT[i] - AT[*j])).product()
    };
    let known: &[usize] = match stage {
        1 => &[0],
        2 => &[0, 1],
        3 => &[0, 1, 2],
        4 => &[1, 2, 3],
        _ => &[1, 3, 4],
    };
    x.fill(0.0);
    for i in known {
        let weight = share(*i, known);
        for (x, known) in x.iter_mut().zip(&before[*i]) {
            *x += weight * known;
        }
    }
}

impl Transient {
    /// After a moment: where the next one is, and how long a first step may be.
    pub(super) fn look_ahead(&mut self) {
        let (mut corner, mut allowed) = (f64::INFINITY, LONGEST);
        let time = self.from;
        let system = &self.system;
        let drives = system.branches.iter().map(|b| &b.drive).chain(system.sources.iter().map(|s| &s.drive));
        for drive in drives {
            corner = corner.min(drive.corner_after(time));
            allowed = allowed.min(drive.longest_step());
        }
        for own in &system.devices {
            corner = corner.min(own.device.next_moment());
            allowed = allowed.min(own.device.longest_step());
        }
        self.corner = corner;
        self.allowed = allowed;
        self.next_length = self.first_length();
    }

    /// What the iteration may miss, so that the steps' errors can still be told from it.
    pub(super) fn set_tolerance(&mut self) {
        let peak = self.peaks.iter().take(self.system.nodes).copied().fold(1e-3, f64::max);
        self.system.miss_volts = MISSED * (self.accuracy.volts + self.accuracy.relative * peak);
        self.system.miss_share = MISSED * self.accuracy.relative;
    }

    /// A step in which nothing moves by more than a fiftieth of the largest voltage.
    fn first_length(&self) -> f64 {
        let system = &self.system;
        let largest = |range: std::ops::Range<usize>| {
            let now = self.stages[0].get(range.clone()).unwrap_or_default().iter().map(|v| v.abs()).fold(0.0, f64::max);
            self.peaks.get(range).unwrap_or_default().iter().copied().fold(now, f64::max)
        };
        let (volts, amperes) = (largest(0..system.nodes), largest(system.nodes..system.size));
        let mut length = (self.corner - self.from) * 0.1;
        for (store, rate) in system.stores.iter().zip(&self.rates[0]).filter(|(store, _)| store.live) {
            let swing = if store.branch.is_none() { volts } else { amperes };
            let speed = (rate / store.value).abs();
            if swing > 0.0 && speed > 0.0 {
                length = length.min(0.02 * swing / speed);
            }
        }
        if length.is_finite() && length > 0.0 { length } else { self.last_length }
    }

    /// Takes a step from where the last one ended, as long as the error allows.
    pub(super) fn step(&mut self) -> Result<(), Failure> {
        let room = self.corner - self.from;
        let mut length = self.next_length.min(self.allowed).min(self.longest).min(LONGEST);
        let mut at_fault = None;
        loop {
            let reaches = length >= room * 0.999_999;
            if reaches {
                length = room;
            } else if length > 0.6 * room {
                length = 0.5 * room;
            }
            if !(length > SHORTEST * self.from.abs() && length > 1e-24) {
                let failure = at_fault.map(|unsolved| self.failure(unsolved, self.from));
                return Err(failure.unwrap_or_else(|| self.unbounded()));
            }
            let error = match self.try_step(length, reaches) {
                Ok(error) => error,
                Err(unsolved) => {
                    self.effort.rejected += 1;
                    at_fault = Some(unsolved);
                    length *= 0.125;
                    continue;
                }
            };
            let factor = (0.9 * error.powf(-0.25)).clamp(0.1, 6.0);
            if error > 1.0 {
                self.effort.rejected += 1;
                length *= factor.min(0.7);
                continue;
            }
            self.effort.steps += 1;
            // Where no error was made in the last step either, a circuit at rest is left in long strides.
            self.next_length = length * factor;
            self.last_length = length;
            self.length = length;
            self.to = if reaches { self.corner } else { self.from + length };
            self.end_share = 1.0;
            self.ends_in_moment = reaches;
            for (peak, end) in self.peaks.iter_mut().zip(&self.stages[STAGES - 1]) {
                *peak = peak.max(end.abs());
            }
            self.set_tolerance();
            self.find_moment();
            return Ok(());
        }
    }

    fn unbounded(&self) -> Failure {
        let largest = (0..self.system.size).max_by(|a, b| self.error[*a].abs().total_cmp(&self.error[*b].abs()));
        Failure { why: Why::Unbounded, ..self.failure(Unsolved::Unsettled(largest.unwrap_or(0)), self.from) }
    }

    /// The stages of a step, and its error in allowed errors.
    fn try_step(&mut self, length: f64, reaches: bool) -> Result<f64, Unsolved> {
        let alpha = 1.0 / (GAMMA * length);
        for stage in 1..STAGES {
            for (i, memory) in self.memory.iter_mut().enumerate() {
                let mut sum = 0.0;
                for (coefficient, rate) in STAGE[stage].iter().zip(&self.rates).take(stage) {
                    sum += coefficient * rate[i];
                }
                *memory = self.held[i] + length * sum;
            }
            let mut time = self.from + AT[stage] * length;
            if reaches && stage == STAGES - 1 {
                // Just before the corner: what comes at it belongs to the next step.
                time = self.corner - 16.0 * f64::EPSILON * self.corner.abs();
            }
            let (before, after) = self.stages.split_at_mut(stage);
            if let Some(x) = after.first_mut() {
                if self.system.is_bent() {
                    predict(stage, before, x);
                    self.system.guess(x);
                }
                self.system.solve(time, alpha, &self.memory, x)?;
            }
            for store in 0..self.system.stores.len() {
                let held = self.system.held(store, &self.stages[stage]);
                self.rates[stage][store] = alpha * (held - self.memory[store]);
            }
            for pn in &self.system.junctions {
                if let Some(store) = pn.store {
                    self.rates[stage][store] = alpha * (pn.at.charge - self.memory[store]);
                }
            }
            self.note_flows(stage, time, alpha);
        }
        Ok(self.judge(length, alpha))
    }

    /// The error of the stages in hand. Charges that the two methods disagree about are
    /// given to the circuit as currents: what it makes of them is the error of its
    /// voltages, without what is too fast to matter.
    fn judge(&mut self, length: f64, alpha: f64) -> f64 {
        let weights = error_weights();
        for (i, memory) in self.memory.iter_mut().enumerate() {
            *memory = length * weights.iter().zip(&self.rates).map(|(w, rate)| w * rate[i]).sum::<f64>();
        }
        let system = &mut self.system;
        system.right.fill(0.0);
        for (store, charge) in system.stores.iter().zip(&self.memory).filter(|(s, _)| s.live) {
            match store.branch.and_then(|b| system.branches.get(b)) {
                None => {
                    system.right[store.a] += alpha * charge;
                    system.right[store.b] -= alpha * charge;
                }
                Some(branch) => system.right[branch.row] -= alpha * charge * branch.weight,
            }
        }
        for pn in system.junctions.iter().filter(|j| j.live) {
            if let Some(charge) = pn.store.and_then(|s| self.memory.get(s)) {
                system.right[pn.a] += alpha * charge;
                system.right[pn.b] -= alpha * charge;
            }
        }
        system.matrix.solve(&system.right, &mut self.error);
        let mut worst = 1e-12_f64;
        let Self { error, stages, peaks, accuracy, .. } = self;
        let own = |i: usize, floor: f64| {
            let size = stages[STAGES - 1][i].abs().max(peaks[i]);
            let allowed = floor + accuracy.relative * size;
            // What the continuation cannot follow between the stages counts as well, leniently.
            let mut bend = 0.0;
            for (stage, share) in stages.iter().skip(1).zip(CONTINUED[3]) {
                bend += share * (stage[i] - stages[0][i]);
            }
            (error[i].abs() / allowed).max(bend.abs() / (BEND * size + 1e3 * floor))
        };
        for i in 0..self.system.nodes {
            worst = worst.max(own(i, accuracy.volts));
        }
        for store in &self.system.stores {
            if let Some(branch) = store.branch.and_then(|b| self.system.branches.get(b)) {
                worst = worst.max(own(branch.row, accuracy.amperes));
            }
        }
        if worst.is_finite() { worst } else { 1e6 }
    }

    /// Where a switch or device changes inside the step, the step ends there.
    fn find_moment(&mut self) {
        if self.system.switches.is_empty() && self.system.devices.is_empty() {
            return;
        }
        let mut late = match [0.25, 0.5, 0.75, 1.0].into_iter().find(|s| self.urge(*s) > 0.0) {
            Some(share) => share,
            None => return,
        };
        let mut early = 0.0;
        for _ in 0..HALVINGS {
            let middle = 0.5 * (early + late);
            if self.urge(middle) > 0.0 {
                late = middle;
            } else {
                early = middle;
            }
        }
        self.to = self.from + late * self.length;
        self.end_share = late;
        self.ends_in_moment = true;
    }

    /// The strongest urge of all at a share of the step.
    fn urge(&mut self, share: f64) -> f64 {
        let weights = value_weights(share);
        let time = self.from + share * self.length;
        let stages = &self.stages;
        let at = |i: usize| stages.iter().zip(weights).map(|(stage, w)| w * stage[i]).sum::<f64>();
        let mut most = f64::NEG_INFINITY;
        for switch in &self.system.switches {
            most = most.max(switch.urge_at(at(switch.control[0]) - at(switch.control[1])));
        }
        for own in &mut self.system.devices {
            for (trial, node) in own.trial.iter_mut().zip(&own.nodes) {
                *trial = at(*node);
            }
            most = most.max(own.device.urge(time, &own.trial));
        }
        most
    }
}
