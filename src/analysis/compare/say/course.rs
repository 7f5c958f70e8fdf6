//! Where the courses of starts part, in sentences.

use super::{Sides, other_conditions, ratio_of, three};
use crate::analysis::Level;
use crate::analysis::compare::course::Parting;
use crate::analysis::compare::feature::{Feature, differ};
use crate::analysis::finding::{Figure, Finding, Severity};
use crate::units::{Unit, with_uncertainty};

/// `1.05 s after switching on: (65 ± 1) uA is read there, where 8 mA to 12 mA are drawn`.
fn first(parting: &Parting, from: &str) -> String {
    let Some(at) = parting.at else { return String::new() };
    let when = format!("{} after {from}", three(at.0, Unit::Second));
    let Some(d) = parting.typical else { return when };
    let read = match d.current {
        Level::Known { value, .. } => three(value.0, Unit::Ampere),
        Level::BelowFloor { floor } => format!("less than {floor}"),
        other => other.to_string(),
    };
    // An envelope may begin below nought; a current is not spoken of so.
    let (low, high) = (three(d.good.0.0.max(0.0), Unit::Ampere), three(d.good.1.0, Unit::Ampere));
    format!(
        "{when}, where {read} is read and the envelope goes from {low} to {high} (readings {} apart)",
        three(d.gap.0, Unit::Second)
    )
}

/// Good starts of the subject against the envelope of the reference's, counted from
/// switching on and from the first rise, with the figures of both.
pub fn courses(
    on: &Parting,
    rise: Option<&Parting>,
    figures: &[(Feature, Feature)],
    sides: &Sides,
    forbidden: &[&str],
) -> Finding {
    let (n, of) = (on.compared, on.envelope.starts);
    let (subject, reference) = (&sides.subject, &sides.reference);
    if !forbidden.is_empty() {
        let sentence = format!("The courses of starts are not compared: {}.", other_conditions(forbidden));
        return Finding::new("compare-course", Severity::Undecided, sentence);
    }
    let unlike: Vec<String> = figures
        .iter()
        .filter(|(a, b)| differ(a, b))
        .map(|(a, b)| {
            let spelled = |f: &Feature| with_uncertainty(f.value, f.expanded, f.unit);
            format!("{} {}", a.name, sides.both(&spelled(a), &spelled(b)))
        })
        .collect();
    let features = match (unlike.as_slice(), figures.len()) {
        (_, 0) => String::new(),
        ([], _) => {
            " None of their figures (peak, rise, charge, level at the end) differs by more than its uncertainty and 10 %.".into()
        }
        (some, _) => format!(" Of their figures differ, by more than the uncertainties and 10 %, medians: {}.", some.join("; ")),
    };
    let mut made = if on.differ() {
        let rest = match rise {
            Some(rise) if !rise.differ() => {
                " Counted from the first rise they do not part: they come at another time, and are alike otherwise.".to_owned()
            }
            Some(rise) => format!(" Counted from the first rise they part {}.", first(rise, "it")),
            None => String::new(),
        };
        Finding::new(
            "compare-course",
            sides.differing(),
            format!(
                "Good starts take another course {subject} than {reference}: {} of {n} leave the envelope of {of}, the middle one {}.{rest}{features} The envelope counts the instruments' errors on both sides, the distance of readings, and 10 % between units.{}",
                on.left,
                first(on, "switching on"),
                sides.thinly()
            ),
        )
        .advise("Trigger an oscilloscope by switching on, and compare rails, reset and clock around that moment: what comes first brackets the difference.")
    } else {
        Finding::new(
            "compare-course",
            Severity::Note,
            format!(
                "Good starts take the same course {subject} as {reference}, as far as the readings show: {} of {n} leave the envelope of {of}, and about one in ten does so by itself.{features}",
                on.left
            ),
        )
    };
    if let Some(at) = on.at.filter(|_| on.differ()) {
        let gap = on.typical.map_or(0.0, |d| d.gap.0);
        made = made.figure(Figure::quantity("first part", at.0, Unit::Second, Some(gap)));
    }
    made.figure(Figure::count("leave the envelope", on.left as u64)).figure(Figure::count("compared", n as u64))
}

/// Failing starts against the envelope of good ones of the other side.
pub fn failing(on: &Parting, whose: &str, of_whom: &str, forbidden: &[&str]) -> Option<Finding> {
    if !forbidden.is_empty() {
        return None;
    }
    let sentence = if on.differ() {
        format!(
            "Failing starts {whose} leave the course of {} good ones {of_whom} {} ({} of {} compared leave it).",
            on.envelope.starts,
            first(on, "switching on"),
            on.left,
            on.compared
        )
    } else {
        format!(
            "Of {} failing starts {whose} {} leave the course of good ones {of_whom}: no more than by chance ({}). What makes them fail is too small or too short for these readings.",
            on.compared,
            on.left,
            ratio_of(on.chance)
        )
    };
    let gap = on.typical.map_or(0.0, |d| d.gap.0);
    let made = Finding::new("compare-failing-course", Severity::Note, sentence);
    Some(match on.at.filter(|_| on.differ()) {
        Some(at) => made.figure(Figure::quantity("first part", at.0, Unit::Second, Some(gap))),
        None => made,
    })
}
