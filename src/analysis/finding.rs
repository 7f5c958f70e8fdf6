//! Findings: one sentence that a person can act on, the figures it rests on, and
//! what to do next. The sentences of each kind of stage stand in their own file.

mod claim;
mod dependence;
pub mod inspection;
mod leakage;
mod log;
mod power;
mod ramp;
mod signature;
mod starts;
mod states;

pub use leakage::{Curve, LeakageStep, LotPart, Swept, cleared, curves, leakage, lot, question_with, standing, stopped};
pub use log::{log, log_states};
pub use ramp::{Asked as RampAsked, ramp};
pub use signature::{Courses, signatures};
pub use starts::starts;
pub use states::states;

use crate::units::Unit;
use std::borrow::Cow;

/// How much a finding weighs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing; nothing is wrong.
    Note,
    /// Cannot be decided with these instruments or so few readings.
    Undecided,
    /// Outside a limit, or not as it should be.
    Anomaly,
}

impl Severity {
    /// From the least.
    pub const ALL: [Severity; 3] = [Severity::Note, Severity::Undecided, Severity::Anomaly];

    /// As record and report name it.
    pub fn name(self) -> &'static str {
        match self {
            Severity::Note => "note",
            Severity::Undecided => "undecided",
            Severity::Anomaly => "anomaly",
        }
    }
}

/// A figure that a finding rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// What it is.
    pub name: String,
    /// The value, in the unit without prefix.
    pub value: f64,
    /// The unit; `None` for a count.
    pub unit: Option<Unit>,
    /// Expanded uncertainty (k = 2), in the same unit.
    pub expanded: Option<f64>,
    /// Interval, and its confidence.
    pub interval: Option<(f64, f64, f64)>,
}

impl Figure {
    /// A count.
    pub fn count(name: &str, value: u64) -> Self {
        // Counts of readings and starts are far below 2^53.
        #[allow(clippy::cast_precision_loss)]
        let value = value as f64;
        Self { name: name.into(), value, unit: None, expanded: None, interval: None }
    }

    /// A quantity with its expanded uncertainty (k = 2). `None` only for what is not
    /// measured, as a limit of the plan: every figure that comes of readings has one, or
    /// an interval, and is printed to the digits that it deserves.
    pub fn quantity(name: &str, value: f64, unit: Unit, expanded: Option<f64>) -> Self {
        Self { name: name.into(), value, unit: Some(unit), expanded, interval: None }
    }

    /// With an interval at a confidence.
    #[must_use]
    pub fn within(mut self, low: f64, high: f64, confidence: f64) -> Self {
        self.interval = Some((low, high, confidence));
        self
    }
}

/// A finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// A short name that stays the same: `starts-fail`.
    pub code: Cow<'static, str>,
    /// How much it weighs.
    pub severity: Severity,
    /// The sentence.
    pub sentence: String,
    /// What to do next.
    pub advice: Option<String>,
    /// What it rests on.
    pub figures: Vec<Figure>,
}

impl Finding {
    /// A finding without figures or advice yet.
    pub fn new(code: impl Into<Cow<'static, str>>, severity: Severity, sentence: String) -> Self {
        Self { code: code.into(), severity, sentence, advice: None, figures: Vec::new() }
    }

    /// With advice.
    #[must_use]
    pub fn advise(mut self, advice: impl Into<String>) -> Self {
        self.advice = Some(advice.into());
        self
    }

    /// With a figure.
    #[must_use]
    pub fn figure(mut self, figure: Figure) -> Self {
        self.figures.push(figure);
        self
    }
}

/// A value with three digits.
fn three(value: f64, unit: Unit) -> String {
    crate::units::engineering(value, unit, 3)
}
