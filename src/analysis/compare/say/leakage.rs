//! A part's leakage on both sides, in one sentence.

use super::{Question, Sides, other_conditions, three};
use crate::analysis::Level;
use crate::analysis::compare::leakage::AtVoltage;
use crate::analysis::finding::{Figure, Finding, Severity};
use crate::units::Unit;

fn read(level: Level) -> String {
    match level {
        Level::BelowFloor { floor } => format!("below {floor}"),
        level => level.to_string(),
    }
}

/// What a part leaks on both sides, voltage by voltage.
pub fn leakage(part: &str, at: &[AtVoltage], sides: &Sides, forbidden: &[&str]) -> Finding {
    let made = |severity, sentence| Finding::new("compare-leakage", severity, sentence);
    if at.is_empty() {
        return made(
            Severity::Undecided,
            format!("{part} was measured at no voltage on both sides: its leakage is not compared."),
        );
    }
    if !forbidden.is_empty() {
        return made(Severity::Undecided, format!("The leakage of {part} is not compared: {}.", other_conditions(forbidden)));
    }
    if let Some((a, b)) = at.iter().find_map(|s| s.times) {
        return made(
            Severity::Undecided,
            format!(
                "The leakage of {part} is not comparable: it was read after {} {} and after {} {}, and leakage has no value without its time.",
                three(a.0, Unit::Second),
                sides.subject,
                three(b.0, Unit::Second),
                sides.reference
            ),
        )
        .advise("Measure again with the same electrification time.");
    }
    let lines: Vec<String> =
        at.iter().map(|s| format!("at {} {}", s.set, sides.both(&read(s.a.soak.leakage), &s.b.to_string()))).collect();
    let counting = at.iter().filter_map(|s| s.difference.as_ref().filter(|d| d.counts).map(|d| (s, d)));
    let worst = counting.max_by(|a, b| a.1.by.0.abs().total_cmp(&b.1.by.0.abs()));
    let unknown = at.iter().all(|s| s.difference.is_none());
    let (severity, verdict) = match worst {
        _ if unknown => (Severity::Undecided, "it cannot be compared: one side has no value".to_owned()),
        Some((s, d)) if d.by.0 > 0.0 => {
            (Severity::Anomaly, format!("{part} leaks MORE {} than {}, at {} by {d}", sides.subject, sides.reference, s.set))
        }
        Some((s, d)) => {
            let by = crate::units::with_uncertainty(-d.by.0, d.expanded.0, Unit::Ampere);
            let at_least = if d.at_least { "at least " } else { "" };
            (
                Severity::Note,
                format!("{part} leaks less {} than {}, at {} by {at_least}{by}", sides.subject, sides.reference, s.set),
            )
        }
        None if at.iter().any(|s| s.difference.is_some_and(|d| d.distinguishable)) => {
            (Severity::Note, format!("{part} leaks the same within 10 %, though the difference can be told"))
        }
        None => (Severity::Note, format!("the leakage of {part} cannot be told apart")),
    };
    let thin = if severity == Severity::Anomaly && sides.question == Question::Good { sides.thinly() } else { String::new() };
    let mut finding = made(severity, format!("{}: {}.{thin}", super::capital(&verdict), lines.join("; ")));
    for s in at {
        if let Some(d) = s.difference {
            finding =
                finding.figure(Figure::quantity(&format!("difference at {}", s.set), d.by.0, Unit::Ampere, Some(d.expanded.0)));
        }
    }
    finding
}
