//! A trip: which limit, which reading, when. And everything else that ends a run.

use crate::instrument::{InstrumentError, Role};
use crate::plan::TripCause;
use crate::record::RecordError;
use crate::units::Seconds;

/// Why a trip came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// More current than the limit in force.
    OverCurrent,
    /// More voltage than the unit can bear.
    OverVoltage,
    /// More power than the unit can bear.
    OverPower,
    /// Too long in current limiting.
    InLimit,
    /// More energy than the plan allows.
    Energy,
    /// An instrument has been silent too long.
    NoReading(Role),
    /// A reading that cannot be true.
    Sanity,
    /// The supply's own protection has tripped.
    SupplyProtection,
    /// A setting is no longer what it was set to.
    Changed,
}

impl Cause {
    /// Whether the plan means this one.
    pub fn is(self, named: TripCause) -> bool {
        match named {
            TripCause::OverCurrent => self == Cause::OverCurrent,
            TripCause::InLimit => self == Cause::InLimit,
            TripCause::NoReading => matches!(self, Cause::NoReading(_)),
            TripCause::SupplyProtection => self == Cause::SupplyProtection,
            TripCause::Changed => self == Cause::Changed,
        }
    }

    /// As messages name it.
    pub fn name(self) -> &'static str {
        match self {
            Cause::OverCurrent => "over-current",
            Cause::OverVoltage => "over-voltage",
            Cause::OverPower => "over-power",
            Cause::InLimit => "time in limiting",
            Cause::Energy => "energy",
            Cause::NoReading(Role::Supply) => "no reading from the supply",
            Cause::NoReading(Role::Meter) => "no reading from the meter",
            Cause::Sanity => "reading out of sanity",
            Cause::SupplyProtection => "the supply's own protection",
            Cause::Changed => "a changed setting",
        }
    }
}

/// A limit was crossed. Latches: nothing is energised again in the run.
#[derive(Clone, Debug, PartialEq)]
pub struct Trip {
    /// Which kind of limit.
    pub cause: Cause,
    /// When, counted from the run's start.
    pub at: Seconds,
    /// The limit, in words.
    pub limit: String,
    /// The reading, in words.
    pub reading: String,
}

impl Trip {
    /// That settings are no longer what they were set to.
    pub(super) fn changed(at: Seconds, what: &[String]) -> Self {
        Self { cause: Cause::Changed, at, limit: "what was set and read back".into(), reading: what.join("; ") }
    }
}

impl std::fmt::Display for Trip {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} at {:.3} s: {}; the limit is {}", self.cause.name(), self.at.0, self.reading, self.limit)
    }
}

/// What ends a run before its plan does.
#[derive(Debug, thiserror::Error)]
pub enum Halt {
    /// An interlock tripped.
    #[error("interlock: {0}")]
    Tripped(Trip),
    /// An instrument could not be reached or misbehaved.
    #[error("{0}")]
    Instrument(#[from] InstrumentError),
    /// The record cannot be written.
    #[error("the record cannot be written: {0}")]
    Record(#[from] RecordError),
    /// No permit was given.
    #[error("not energised: {0}")]
    NoPermit(String),
    /// The computer slept while an output was on.
    #[error("the computer slept for {0} while the output was on")]
    Slept(Seconds),
    /// The guard process is gone: nothing stays on without it.
    #[error("the guard process is gone: {0}")]
    Unguarded(String),
    /// The operator stopped it or did not agree.
    #[error("stopped by the operator{0}")]
    Stopped(String),
}
