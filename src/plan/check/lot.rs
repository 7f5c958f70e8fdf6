//! A plan that is carried out for each part of a lot: what cannot work, and papers that
//! have expired.

use super::Findings;
use crate::plan::{Bench, Inspection, Lot, OnFault, Plan, StageKind};
use jiff::civil::Date;

pub(super) fn check(
    plan: &Plan,
    inspection: &Inspection,
    lot: Option<&Lot>,
    bench: &Bench,
    today: &str,
    findings: &mut Findings,
) {
    let Some(lot) = lot else {
        if plan.inspection.is_some() {
            let hint = "rampart rehearse PLAN --lot FILE; README, Inspecting a lot, shows one";
            let title = "this plan inspects the parts of a lot, and no lot is named".to_owned();
            findings.error(&plan.document, inspection.places.whole(), title, "which lot?", hint);
        }
        return;
    };
    stages(plan, findings);
    overdue(lot, bench, today, findings);
    if let Some(controls) = &inspection.controls {
        for (control, _) in controls.all().filter(|(c, _)| (1..=lot.quantity).any(|p| lot.name(p) == c.name)) {
            let title = format!("the control part is called {:?}, like a part of the lot", control.name);
            findings.error(&plan.document, inspection.places.of("controls"), title, "a part of the lot", "call it otherwise");
        }
    }
}

/// Whether a stage says what is good.
fn has_limit(kind: &StageKind) -> bool {
    match kind {
        StageKind::Leakage(_) | StageKind::Start(_) => true,
        StageKind::Ramp(ramp) => ramp.expect.is_some(),
        StageKind::Log(log) => log.expect.is_some(),
        StageKind::Ask(_) => false,
    }
}

fn stages(plan: &Plan, findings: &mut Findings) {
    if !plan.stages.iter().any(|s| has_limit(&s.kind))
        && let Some(first) = plan.stages.first()
    {
        let title = "no stage of this plan says what a good part is".to_owned();
        let hint = "a leakage or start stage does, or expect = { current = [\"8 mA\", \"20 mA\"] } in a ramp or log";
        findings.error(&plan.document, first.places.whole(), title, "without a limit", hint);
    }
    if let Some(check) = plan.self_check.as_ref().filter(|c| c.every.is_some()) {
        let title = "a self-check between starts takes the part out of its fixture".to_owned();
        let hint = "leave \"every\" out: control parts do the same between parts";
        findings.error(&plan.document, check.places.of("every"), title, "not with a lot", hint);
    }
    for stage in &plan.stages {
        let place = |key: &str| stage.places.of(key);
        match &stage.kind {
            StageKind::Ask(ask) if ask.connect.is_some() => {
                let title = format!("stage {} (ask) connects something else than the part in hand", stage.number);
                findings.error(&plan.document, place("connect"), title, "not with a lot", "leave it out: each part is asked for");
            }
            StageKind::Start(start) if matches!(start.on_fault, OnFault::Hold(_)) => {
                let title = format!("stage {} (start) holds a fault, and the other parts wait", stage.number);
                findings.warning(&plan.document, place("on_fault"), title, "holds the lot up", "");
            }
            _ => {}
        }
    }
}

/// An expired calibration stands in the way of outcomes that others rely on.
fn overdue(lot: &Lot, bench: &Bench, today: &str, findings: &mut Findings) {
    if lot.overdue.is_some() {
        return;
    }
    let Ok(today) = today.parse::<Date>() else { return };
    let supply = ("supply", bench.supply.calibration_due.as_deref(), &bench.supply.places);
    let meter = bench.meter.as_ref().map(|m| ("meter", m.calibration_due.as_deref(), &m.places));
    for (role, due, places) in std::iter::once(supply).chain(meter) {
        let Some(due) = due.filter(|due| due.parse::<Date>().is_ok_and(|due| due < today)) else { continue };
        findings.error(
            &bench.document,
            places.of("calibration_due"),
            format!("the {role}'s calibration expired on {due}: no outcome of a lot may rest on it"),
            "expired",
            "calibrate it, or say in the lot file why it is let pass, overdue = \"…\": that is printed with every outcome",
        );
    }
}
