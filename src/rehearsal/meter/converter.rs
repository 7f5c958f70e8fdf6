//! What a meter does in time: it waits, integrates, looks at its own zero, changes its
//! range, and begins anew.
//!
//! Holds always: every change of what it does is at a moment of its own, found by
//! moving the circuit there, and not at the moment at which somebody looks. Who
//! measures all the time is followed only around the looks.

use super::MeterDevice;
use super::settings::Zeroing;
use crate::rehearsal::world::World;
use crate::scpi::error_queue::codes;

/// A moment that is this near, in seconds, has come.
const GRAIN: f64 = 1e-9;
/// How many measurements are followed after a look and before the next, of one that
/// measures all the time: more than it has ranges.
const FOLLOWED: f64 = 32.0;

/// Where integration began: time, charge and volt-seconds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Mark {
    pub at: f64,
    pub charge: f64,
    pub volts: f64,
}

impl Mark {
    fn here(world: &World) -> Self {
        Self { at: world.time(), charge: world.charge(), volts: world.volt_seconds() }
    }
}

/// What it does, and until when.
#[derive(Clone, Copy, Debug, Default)]
enum Doing {
    #[default]
    Nothing,
    /// Its range changes, or its delay passes.
    Waits(f64),
    Integrates(Mark, f64),
    /// It has a mean, and integrates over nothing since a moment.
    Zeroes {
        mean: f64,
        since: f64,
        until: f64,
    },
    /// It is between two measurements.
    Pauses(f64),
}

/// The converter's state.
#[derive(Clone, Copy, Debug, Default)]
pub struct Converter {
    doing: Doing,
    /// How many readings are still to come, with the one in hand.
    wanted: u64,
    /// When the measurement in hand began.
    began: f64,
    /// How often the range has changed for it, and whether upwards.
    changes: usize,
    went_up: bool,
    /// How many integrations were carried out.
    #[cfg(test)]
    pub carried_out: u64,
}

impl MeterDevice {
    /// Does what was to be done until `now`, each thing at its moment.
    pub fn catch_up(&mut self, now: f64, world: &mut World) {
        if self.is_continuous() && !self.is_busy() && self.range.is_some() {
            self.trigger(world);
        }
        let mut followed = 0.0;
        loop {
            let (hand, own) = (self.next_hand(), self.next_moment());
            let moment = hand.min(own);
            if moment > now + GRAIN {
                return;
            }
            world.advance(moment.min(now));
            if hand <= own {
                self.be_turned(world);
                continue;
            }
            if matches!(self.converter.doing, Doing::Pauses(_)) {
                followed += 1.0;
                if followed == FOLLOWED && self.is_continuous() && self.skips(now.min(hand)) {
                    continue;
                }
            }
            self.go_on(world);
        }
    }

    /// Leaves out what nobody looks at, but for the last measurements before `until`.
    fn skips(&mut self, until: f64) -> bool {
        let each = self.spacing();
        let Doing::Pauses(next) = &mut self.converter.doing else { return false };
        let left_out = ((until - *next) / each - FOLLOWED).floor().max(0.0);
        *next += left_out * each;
        left_out > 0.0
    }

    fn next_moment(&self) -> f64 {
        match self.converter.doing {
            Doing::Nothing => f64::INFINITY,
            Doing::Waits(until) | Doing::Integrates(_, until) | Doing::Zeroes { until, .. } | Doing::Pauses(until) => until,
        }
    }

    /// Begins what was asked for; what it has kept goes.
    pub fn trigger(&mut self, world: &World) {
        self.before = std::mem::take(&mut self.readings);
        self.converter = Converter { wanted: self.settings.samples, began: world.time(), ..Converter::default() };
        match self.settings.delay {
            delay if delay > 0.0 => self.converter.doing = Doing::Waits(world.time() + delay),
            _ => self.integrate(world),
        }
    }

    /// Ends it.
    pub(super) fn stop(&mut self) {
        self.converter = Converter::default();
    }

    /// Begins the measurement in hand anew, after the time of a change of the range: what
    /// was integrated belongs to what it was set to before.
    pub(super) fn begin_anew(&mut self, world: &World) {
        if !matches!(self.converter.doing, Doing::Nothing) {
            let gap = self.quirks.auto_range.unwrap_or_default().gap.0;
            self.converter.doing = Doing::Waits(world.time() + gap);
        }
    }

    fn integrate(&mut self, world: &World) {
        #[cfg(test)]
        {
            self.converter.carried_out += 1;
        }
        self.converter.doing = Doing::Integrates(Mark::here(world), world.time() + self.aperture());
    }

