//! The unit's ceiling against the rules, its stored energy, the instruments
//! against their dates, and a meter that is wired across.

use super::{Findings, rounded};
use crate::analysis::energy;
use crate::document::Places;
use crate::plan::{Bench, MeterSeat, Plan, StageKind, Wiring};
use crate::units::{Ohms, Volts};
use jiff::civil::Date;

/// Direct voltage up to which parts may be touched in dry places (IEC 61140,
/// IEC 61010-1): this tool stays below.
const TOUCHABLE: Volts = Volts(60.0);
/// Days before the end of a calibration at which it is mentioned (common practice).
const SOON: i32 = 30;

pub(super) fn check(plan: &Plan, bench: &Bench, today: &str, findings: &mut Findings) {
    if plan.unit.ceiling.voltage > TOUCHABLE {
        findings.error(
            &plan.document,
            plan.unit.places.of("ceiling.voltage"),
            format!("a ceiling of {} is above {TOUCHABLE}", plan.unit.ceiling.voltage),
            "too high for this tool",
            "above 60 V d.c. the rules for work by competent persons hold in many places; this tool does not energise there",
        );
    }
    stored(plan, findings);
    known_load(plan, bench, findings);
    let supply = &bench.supply;
    calibration(bench, "supply", supply.calibration_due.as_deref(), &supply.places, today, findings);
    if let Some(meter) = &bench.meter {
        calibration(bench, "meter", meter.calibration_due.as_deref(), &meter.places, today, findings);
        own_range(bench, meter, findings);
        if meter.wired == Wiring::Across {
            across(plan, bench, meter, findings);
        }
    }
}

/// Energy that stays in the unit at the highest voltage of the plan.
fn stored(plan: &Plan, findings: &mut Findings) {
    let Some(capacitance) = plan.unit.capacitance else { return };
    let voltages = plan.stages.iter().map(|stage| match &stage.kind {
        StageKind::Ramp(ramp) => ramp.to,
        StageKind::Log(log) => log.voltage,
        StageKind::Start(start) => start.voltage,
        // A part is measured in place of the unit.
        StageKind::Leakage(_) | StageKind::Ask(_) => Volts(0.0),
    });
    let highest = voltages.fold(Volts(0.0), Volts::max);
    let energy = energy::stored(capacitance, highest);
    if let Some(caution) = energy::caution(energy) {
        let title = format!("{capacitance} at {highest} hold {}: {caution}", rounded(energy));
        findings.warning(
            &plan.document,
            plan.unit.places.of("capacitance"),
            title,
            "stored energy",
            "off does not mean discharged",
        );
    }
}

/// The self-check's load: what it draws, and what it turns into heat.
fn known_load(plan: &Plan, bench: &Bench, findings: &mut Findings) {
    let Some(check) = &plan.self_check else { return };
    let mut error = |key: &str, title: String, label: &str, hint: &str| {
        findings.error(&plan.document, check.places.of(key), title, label, hint);
    };
    let (current, power) = (check.voltage / check.load, check.voltage * (check.voltage / check.load));
    let ceiling = plan.unit.ceiling;
    if power > check.rated {
        let title = format!(
            "{} over {} turn {} into heat, more than the load's {}",
            check.voltage,
            check.load,
            rounded(power),
            check.rated
        );
        error("voltage", title, "too much for the load", "lower the voltage, or take a larger load");
    }
    if check.name == plan.unit.name {
        error(
            "name",
            format!("the known load is called {:?}, like the unit", check.name),
            "the unit's name",
            "give it a name of its own",
        );
    }
    if check.tolerance.0 >= 0.5 {
        let title = format!("a load that is known to {} tells nothing", check.tolerance);
        error("tolerance", title, "not known", "take a resistor of 5 % or better");
    }
    if check.voltage > ceiling.voltage || current > ceiling.current {
        let title = format!("{} and {} on the load are above the unit's ceiling", check.voltage, rounded(current));
        error("voltage", title, "above the ceiling", "the ceiling holds for whatever is connected");
    }
    let meter = bench.meter.as_ref().filter(|m| m.wired == Wiring::InSeries).and_then(|m| m.profile.meter());
    let holds = |f: &crate::instrument::profile::Function| f.ranges.iter().any(|r| r.full >= current.0 * 1.5);
    // Ten times what can be told from zero, by the meter or else by the supply.
    let floor = match meter.and_then(|m| m.current.as_ref()) {
        Some(f) => f.ranges.iter().find(|r| r.full >= current.0 * 1.5).map(|r| r.floor),
        None => bench.supply.profile.supply().map(|s| s.measured_current.floor),
    };
    if floor.is_some_and(|floor| current.0 < floor * 10.0) {
        let title = format!("{} over {} draw {}, too little to be compared", check.voltage, check.load, rounded(current));
        error("load", title, "near the instrument's floor", "take a smaller load");
    }
    if meter.and_then(|m| m.current.as_ref()).is_some_and(|f| !holds(f)) {
        error(
            "load",
            format!("no range of the meter holds {} with some room", rounded(current)),
            "beyond the meter",
            "take a larger load",
        );
    }
}

