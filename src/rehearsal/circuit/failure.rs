//! When a circuit cannot be solved: at which node, when, and why.

use crate::units::Seconds;

/// Why a circuit could not be solved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// The equations do not determine a node's voltage, or a source's current.
    Undetermined,
    /// The iteration did not settle, however short the step.
    NoConvergence,
    /// A part changes its state to and fro without time going on.
    Chatter,
    /// A voltage or current grew beyond all measure.
    Unbounded,
}

/// A circuit that could not be solved.
#[derive(Clone, Debug, PartialEq)]
pub struct Failure {
    /// Why.
    pub why: Why,
    /// The node (`v(out)`), the branch (`i(v1)`) or the part (`s1`) at fault.
    pub place: String,
    /// When, in the circuit's own time.
    pub time: Seconds,
}

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Failure { why, place, time } = self;
        match why {
            Why::Undetermined => write!(
                f,
                "{place} is not determined at {time}: a node without a path to ground, or voltage sources and inductors in a loop"
            ),
            Why::NoConvergence => write!(f, "no solution was found at {time}: {place} does not settle"),
            Why::Chatter => write!(
                f,
                "{place} changes to and fro without end at {time}: it acts on its own control without hysteresis or delay"
            ),
            Why::Unbounded => write!(f, "{place} grows beyond all bounds at {time}"),
        }
    }
}

impl std::error::Error for Failure {}
