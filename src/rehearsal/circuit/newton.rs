//! Solving the equations at one moment: Newton's iteration, with the aids that
//! Berkeley SPICE made customary where it does not settle by itself (limiting of
//! junction voltages, a conductance at every node that is taken away in steps,
//! sources that are raised in steps).

use super::matrix::Singular;
use super::system::{System, stamp};

/// Iterations at most.
const ROUNDS: usize = 60;
/// After so many every further one goes half the way.
const DAMPED: usize = 20;
/// A trial's current may always miss the part's by so many amperes.
const CURRENT: f64 = 1e-13;
/// The factors are kept while all slopes stay within this share of themselves, or of what
/// else hangs on their nodes: an iteration gains at least three digits either way.
const SLOPE: f64 = 1e-3;

/// Why there is no solution, and the unknown at fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unsolved {
    Undetermined(usize),
    Unsettled(usize),
}

impl From<Singular> for Unsolved {
    fn from(Singular(column): Singular) -> Self {
        Unsolved::Undetermined(column)
    }
}

impl System {
    /// Solves at `time` with stores that carry `alpha` times (what they hold, less `memory`).
    pub(super) fn solve(&mut self, time: f64, alpha: f64, memory: &[f64], x: &mut [f64]) -> Result<(), Unsolved> {
        self.prepare(alpha);
        self.fill_right(time, alpha, memory);
        if self.junctions.is_empty() && self.devices.is_empty() {
            if !self.factored {
                self.restart_values();
                self.matrix.factor()?;
                self.factored = true;
            }
            self.matrix.solve(&self.right, x);
            return Ok(());
        }
        for own in self.devices.iter_mut().filter(|d| d.live) {
            own.evaluate(time);
        }
        let mut worst = 0;
        for round in 0..ROUNDS {
            self.rounds += 1;
            self.linearise(alpha, memory)?;
            let next = &mut self.next;
            self.matrix.solve(&self.trial_right, next);
            if let Some(wild) = next.iter().take(self.size).position(|v| !v.is_finite()) {
                return Err(Unsolved::Unsettled(wild));
            }
            let share = if round < DAMPED { 1.0 } else { 0.5 };
            match self.follow(time, alpha, memory, share) {
                None => {
                    x[..self.size].copy_from_slice(&self.next[..self.size]);
                    return Ok(());
                }
                Some(place) => worst = place,
            }
        }
        Err(Unsolved::Unsettled(worst))
    }

    /// The matrix and right side about the last trial.
    fn linearise(&mut self, alpha: f64, memory: &[f64]) -> Result<(), Unsolved> {
        let keep = self.factored && self.slopes_are_near(alpha);
        if !keep {
            self.restart_values();
            let values = &mut self.matrix.values;
            for pn in self.junctions.iter_mut().filter(|j| j.live) {
                pn.used = pn.at.conductance + alpha * pn.at.capacitance;
                stamp(values, &pn.slots, pn.used);
            }
            for own in self.devices.iter_mut().filter(|d| d.live) {
                own.used.copy_from_slice(&own.slopes);
                for (slot, slope) in own.slots.iter().zip(&own.used) {
                    values[*slot] += slope;
                }
            }
            self.factored = false;
            self.matrix.factor()?;
            self.factored = true;
        }
        self.trial_right.copy_from_slice(&self.right);
        let right = &mut self.trial_right;
        for pn in self.junctions.iter().filter(|j| j.live) {
            let offset = pn.current(alpha, memory) - pn.used * pn.volts;
            right[pn.a] -= offset;
            right[pn.b] += offset;
        }
        for own in self.devices.iter().filter(|d| d.live) {
            let rows = own.nodes.iter().zip(own.used.chunks_exact(own.nodes.len().max(1)));
            for ((node, slopes), current) in rows.zip(&own.currents) {
                let linear: f64 = slopes.iter().zip(&own.volts).map(|(slope, volts)| slope * volts).sum();
                right[*node] -= current - linear;
            }
        }
        Ok(())
    }

