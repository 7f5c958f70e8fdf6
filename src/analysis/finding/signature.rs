//! How good starts look, and where failing ones leave their course, in sentences.

use super::{Figure, Finding, Severity, three};
use crate::analysis::Level;
use crate::analysis::numeric::sums::deviation;
use crate::analysis::rank::median;
use crate::analysis::signature::envelope::{Alignment, Departure, Envelope};
use crate::analysis::signature::{Sight, Signature, sight, signature};
use crate::analysis::start::Look;
use crate::units::{Seconds, Unit, Volts, with_uncertainty};

/// The courses of some good and some failing starts.
#[derive(Clone, Debug)]
pub struct Courses<'a> {
    /// Good ones.
    pub good: Vec<&'a [Look]>,
    /// Failing ones.
    pub failed: Vec<&'a [Look]>,
    /// The voltage that was switched on.
    pub set: Volts,
    /// The time over which a reading integrates; nought where it is not known.
    pub integration: Seconds,
}

/// Of good and failing starts: nothing where the good ones are too few for an envelope.
pub fn signatures(courses: &Courses<'_>) -> Vec<Finding> {
    let Some(envelope) = Envelope::of(&courses.good, Alignment::SwitchOn) else { return Vec::new() };
    let Some(sight) = sight(&courses.good, courses.integration) else { return Vec::new() };
    let mut made: Vec<Finding> = good(courses, &sight).into_iter().collect();
    if !courses.failed.is_empty() {
        made.push(diverge(courses, &envelope, &sight));
    }
    made
}

/// Standard uncertainty of the highest reading of a start.
fn of_highest(looks: &[Look]) -> Option<f64> {
    let known = looks.iter().filter_map(|l| match l.current {
        Level::Known { value, u } => Some((value, u)),
        _ => None,
    });
    known.max_by(|a, b| a.0.0.total_cmp(&b.0.0)).map(|(_, u)| u.0)
}

fn good(courses: &Courses<'_>, sight: &Sight) -> Option<Finding> {
    let all: Vec<Signature> = courses.good.iter().map(|looks| signature(looks, courses.set)).collect();
    let middle = |pick: &dyn Fn(&Signature) -> Option<f64>| median(&all.iter().filter_map(pick).collect::<Vec<_>>());
    let plateau = middle(&|s| s.plateau.map(|p| p.0))?;
    let (peak, when) = (middle(&|s| s.peak.map(|p| p.0.0))?, middle(&|s| s.peak.map(|p| p.1.0))?);
    let (charge, covered) = (middle(&|s| Some(s.charge.0.0))?, middle(&|s| Some(s.charge.1.0))?);
    let risen =
        middle(&|s| s.rises[2].map(|r| r.1.0)).map_or(String::new(), |t| format!(", 90 % of it by {}", three(t, Unit::Second)));
    // The instrument's, and that of a median of so many: 1.25 s / sqrt n (large n, normal).
    let u = median(&courses.good.iter().filter_map(|looks| of_highest(looks)).collect::<Vec<_>>())?;
    let expanded = |value: f64, relative: f64, pick: &dyn Fn(&Signature) -> Option<f64>| {
        let spread = deviation(&all.iter().filter_map(pick).collect::<Vec<_>>()).unwrap_or(0.0);
        2.0 * (value * relative).hypot(1.2533 * spread / (all.len() as f64).sqrt())
    };
    let relative = if peak > 0.0 { u / peak } else { 0.0 };
    let peak_expanded = expanded(peak, relative, &|s| s.peak.map(|p| p.0.0));
    let charge_expanded = expanded(charge, relative, &|s| Some(s.charge.0.0));
    let beyond = if all.iter().any(|s| s.beyond) { ", and some beyond the range" } else { "" };
    let sentence = format!(
        "A good start (median of {}) draws {} in the end{risen}; its highest reading is {} after {}{beyond}; {} flow in {}. {}",
        all.len(),
        three(plateau, Unit::Ampere),
        with_uncertainty(peak, peak_expanded, Unit::Ampere),
        three(when, Unit::Second),
        with_uncertainty(charge, charge_expanded, Unit::Coulomb),
        three(covered, Unit::Second),
        seen(sight)
    );
    Some(
        Finding::new("starts-signature", Severity::Note, sentence)
            .figure(Figure::quantity("highest reading", peak, Unit::Ampere, Some(peak_expanded)))
            .figure(Figure::quantity("charge", charge, Unit::Coulomb, Some(charge_expanded)))
            .figure(Figure::quantity("seen for certain when longer than", sight.seen_above.0, Unit::Second, None)),
    )
}

