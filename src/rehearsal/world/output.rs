//! A supply's output: a regulator that holds a voltage or a current, the capacitor
//! behind it that no limit holds back, the switch between them and the terminals.
//!
//! Leaves to others: registers and messages. Holds always: what the regulator gives is
//! a function of voltages and time; it changes its ways at moments only, and those are
//! found exactly, so a protection trips when it is reached and not when somebody looks.

use crate::instrument::profile::OffState;
use crate::rehearsal::circuit::Device;

/// What an output is like, electrically. Volts, amperes, seconds, ohms, farads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Electrics {
    /// Across the output, outside the limit.
    pub capacitance: f64,
    /// Inside, across that capacitor, for ever.
    pub preload: f64,
    /// Output resistance where it holds a voltage.
    pub resistance: f64,
    /// How long an overload lasts before the limit holds.
    pub crossover: f64,
    /// What flows meanwhile at most.
    pub surge: f64,
    /// How long the voltage runs on when the limit no longer holds.
    pub recovery: f64,
    /// What it takes back to bring its voltage down; 0: it waits until something draws.
    pub sink: f64,
    /// By which share a step of the voltage is overshot, and how long until it is back.
    pub overshoot: (f64, f64),
    /// Where it senses.
    pub sense: Sense,
}

/// Where a supply senses its voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sense {
    /// At its terminals.
    Local,
    /// At the unit, through leads of their own.
    Remote,
    /// Meant to be at the unit, but a sense lead is open: the voltage is higher by this share.
    Open(f64),
}

/// What is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Source {
    /// Whether it is on.
    pub on: bool,
    /// Volts when on.
    pub voltage: f64,
    /// Amperes at most.
    pub limit: f64,
    /// What it is when off.
    pub off: OffState,
    /// Volts per second, up and down.
    pub slew: (f64, f64),
}

/// A protection of the supply's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// Trips above a voltage.
    Voltage,
    /// Trips when the limit has held for a time.
    Current,
}

/// Which protections are armed, and at what.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guards {
    /// Volts at the terminals.
    pub voltage: Option<f64>,
    /// Seconds in limiting.
    pub current: Option<f64>,
}

/// A resistance that holds an output at zero volts, or closes it to its terminals, in ohms.
const CLOSED: f64 = 5e-3;
/// The voltage by which a limit that let go is taken up again.
const BACK: f64 = 1e-3;

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

/// The output. Terminals: its capacitor, the switched terminal, the sense lead.
#[derive(Debug)]
pub struct Output {
    electrics: Electrics,
    source: Source,
    guards: Guards,
    feed: Feed,
    /// When an overload, a saturation or a delay ends; infinite where there is none.
    until: f64,
    trips_at: f64,
    tripped: Option<(Over, f64)>,
    /// The way of the set voltage: straight lines between moments.
    way: [(f64, f64); 3],
    changed_at: f64,
}

