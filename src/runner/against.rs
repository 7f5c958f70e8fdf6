//! A stage against the same stage of other runs: what the analysis says of it, in findings.

use super::past::{Past, Seen, Starts, What, between, merged, of_stage, of_starts, off_times_in_words, way_up};
use crate::analysis::Level;
use crate::analysis::compare::condition::{Condition, Part, against};
use crate::analysis::compare::course::{Parting, part};
use crate::analysis::compare::current::{Reference, difference};
use crate::analysis::compare::feature::{Feature, features};
use crate::analysis::compare::leakage::{self, AtVoltage};
use crate::analysis::compare::ramp::{Event, Reach, events};
use crate::analysis::compare::rate::{Group, Rates, rates};
use crate::analysis::compare::say::{self, Question, Sides};
use crate::analysis::finding::{Finding, LeakageStep, Severity};
use crate::analysis::ramp::compare::{Comparison, compare};
use crate::analysis::ramp::summarise;
use crate::analysis::signature::envelope::{Alignment, MOST};
use crate::analysis::start::Look;
use crate::plan::{Ramp, StageKind, Start};
use crate::units::{Seconds, Volts};

/// A stage held against others: what differs of its conditions, and what was found.
#[derive(Clone, Debug)]
pub struct Held {
    /// Conditions of the stages alone.
    pub conditions: Vec<Condition>,
    /// What was found, in the order of a page.
    pub findings: Vec<Finding>,
    /// The failing rates, of a start stage.
    pub rates: Option<Rates>,
    /// Good starts of what is judged, over the envelope of the reference's.
    pub course: Option<Parting>,
    /// The figures of good starts: of what is judged, and of the reference.
    pub features: Vec<(Feature, Feature)>,
    /// What was said of the off-times.
    pub off_times: Option<String>,
    /// A sweep, voltage by voltage.
    pub sweep: Vec<AtVoltage>,
    /// The events of a ramp.
    pub events: Vec<Event>,
}

/// Holds what is judged against the reference's stages of the same kind. `global` are the
/// conditions of the runs as a whole; `confidence` is that of a proof.
pub fn hold(subject: &Seen, reference: &[&Seen], global: &[Condition], sides: &Sides, confidence: f64) -> Held {
    let own = |other: &&Seen| {
        // Before stands first, whichever side is judged.
        let (a, b) = if sides.question == Question::Repair { (*other, subject) } else { (subject, *other) };
        [of_stage(&a.kind, &b.kind), of_starts(a, b)].concat()
    };
    let conditions = merged(reference.iter().map(own));
    let all: Vec<Condition> = conditions.iter().chain(global).cloned().collect();
    let mut held = Held {
        findings: Vec::new(),
        rates: None,
        course: None,
        features: Vec::new(),
        off_times: None,
        sweep: Vec::new(),
        events: Vec::new(),
        conditions,
    };
    match (&subject.what, &subject.kind) {
        (What::Starts(starts), StageKind::Start(plan)) => {
            let others: Vec<&Starts> =
                reference.iter().filter_map(|s| if let What::Starts(s) = &s.what { Some(s) } else { None }).collect();
            of_rates(starts, &others, &all, sides, confidence, &mut held);
            held.findings.extend(of_current("the current at the end of good starts", subject, reference, &all, sides));
            of_courses(starts, &others, plan, &all, sides, &mut held);
        }
        (What::Log(_), _) => held.findings.extend(of_current("the mean current of the log", subject, reference, &all, sides)),
        (What::Ramp(steps), StageKind::Ramp(ramp)) => {
            held.findings.extend(of_current("the current at the end of the ramp", subject, reference, &all, sides));
            let others: Vec<(&Ramp, &Vec<_>)> = reference
                .iter()
                .filter_map(|s| match (&s.kind, &s.what) {
                    (StageKind::Ramp(ramp), What::Ramp(steps)) => Some((ramp, steps)),
                    _ => None,
                })
                .collect();
            let reached: Vec<Reach> = others.iter().map(|(ramp, steps)| Reach::of(steps, ramp.to)).collect();
            held.findings.extend(say::reach(Reach::of(steps, ramp.to), &reached, sides));
            let summaries: Vec<_> = others.iter().map(|(ramp, steps)| summarise(steps, ramp.to)).collect();
            held.events = events(&summarise(steps, ramp.to), &summaries.iter().collect::<Vec<_>>());
            let course = compare(steps, &others.iter().map(|(_, steps)| way_up(steps)).collect::<Vec<_>>());
            let course = if others.is_empty() { Comparison::TooLittle } else { course };
            held.findings.extend(say::ramps(&held.events, &course, sides, &against(&all, Part::Ramps)));
        }
        (What::Sweep(steps), StageKind::Leakage(sweep)) => {
            let others: Vec<&[LeakageStep]> = reference
                .iter()
                .filter_map(|s| if let What::Sweep(steps) = &s.what { Some(steps.as_slice()) } else { None })
                .collect();
            held.sweep = leakage::compare(steps, &others);
            held.findings.push(say::leakage(&sweep.part.name, &held.sweep, sides, &against(&all, Part::Leakage)));
        }
        _ => {}
    }
    held
}

