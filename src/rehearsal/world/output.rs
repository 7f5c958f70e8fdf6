//! A supply's output: a regulator that holds a voltage or a current, the capacitor
//! behind it that no limit holds back, the switch between them and the terminals.
//!
//! Leaves to others: registers and messages. Holds always: what the regulator gives is
//! a function of voltages and time; it changes its ways at moments only, and those are
//! found exactly, so a protection trips when it is reached and not when somebody looks.

use super::electrics::{Counts, Electrics, Guards, Loops, Over, Sense, Source};
use crate::instrument::profile::OffState;
use crate::rehearsal::circuit::Device;

/// A resistance that holds an output at zero volts, or closes it to its terminals, in ohms.
const CLOSED: f64 = 5e-3;
/// The voltage by which a limit that let go is taken up again.
const BACK: f64 = 1e-3;
/// The capacitor that holds what the loops have come to, 1 V for 1 A, in farads.
pub const DRIVE: f64 = 1e-6;
/// Beyond what can be given, a loop is held back this many times as fast as it moves.
const HELD_BACK: f64 = 10.0;

/// What takes less than this, in seconds and as a share of the time that it is, is done at once.
const AT_ONCE: f64 = 1e-12;

/// What the regulator does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Feed {
    Off,
    /// Holds the voltage.
    Voltage,
    /// More than the limit flows, and the limit does not hold yet.
    Overloaded,
    /// Holds the current.
    Current,
    /// The voltage is reached, and the current is not let go yet.
    Saturated,
}

/// The output. Terminals: its capacitor, the switched terminal, the sense lead and,
/// where it has loops, what they have come to.
#[derive(Debug)]
pub struct Output {
    electrics: Electrics,
    source: Source,
    guards: Guards,
    feed: Feed,
    /// When an overload, a saturation or a delay ends; infinite where there is none.
    until: f64,
    trips_at: f64,
    /// When over-voltage protection trips; infinite below its level.
    over_at: f64,
    /// When something was set last.
    set_at: f64,
    tripped: Option<(Over, f64)>,
    /// The way of the set voltage: a straight line.
    way: [(f64, f64); 2],
    changed_at: f64,
    /// In series with the terminals, in volts.
    noise: f64,
}

/// What it sees of the circuit, in volts; the drive in amperes.
#[derive(Clone, Copy)]
struct At {
    held: f64,
    terminal: f64,
    sensed: f64,
    drive: f64,
}

/// How a current changes with what is seen.
#[derive(Clone, Copy, Default)]
struct Slope {
    held: f64,
    terminal: f64,
    sensed: f64,
    drive: f64,
}

impl Slope {
    fn write(self, into: Option<&mut [f64]>) {
        let all = [self.held, self.terminal, self.sensed, self.drive];
        for (slope, value) in into.into_iter().flatten().zip(all) {
            *slope = value;
        }
    }
}

impl Output {
    /// Off since ever.
    pub fn new(electrics: Electrics, source: Source) -> Self {
        let never = f64::INFINITY;
        Self {
            electrics,
            source,
            guards: Guards { voltage: None, current: None },
            feed: Feed::Off,
            until: never,
            trips_at: never,
            over_at: never,
            set_at: 0.0,
            tripped: None,
            way: [(0.0, 0.0); 2],
            changed_at: -1.0,
            noise: 0.0,
        }
    }

    /// Whether it limits the current.
    pub fn limits(&self) -> bool {
        matches!(self.feed, Feed::Current | Feed::Saturated)
    }

    /// Whether it gives power.
    pub fn is_on(&self) -> bool {
        self.feed != Feed::Off
    }

    /// Whether it is off in just the way in which this source would leave it.
    pub fn stays_off(&self, source: Source) -> bool {
        self.feed == Feed::Off && !self.source.on && self.source.off == source.off
    }

    /// What has tripped, and when, until it is set anew.
    pub fn tripped(&self) -> Option<(Over, f64)> {
        self.tripped
    }

