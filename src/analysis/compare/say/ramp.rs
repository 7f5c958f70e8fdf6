//! Two ramps in sentences: what happens where, and where their currents part first.

use super::{Sides, other_conditions};
use crate::analysis::compare::ramp::{Event, Reach};
use crate::analysis::finding::{Figure, Finding, Severity};
use crate::analysis::ramp::Place;
use crate::analysis::ramp::compare::{ALIKE, Comparison};
use crate::units::{Unit, Volts, with_uncertainty};

fn place(place: Place) -> String {
    if place.volts.0 == 0.0 { "from zero volts".into() } else { format!("at {place}") }
}

fn event(event: &Event, sides: &Sides) -> String {
    let there = match event.b.as_slice() {
        [] => "never".into(),
        [one] => place(*one),
        many => {
            let least = many.iter().min_by(|a, b| a.volts.0.total_cmp(&b.volts.0));
            let most = many.iter().max_by(|a, b| a.volts.0.total_cmp(&b.volts.0));
            match (least, most) {
                (Some(least), Some(most)) => format!("at {least} to {most}"),
                _ => String::new(),
            }
        }
    };
    let here = event.a.map_or("never".into(), place);
    let apart = match event.difference() {
        Some((by, expanded)) if event.differs() => format!(", {} apart", with_uncertainty(by.0.abs(), expanded.0, Unit::Volt)),
        Some(_) => ", not to be told apart".into(),
        None => String::new(),
    };
    format!("{} {}{apart}", event.name, sides.both(&here, &there))
}

/// A ramp that ended before its voltage on one side alone, or on both; nothing where both
/// reached it.
pub fn reach(subject: Reach, reference: &[Reach], sides: &Sides) -> Option<Finding> {
    let cut = reference.iter().filter(|r| !r.whole).map(|r| r.highest).reduce(Volts::min);
    let told = |highest: Option<Volts>| highest.map_or("comes to its end".to_owned(), |v| format!("is cut short at {v}"));
    let (mine, theirs) = ((!subject.whole).then_some(subject.highest), cut);
    if mine.is_none() && theirs.is_none() {
        return None;
    }
    let severity = if mine.is_some() && theirs.is_none() { Severity::Anomaly } else { Severity::Note };
    let sentence = format!(
        "The ramp {}: an interlock, the supply's own protection or somebody ended it; beyond that there is nothing to compare.",
        sides.both(&told(mine), &told(theirs))
    );
    Some(Finding::new("compare-ramp-cut", severity, sentence))
}

/// The events of both ramps, and the first voltage at which the currents part.
pub fn ramps(events: &[Event], course: &Comparison, sides: &Sides, forbidden: &[&str]) -> Vec<Finding> {
    if !forbidden.is_empty() {
        let sentence = format!("The ramps are not compared: {}.", other_conditions(forbidden));
        return vec![Finding::new("compare-ramp", Severity::Undecided, sentence)];
    }
    let room = ALIKE * 100.0;
    let (subject, reference) = (&sides.subject, &sides.reference);
    let mut made = vec![match course {
        Comparison::Alike { steps } => Finding::new(
            "ramp-alike",
            Severity::Note,
            format!("In all {steps} steps of the ramp that were compared, the current is the same {subject} and {reference}, within the instruments' uncertainties and {room:.0} %."),
        ),
        Comparison::Differs { at, this, good } => Finding::new(
            "ramp-differs",
            sides.differing(),
            format!(
                "From {at} on the ramps differ by more than the instruments' uncertainties and {room:.0} %: there the current is {}.{}",
                sides.both(&this.to_string(), &good.to_string()),
                sides.thinly()
            ),
        )
        .advise("Power both at this voltage and compare rail by rail in the same order: the first difference brackets the fault.")
        .figure(Figure::quantity("differs from", at.volts.0, Unit::Volt, Some(at.expanded.0))),
        Comparison::TooLittle => Finding::new(
            "ramp-not-compared",
            Severity::Undecided,
            format!("The ramps {subject} and {reference} have too few voltages in common to be compared."),
        ),
    }];
    if !events.is_empty() {
        let differ = events.iter().any(Event::differs);
        let told: Vec<String> = events.iter().map(|e| event(e, sides)).collect();
        let severity = if differ { sides.differing() } else { Severity::Note };
        made.push(Finding::new("compare-ramp", severity, super::capital(&format!("{}.", told.join("; ")))));
    }
    made
}
