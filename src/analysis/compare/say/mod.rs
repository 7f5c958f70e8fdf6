//! A comparison in sentences, as findings.

mod course;
mod leakage;
mod ramp;
mod rate;

pub use course::{courses, failing};
pub use leakage::leakage;
pub use ramp::{ramps, reach};
pub use rate::{bounds, rates};

use super::current::{Difference, Reference};
use crate::analysis::Level;
use crate::analysis::finding::{Figure, Finding, Severity};
use crate::units::{Ratio, Unit, engineering};

/// What is asked of a comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// The same unit before and after a repair: what has it changed?
    Repair,
    /// A unit against good ones: does it differ?
    Good,
}

/// The two sides of a comparison: what is judged, and what it is held against.
#[derive(Clone, Debug)]
pub struct Sides {
    /// What is asked.
    pub question: Question,
    /// What is judged, in words that end a sentence: `after`, or `for this unit`.
    pub subject: String,
    /// What it is held against: `before`, or `for good ones`.
    pub reference: String,
    /// What is to be said of few good units; nothing where they are enough.
    pub thin: String,
}

impl Sides {
    /// Before and after.
    pub fn repair() -> Self {
        Self { question: Question::Repair, subject: "after".into(), reference: "before".into(), thin: String::new() }
    }

    /// Against good units; `thin` says how few they are.
    pub fn good(thin: String) -> Self {
        Self { question: Question::Good, subject: "for this unit".into(), reference: "for good ones".into(), thin }
    }

    /// What both sides have, in the order in which it is told: before and after; this unit
    /// and the good one.
    pub fn both(&self, subject: &str, reference: &str) -> String {
        let (mine, theirs) = (format!("{subject} {}", self.subject), format!("{reference} {}", self.reference));
        match self.question {
            Question::Repair => format!("{theirs} and {mine}"),
            Question::Good => format!("{mine} and {theirs}"),
        }
    }

    /// How much it weighs that both sides differ, where nobody can say for better or worse.
    fn differing(&self) -> Severity {
        match self.question {
            Question::Repair => Severity::Note,
            Question::Good => Severity::Anomaly,
        }
    }

    fn thinly(&self) -> String {
        if self.thin.is_empty() { String::new() } else { format!(" {}", self.thin) }
    }
}

/// What forbids a comparison, in words.
fn other_conditions(forbidden: &[&str]) -> String {
    format!("the conditions differ in what matters for it: {}", forbidden.join(", "))
}

fn three(value: f64, unit: Unit) -> String {
    engineering(value, unit, 3)
}

fn share(ratio: Ratio) -> String {
    ratio_of(ratio.0)
}

/// A share in percent, to three digits.
fn ratio_of(share: f64) -> String {
    let percent = share * 100.0;
    if percent != 0.0 && percent < 0.01 {
        return "less than 0.01 %".into();
    }
    let decimals = if percent >= 99.95 { 0 } else { (2 - percent.max(1e-9).log10().floor() as i32).clamp(0, 4) };
    format!("{percent:.*} %", decimals as usize)
}

/// One current on both sides: `what` is `the current at the end of good starts`.
pub fn current(
    what: &str,
    subject: Level,
    reference: &Reference,
    difference: Option<&Difference>,
    sides: &Sides,
    forbidden: &[&str],
) -> Finding {
    let told = match subject {
        Level::BelowFloor { floor } => format!("below {floor}"),
        level => level.to_string(),
    };
    let both = capital(&format!("{what} is {}", sides.both(&told, &reference.to_string())));
    if !forbidden.is_empty() {
        let sentence = format!("{both}; nothing follows from that: {}.", other_conditions(forbidden));
        return Finding::new("compare-current", Severity::Undecided, sentence);
    }
    let Some(d) = difference else {
        return Finding::new("compare-current", Severity::Undecided, format!("{both}: that cannot be compared."));
    };
    let (severity, verdict) = if d.counts {
        (sides.differing(), format!("a difference of {d}, more than its uncertainty and than 10 %."))
    } else if d.distinguishable {
        (
            Severity::Note,
            format!("a difference of {d}: it can be told apart, but is within the 10 % by which good units may differ."),
        )
    } else if d.by.0 == 0.0 && sides.question == Question::Good && reference.of > 1 {
        (Severity::Note, "within what good ones draw.".into())
    } else {
        (Severity::Note, format!("they cannot be told apart (difference {d})."))
    };
    let sentence = format!("{both}: {verdict}{}", if d.counts { sides.thinly() } else { String::new() });
    Finding::new("compare-current", severity, sentence).figure(Figure::quantity(
        "difference",
        d.by.0,
        Unit::Ampere,
        Some(d.expanded.0),
    ))
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().collect::<String>() + chars.as_str())
}