    /// Another level of its noise.
    pub fn stir(&mut self, volts: f64) {
        self.noise = volts;
    }

    /// Is set to something else at `time`; `volts` are those of its capacitor.
    pub fn set(&mut self, source: Source, guards: Guards, time: f64, volts: f64) {
        let was = self.source;
        (self.source, self.guards, self.set_at) = (source, guards, time);
        if !source.on {
            self.switch_off(time, volts);
        } else if !was.on || self.feed == Feed::Off {
            // It takes over what voltage it finds.
            self.go(time, volts.clamp(0.0, source.voltage), source.voltage);
            (self.feed, self.tripped) = (Feed::Voltage, None);
            self.forget();
        } else if was.voltage != source.voltage {
            self.go(time, self.wanted(time), source.voltage);
        }
        if self.guards.current.is_none() || self.electrics.counts == Counts::FromChange {
            self.trips_at = f64::INFINITY;
        }
        if self.guards.voltage.is_none() {
            self.over_at = f64::INFINITY;
        }
        if self.limits() {
            self.arm(time);
        }
        self.changed_at = time;
    }

    fn forget(&mut self) {
        (self.until, self.trips_at, self.over_at) = (f64::INFINITY, f64::INFINITY, f64::INFINITY);
    }

    fn switch_off(&mut self, time: f64, volts: f64) {
        self.forget();
        self.feed = Feed::Off;
        if self.source.off == OffState::ZeroVolts {
            self.go(time, volts.max(0.0), 0.0);
        }
    }

    /// The set voltage is on its way from now on.
    fn go(&mut self, time: f64, from: f64, to: f64) {
        let (up, down) = self.source.slew;
        let takes = (to - from).abs() / if to > from { up } else { down };
        // A way too short to be told from no time at all is none.
        let there = if takes < AT_ONCE * (1.0 + time) { time } else { time + takes };
        self.way = [(time, from), (there, to)];
    }

    /// What the regulator wants to hold now.
    fn wanted(&self, time: f64) -> f64 {
        let [(t0, v0), (t1, v1)] = self.way;
        let volts = if time >= t1 { v1 } else { v0 + (v1 - v0) * ((time - t0) / (t1 - t0)).clamp(0.0, 1.0) };
        match self.electrics.sense {
            Sense::Open(share) => volts * (1.0 + share),
            Sense::Local | Sense::Remote => volts,
        }
    }

    /// How much is lacking of what it wants to hold.
    fn lack(&self, time: f64, at: At) -> f64 {
        self.wanted(time) - at.sensed
    }

    /// What would flow if nothing limited it.
    fn demand(&self, time: f64, at: At) -> f64 {
        match self.electrics.loops {
            Some(_) => at.drive,
            None => self.lack(time, at) / self.electrics.resistance,
        }
    }

    /// The least and the most that it can give just now.
    fn reach(&self) -> (f64, f64) {
        let (sink, limit) = (self.electrics.sink, self.source.limit);
        match self.feed {
            Feed::Off if self.source.off == OffState::ZeroVolts => (-sink.max(1.0), limit),
            Feed::Off => (0.0, 0.0),
            Feed::Voltage | Feed::Overloaded => (-sink, self.electrics.surge.max(limit)),
            Feed::Current | Feed::Saturated if self.electrics.loops.is_none() => (limit, limit),
            Feed::Current | Feed::Saturated => (0.0, self.electrics.surge.max(limit)),
        }
    }

    /// What it gives, and how that changes.
    fn gives(&self, time: f64, at: At) -> (f64, Slope) {
        let (least, most) = self.reach();
        let loops = self.electrics.loops.filter(|_| self.feed != Feed::Off);
        let demand = if loops.is_some() { at.drive } else { self.lack(time, at) / self.electrics.resistance };
        let mut slope = Slope::default();
        if demand > least && demand < most {
            match loops {
                Some(_) => slope.drive = 1.0,
                None => slope.sensed = -1.0 / self.electrics.resistance,
            }
        }
        (demand.clamp(least, most), slope)
    }

