//! The plan's ceiling against the rules, the instruments against their dates.

use super::Findings;
use crate::document::Places;
use crate::plan::{Bench, Plan};
use crate::units::Volts;

/// Direct voltage above which special rules for electrical work hold in many
/// places (IEC 61140; local codes decide): this tool stays below.
const TOUCHABLE: Volts = Volts(60.0);

pub(super) fn check(plan: &Plan, bench: &Bench, today: &str, findings: &mut Findings) {
    if plan.unit.ceiling.voltage > TOUCHABLE {
        findings.error(
            &plan.document,
            plan.unit.places.of("ceiling"),
            format!("a ceiling of {} is above {TOUCHABLE}", plan.unit.ceiling.voltage),
            "too high for this tool",
            "above 60 V d.c. the rules for work by competent persons hold in many places; this tool does not energise there",
        );
    }
    let meter = bench.meter.as_ref().map(|m| (&m.calibration_due, &m.places));
    for (role, (due, places)) in [("supply", Some((&bench.supply.calibration_due, &bench.supply.places))), ("meter", meter)]
        .into_iter()
        .filter_map(|(role, seat)| seat.map(|seat| (role, seat)))
    {
        calibration(bench, role, due.as_deref(), places, today, findings);
    }
}

fn calibration(bench: &Bench, role: &str, due: Option<&str>, places: &Places, today: &str, findings: &mut Findings) {
    let Some(due) = due else { return };
    // Dates in this form compare as text.
    if due < today {
        findings.warning(
            &bench.document,
            places.of("calibration_due"),
            format!("the {role}'s calibration expired on {due}"),
            "in the past",
            "the uncertainties in the report rest on it; the report will say so",
        );
    }
}
