//! Whether the current under bias stood still: what is still absorption in it, whether
//! it wanders, whether the supply's own drift made it.

use super::{LeakageStep, Swept};
use crate::analysis::Level;
use crate::analysis::finding::{Figure, Finding, Severity, three};
use crate::analysis::leakage::SETTLED;
use crate::analysis::leakage::decay::Told;
use crate::analysis::leakage::wander::Wander;
use crate::analysis::start::brief;
use crate::analysis::uncertainty::COVERAGE;
use crate::units::{Amperes, Unit, with_uncertainty};

/// A wander counts as an anomaly from this share of the leakage on ...
const NOTABLE: f64 = 0.02;
/// ... where the leakage is this share of the limit at least: in a good part it is a note.
const WEIGHTY: f64 = 0.1;

/// A mean stay is told from so many changes on: fewer say little of it.
const CHANGES: usize = 5;

/// The worst wander of all voltages: the largest step, since one limit is for all of
/// them; but one that is an anomaly goes before one that is none.
pub(super) fn wanders(swept: &Swept<'_>) -> Option<Finding> {
    let seen = |s: &LeakageStep| match (s.soak.wander, s.soak.leakage) {
        (Some(Wander::Quiet { .. }) | None, _) => None,
        (Some(wander), Level::Known { value, .. }) if value.0 > 0.0 => Some((wander, wander.size().0.abs() / value.0, value)),
        _ => None,
    };
    let shares: Vec<(&LeakageStep, Wander, f64, Amperes)> =
        swept.steps.iter().filter_map(|s| seen(s).map(|(w, share, value)| (s, w, share, value))).collect();
    let weighty = |value: Amperes| value.0 >= WEIGHTY * swept.limit.limit.0;
    let rank = |(_, wander, share, value): &(&LeakageStep, Wander, f64, Amperes)| {
        (*share >= NOTABLE && weighty(*value), wander.size().0.abs())
    };
    let (step, wander, share, value) = shares.iter().max_by(|a, b| {
        let (a, b) = (rank(a), rank(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    })?;
    let (set, part) = (step.set, swept.part);
    let size = |value: Amperes, u: Amperes| with_uncertainty(value.0, COVERAGE * u.0, Unit::Ampere);
    let percent = format!("{:.1} % of the leakage", share * 100.0);
    let at = swept.steps.iter().filter(|s| seen(s).is_some()).count();
    let also = if at > 1 { format!(" (at {at} of {} voltages)", swept.steps.len()) } else { String::new() };
    let (code, sentence, size_u) = match wander {
        Wander::Telegraph { step, u, switches, stay } => (
            "leakage-telegraph",
            format!(
                "At {set} the current through {part} jumps between two levels{also}, {} apart ({percent}), {switches} times{}.",
                size(*step, *u),
                match stay {
                    None => ", faster than the readings come".into(),
                    Some(stay) if *switches >= CHANGES => format!(", about every {}", brief(*stay)),
                    Some(_) => String::new(),
                }
            ),
            *u,
        ),
        Wander::Jumps { step, u, at: when, jumps } => (
            "leakage-jumps",
            format!(
                "At {set} the current through {part} jumped{also} by {} ({percent}) after {} under bias{}.",
                size(*step, *u),
                brief(*when),
                if *jumps > 1 { format!(", the largest of {jumps} jumps") } else { String::new() }
            ),
            *u,
        ),
        Wander::Rises { by, u } => (
            "leakage-rises",
            format!(
                "At {set} the current through {part} rises under constant bias{also}: by {} ({percent}) over the last half.",
                size(*by, *u)
            ),
            *u,
        ),
        Wander::Quiet { .. } => return None,
    };
    let notable = *share >= NOTABLE && weighty(*value);
    let severity = if notable { Severity::Anomaly } else { Severity::Note };
    let advice = match (wander, notable) {
        (_, false) if weighty(*value) => "It is small beside the leakage: worth knowing, no fault by itself.".to_owned(),
        (_, false) => "The leakage is small beside the limit: worth knowing, no fault by itself.".to_owned(),
        (Wander::Rises { .. }, _) => {
            "A current that rises at constant voltage is a warning: stop, and do not leave the part under bias unattended."
                .to_owned()
        }
        _ => format!(
            "A good part's current falls smoothly: a reading that wanders is itself a symptom of {part}, its joints or its fixture. Press on the joints and the fixture and repeat the sweep; if it wanders still, replace {part}."
        ),
    };
    let name = if matches!(wander, Wander::Rises { .. }) { "rise" } else { "step" };
    let figure = Figure::quantity(name, wander.size().0, Unit::Ampere, Some(COVERAGE * size_u.0));
    Some(Finding::new(code, severity, sentence).advise(advice).figure(figure))
}

/// What is leakage and what is still absorption, at the highest voltage at which
/// absorption is more than a twentieth of what was read.
pub(super) fn settled(swept: &Swept<'_>) -> Option<Finding> {
    let part = swept.part;
    let share = |s: &LeakageStep| match (s.soak.decay, s.soak.leakage.value()) {
        (Some(d), Some(value)) if d.told != Told::Settled && value.0 > 0.0 => Some(d.absorption(s.soak.electrified).0 / value.0),
        _ => None,
    };
    let step = swept
        .steps
        .iter()
        .filter(|s| share(s).is_some_and(|share| share > SETTLED) || s.soak.change.is_some_and(|c| c < -SETTLED))
        .max_by(|a, b| a.set.0.total_cmp(&b.set.0))?;
    let change = step.soak.change.map_or(String::new(), |c| format!(" ({:+.0} % over the last third)", c * 100.0));
    let began = format!(
        "At {} the current through {part} was still falling when it was read after {}{change}",
        step.set,
        brief(step.soak.electrified)
    );
    let Some(decay) = step.soak.decay else {
        let sentence = format!("{began}: it holds absorption besides leakage.");
        return Some(Finding::new("leakage-unsettled", Severity::Note, sentence).advise(UPPER));
    };
    let (low, high) = (three(decay.low.0, Unit::Ampere), three(decay.high.0, Unit::Ampere));
    let exponent = format!("{:.2}", decay.exponent);
    let (sentence, advice) = match decay.told {
        Told::Apart => (
            format!(
                "{began}: {} of it is leakage ({low} to {high}), the rest absorption that falls with the time to the power of −{exponent}.",
                three(decay.leakage.0, Unit::Ampere)
            ),
            "By a constant and a power of time (Curie and von Schweidler) fitted to the whole soak. The value at its named time is what the limit is for.".to_owned(),
        ),
        _ => (
            format!("{began}: leakage and absorption cannot be told apart in this time; the leakage is at most {high}."),
            format!("{UPPER} The bound is that of the fit's likelihood (95 %), or the last reading where that is less."),
        ),
    };
    let figure = Figure::quantity("leakage without absorption", decay.leakage.0, Unit::Ampere, None).within(
        decay.low.0,
        decay.high.0,
        0.90,
    );
    Some(Finding::new("leakage-unsettled", Severity::Note, sentence).advise(advice).figure(figure))
}

const UPPER: &str =
    "The value stands at its named time and is an upper bound of the leakage; a longer electrification tells them apart.";

/// The supply's own drift, where it makes more than the uncertainty of the leakage.
pub(super) fn drifting(swept: &Swept<'_>) -> Option<Finding> {
    let (step, drift, value) = swept.steps.iter().find_map(|s| match (s.soak.drift, s.soak.leakage) {
        (Some(drift), Level::Known { value, u })
            if drift.current.0.abs() > COVERAGE * (u.0 + drift.u.0) && drift.current.0.abs() > 0.02 * value.0.abs() =>
        {
            Some((s, drift, value))
        }
        _ => None,
    })?;
    let made = with_uncertainty(drift.current.0, COVERAGE * drift.u.0, Unit::Ampere);
    let sentence = format!(
        "At {} the supply's own drift makes {made} of charging current (C dV/dt), beside the {} that were read.",
        step.set,
        three(value.0, Unit::Ampere)
    );
    Some(
        Finding::new("leakage-drift", Severity::Undecided, sentence)
            .advise("Let the supply warm up, or use a steadier one: this part of the reading is no leakage.")
            .figure(Figure::quantity("C dV/dt", drift.current.0, Unit::Ampere, Some(COVERAGE * drift.u.0))),
    )
}
