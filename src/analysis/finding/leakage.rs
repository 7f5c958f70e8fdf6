//! What a leakage sweep says, in sentences.

use super::{Figure, Finding, Severity, three};
use crate::analysis::leakage::{Limit, SETTLED, Soak, runs_away};
use crate::analysis::logic::Reads;
use crate::analysis::node::{Leak, Measured, Node, Question, Towards, what_if};
use crate::analysis::uncertainty::{COVERAGE, Standing};
use crate::analysis::{Level, start::brief};
use crate::units::{Amperes, Unit, Volts};

/// Confidence of an interval made of expanded uncertainties with k = 2.
const CONFIDENCE: f64 = 0.95;

/// One voltage of a sweep.
#[derive(Clone, Debug)]
pub struct LeakageStep {
    /// Set at the supply.
    pub set: Volts,
    /// What the soak says.
    pub soak: Soak,
}

/// Of a sweep: every voltage against the limit, the worst one first; whether it
/// settled, whether it runs away; and the effect on the node, where the plan
/// names one.
pub fn leakage(part: &str, rated: Volts, steps: &[LeakageStep], limit: &Limit, node: Option<&Question>) -> Vec<Finding> {
    let mut made = Vec::new();
    made.extend(against_limit(part, rated, steps, limit));
    made.extend(unsettled(part, steps));
    let curve: Vec<(Volts, Amperes, Amperes)> = steps
        .iter()
        .filter_map(|s| match (s.soak.at_part, s.soak.leakage) {
            (Some(volts), Level::Known { value, u }) if value.0 > 0.0 => Some((volts, value, u)),
            _ => None,
        })
        .collect();
    made.extend(running_away(part, &curve));
    if let Some(question) = node {
        made.push(effect(part, steps, &curve, question));
    }
    made
}

fn standing(step: &LeakageStep, limit: Amperes) -> Standing {
    match step.soak.leakage {
        Level::Known { value, u } => Standing::of(value.0, 2.0 * u.0, limit.0),
        Level::BelowFloor { floor } if floor <= limit => Standing::Pass,
        Level::Overload => Standing::Fail,
        Level::BelowFloor { .. } | Level::Missing => Standing::NotAdequate,
    }
}

fn against_limit(part: &str, rated: Volts, steps: &[LeakageStep], limit: &Limit) -> Option<Finding> {
    let rank = |s: Standing| match s {
        Standing::Fail => 4,
        Standing::ConditionalFail => 3,
        Standing::NotAdequate => 2,
        Standing::ConditionalPass => 1,
        Standing::Pass => 0,
    };
    // The worst standing; among equals the highest voltage.
    let worst = steps.iter().max_by(|a, b| {
        (rank(standing(a, limit.limit)), a.set.0)
            .partial_cmp(&(rank(standing(b, limit.limit)), b.set.0))
            .unwrap_or(std::cmp::Ordering::Equal)
    })?;
    let stands = standing(worst, limit.limit);
    let at = worst.soak.at_part.unwrap_or(worst.set);
    let after = brief(worst.soak.electrified);
    let most = three(limit.limit.0, Unit::Ampere);
    let drew = match worst.soak.leakage {
        Level::Known { .. } => format!("leaks {}", worst.soak.leakage),
        other => format!("has a leakage {other},"),
    };
    let sentence =
        format!("{part} {drew} at {} after {after} under bias; the limit is {most}: {}.", three(at.0, Unit::Volt), stands.name());
    let (code, severity) = match stands {
        Standing::Fail | Standing::ConditionalFail => ("leakage-fail", Severity::Anomaly),
        Standing::NotAdequate => ("leakage-not-adequate", Severity::Undecided),
        Standing::ConditionalPass => ("leakage-conditional", Severity::Undecided),
        Standing::Pass => ("leakage-pass", Severity::Note),
    };
    let mut finding = Finding::new(code, severity, sentence)
        .figure(Figure::quantity("limit", limit.limit.0, Unit::Ampere, None))
        .figure(Figure::quantity("voltage at the part", at.0, Unit::Volt, None));
    if let Level::Known { value, u } = worst.soak.leakage {
        finding = finding.figure(Figure::quantity("leakage", value.0, Unit::Ampere, Some(2.0 * u.0)));
    }
    let advice = match stands {
        Standing::Fail | Standing::ConditionalFail => {
            format!("Replace {part} by a part that has passed the same sweep, and repeat the starts under the same conditions.")
        }
        Standing::NotAdequate => "Use a lower range or a meter with less error, or a longer integration.".into(),
        _ if at.0 < 0.95 * rated.0 => format!("{part} is rated {rated} and was measured up to {} only.", three(at.0, Unit::Volt)),
        _ => String::new(),
    };
    let origin = format!("The limit is {}: {}.", limit.working, limit.source);
    finding = finding.advise(if advice.is_empty() { origin } else { format!("{advice} {origin}") });
    Some(finding)
}

fn unsettled(part: &str, steps: &[LeakageStep]) -> Option<Finding> {
    let step =
        steps.iter().filter(|s| s.soak.change.is_some_and(|c| c.abs() > SETTLED)).max_by(|a, b| a.set.0.total_cmp(&b.set.0))?;
    let change = step.soak.change?;
    // Absorption decays; what rises is leakage that grows under bias, or jumps.
    let (way, means) = if change < 0.0 {
        ("falling", "it holds absorption besides leakage")
    } else {
        ("rising", "the part leaks more while it is under bias, or jumps between two levels")
    };
    let sentence = format!(
        "At {} the current through {part} was still {way} when it was read ({:+.0} % over the last third): {means}.",
        step.set,
        change * 100.0
    );
    let finding = Finding::new("leakage-unsettled", Severity::Note, sentence).figure(Figure::quantity(
        "change",
        change,
        Unit::Percent,
        None,
    ));
    Some(if change > 0.0 {
        finding.advise(
            "A current that rises at constant voltage is a warning: stop, and do not leave the part under bias unattended.",
        )
    } else {
        finding.advise(
            "The value stands at its named time and is an upper bound of the leakage; a longer electrification tells them apart.",
        )
    })
}

fn running_away(part: &str, curve: &[(Volts, Amperes, Amperes)]) -> Option<Finding> {
    let (lower, upper) = curve.windows(2).find_map(|pair| match pair {
        [a, b] if runs_away((a.0, a.1), (b.0, b.1)) => Some((*a, *b)),
        _ => None,
    })?;
    let sentence = format!(
        "{part}'s leakage rises faster than practice allows: from {} at {} to {} at {}.",
        three(lower.1.0, Unit::Ampere),
        three(lower.0.0, Unit::Volt),
        three(upper.1.0, Unit::Ampere),
        three(upper.0.0, Unit::Volt)
    );
    Some(
        Finding::new("leakage-runs-away", Severity::Anomaly, sentence)
            .advise("Do not go to a higher voltage with this part: it is near breakdown."),
    )
}

fn effect(part: &str, steps: &[LeakageStep], curve: &[(Volts, Amperes, Amperes)], question: &Question) -> Finding {
    let node = &question.node;
    let family = &question.family;
    let points = curve.iter().map(|(v, i, u)| Measured { volts: *v, current: *i, expanded: *u * COVERAGE }).collect();
    let asked = question.clone().with(Leak::Curve(points));
    let found = what_if(&asked);
    let at = seat(node);
    let from = found.undefined_from.map(|b| b.nominal);
    let steps_told = format!("The working: {}.", found.working.text().join("; "));
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
