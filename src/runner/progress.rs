//! What the runner tells whoever watches it, as it happens.

use crate::analysis::finding::Finding;
use crate::instrument::{Reading, Regulation};
use crate::units::Seconds;

/// One thing that a person at the bench would want to see.
#[derive(Debug)]
pub enum Progress<'a> {
    /// The run begins.
    Run {
        /// The plan's title.
        title: &'a str,
        /// The unit's name.
        unit: &'a str,
        /// How many stages there are.
        stages: u32,
        /// How long it will take, as far as is known.
        expected: Seconds,
    },
    /// A stage begins.
    Stage {
        /// Since the run's start.
        at: Seconds,
        /// From 1.
        number: u32,
        /// The word in the plan, as `ramp`.
        kind: &'a str,
        /// One line about what it does.
        what: &'a str,
        /// How long it will take, as far as is known.
        expected: Seconds,
    },
    /// The latest readings.
    Live {
        /// Since the run's start.
        at: Seconds,
        /// Voltage at the supply.
        voltage: Option<&'a Reading>,
        /// Current by the best instrument that watches it.
        current: Option<&'a Reading>,
        /// Constant voltage or constant current.
        regulation: Regulation,
        /// The state that the current stands for, where the plan names it.
        state: Option<&'a str>,
    },
    /// A start has been judged.
    Start {
        /// From 1.
        number: u32,
        /// How many there will be, where that is known.
        of: Option<u32>,
        /// How it ended, in a word or two.
        outcome: &'a str,
        /// Good starts so far.
        good: u32,
        /// Failed starts so far.
        failed: u32,
        /// Void starts so far.
        void: u32,
    },
    /// A part of a lot, or a control part, is in its fixture.
    Trial {
        /// Since the run's start.
        at: Seconds,
        /// `part 7 of 125`, `good control G1`.
        what: &'a str,
        /// How long it will take, as far as is known.
        expected: Seconds,
    },
    /// It has been judged.
    TrialDone {
        /// As when it began.
        what: &'a str,
        /// `pass`, `conditional pass`, …; of a control `in control`, `out of control`.
        outcome: &'a str,
        /// By what.
        why: &'a str,
        /// Parts that were judged so far, and those of them that are nonconforming.
        judged: u32,
        /// Fail and conditional fail.
        nonconforming: u32,
    },
    /// Something happened that the record keeps as an event.
    Event {
        /// Since the run's start.
        at: Seconds,
        /// What.
        text: &'a str,
    },
    /// A finding was made.
    Finding(&'a Finding),
    /// The stage ended.
    StageDone {
        /// From 1.
        number: u32,
        /// How, in a word or two.
        how: &'a str,
    },
}

/// Whoever watches a run: the terminal, a test.
pub trait Watcher: Send {
    /// Is told of one thing; must not block.
    fn see(&mut self, progress: &Progress<'_>);
}