    /// How fast what the loops have come to moves, in amperes a second, and how that
    /// changes. `passes` goes out of the terminals.
    fn moves(&self, loops: Loops, time: f64, at: At, passes: (f64, f64)) -> (f64, Slope) {
        let electrics = &self.electrics;
        let towards =
            |amperes: f64, within: f64| ((amperes - at.drive) / within, Slope { drive: -1.0 / within, ..Slope::default() });
        match self.feed {
            Feed::Off => towards(0.0, loops.voltage),
            Feed::Current | Feed::Saturated => towards(self.source.limit, loops.current),
            Feed::Voltage | Feed::Overloaded => {
                let omega = 1.0 / loops.voltage;
                let integrates = electrics.capacitance * omega * omega;
                // The output resistance damps as well.
                let damps = (2.0 * loops.damping * omega - electrics.resistance * integrates).max(0.0);
                let ((least, most), (given, slope)) = (self.reach(), self.gives(time, at));
                let (out, through) = passes;
                let into_capacitor = given - out - at.held / electrics.preload;
                let lack = self.lack(time, at) - electrics.resistance * at.drive;
                let back = HELD_BACK * omega;
                let beyond = at.drive - at.drive.clamp(least, most);
                let rate = integrates * lack - damps * into_capacitor - back * beyond;
                let slope = Slope {
                    held: damps * (through + 1.0 / electrics.preload),
                    terminal: -damps * through,
                    sensed: -integrates,
                    drive: -integrates * electrics.resistance - damps * slope.drive - if beyond != 0.0 { back } else { 0.0 },
                };
                (rate, slope)
            }
        }
    }

    fn is_closed(&self) -> bool {
        self.feed != Feed::Off || self.source.off != OffState::Open
    }

    /// From now on over-current protection counts.
    fn arm(&mut self, time: f64) {
        if let (Some(delay), false) = (self.guards.current, self.trips_at.is_finite()) {
            self.trips_at = match self.electrics.counts {
                Counts::FromLimiting => time + delay,
                Counts::FromChange => (self.set_at + delay).max(time),
            };
        }
    }

    fn trip(&mut self, over: Over, time: f64, volts: f64) {
        self.tripped = Some((over, time));
        self.switch_off(time, volts);
    }

    fn follow(&mut self, feed: Feed, lasts: f64, time: f64) {
        self.feed = feed;
        self.until = time + lasts;
        match feed {
            Feed::Current => self.arm(time),
            Feed::Voltage | Feed::Off => self.trips_at = f64::INFINITY,
            Feed::Overloaded | Feed::Saturated => {}
        }
    }

    /// What is seen. What it senses does not tell it of its own noise.
    fn see(&self, volts: &[f64]) -> Option<At> {
        let (&[held, terminal, sensed], rest) = volts.split_first_chunk()?;
        Some(At { held, terminal, sensed: sensed - self.hiss(), drive: rest.first().copied().unwrap_or(0.0) })
    }

    fn hiss(&self) -> f64 {
        if self.feed == Feed::Off { 0.0 } else { self.noise }
    }

    /// How far the terminals are above the level of over-voltage protection, or below it
    /// where they have been above.
    fn over(&self, at: At) -> f64 {
        match self.guards.voltage {
            Some(level) if self.feed != Feed::Off => {
                if self.over_at.is_finite() {
                    level - at.terminal
                } else {
                    at.terminal - level
                }
            }
            _ => f64::NEG_INFINITY,
        }
    }
}