    /// What is linear at a node, in siemens; nothing moves ground.
    fn firm(&self, node: usize) -> f64 {
        self.diagonals.get(node).map_or(f64::INFINITY, |slot| self.base[*slot].abs())
    }

    /// Whether the slopes that the factors hold will do for those of the last trial.
    fn slopes_are_near(&self, alpha: f64) -> bool {
        let near = |used: f64, now: f64, a: usize, b: usize| {
            let off = (used - now).abs();
            off <= SLOPE * now.abs() || off <= SLOPE * self.firm(a).min(self.firm(b))
        };
        let mut junctions = self.junctions.iter().filter(|j| j.live);
        let mut devices = self.devices.iter().filter(|d| d.live);
        junctions.all(|j| near(j.used, j.at.conductance + alpha * j.at.capacitance, j.a, j.b))
            && devices.all(|d| {
                let pairs = d.nodes.iter().flat_map(|i| d.nodes.iter().map(move |j| (*i, *j)));
                pairs.zip(d.used.iter().zip(&d.slopes)).all(|((i, j), (used, now))| near(*used, *now, i, j))
            })
    }

    /// Evaluates every part at the new trial, `share` of the way. `None`: it has settled;
    /// else a node where it has not. A current that is missed by less than what moves its
    /// node's voltage by what may be missed there is not missed.
    fn follow(&mut self, time: f64, alpha: f64, memory: &[f64], share: f64) -> Option<usize> {
        let next = &self.next;
        let (miss_share, miss_volts) = (self.miss_share, self.miss_volts);
        let (base, diagonals, size) = (&self.base, &self.diagonals, self.size);
        let firm = |node: usize| diagonals.get(node).map_or(0.0, |slot| base[*slot].abs());
        let mut unsettled = None;
        for pn in self.junctions.iter_mut().filter(|j| j.live) {
            let volts = next[pn.a] - next[pn.b];
            let predicted = pn.current(alpha, memory) + pn.used * (volts - pn.volts);
            let limited = pn.model.limited(volts, pn.volts);
            let target = if share < 1.0 { pn.volts + share * (limited - pn.volts) } else { limited };
            pn.volts = target;
            pn.at = pn.model.at(target);
            let missed = (pn.current(alpha, memory) - predicted).abs();
            let slope = pn.at.conductance + alpha * pn.at.capacitance;
            let allowed = CURRENT + miss_share * predicted.abs() + miss_volts * slope;
            if (limited - volts).abs() > miss_volts || missed > allowed {
                unsettled = Some(if pn.a < size { pn.a } else { pn.b });
            }
        }
        for own in self.devices.iter_mut().filter(|d| d.live) {
            let count = own.nodes.len();
            for (trial, node) in own.trial.iter_mut().zip(&own.nodes) {
                *trial = next[*node];
            }
            own.device.limit(time, &own.volts, &mut own.trial);
            // Not where the equations have it: they are to be asked again from there.
            if own.trial.iter().zip(&own.nodes).any(|(trial, node)| (trial - next[*node]).abs() > miss_volts) {
                unsettled = own.nodes.iter().copied().find(|n| *n < size).or(Some(0));
            }
            own.predict();
            for (volts, trial) in own.volts.iter_mut().zip(&own.trial) {
                *volts += share * (*trial - *volts);
            }
            own.evaluate(time);
            let rows = own.nodes.iter().zip(own.slopes.chunks_exact(count.max(1)));
            for ((node, slopes), (current, predicted)) in rows.zip(own.currents.iter().zip(&own.fresh)) {
                let missed = (current - predicted).abs();
                if missed <= CURRENT + miss_share * predicted.abs() {
                    continue;
                }
                let slope: f64 = slopes.iter().fold(firm(*node), |most, s| most.max(s.abs()));
                if missed > CURRENT + miss_share * predicted.abs() + miss_volts * slope {
                    unsettled = own.nodes.iter().copied().find(|n| *n < size).or(Some(0));
                }
            }
        }
        unsettled
    }