fn seen(sight: &Sight) -> String {
    let missed = if sight.missed_below.0 > 0.0 {
        format!("what lasts less than {} can lie between two readings unseen, ", three(sight.missed_below.0, Unit::Second))
    } else {
        String::new()
    };
    format!(
        "The readings are {} apart: {missed}what lasts longer than {} is seen at its full height, and anything shorter may have been higher than it was read.",
        three(sight.gap.0, Unit::Second),
        three(sight.seen_above.0, Unit::Second)
    )
}

fn diverge(courses: &Courses<'_>, envelope: &Envelope, sight: &Sight) -> Finding {
    let left: Vec<Departure> = courses.failed.iter().filter_map(|looks| envelope.departure(looks)).collect();
    let mut times: Vec<f64> = left.iter().map(|d| d.at.0).collect();
    times.sort_by(f64::total_cmp);
    let at = |share: usize| times.get((times.len().saturating_sub(1)) * share / 4).copied();
    let (looked, good) = (courses.failed.len(), envelope.starts);
    // About a tenth of good starts would leave it as well.
    let few = left.len() * 3 < looked;
    let (Some(early), Some(middle), Some(late), false) = (at(1), at(2), at(3), few) else {
        let sentence = format!(
            "{} of {looked} failing starts that were compared leave the course of {good} good ones by more than these stray among themselves: in most, what tells them apart is too small or too short for these readings, or good starts differ too much from each other.",
            left.len()
        );
        return Finding::new("starts-alike", Severity::Note, sentence)
            .advise("Measure faster, or at another place of the circuit: an oscilloscope that is triggered by switching on.");
    };
    let spread = if late - early > sight.gap.0 {
        format!(" (half of them between {} and {})", three(early, Unit::Second), three(late, Unit::Second))
    } else {
        String::new()
    };
    let typical = left.iter().min_by(|a, b| (a.at.0 - middle).abs().total_cmp(&(b.at.0 - middle).abs()));
    let there = typical.map_or(String::new(), |d| {
        let (low, high) = (three(d.good.0.0, Unit::Ampere), three(d.good.1.0, Unit::Ampere));
        let read = match d.current {
            crate::analysis::Level::Known { value, .. } => three(value.0, Unit::Ampere),
            other => other.to_string(),
        };
        format!(": {read} is read there, where good starts draw {low} to {high}")
    });
    let none = if left.len() < looked { format!(" {} of them do not leave it.", looked - left.len()) } else { String::new() };
    let sentence = format!(
        "Failing starts leave the course of {good} good ones {} after switching on{spread}{there} ({looked} compared; of good starts about one in ten leaves it too).{none}{} Readings are {} apart: this is the first that differs, and the fault may begin earlier.",
        three(middle, Unit::Second),
        later(courses),
        three(sight.gap.0, Unit::Second),
    );
    Finding::new("starts-diverge", Severity::Note, sentence)
        .advise(format!(
            "What decides lies before that moment: trigger an oscilloscope by switching on, and compare supply rails, reset and clock of a good and a failing start over the first {}.",
            three(middle, Unit::Second)
        ))
        .figure(Figure::quantity("leaves the envelope", middle, Unit::Second, Some(sight.gap.0)))
        .figure(Figure::count("good starts", good as u64))
        .figure(Figure::count("failing starts compared", looked as u64))
}

/// Whether failing starts are good ones that come later, or rise again and again.
fn later(courses: &Courses<'_>) -> String {
    let periods: Vec<f64> = courses.failed.iter().filter_map(|looks| signature(looks, courses.set).period).map(|p| p.0).collect();
    if let Some(period) = median(&periods).filter(|_| periods.len() * 2 > courses.failed.len()) {
        return format!(" They rise and fall every {}.", three(period, Unit::Second));
    }
    let Some(risen) = Envelope::of(&courses.good, Alignment::FirstRise) else { return String::new() };
    let same = courses.failed.iter().filter(|looks| risen.rises(looks) && risen.departure(looks).is_none()).count();
    if same * 2 > courses.failed.len() {
        return " Counted from their first rise they are like the good ones: they come later, and do nothing else.".into();
    }
    String::new()
}
