//! Every shipped dialect through every kind of stage.

use crate::support::{Setup, rehearse};
use rampart::analysis::Level;
use rampart::instrument::profile::SHIPPED;
use rampart::runner::Exit;

/// Limits and bands that the coarsest of the dialects can set and see.
const PLAN: &str = r#"
title = "every stage"
[unit]
name = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[interlock]
no_reading = "5 s"
[[stage]]
do = "ask"
say = "Is the unit connected?"
connect = "unit"
[[stage]]
do = "ramp"
to = "5 V"
rate = "1 V/s"
step = "1 V"
hold = "2 s"
limit = "60 mA"
expect = { current = ["20 mA", "40 mA"] }
[[stage]]
do = "log"
voltage = "8 V"
limit = "60 mA"
for = "10 s"
every = "1 s"
expect = { current = ["20 mA", "40 mA"] }
[[stage]]
do = "start"
voltage = "8 V"
limit = { starting = "100 mA", running = "50 mA", after = "1 s" }
times = 5
off = "2 s"
watch = "6 s"
states = { running = ["20 mA", "40 mA"] }
[[stage]]
do = "leakage"
part = { name = "C1", kind = "aluminium", capacitance = "10 uF", rated = "16 V" }
voltages = ["2 V", "5 V", "8 V"]
series = "1 kohm"
electrify = "2 min"
every = "2 s"
limit = "20 uA"
"#;

/// A unit of 30 mA, and a part of 40 kohm: 200 uA at 8 V.
const UNIT: &str = "cause = \"none\"\n[board]\ninput = \"10 uF\"\ndropout = \"2 V\"\nrunning = \"30 mA\"\nasleep = \"50 uA\"\n\
    [part.C1]\ncapacitance = \"10 uF\"\ninsulation = \"40 kohm\"\nseries = \"1 kohm\"\n";

fn through_every_stage(supply: &str, meter: &str) {
    let bench = format!("[supply]\nprofile = \"{supply}\"\n[meter]\nprofile = \"{meter}\"\nwired = \"in series\"\n");
    let outcome = rehearse(Setup { plan: PLAN, bench: &bench, unit: UNIT.into(), ..Setup::default() });
    let what = format!("{supply} with {meter}: {}", outcome.ended.how);
    // The part leaks ten times its limit: an anomaly, and the only one.
    assert_eq!(outcome.ended.exit, Exit::Anomaly, "{what} {:?}", outcome.ended.findings);
    let codes: Vec<&str> = outcome.ended.findings.iter().map(|f| f.code).collect();
    for code in ["ramp-current", "log-current", "starts-good", "leakage-fail"] {
        assert!(codes.contains(&code), "{code} not in {codes:?}: {what}");
    }
    // Ohm's law: 8 V over 1 kohm, the shunt and 40 kohm.
    let step = outcome.run.leakages(5).unwrap().pop().unwrap();
    let Level::Known { value, u } = step.leakage else { panic!("{step:?}: {what}") };
    let truth = step.at_part.unwrap().0 / 40e3;
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
