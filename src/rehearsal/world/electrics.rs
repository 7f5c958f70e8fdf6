//! What a supply's output is like, and what it is set to: the figures that its
//! regulator works with. Volts, amperes, seconds, ohms, farads.

use crate::instrument::profile::OffState;

/// What an output is like, electrically.
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
    /// How quick its regulator is; none: at once, and without overshoot.
    pub loops: Option<Loops>,
    /// How long the terminals must be above the level of over-voltage protection.
    pub over_voltage_delay: f64,
    /// From when the delay of over-current protection counts.
    pub counts: Counts,
    /// At its terminals while it is on.
    pub noise: Option<Noise>,
    /// Where it senses.
    pub sense: Sense,
}

/// A regulator of the usual build: an error amplifier that integrates, and a follower.
///
/// Where it feeds its own capacitor alone, the voltage follows what is set as a system of
/// second order with the natural frequency 1/`voltage` and this damping. A capacitor of
/// the unit beside it makes that slower and less damped, each by the root of the sum of
/// both over its own. In limiting the current follows with the time constant `current`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loops {
    /// Of the voltage: the inverse of its natural frequency in radians per second.
    pub voltage: f64,
    /// Below 1 a step of the voltage is overshot.
    pub damping: f64,
    /// Of the current.
    pub current: f64,
}

/// White noise at the terminals.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Volts, root mean square.
    pub rms: f64,
    /// Hertz; from 0.
    pub bandwidth: f64,
}

/// From when the delay of over-current protection counts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Counts {
    /// From when it limits.
    #[default]
    FromLimiting,
    /// From the last change of a setting; after that it trips as soon as it limits.
    FromChange,
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