    /// Whether anything in it is not linear.
    pub(super) fn is_bent(&self) -> bool {
        !self.junctions.is_empty() || !self.devices.is_empty()
    }

    /// Linearises every part about a guess, as far as it can be trusted.
    pub(super) fn guess(&mut self, x: &[f64]) {
        for pn in self.junctions.iter_mut().filter(|j| j.live) {
            let volts = pn.model.limited(x[pn.a] - x[pn.b], pn.volts);
            if volts != pn.volts {
                pn.volts = volts;
                pn.at = pn.model.at(volts);
            }
        }
        for own in self.devices.iter_mut().filter(|d| d.live) {
            for (volts, node) in own.volts.iter_mut().zip(&own.nodes) {
                *volts = x[*node];
            }
        }
    }

    /// Solves, if need be with aids.
    pub(super) fn solve_by_all_means(&mut self, time: f64, alpha: f64, memory: &[f64], x: &mut [f64]) -> Result<(), Unsolved> {
        let first = match self.solve(time, alpha, memory, x) {
            Ok(()) => return Ok(()),
            Err(unsolved) => unsolved,
        };
        if let Unsolved::Undetermined(_) = first {
            return Err(first);
        }
        let aided = self.lower_shunt(time, alpha, memory, x).or_else(|_| self.raise_sources(time, alpha, memory, x));
        self.shunt = 0.0;
        self.scale = 1.0;
        self.changed();
        aided.map_err(|_| first)?;
        self.solve(time, alpha, memory, x).map_err(|_| first)
    }

    fn lower_shunt(&mut self, time: f64, alpha: f64, memory: &[f64], x: &mut [f64]) -> Result<(), Unsolved> {
        let mut shunt = 1.0;
        while shunt > 1e-14 {
            self.shunt = shunt;
            self.changed();
            self.solve(time, alpha, memory, x)?;
            shunt *= 0.1;
        }
        Ok(())
    }

    fn raise_sources(&mut self, time: f64, alpha: f64, memory: &[f64], x: &mut [f64]) -> Result<(), Unsolved> {
        self.shunt = 0.0;
        let (mut reached, mut step) = (0.0, 0.05);
        self.forget_trials(time);
        while reached < 1.0 {
            self.scale = f64::min(reached + step, 1.0);
            self.changed();
            match self.solve(time, alpha, memory, x) {
                Ok(()) => {
                    reached = self.scale;
                    step *= 1.5;
                }
                Err(unsolved) if step < 1e-4 => return Err(unsolved),
                Err(_) => step *= 0.25,
            }
        }
        Ok(())
    }

    /// Every part is linearised about zero volts again.
    fn forget_trials(&mut self, time: f64) {
        for pn in &mut self.junctions {
            pn.volts = 0.0;
            pn.at = pn.model.at(0.0);
        }
        for own in &mut self.devices {
            own.volts.fill(0.0);
            own.evaluate(time);
        }
    }
}

impl super::system::Pn {
    /// Anode to cathode, about the last trial, with what its charge takes.
    pub(super) fn current(&self, alpha: f64, memory: &[f64]) -> f64 {
        let stored = self.store.and_then(|s| memory.get(s)).map_or(0.0, |held| alpha * (self.at.charge - held));
        self.at.current + stored
    }
}

impl super::system::Own {
    /// Currents and slopes at the last trial.
    pub(super) fn evaluate(&mut self, time: f64) {
        self.currents.fill(0.0);
        self.slopes.fill(0.0);
        self.device.currents(time, &self.volts, &mut self.currents, &mut self.slopes);
    }

    /// What the linearisation says of the currents at `trial`, into `fresh`.
    fn predict(&mut self) {
        let rows = self.currents.iter().zip(self.used.chunks_exact(self.nodes.len().max(1)));
        for (fresh, (current, slopes)) in self.fresh.iter_mut().zip(rows) {
            let moves = self.trial.iter().zip(&self.volts).map(|(trial, volts)| trial - volts);
            *fresh = current + slopes.iter().zip(moves).map(|(slope, moved)| slope * moved).sum::<f64>();
        }
    }
}