fn pooled(of: &[&Starts]) -> Group {
    of.iter().fold(Group::default(), |sum, s| Group {
        failed: sum.failed + s.group.failed,
        counted: sum.counted + s.group.counted,
        void: sum.void + s.group.void,
        until_decided: sum.until_decided || s.group.until_decided,
    })
}

fn of_rates(subject: &Starts, others: &[&Starts], all: &[Condition], sides: &Sides, confidence: f64, held: &mut Held) {
    let (own, other) = (subject.group, pooled(others));
    let times = |s: &Starts| s.off.iter().map(|o| o.0).collect::<Vec<Seconds>>();
    let theirs: Vec<Seconds> = others.iter().flat_map(|s| times(s)).collect();
    // Before stands first, whichever side is judged.
    let (a, b, first, second) = match sides.question {
        Question::Repair => (other, own, theirs, times(subject)),
        Question::Good => (own, other, times(subject), theirs),
    };
    held.off_times = off_times_in_words(&first, &second);
    held.rates = rates(a, b, confidence);
    match held.rates {
        Some(rates) => held.findings.push(say::rates(&rates, sides, &against(all, Part::Rates))),
        None if a.counted + b.counted == 0 => {
            held.findings.push(Finding::new("compare-one-side", Severity::Undecided, "No start counts on either side.".into()));
        }
        None => {
            let (group, which) = if a.counted > 0 { (&a, "the first side") } else { (&b, "the second side") };
            held.findings.push(say::bounds(group, which));
        }
    }
}

fn of_current(what: &str, subject: &Seen, reference: &[&Seen], all: &[Condition], sides: &Sides) -> Option<Finding> {
    let own: Level = subject.what.current(&subject.kind)?;
    let others: Vec<Level> = reference.iter().filter_map(|s| s.what.current(&s.kind)).collect();
    let reference = Reference::of(&others)?;
    let difference = difference(own, &reference);
    Some(say::current(what, own, &reference, difference.as_ref(), sides, &against(all, Part::Currents)))
}

fn slices(courses: &[Vec<Look>]) -> Vec<&[Look]> {
    courses.iter().map(Vec::as_slice).collect()
}

/// Courses of several runs, as many of each, no more than an envelope takes.
fn evenly<'s>(runs: &[&'s Starts], of: impl Fn(&'s Starts) -> &'s Vec<Vec<Look>>) -> Vec<&'s [Look]> {
    let each = (MOST / runs.len().max(1)).max(1);
    let some = |run: &&'s Starts| {
        let all = of(run);
        let stride = all.len().div_ceil(each).max(1);
        all.iter().step_by(stride).map(Vec::as_slice).collect::<Vec<_>>()
    };
    runs.iter().flat_map(some).collect()
}

fn of_courses(subject: &Starts, others: &[&Starts], plan: &Start, all: &[Condition], sides: &Sides, held: &mut Held) {
    let good = evenly(others, |s| &s.good);
    let own = slices(&subject.good);
    let forbidden = against(all, Part::Courses);
    let set: Volts = plan.voltage;
    held.features = {
        let (x, y) = (features(&own, set), features(&good, set));
        x.iter().filter_map(|a| Some((*a, *y.iter().find(|b| b.name == a.name)?))).collect()
    };
    held.course = part(&good, &own, Alignment::SwitchOn);
    match &held.course {
        Some(on) => {
            let rise = part(&good, &own, Alignment::FirstRise);
            held.findings.push(say::courses(on, rise.as_ref(), &held.features, sides, &forbidden));
        }
        None if good.is_empty() || own.is_empty() => {}
        None => held.findings.push(Finding::new(
            "compare-course",
            Severity::Note,
            format!(
                "{} good starts are too few for an envelope, which takes ten: the courses of starts are not compared.",
                good.len()
            ),
        )),
    }
    // What fails on either side, over the good ones of the other.
    let before = evenly(others, |s| &s.failed);
    let mut tell = |envelope: &[&[Look]], failed: &[&[Look]], whose: &str, of_whom: &str| {
        if let Some(parting) = part(envelope, failed, Alignment::SwitchOn) {
            held.findings.extend(say::failing(&parting, whose, of_whom, &forbidden));
        }
    };
    tell(&own, &before, &sides.reference, &sides.subject);
    tell(&good, &slices(&subject.failed), &sides.subject, &sides.reference);
}

/// The conditions of runs as a whole, as one list; `first` is the side that stands first.
pub fn conditions(first: &[Past], second: &[Past]) -> Vec<Condition> {
    merged(first.iter().flat_map(|a| second.iter().map(move |b| between(a, b))))
}