fn calibration(bench: &Bench, role: &str, due: Option<&str>, places: &Places, today: &str, findings: &mut Findings) {
    // Both dates come from what has been read as a date already.
    let (Some(due), Ok(today)) = (due.and_then(|d| d.parse::<Date>().ok()), today.parse::<Date>()) else { return };
    let days = (due - today).get_days();
    let (title, label) = match days {
        ..0 => (format!("the {role}'s calibration expired on {due}"), "in the past"),
        0..=SOON => (format!("the {role}'s calibration expires on {due}, in {days} day(s)"), "soon"),
        _ => return,
    };
    findings.warning(
        &bench.document,
        places.of("calibration_due"),
        title,
        label,
        "the uncertainties in the report rest on it; the report will say so",
    );
}

/// A meter whose range cannot be asked for may have another than it was told: one that
/// chooses by itself has the lowest while nothing flows, and so the highest burden at the
/// moment at which a unit starts.
fn own_range(bench: &Bench, seat: &MeterSeat, findings: &mut Findings) {
    let Some(profile) = seat.profile.meter().filter(|_| seat.wired == Wiring::InSeries) else { return };
    let Some(function) = profile.current.as_ref().filter(|f| f.ranges.len() > 1 && f.range_ask.is_none()) else { return };
    let most = function.ranges.iter().map(|r| r.resistance).fold(Ohms(0.0), Ohms::max);
    findings.warning(
        &bench.document,
        seat.places.of("profile"),
        format!(
            "the profile {:?} cannot ask for the meter's range: were it to choose one by itself, up to {most} would be in the lead when the unit starts, and nobody would know",
            seat.profile.name
        ),
        "the range is not read back",
        "write range_ask into the profile where the meter has such a question; else see to it that its own choice of the range is off",
    );
}

/// A meter that is wired across measures the unit's voltage, up to its ceiling.
fn across(plan: &Plan, bench: &Bench, seat: &MeterSeat, findings: &mut Findings) {
    let Some(profile) = seat.profile.meter() else { return };
    let ceiling = plan.unit.ceiling.voltage;
    let holds = profile.voltage.as_ref().and_then(|function| function.range_for(ceiling.0));
    match holds {
        None => findings.error(
            &bench.document,
            seat.places.of("wired"),
            format!("the meter is wired across, but has no voltage range that holds the unit's ceiling of {ceiling}"),
            "measures no such voltage",
            "wire it in series, or take it out of the bench file",
        ),
        Some(range) => {
            if let (Some(needed), Some(seated)) = (&range.terminal, &seat.terminal)
                && needed != seated
            {
                findings.error(
                    &bench.document,
                    seat.places.of("terminal"),
                    format!("a meter wired across needs its terminal {needed:?}, but the lead is in {seated:?}"),
                    "another terminal",
                    "move the lead, and then this line; a lead in a current terminal is a short across the unit",
                );
            }
        }
    }
}
