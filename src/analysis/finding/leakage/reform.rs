//! A leakage that itself falls under bias: what an electrolytic does that has lain long,
//! and others after a rest.

use super::{LeakageStep, Swept};
use crate::analysis::finding::{Figure, Finding, Severity, three};
use crate::analysis::leakage::Dielectric;
use crate::analysis::leakage::reform::{Reform, STANDS, left};
use crate::analysis::leakage::wander::Wander;
use crate::analysis::start::brief;
use crate::units::{Amperes, Seconds, Unit, Volts};

/// No time is told beyond so many times that which was watched.
const FORETOLD: f64 = 20.0;

/// A time from seconds to days, to two or three figures.
fn spell(time: Seconds) -> String {
    match time.0 {
        t if t < 120.0 => brief(time),
        t if t < 7200.0 => format!("{:.0} min", t / 60.0),
        t if t < 172_800.0 => format!("{:.1} h", t / 3600.0),
        t => format!("{:.0} days", t / 86_400.0),
    }
}

/// The fall of a step, where it is more than what the current wanders by.
fn fall(step: &LeakageStep) -> Option<(Reform, Amperes)> {
    let (reform, now) = (step.soak.reform?, step.soak.leakage.value()?);
    let wanders = match step.soak.wander {
        Some(Wander::Telegraph { step, .. } | Wander::Jumps { step, .. }) => step.0.abs(),
        Some(Wander::Rises { by, .. }) => by.0.abs(),
        _ => 0.0,
    };
    (reform.from.0 - now.0 > 2.0 * wanders).then_some((reform, now))
}

/// Whether an electrolytic is still reforming at a step.
pub(super) fn falls_on(swept: &Swept<'_>, step: &LeakageStep) -> bool {
    swept.kind == Dielectric::Aluminium && fall(step).is_some_and(|(reform, _)| goes_on(&reform, step.soak.electrified))
}

fn goes_on(reform: &Reform, after: Seconds) -> bool {
    reform.pace * after.0 / 3.0 >= STANDS
}

/// How far the leakage fell at the highest voltage at which the fall was its own.
pub(super) fn reforms(swept: &Swept<'_>) -> Option<Finding> {
    let falling = swept.steps.iter().filter_map(|s| fall(s).map(|(reform, now)| (s, reform, now)));
    let (step, reform, now) = falling.max_by(|a, b| a.0.set.0.total_cmp(&b.0.set.0))?;
    let (part, after) = (swept.part, step.soak.electrified);
    let share = (1.0 - now.0 / reform.from.0) * 100.0;
    let from = three(reform.from.0, Unit::Ampere);
    let told = format!(
        "from {from} after {} to {} after {} under bias, {share:.0} % less",
        brief(reform.at),
        three(now.0, Unit::Ampere),
        spell(after)
    );
    let falls_on = goes_on(&reform, after);
    let on = if falls_on { "it still falls" } else { "it hardly falls any more" };
    let (charge, absorbed) = (three(reform.charge.0, Unit::Coulomb), three(reform.absorbed.0, Unit::Coulomb));
    let why = format!("The fall carried {charge}; absorption could have held {absorbed} at most (15 % of C V)");
    let (code, sentence, advice) = if swept.kind == Dielectric::Aluminium {
        let limit = three(swept.limit.limit.0, Unit::Ampere);
        let stands = match left(&reform, now, after, swept.limit.limit) {
            None if now <= swept.limit.limit => format!("within its limit of {limit}"),
            Some((soon, late)) if falls_on && late.0 <= FORETOLD * after.0 => format!(
                "above its limit of {limit}, where it would come after another {} to {} at this voltage",
                spell(soon),
                spell(late)
            ),
            _ => format!("above its limit of {limit}, and when it would be within cannot be said"),
        };
        let next = if now <= swept.limit.limit {
            "Its oxide has formed again; without voltage it is lost again over years."
        } else {
            "Hold it at its voltage through the resistor, watched, until it is within the limit (reform = \"3 h\" does), and replace it if it stops falling before, or rises."
        };
        (
            "leakage-reforms",
            format!("{part} reforms: at {} its current fell {told}; {on}. It is {stands}.", step.set),
            format!(
                "{next} {why}, so it is the leakage that fell. The times to come go by the fall over the last third, as the same share in the same time and as a power of time."
            ),
        )
    } else {
        (
            "leakage-falls",
            format!("At {} the leakage of {part} itself fell {told}; {on}. After a rest it leaks more.", step.set),
            format!(
                "{why}. A part that leaks more after a rest fits a fault that comes after long times without power; what was read here is what it leaks under bias."
            ),
        )
    };
    let figures = [
        Figure::quantity("current at first", reform.from.0, Unit::Ampere, None),
        Figure::quantity("charge in the fall", reform.charge.0, Unit::Coulomb, None),
        Figure::quantity("charge that absorption could have held", reform.absorbed.0, Unit::Coulomb, None),
    ];
    Some(figures.into_iter().fold(Finding::new(code, Severity::Note, sentence).advise(advice), Finding::figure))
}

/// A part was being reformed, its current rose, and the bias was taken away.
pub fn stopped(part: &str, set: Volts, by: Amperes, after: Seconds) -> Finding {
    let by_told = three(by.0, Unit::Ampere);
    let sentence = format!(
        "At {set} the current through {part} rose at constant voltage, by {by_told} over the last half of {}: the bias was taken away.",
        spell(after)
    );
    Finding::new("reform-stopped", Severity::Anomaly, sentence)
        .advise(format!(
            "A current that rises at constant voltage is a part that warms or breaks down. Let {part} cool, do not bias it again, and replace it."
        ))
        .figure(Figure::quantity("rise", by.0, Unit::Ampere, None))
}
