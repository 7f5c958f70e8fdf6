//! How a run ended, and the one place where exit codes are made.

use crate::interlock::{Cause, Halt};

/// The exit codes, as README and help print them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exit {
    /// Everything within its limits.
    Within,
    /// Outside a limit, or an anomaly was found.
    Anomaly,
    /// The plan, bench, profile or command line is wrong.
    Wrong,
    /// An interlock tripped.
    Tripped,
    /// An instrument could not be reached or misbehaved.
    Instrument,
    /// Not decidable.
    Undecided,
    /// An output could not be verified off.
    NotOff,
    /// Stopped by the operator.
    Stopped,
}

impl Exit {
    /// All, in the order of their codes.
    pub const ALL: [Exit; 8] =
        [Exit::Within, Exit::Anomaly, Exit::Wrong, Exit::Tripped, Exit::Instrument, Exit::Undecided, Exit::NotOff, Exit::Stopped];

    /// The process's exit code.
    pub fn code(self) -> u8 {
        match self {
            Exit::Within => 0,
            Exit::Anomaly => 1,
            Exit::Wrong => 2,
            Exit::Tripped => 3,
            Exit::Instrument => 4,
            Exit::Undecided => 5,
            Exit::NotOff => 6,
            Exit::Stopped => 130,
        }
    }

    /// What it means.
    pub fn meaning(self) -> &'static str {
        match self {
            Exit::Within => "everything within its limits",
            Exit::Anomaly => "the unit or part is outside a limit, or an anomaly was found",
            Exit::Wrong => "the plan, bench, profile or command line is wrong; nothing was energised",
            Exit::Tripped => "an interlock tripped; the outputs are verified off",
            Exit::Instrument => "an instrument could not be reached or misbehaved; what was energised is verified off",
            Exit::Undecided => "not decidable: too few starts, or too much uncertainty, to say",
            Exit::NotOff => "an output could not be verified off: go and look",
            Exit::Stopped => "stopped by the operator; what was energised is verified off",
        }
    }

    /// What ended a run early, as a code. `energised`: whether anything was, in this run.
    pub fn of_halt(halt: &Halt, energised: bool) -> Self {
        match halt {
            Halt::Tripped(trip) if matches!(trip.cause, Cause::NoReading(_)) => Exit::Instrument,
            Halt::Tripped(_) => Exit::Tripped,
            Halt::NoPermit(_) if !energised => Exit::Wrong,
            // A record that cannot be written is a fault of the computer, an instrument of the bench too.
            Halt::NoPermit(_) | Halt::Instrument(_) | Halt::Record(_) | Halt::Unguarded(_) | Halt::Slept(_) => Exit::Instrument,
            Halt::Stopped(_) => Exit::Stopped,
        }
    }

    /// The table of README and help.
    pub fn table() -> String {
        let mut text = String::new();
        for exit in Self::ALL {
            text.push_str(&format!("  {:>3}  {}\n", exit.code(), exit.meaning()));
        }
        text
    }
}
