//! Every shipped dialect through every kind of stage.

use crate::support::{EVERY, EVERY_UNIT, Setup, rehearse};
use rampart::analysis::Level;
use rampart::instrument::profile::SHIPPED;
use rampart::runner::Exit;

fn through_every_stage(supply: &str, meter: &str) {
    let bench = format!("[supply]\nprofile = \"{supply}\"\n[meter]\nprofile = \"{meter}\"\nwired = \"in series\"\n");
    let outcome = rehearse(Setup { plan: EVERY, bench: &bench, unit: EVERY_UNIT.into(), ..Setup::default() });
    let what = format!("{supply} with {meter}: {}", outcome.ended.how);
    // The part leaks ten times its limit: an anomaly, and the only one.
    assert_eq!(outcome.ended.exit, Exit::Anomaly, "{what} {:?}", outcome.ended.findings);
    let codes: Vec<&str> = outcome.ended.findings.iter().map(|f| &*f.code).collect();
    for code in ["ramp-current", "log-current", "starts-good", "leakage-fail"] {
        assert!(codes.contains(&code), "{code} not in {codes:?}: {what}");
    }
    // Ohm's law: 8 V over 1 kohm, the shunt and 40 kohm.
    let step = outcome.run.leakages(5).unwrap().pop().unwrap();
    let Level::Known { value, u } = step.soak.leakage else { panic!("{step:?}: {what}") };
    let truth = step.soak.at_part.unwrap().0 / 40e3;
    assert!((value.0 - truth).abs() < 3.0 * u.0 + 0.01 * truth, "{value} {truth}: {what}");
    for point in outcome.run.currents(3).unwrap().iter().skip(2) {
        let Level::Known { value, u } = point.current else { panic!("{point:?}: {what}") };
        assert!((value.0 - 0.03).abs() < 3.0 * u.0, "{value}: {what}");
    }
    assert!(!outcome.supply.on, "{what}");
    assert!(outcome.run.settings().unwrap().iter().all(|s| s.read_back.is_some_and(|r| (r - s.wanted).abs() <= 0.11)), "{what}");
}

#[test]
fn every_supply_dialect_goes_through_every_stage() {
    for (name, _) in SHIPPED.iter().filter(|(n, _)| n.starts_with("supply")) {
        through_every_stage(name, "meter-plain");
    }
}

#[test]
fn every_meter_dialect_goes_through_every_stage() {
    for (name, _) in SHIPPED.iter().filter(|(n, _)| n.starts_with("meter")) {
        through_every_stage("supply-channel-list", name);
    }
}
