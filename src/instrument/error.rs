//! What can go wrong with an instrument, kept apart: the link failed, no answer
//! came, the answer is not valid, the instrument refused, the value it took is
//! another one, or it is not the instrument that it should be.

use super::Role;
use crate::link::LinkError;

/// What went wrong with an instrument.
#[derive(Debug, thiserror::Error)]
#[error("{}: {fault}", role.name())]
pub struct InstrumentError {
    /// Which instrument.
    pub role: Role,
    /// What.
    #[source]
    pub fault: Fault,
}

/// What went wrong.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// The link failed.
    #[error("{0}")]
    Link(#[from] LinkError),
    /// No answer came in time, and none came late.
    #[error("no answer to {command:?}")]
    NoReply {
        /// What was asked.
        command: String,
    },
    /// Nothing sensible came over a serial line from the beginning.
    #[error(
        "{why}. The line is at {line}: are these the instrument's own settings, and is its interface fed from DTR or RTS \
         (dtr is {dtr}, rts is {rts})?"
    )]
    Line {
        /// What was heard instead.
        why: Box<Fault>,
        /// The settings of the line.
        line: String,
        /// What is done with DTR.
        dtr: &'static str,
        /// What is done with RTS.
        rts: &'static str,
    },
    /// The answer came after its deadline and was thrown away.
    #[error("the answer to {command:?} came too late and was thrown away")]
    Late {
        /// What was asked.
        command: String,
    },
    /// After a time-out the conversation could not be brought back into step.
    #[error("out of step since {command:?}, and no answer to {sync:?} either")]
    OutOfStep {
        /// What had been asked.
        command: String,
        /// What was asked to get back into step.
        sync: String,
    },
    /// The answer is not of the kind that was asked for.
    #[error("{command:?} was answered with {reply:?}; expected {expected}")]
    Garbled {
        /// What was asked.
        command: String,
        /// What came.
        reply: String,
        /// What should have come.
        expected: String,
    },
    /// The instrument reported an error.
    #[error("{command:?} was refused: {report}")]
    Refused {
        /// What was sent.
        command: String,
        /// Its words.
        report: String,
    },
    /// Reading back after a write gave another value.
    #[error("{what} was set to {wanted}, but reads back as {found}")]
    Mismatch {
        /// The setting.
        what: String,
        /// The wanted value.
        wanted: String,
        /// The value that was read back.
        found: String,
    },
    /// It is not the instrument that the bench file names.
    #[error("it answers {found:?}; expected {expected}")]
    Identity {
        /// Its identity.
        found: String,
        /// What the profile or the bench file says.
        expected: String,
    },
    /// The output could not be shown to be off.
    #[error("the output could not be verified off: {why}")]
    NotOff {
        /// What was seen.
        why: String,
    },
    /// The driver was asked for something that it must not do now.
    #[error("{0}")]
    Order(String),
}

impl Fault {
    /// Whether the conversation may go on after this fault of a reading.
    pub fn is_passing(&self) -> bool {
        matches!(
            self,
            Fault::NoReply { .. } | Fault::Late { .. } | Fault::OutOfStep { .. } | Fault::Garbled { .. } | Fault::Refused { .. }
        )
    }

    /// With the instrument that it concerns.
    pub fn of(self, role: Role) -> InstrumentError {
        InstrumentError { role, fault: self }
    }
}
