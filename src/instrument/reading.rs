//! A reading: born once, in the instrument layer, with its times, its standard
//! uncertainty and its flags. Nothing downstream measures again or guesses.
//!
//! Holds always: what is not a value is not a number. No reply, a late one, a
//! garbled one, an overload, a stale one and one below the floor are distinct.

use crate::units::{Amperes, Quantity, Seconds, Unit, Volts};

/// Which instrument of the bench took the reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// The supply, by its own read-back.
    Supply,
    /// The meter.
    Meter,
}

impl Role {
    /// As files and messages name it.
    pub fn name(self) -> &'static str {
        match self {
            Role::Supply => "supply",
            Role::Meter => "meter",
        }
    }
}

/// What was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Measurand {
    /// A voltage in volts.
    Voltage,
    /// A current in amperes.
    Current,
}

impl Measurand {
    /// As files and messages name it.
    pub fn name(self) -> &'static str {
        match self {
            Measurand::Voltage => "voltage",
            Measurand::Current => "current",
        }
    }

    /// Its unit.
    pub fn unit(self) -> Unit {
        match self {
            Measurand::Voltage => Unit::Volt,
            Measurand::Current => Unit::Ampere,
        }
    }
}

/// What came of asking.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sample {
    /// A value in the measurand's unit, with its standard uncertainty.
    Value {
        /// In volts or amperes.
        value: f64,
        /// Standard uncertainty (k = 1), in the same unit.
        u: f64,
    },
    /// The instrument answered, but this cannot be told from zero with it:
    /// the magnitude is below `floor`.
    BelowFloor {
        /// In volts or amperes.
        floor: f64,
    },
    /// The instrument says that its range was exceeded.
    Overload,
    /// The instrument says "not a number".
    NotANumber,
    /// Nothing came in time.
    NoReply,
    /// The answer came after its deadline, and was thrown away.
    Late,
    /// What came is not a reading of this kind.
    Garbled,
    /// The instrument answered with a value older than the request.
    Stale,
}

impl Sample {
    /// The word under which the record keeps it.
    pub fn word(self) -> &'static str {
        match self {
            Sample::Value { .. } => "value",
            Sample::BelowFloor { .. } => "below floor",
            Sample::Overload => "overload",
            Sample::NotANumber => "not a number",
            Sample::NoReply => "no reply",
            Sample::Late => "late",
            Sample::Garbled => "garbled",
            Sample::Stale => "stale",
        }
    }

    /// Whether the instrument told something about the measurand: a value, that it
    /// is below the floor, or that it is beyond the range.
    pub fn is_known(self) -> bool {
        matches!(self, Sample::Value { .. } | Sample::BelowFloor { .. } | Sample::Overload)
    }
}

/// Whether the supply was limiting the current when the reading was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Regulation {
    /// Constant voltage: the limit is not reached.
    Voltage,
    /// Constant current: the supply is limiting.
    Current,
    /// Neither: the output is off, or between the two.
    Neither,
    /// The supply reports a fault or both at once.
    Fault,
    /// The supply was not asked, cannot be, or gave no usable answer.
    Unknown,
}

impl Regulation {
    /// The word under which the record keeps it.
    pub fn word(self) -> &'static str {
        match self {
            Regulation::Voltage => "constant voltage",
            Regulation::Current => "constant current",
            Regulation::Neither => "neither",
            Regulation::Fault => "fault",
            Regulation::Unknown => "unknown",
        }
    }
}

/// One reading of one instrument.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Who took it.
    pub role: Role,
    /// What was measured.
    pub measurand: Measurand,
    /// When the request went out, counted from the run's start.
    pub asked: Seconds,
    /// When the answer was complete, or the wait for it ended.
    pub answered: Seconds,
    /// What came of it.
    pub sample: Sample,
    /// What the supply said of its limiting beside this reading.
    pub regulation: Regulation,
}

impl Reading {
    /// The value, where there is one.
    pub fn value(&self) -> Option<f64> {
        match self.sample {
            Sample::Value { value, .. } => Some(value),
            _ => None,
        }
    }

    /// The value as a voltage, where it is one.
    pub fn volts(&self) -> Option<Volts> {
        self.quantity(Measurand::Voltage)
    }

    /// The value as a current, where it is one.
    pub fn amperes(&self) -> Option<Amperes> {
        self.quantity(Measurand::Current)
    }

    fn quantity<Q: Quantity>(&self, of: Measurand) -> Option<Q> {
        (self.measurand == of).then(|| self.value()).flatten().map(Q::of)
    }

    /// The moment that the reading stands for: halfway between request and answer.
    pub fn at(&self) -> Seconds {
        (self.asked + self.answered) / 2.0
    }
}

/// The supply's two read-backs and its regulation, asked one after the other.
#[derive(Clone, Copy, Debug)]
pub struct Snapshot {
    /// At the supply's terminals.
    pub voltage: Reading,
    /// Out of the supply.
    pub current: Reading,
    /// Asked together with them.
    pub regulation: Regulation,
}