impl Device for Output {
    fn currents(&self, time: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]) {
        let Some(at) = self.see(volts) else { return };
        let (gives, slope) = self.gives(time, at);
        let through = if self.is_closed() { 1.0 / CLOSED } else { 0.0 };
        let bleeds = match (self.feed, self.source.off) {
            (Feed::Off, OffState::Bleeder(ohms)) => 1.0 / ohms.0,
            _ => 0.0,
        };
        let passes = through * (at.held + self.hiss() - at.terminal);
        let mut rows = slopes.chunks_mut(volts.len().max(1));
        if let [capacitor, outside, ..] = currents {
            *capacitor = passes - gives;
            *outside = bleeds * at.terminal - passes;
        }
        Slope { held: through, terminal: -through, sensed: -slope.sensed, drive: -slope.drive }.write(rows.next());
        Slope { held: -through, terminal: through + bleeds, ..Slope::default() }.write(rows.next());
        if let (Some(loops), [_, _, _, drive]) = (self.electrics.loops, currents) {
            let (rate, slope) = self.moves(loops, time, at, (passes, through));
            *drive = -DRIVE * rate;
            let Slope { held, terminal, sensed, drive } = slope;
            let scaled = [held, terminal, sensed, drive].map(|s| -DRIVE * s);
            let [held, terminal, sensed, drive] = scaled;
            Slope { held, terminal, sensed, drive }.write(rows.nth(1));
        }
    }

    fn limit(&self, time: f64, last: &[f64], trial: &mut [f64]) {
        let ([_, _, was, ..], [_, _, sensed, ..]) = (last, trial) else { return };
        let (least, most) = self.reach();
        if least >= most || (self.electrics.loops.is_some() && self.feed != Feed::Off) {
            return;
        }
        // Between these it regulates: a few millivolts.
        let wanted = self.wanted(time) + self.hiss();
        let (low, high) = (wanted - most * self.electrics.resistance, wanted - least * self.electrics.resistance);
        if (*was < low && *sensed > high) || (*was > high && *sensed < low) {
            *sensed = 0.5 * (low + high);
        }
    }

    fn urge(&self, time: f64, volts: &[f64]) -> f64 {
        let Some(at) = self.see(volts) else { return f64::NEG_INFINITY };
        let beyond = |amperes: f64| self.demand(time, at) - amperes;
        let own = match self.feed {
            Feed::Off => f64::NEG_INFINITY,
            Feed::Voltage => beyond(self.source.limit * 1.000_001 + 1e-6),
            Feed::Overloaded => -beyond(self.source.limit),
            Feed::Current => -self.lack(time, at),
            Feed::Saturated => self.lack(time, at) - BACK - self.source.limit * self.electrics.resistance,
        };
        self.over(at).max(own)
    }

    fn next_moment(&self) -> f64 {
        let ahead = self.way.iter().map(|(at, _)| *at).find(|at| *at > self.changed_at);
        ahead.unwrap_or(f64::INFINITY).min(self.until).min(self.trips_at).min(self.over_at)
    }

    fn change(&mut self, time: f64, volts: &[f64]) {
        let Some(at) = self.see(volts) else { return };
        self.changed_at = time;
        if self.over_at <= time {
            return self.trip(Over::Voltage, time, at.held);
        }
        if self.over(at) > 0.0 {
            match (self.over_at.is_finite(), self.electrics.over_voltage_delay) {
                (true, _) => self.over_at = f64::INFINITY,
                (false, delay) if delay > 0.0 => self.over_at = time + delay,
                (false, _) => return self.trip(Over::Voltage, time, at.held),
            }
        }
        if self.trips_at <= time {
            return self.trip(Over::Current, time, at.held);
        }
        let ends = self.until <= time;
        let electrics = self.electrics;
        let (demand, lack, limit) = (self.demand(time, at), self.lack(time, at), self.source.limit);
        match self.feed {
            Feed::Voltage if demand > limit => self.follow(Feed::Overloaded, electrics.crossover, time),
            Feed::Overloaded if ends => self.follow(Feed::Current, f64::INFINITY, time),
            Feed::Overloaded if demand < limit => self.follow(Feed::Voltage, f64::INFINITY, time),
            Feed::Current if lack <= 0.0 => self.follow(Feed::Saturated, electrics.recovery, time),
            Feed::Saturated if ends => self.follow(Feed::Voltage, f64::INFINITY, time),
            Feed::Saturated if lack > limit * electrics.resistance => self.follow(Feed::Current, f64::INFINITY, time),
            _ => {}
        }
    }
}
