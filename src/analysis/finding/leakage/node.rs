//! What a part's leakage does to the node that it stands at, with the working.

use super::{CONFIDENCE, Curve, LeakageStep};
use crate::analysis::Level;
use crate::analysis::finding::{Figure, Finding, Severity, three};
use crate::analysis::logic::Reads;
use crate::analysis::node::{Leak, Measured, Node, Question, Towards, what_if};
use crate::analysis::uncertainty::COVERAGE;
use crate::units::Unit;

/// The question with the sweep's curve as its leakage.
pub fn question_with(question: &Question, curve: &Curve) -> Question {
    let points = curve.iter().map(|p| Measured { volts: p.volts, current: p.current, expanded: p.u * COVERAGE }).collect();
    question.clone().with(Leak::Curve(points))
}

pub(super) fn effect(part: &str, steps: &[LeakageStep], curve: &Curve, question: &Question) -> Finding {
    let node = &question.node;
    let family = &question.family;
    let found = what_if(&question_with(question, curve));
    let at = seat(node);
    let from = found.undefined_from.map(|b| b.nominal);
    let steps_told =
        format!("{} The working stands with the stage. Levels of {family}: {}.", found.working.answer, question.source);
    let Some(effect) = &found.effect else {
        let floor = steps.iter().find_map(|s| match s.soak.leakage {
            Level::BelowFloor { floor } => Some(floor),
            _ => None,
        });
        return match (floor, found.undefined_from) {
            (Some(floor), Some(from)) if floor < from.low => {
                let sentence = format!(
                    "{part}'s leakage cannot move the node {at}: it is below {}, and {} would be needed.",
                    three(floor.0, Unit::Ampere),
                    three(from.low.0, Unit::Ampere)
                );
                Finding::new("node-good", Severity::Note, sentence).advise(steps_told)
            }
            _ => Finding::new(
                "node-unknown",
                Severity::Undecided,
                format!("What {part}'s leakage does to the node {at} cannot be said: no value of it was read."),
            ),
        };
    };
    let (level, low, high) = (effect.level.nominal.0, effect.level.low.0, effect.level.high.0);
    let within = match (three(low, Unit::Volt), three(high, Unit::Volt)) {
        (a, b) if a == b => String::new(),
        (a, b) => format!(" ({a} to {b} within the uncertainties)"),
    };
    let leak = three(effect.leakage.0, Unit::Ampere);
    let beyond = if effect.within_measured { "" } else { " (beyond the measured voltages, continued)" };
    let (vil, vih) = (three(node.thresholds.low.0, Unit::Volt), three(node.thresholds.high.0, Unit::Volt));
    let meant = found.meant;
    let (code, severity, verdict) = match effect.reads {
        reads if reads == meant && effect.is_certain() => (
            "node-good",
            Severity::Note,
            format!(
                "{} for {family}, as it is without the leakage: it does not explain a wrong level",
                worded(reads, &vil, &vih)
            ),
        ),
        reads if reads == meant => (
            "node-near",
            Severity::Undecided,
            format!(
                "{} for {family}, but within the uncertainties it may be undefined (between {vil} and {vih})",
                worded(reads, &vil, &vih)
            ),
        ),
        Reads::Undefined => (
            "node-undefined",
            Severity::Anomaly,
            format!(
                "undefined for {family} (between {vil} and {vih}): the input may read it either way, which explains a fault that comes and goes"
            ),
        ),
        reads => (
            "node-wrong",
            Severity::Anomaly,
            format!("{} for {family}: the node never becomes what it is without the leakage", worded(reads, &vil, &vih)),
        ),
    };
    let sentence = format!("With {leak}{beyond}, {part} {at} holds its node at {}{within}: {verdict}.", three(level, Unit::Volt));
    let level = Figure::quantity("level of the node", level, Unit::Volt, None);
    let level = if high > low { level.within(low, high, CONFIDENCE) } else { level };
    let made = Finding::new(code, severity, sentence).advise(steps_told).figure(level).figure(Figure::quantity(
        "leakage there",
        effect.leakage.0,
        Unit::Ampere,
        None,
    ));
    match from {
        Some(from) => made.figure(Figure::quantity("leakage from which it is undefined", from.0, Unit::Ampere, None)),
        None => made,
    }
}

fn worded(reads: Reads, low: &str, high: &str) -> String {
    match reads {
        Reads::Low => format!("low ({low} or less)"),
        Reads::Undefined => format!("undefined (between {low} and {high})"),
        Reads::High => format!("high ({high} or more)"),
    }
}

/// Where the part sits, for a sentence.
fn seat(node: &Node) -> String {
    match (node.part, node.up, node.down) {
        (Towards::Ground, Some(up), _) => format!("behind {up} from {}", node.rail),
        (Towards::Rail, _, Some(down)) => format!("from {} over {down} to ground", node.rail),
        _ => format!("at {}", node.rail),
    }
}

/// Where starts have failed before, and the part that was measured cannot be why. `found`
/// is what its sweep says, `before` all findings before.
pub fn cleared(part: &str, found: &[Finding], before: &[Finding]) -> Option<Finding> {
    let has = |all: &[Finding], code: &str| all.iter().any(|f| f.code == code);
    if !(has(before, "starts-fail") && has(found, "leakage-pass") && has(found, "node-good")) {
        return None;
    }
    let sentence = format!(
        "The failed starts have another cause than the leakage of {part}: it is within its limit, and its node stays where it is meant to be."
    );
    Some(Finding::new("part-cleared", Severity::Note, sentence).advise(format!(
        "Look at what else stands at that node (its resistor, a diode, the input that listens, dirt on the board), then at the others: what the failures hang on, and when they leave the course of good starts, tells where. {part} was measured out of the unit: its joints and its place were not."
    )))
}