impl Output {
    /// Off since ever.
    pub fn new(electrics: Electrics, source: Source) -> Self {
        let guards = Guards { voltage: None, current: None };
        let way = [(0.0, 0.0); 3];
        let (until, trips_at) = (f64::INFINITY, f64::INFINITY);
        Self { electrics, source, guards, feed: Feed::Off, until, trips_at, tripped: None, way, changed_at: -1.0 }
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

    /// Is set to something else at `time`; `volts` are those of its capacitor.
    pub fn set(&mut self, source: Source, guards: Guards, time: f64, volts: f64) {
        let was = self.source;
        (self.source, self.guards) = (source, guards);
        if !source.on {
            self.switch_off(time, volts);
        } else if !was.on || self.feed == Feed::Off {
            // It takes over what voltage it finds.
            self.go(time, volts.clamp(0.0, source.voltage), source.voltage);
            (self.feed, self.tripped) = (Feed::Voltage, None);
            (self.until, self.trips_at) = (f64::INFINITY, f64::INFINITY);
        } else if was.voltage != source.voltage {
            self.go(time, self.wanted(time), source.voltage);
        }
        if self.feed == Feed::Current {
            self.arm(time);
        }
        self.changed_at = time;
    }

    fn switch_off(&mut self, time: f64, volts: f64) {
        (self.until, self.trips_at) = (f64::INFINITY, f64::INFINITY);
        self.feed = Feed::Off;
        if self.source.off == OffState::ZeroVolts {
            self.go(time, volts.max(0.0), 0.0);
        }
    }

    /// The set voltage is on its way from now on.
    fn go(&mut self, time: f64, from: f64, to: f64) {
        let (up, down) = self.source.slew;
        let (share, settling) = self.electrics.overshoot;
        let takes = (to - from).abs() / if to > from { up } else { down };
        // A way too short to be told from no time at all is none.
        let there = if takes < AT_ONCE * (1.0 + time) { time } else { time + takes };
        let beyond = if to > from { to + share * (to - from) } else { to };
        let back = if share > 0.0 { there + settling } else { there };
        self.way = [(time, from), (there, beyond), (back, to)];
    }

    /// What the regulator wants to hold now.
    fn wanted(&self, time: f64) -> f64 {
        let [(t0, v0), (t1, v1), (t2, v2)] = self.way;
        let along = |(ta, va): (f64, f64), (tb, vb): (f64, f64)| va + (vb - va) * ((time - ta) / (tb - ta)).clamp(0.0, 1.0);
        let volts = if time >= t2 {
            v2
        } else if time >= t1 {
            along((t1, v1), (t2, v2))
        } else {
            along((t0, v0), (t1, v1))
        };
        match self.electrics.sense {
            Sense::Open(share) => volts * (1.0 + share),
            Sense::Local | Sense::Remote => volts,
        }
    }

    /// What would flow if nothing limited it.
    fn demand(&self, time: f64, sensed: f64) -> f64 {
        (self.wanted(time) - sensed) / self.electrics.resistance
    }

    /// The least and the most that it gives while it holds a voltage.
    fn reach(&self) -> Option<(f64, f64)> {
        match self.feed {
            Feed::Current | Feed::Saturated => None,
            Feed::Off if self.source.off != OffState::ZeroVolts => None,
            Feed::Off => Some((-self.electrics.sink.max(1.0), self.source.limit)),
            Feed::Voltage | Feed::Overloaded => Some((-self.electrics.sink, self.electrics.surge.max(self.source.limit))),
        }
    }

    /// What it gives, and how steeply that falls with the sensed voltage.
    fn gives(&self, time: f64, sensed: f64) -> (f64, f64) {
        let Some((least, most)) = self.reach() else {
            return (if self.feed == Feed::Off { 0.0 } else { self.source.limit }, 0.0);
        };
        let demand = self.demand(time, sensed);
        let slope = if demand > least && demand < most { 1.0 / self.electrics.resistance } else { 0.0 };
        (demand.clamp(least, most), slope)
    }

    fn is_closed(&self) -> bool {
        self.feed != Feed::Off || self.source.off != OffState::Open
    }

    /// From now on over-current protection counts.
    fn arm(&mut self, time: f64) {
        if let (Some(delay), false) = (self.guards.current, self.trips_at.is_finite()) {
            self.trips_at = time + delay;
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
}

impl Device for Output {
    fn currents(&self, time: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]) {
        let &[held, terminal, sensed] = volts else { return };
        let (gives, falls) = self.gives(time, sensed);
        let through = if self.is_closed() { 1.0 / CLOSED } else { 0.0 };
        let bleeds = match (self.feed, self.source.off) {
            (Feed::Off, OffState::Bleeder(ohms)) => 1.0 / ohms.0,
            _ => 0.0,
        };
        let passes = through * (held - terminal);
        if let [capacitor, outside, ..] = currents {
            *capacitor = passes - gives;
            *outside = bleeds * terminal - passes;
        }
        if let [hh, ht, hs, th, tt, ..] = slopes {
            (*hh, *ht, *hs) = (through, -through, falls);
            (*th, *tt) = (-through, through + bleeds);
        }
    }

    fn limit(&self, time: f64, last: &[f64], trial: &mut [f64]) {
        let (&[_, _, was], [_, _, sensed], Some((least, most))) = (last, trial, self.reach()) else { return };
        // Between these it regulates: a few millivolts.
        let wanted = self.wanted(time);
        let (low, high) = (wanted - most * self.electrics.resistance, wanted - least * self.electrics.resistance);
        if (was < low && *sensed > high) || (was > high && *sensed < low) {
            *sensed = 0.5 * (low + high);
        }
    }

    fn urge(&self, time: f64, volts: &[f64]) -> f64 {
        let &[_, terminal, sensed] = volts else { return f64::NEG_INFINITY };
        let over = match self.guards.voltage {
            Some(level) if self.feed != Feed::Off => terminal - level,
            _ => f64::NEG_INFINITY,
        };
        let beyond = |amperes: f64| self.demand(time, sensed) - amperes;
        let own = match self.feed {
            Feed::Off => f64::NEG_INFINITY,
            Feed::Voltage => beyond(self.source.limit * 1.000_001 + 1e-6),
            Feed::Overloaded => -beyond(self.source.limit),
            Feed::Current => sensed - self.wanted(time),
            Feed::Saturated => self.wanted(time) - sensed - BACK - self.source.limit * self.electrics.resistance,
        };
        over.max(own)
    }

    fn next_moment(&self) -> f64 {
        let ahead = self.way.iter().map(|(at, _)| *at).find(|at| *at > self.changed_at);
        ahead.unwrap_or(f64::INFINITY).min(self.until).min(self.trips_at)
    }

    fn change(&mut self, time: f64, volts: &[f64]) {
        let &[held, terminal, sensed] = volts else { return };
        self.changed_at = time;
        if self.feed != Feed::Off && self.guards.voltage.is_some_and(|level| terminal > level) {
            return self.trip(Over::Voltage, time, held);
        }
        if self.trips_at <= time {
            return self.trip(Over::Current, time, held);
        }
        let ends = self.until <= time;
        let electrics = self.electrics;
        let demand = self.demand(time, sensed);
        match self.feed {
            Feed::Voltage if demand > self.source.limit => self.follow(Feed::Overloaded, electrics.crossover, time),
            Feed::Overloaded if ends => self.follow(Feed::Current, f64::INFINITY, time),
            Feed::Overloaded if demand < self.source.limit => self.follow(Feed::Voltage, f64::INFINITY, time),
            Feed::Current if demand <= 0.0 => self.follow(Feed::Saturated, electrics.recovery, time),
            Feed::Saturated if ends => self.follow(Feed::Voltage, f64::INFINITY, time),
            Feed::Saturated if demand > self.source.limit => self.follow(Feed::Current, f64::INFINITY, time),
            _ => {}
        }
    }
}
