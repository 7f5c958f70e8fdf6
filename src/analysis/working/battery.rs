//! How long a battery lasts.

use super::{Refusal, Value, Working, not_negative, positive, shown};
use crate::analysis::battery::{Cell, Phase, life, mean, self_discharge};
use crate::units::{AmpereHours, Amperes, Ratio, Seconds};

/// What the battery holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Capacity {
    /// As marked or measured.
    Of(AmpereHours),
    /// By a published curve over the drain.
    Published(Cell),
}

/// Life at a duty: the phases, one after the other, then `rest` until `period` is
/// over, again and again; with a loss by self-discharge in a year.
///
/// # Errors
/// No phase, a value that cannot be, phases longer than the period, or a drain that
/// nobody has published a capacity for.
pub fn battery(
    capacity: Capacity,
    phases: &[Phase],
    rest: Option<(Amperes, Seconds)>,
    lost_in_a_year: Option<Ratio>,
) -> Result<Working, Refusal> {
    let duty = whole(phases, rest)?;
    let mut working = Working::new("Life of a battery at a duty");
    let period: f64 = duty.iter().map(|p| p.lasts.0).sum();
    let charge: f64 = duty.iter().map(|p| p.charge().0).sum();
    let average = mean(&duty).ok_or_else(|| Refusal::new("the duty lasts no time"))?;
    positive("mean current", average)?;
    let terms: Vec<String> = duty.iter().map(|p| format!("{} × {}", p.current, p.lasts)).collect();
    working = working
        .step("charge of a period", "Q = sum of I t", terms.join(" + "), Value::from(crate::units::Coulombs(charge)))
        .step(
            "mean current",
            "I = Q / T",
            format!("{} / {}", shown(crate::units::Coulombs(charge)), shown(Seconds(period))),
            average,
        );
    for (number, phase) in (1..).zip(&duty) {
        let put_in = format!("{} × {} / {}", phase.current, phase.lasts, shown(crate::units::Coulombs(charge)));
        let name =
            if rest.is_some() && number == duty.len() { "share of the rest".into() } else { format!("share of phase {number}") };
        working = working.step(name, "I t / Q", put_in, Ratio(phase.charge().0 / charge));
    }
    let (least, most) = match capacity {
        Capacity::Of(capacity) => (positive("capacity", capacity)?, capacity),
        Capacity::Published(cell) => {
            let heaviest = duty.iter().map(|p| p.current).fold(average, Amperes::max);
            let at = |drain: Amperes| {
                cell.capacity_at(drain).ok_or_else(|| {
                    Refusal::new(format!(
                        "the drain: expected {} or less, where capacities are published, found {drain}",
                        cell.heaviest()
                    ))
                })
            };
            let (least, most) = (at(heaviest)?, at(average)?);
            working = working
                .step("capacity at the mean current", format!("curve at {}", shown(average)), "", most)
                .step("capacity at the heaviest phase", format!("curve at {heaviest}"), "", least)
                .source(cell.source());
            (least, most)
        }
    };
    let lost = match lost_in_a_year {
        None => Amperes(0.0),
        Some(share) => {
            not_negative("loss in a year", share)?;
            let lost = self_discharge(most, share);
            working = working.step(
                "self-discharge as a current",
                "Is = share × capacity / 1 year",
                format!("{share} × {} / 8766 h", shown(most)),
                lost,
            );
            lost
        }
    };
    let drawn = average + lost;
    let long = life(most, drawn);
    let short = life(least, drawn);
    let formula = if lost.0 > 0.0 { "t = capacity / (I + Is)" } else { "t = capacity / I" };
    working = working.step("life", formula, format!("{} / {}", shown(most), shown(drawn)), long);
    if short < long {
        working = working.step("life by the heaviest phase", formula, format!("{} / {}", shown(least), shown(drawn)), short);
    }
    let answer = if short < long {
        format!("Between {} and {} at a mean current of {}.", lasting(short), lasting(long), shown(average))
    } else {
        format!("{} at a mean current of {}.", lasting(long), shown(average))
    };
    if lost_in_a_year.is_none() {
        working = working.caution("Self-discharge is left out; over more than a year it counts.");
    }
    working
        .caution("Capacity falls with the drain, with cold and with age, and hangs on the voltage at which the unit gives up: an alkaline cell rated 3 Ah at 25 mA gives about 1 Ah at 1 A.")
        .caution("A mean current that was read on a meter holds only where the meter's readings cover every pulse.")
        .source("charge balance; capacity over current")
        .conclude(answer)
}

/// The phases and the rest that fills the period.
fn whole(phases: &[Phase], rest: Option<(Amperes, Seconds)>) -> Result<Vec<Phase>, Refusal> {
    if phases.is_empty() {
        return Err(Refusal::new("no phase is given"));
    }
    let mut duty = phases.to_vec();
    for phase in phases {
        not_negative("current of a phase", phase.current)?;
        positive("time of a phase", phase.lasts)?;
    }
    if let Some((current, period)) = rest {
        not_negative("current of the rest", current)?;
        let busy: f64 = phases.iter().map(|p| p.lasts.0).sum();
        let left = Seconds(period.0 - busy);
        if left.0 < 0.0 || !left.0.is_finite() {
            return Err(Refusal::new(format!(
                "the period: expected {} or more, as the phases last, found {period}",
                shown(Seconds(busy))
            )));
        }
        duty.push(Phase { current, lasts: left });
    }
    Ok(duty)
}

fn lasting(span: Seconds) -> String {
    let years = span.0 / (365.25 * 86_400.0);
    let hours = format!("{:.0} h", span.0 / 3600.0);
    if years >= 2.0 { format!("{hours} ({years:.1} years)") } else { format!("{hours} ({})", crate::units::spell(span)) }
}
