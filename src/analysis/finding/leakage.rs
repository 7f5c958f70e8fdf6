//! What a leakage sweep says, in sentences.

mod lot;
mod node;
mod reform;
mod shape;
mod steady;

pub use lot::{LotPart, lot};
pub use node::cleared;
pub use node::question_with;
pub use reform::stopped;

use super::{Figure, Finding, Severity, three};
use crate::analysis::leakage::conduction::At;
use crate::analysis::leakage::limits::{Limit, insulation_resistance};
use crate::analysis::leakage::{Dielectric, Soak, sweep};
use crate::analysis::node::Question;
use crate::analysis::uncertainty::{COVERAGE, Standing};
use crate::analysis::{Level, start::brief};
use crate::units::{Amperes, Farads, Ohms, Unit, Volts};

/// Confidence of an interval made of expanded uncertainties with k = 2.
const CONFIDENCE: f64 = 0.95;

/// One voltage of a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakageStep {
    /// Set at the supply.
    pub set: Volts,
    /// What the soak says.
    pub soak: Soak,
}

/// A sweep that was made.
#[derive(Clone, Debug)]
pub struct Swept<'s> {
    /// The part's name.
    pub part: &'s str,
    /// What it is.
    pub kind: Dielectric,
    /// Its capacitance.
    pub capacitance: Farads,
    /// Its rated voltage.
    pub rated: Volts,
    /// Its temperature, where the plan names one.
    pub temperature: Option<crate::units::Celsius>,
    /// The voltages, in the order in which they were made.
    pub steps: &'s [LeakageStep],
    /// What it may leak.
    pub limit: &'s Limit,
    /// The node that it stands at, where the plan names one.
    pub node: Option<&'s Question>,
}

/// The way up of a sweep, as far as values above zero were read.
pub type Curve = Vec<At>;

/// The curve over voltage on the way up, and in a second list the way down.
pub fn curves(steps: &[LeakageStep]) -> (Curve, Curve) {
    let with_set: Vec<(Volts, &LeakageStep)> = steps.iter().map(|s| (s.set, s)).collect();
    let (up, down) = sweep::ways(&with_set);
    let of = |way: &[(Volts, &LeakageStep)]| way.iter().filter_map(|(_, s)| point(s)).collect();
    (of(up), of(down))
}

fn point(step: &LeakageStep) -> Option<At> {
    match (step.soak.at_part, step.soak.leakage) {
        (Some(volts), Level::Known { value, u }) if value.0 > 0.0 && volts.0 > 0.0 => Some(At { volts, current: value, u }),
        _ => None,
    }
}

/// Of a sweep: the worst voltage against the limit; whether it settled and whether it
/// wanders; whether it runs away, bends, comes back; the law that it follows; the
/// effect on the node, where the plan names one.
pub fn leakage(swept: &Swept<'_>) -> Vec<Finding> {
    let (up, _) = curves(swept.steps);
    let mut made = Vec::new();
    made.extend(against_limit(swept));
    made.extend(steady::wanders(swept));
    made.extend(reform::reforms(swept).or_else(|| steady::settled(swept)));
    made.extend(steady::drifting(swept));
    made.extend(shape::running_away(swept.part, &up));
    made.extend(shape::comes_back(swept));
    made.extend(shape::law(swept, &up));
    if let Some(question) = swept.node {
        made.push(node::effect(swept.part, swept.steps, &up, question));
    }
    made
}

/// How a leakage stands to its limit, with a guard band of its expanded uncertainty.
pub fn standing(leakage: Level, limit: Amperes) -> Standing {
    match leakage {
        Level::Known { value, u } => Standing::of(value.0, COVERAGE * u.0, limit.0),
        Level::BelowFloor { floor } if floor <= limit => Standing::Pass,
        Level::Overload => Standing::Fail,
        Level::BelowFloor { .. } | Level::Missing => Standing::NotAdequate,
    }
}

fn against_limit(swept: &Swept<'_>) -> Option<Finding> {
    let Swept { part, rated, steps, limit, .. } = *swept;
    // The worst standing; among equals the highest voltage.
    let worst = steps.iter().max_by(|a, b| {
        (standing(a.soak.leakage, limit.limit).weight(), a.set.0)
            .partial_cmp(&(standing(b.soak.leakage, limit.limit).weight(), b.set.0))
            .unwrap_or(std::cmp::Ordering::Equal)
    })?;
    let stands = standing(worst.soak.leakage, limit.limit);
    let at = worst.soak.at_part.unwrap_or(worst.set);
    let after = brief(worst.soak.electrified);
    let most = three(limit.limit.0, Unit::Ampere);
    let drew = match worst.soak.leakage {
        Level::Known { .. } => format!("leaks {}", worst.soak.leakage),
        other => format!("has a leakage {other},"),
    };
    let warm = swept.temperature.map_or(String::new(), |t| format!(" and {t}"));
    let sentence = format!(
        "{part} {drew} at {}{warm} after {after} under bias; the limit is {most}: {}.",
        three(at.0, Unit::Volt),
        stands.name()
    );
    let (code, severity) = match stands {
        Standing::Fail | Standing::ConditionalFail => ("leakage-fail", Severity::Anomaly),
        Standing::NotAdequate => ("leakage-not-adequate", Severity::Undecided),
        Standing::ConditionalPass => ("leakage-conditional", Severity::Undecided),
        Standing::Pass => ("leakage-pass", Severity::Note),
    };
    let volts = Figure::quantity("voltage at the part", at.0, Unit::Volt, worst.soak.at_part_u.map(|u| COVERAGE * u.0));
    let mut finding =
        Finding::new(code, severity, sentence).figure(Figure::quantity("limit", limit.limit.0, Unit::Ampere, None)).figure(volts);
    if let Level::Known { value, u } = worst.soak.leakage {
        finding = finding.figure(Figure::quantity("leakage", value.0, Unit::Ampere, Some(COVERAGE * u.0)));
        finding = insulation(finding, swept.capacitance, at, value, u);
    }
    let advice = match stands {
        Standing::Fail | Standing::ConditionalFail if reform::falls_on(swept, worst) => {
            format!("Hold it under bias for longer before it is judged: {part} still reforms.")
        }
        Standing::Fail | Standing::ConditionalFail => {
            format!("Replace {part} by a part that has passed the same sweep, and repeat the starts under the same conditions.")
        }
        Standing::NotAdequate => "Use a lower range or a meter with less error, or a longer integration.".into(),
        _ if at.0 < 0.95 * rated.0 => format!("{part} is rated {rated} and was measured up to {} only.", three(at.0, Unit::Volt)),
        _ => String::new(),
    };
    let caution = limit.caution.as_ref().map_or(String::new(), |c| format!(" Mind: {c}."));
    let origin = format!("The limit is {}: {}.{caution}", limit.working, limit.source);
    Some(finding.advise(if advice.is_empty() { origin } else { format!("{advice} {origin}") }))
}

/// Insulation resistance R = V / I at the named time, and the ohm-farad product R C.
fn insulation(finding: Finding, capacitance: Farads, volts: Volts, leakage: Amperes, u: Amperes) -> Finding {
    let Some(resistance) = insulation_resistance(volts, leakage) else { return finding };
    // To first order the relative uncertainty of R is that of I; that of V is far smaller.
    let relative = COVERAGE * u.0 / leakage.0;
    let product = Ohms(resistance.0) * capacitance;
    finding
        .figure(Figure::quantity("insulation resistance", resistance.0, Unit::Ohm, Some(resistance.0 * relative)))
        .figure(Figure::quantity("ohm-farad product", product.0, Unit::Second, Some(product.0 * relative)))
}