    /// The moment of what it does has come.
    fn go_on(&mut self, world: &mut World) {
        let now = world.time();
        match std::mem::take(&mut self.converter.doing) {
            Doing::Nothing => {}
            Doing::Waits(_) => self.integrate(world),
            Doing::Pauses(_) => {
                (self.converter.began, self.converter.changes, self.converter.went_up) = (now, 0, false);
                self.integrate(world);
            }
            Doing::Integrates(mark, _) => {
                let mean = self.mean(&mark, world);
                if let Some(gap) = self.change_range(mean, world) {
                    self.converter.doing = Doing::Waits(now + gap);
                } else if self.zeroes() {
                    self.converter.doing = Doing::Zeroes { mean, since: now, until: now + self.aperture() };
                } else {
                    let taken = match self.settings.zeroing {
                        Zeroing::Held(zero) => zero,
                        Zeroing::On | Zeroing::Once => 0.0,
                    };
                    self.read(mean - taken, world);
                }
            }
            Doing::Zeroes { mean, since, .. } => {
                let Some(range) = self.range.clone() else { return };
                let zero = self.zero(&range, 0.5 * (since + now)) + self.noise(&range);
                if self.settings.zeroing == Zeroing::Once {
                    self.settings.zeroing = Zeroing::Held(zero);
                }
                self.read(mean - zero, world);
            }
        }
    }

    fn zeroes(&self) -> bool {
        !matches!(self.settings.zeroing, Zeroing::Held(_))
    }

    /// From the beginning of a measurement to the next: a zero takes as long as what it is for.
    fn spacing(&self) -> f64 {
        let each = if self.zeroes() { 2.0 * self.aperture() } else { self.aperture() };
        each + self.rest().0
    }

    /// Where the range in force does not suit what is there, another one is taken; how long
    /// that takes.
    fn change_range(&mut self, mean: f64, world: &mut World) -> Option<f64> {
        let auto = self.auto_range()?;
        let range = self.range.as_ref()?;
        let ranges = self.ranges();
        let at = ranges.iter().position(|r| r.send == range.send && r.full == range.full)?;
        // Behind another terminal there is nothing.
        let there = |place: usize| ranges.get(place).filter(|r| r.terminal == range.terminal);
        let size = mean.abs();
        let next = if size > auto.up.0 * range.full {
            there(at + 1)
        } else if size < auto.down.0 * range.full && !self.converter.went_up {
            at.checked_sub(1).and_then(there).filter(|lower| size <= auto.up.0 * lower.full)
        } else {
            None
        };
        let (next, most) = (next.cloned()?, 2 * ranges.len());
        if self.converter.changes >= most {
            return None;
        }
        self.converter.changes += 1;
        self.converter.went_up |= next.full > range.full;
        self.choose(self.measures_voltage, Some(next), world);
        if self.is_continuous() {
            // What was measured on the other range is not shown any more.
            self.readings.clear();
        }
        Some(auto.gap.0)
    }

    /// A measurement ends with a mean.
    fn read(&mut self, mean: f64, world: &World) {
        let shown = self.shown(mean);
        if self.is_continuous() {
            self.before = std::mem::replace(&mut self.readings, vec![shown]);
        } else {
            self.readings.push(shown);
            self.converter.wanted = self.converter.wanted.saturating_sub(1);
            if self.converter.wanted == 0 {
                return;
            }
            if self.readings.len() as u64 >= self.quirks.memory.0 {
                self.converter.wanted = 0;
                self.dialogue.complain(codes::OUT_OF_MEMORY);
                return;
            }
        }
        self.converter.doing = Doing::Pauses((self.converter.began + self.spacing()).max(world.time()));
    }

    /// Seconds until what was triggered is measured, as far as that is known now.
    pub(super) fn busy(&self, world: &World) -> f64 {
        let (aperture, each) = (self.aperture(), self.spacing() - self.rest().0);
        let this = match self.converter.doing {
            Doing::Nothing => return 0.0,
            Doing::Waits(until) | Doing::Pauses(until) => until + each,
            Doing::Integrates(_, until) => until + each - aperture,
            Doing::Zeroes { until, .. } => until,
        };
        let left = match self.is_continuous() {
            true if !self.readings.is_empty() => return 0.0,
            true => 0,
            false => self.converter.wanted.min(self.quirks.memory.0.saturating_sub(self.readings.len() as u64)).saturating_sub(1),
        };
        let busy = this + left as f64 * self.spacing() - world.time();
        if busy > GRAIN { busy } else { 0.0 }
    }

    /// Whether something is being measured.
    pub(super) fn is_busy(&self) -> bool {
        !matches!(self.converter.doing, Doing::Nothing)
    }
}
