//! Ramps over made-up units: up and back, shorts, and against a good unit.

use crate::support::{BENCH, Outcome, Setup, passed, rehearse, unit};
use rampart::runner::Exit;
use rampart::runner::good::{Where, look};

/// A ramp to 9 V and back; `more` adds to the stage.
fn plan(more: &str) -> String {
    format!(
        r#"
title = "Up and back"
[unit]
name = "a made-up unit"
ceiling = {{ voltage = "9.5 V", current = "200 mA" }}
[[stage]]
do = "ramp"
to = "9 V"
rate = "0.5 V/s"
limit = "60 mA"
{more}
"#
    )
}

fn sentence<'o>(outcome: &'o Outcome, code: &str) -> &'o str {
    let codes: Vec<&str> = outcome.ended.findings.iter().map(|f| &*f.code).collect();
    match outcome.ended.findings.iter().find(|f| f.code == code) {
        Some(finding) => &finding.sentence,
        None => panic!("{code} not in {codes:?}: {}", outcome.ended.how),
    }
}

#[test]
fn a_ramp_goes_up_and_back_and_is_off_after_it() {
    let plan = plan("back = true");
    let outcome = rehearse(Setup { plan: &plan, unit: unit("reset_below = \"0.7 V\""), ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    assert!(!outcome.supply.on);
    let points = outcome.run.currents(1).unwrap();
    let volts: Vec<f64> = points.iter().filter_map(|p| p.volts).map(|v| v.0).collect();
    let top = volts.iter().copied().fold(0.0, f64::max);
    assert!((top - 9.0).abs() < 0.05, "{top}");
    assert!(volts.last().is_some_and(|v| *v < 0.3), "{volts:?}");
    assert!(sentence(&outcome, "ramp-jump").contains("starts"));
    assert!(sentence(&outcome, "ramp-drops-out").contains("drops out"));
    // 12 mA at every voltage above the drop-out.
    assert!(sentence(&outcome, "ramp-regions").contains("a constant (12."), "{}", sentence(&outcome, "ramp-regions"));
}

#[test]
fn a_near_short_trips_and_is_told_as_a_resistance_all_the_same() {
    let plan = plan("");
    let shorted = unit("short = { above = \"0 V\", resistance = \"18 ohm\" }");
    let outcome = rehearse(Setup { plan: &plan, unit: shorted, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    let told = sentence(&outcome, "ramp-short");
    assert!(told.contains("draws from zero volts on"), "{told}");
    let figure = outcome.ended.findings.iter().flat_map(|f| &f.figures).find(|f| f.name == "resistance").unwrap();
    // Beside the 18 ohm stand the meter's shunt and the leads, some 2 ohm.
    assert!((figure.value - 20.0).abs() <= figure.expanded.unwrap() && figure.expanded.unwrap() < 1.0, "{figure:?}");
    assert!(sentence(&outcome, "ramp-cut").contains("ended before 9 V"));
}

#[test]
fn a_unit_is_compared_with_the_record_of_a_good_one() {
    let good = rehearse(Setup { plan: &plan(""), unit: unit(""), seed: 1, ..Setup::default() });
    let name = good.folder.path().display().to_string();
    let with_good = plan(&format!("good = \"{name}\""));
    let same = rehearse(Setup { plan: &with_good, unit: unit(""), seed: 2, ..Setup::default() });
    assert!(sentence(&same, "ramp-alike").contains("Compared with the good unit"), "{}", same.ended.how);
    let leaky = unit("short = { above = \"4 V\", resistance = \"2 kohm\" }");
    let other = rehearse(Setup { plan: &with_good, unit: leaky, seed: 2, ..Setup::default() });
    let told = sentence(&other, "ramp-differs");
    // 12 mA and (V - 4 V) / 2 kohm: a tenth more than the good unit at 6.4 V.
    assert!(
        told.contains("From (6.4")
            && (told.contains("and (12.0") || told.contains("and (11.99"))
            && told.contains("for good ones"),
        "{told}"
    );
    assert_eq!(other.ended.exit, Exit::Anomaly);
}

#[test]
fn a_good_unit_that_is_not_there_is_told() {
    let run = rehearse(Setup { plan: &plan(""), unit: unit(""), ..Setup::default() });
    let logs = run.folder.path().parent().unwrap();
    let told = |plan: &str| {
        let passed = passed(plan, BENCH);
        look(passed.plan(), passed.bench(), Where { logs, rehearsal: Some(true) }).to_string()
    };
    let none = told(&plan("good = \"no such run\""));
    assert!(none.contains("no good unit \"no such run\"") && none.contains("begins with \"no such run\""), "{none}");
    // The run has a ramp, and nothing else.
    let path = run.folder.path().display();
    let log = format!("[[stage]]\ndo = \"log\"\nfor = \"2 s\"\nevery = \"200 ms\"\ngood = \"{path}\"");
    let none = told(&plan(&log));
    assert!(none.contains("has no log stage"), "{none}");
    // Another end of the ramp is said before power.
    let other = told(&plan(&format!("good = \"{path}\"")).replace("to = \"9 V\"", "to = \"8 V\""));
    assert!(other.contains("end of the ramp: 8 V here, 9 V with the good unit"), "{other}");
    assert!(other.contains("It rests on 1 good unit") || other.contains("it rests on 1 good unit"), "{other}");
}

#[test]
fn a_path_that_opens_beside_the_unit_hides_neither_its_start_nor_its_drop_out() {
    let shorted = unit("reset_below = \"0.7 V\"\nshort = { above = \"6 V\", resistance = \"100 ohm\" }");
    let outcome = rehearse(Setup { plan: &plan("back = true"), unit: shorted, ..Setup::default() });
    // It starts at 2 V, a step of the ramp: at that step or the next, as the set voltage is off.
    let jump = sentence(&outcome, "ramp-jump");
    assert!(jump.contains("near (1.95") || jump.contains("near (2.0"), "{jump}");
    assert!(sentence(&outcome, "ramp-drops-out").contains("drops out"));
    let told = sentence(&outcome, "ramp-regions");
    assert!(told.contains("in addition to 12.0 mA") && !told.contains("threshold"), "{told}");
}

#[test]
fn a_swing_in_time_is_no_region_of_the_voltage() {
    for seed in 1..=4 {
        let swinging = unit("ripple = { share = \"40 %\", period = \"5 s\" }");
        let outcome = rehearse(Setup { plan: &plan("hold = \"3 s\""), unit: swinging, seed, ..Setup::default() });
        assert!(sentence(&outcome, "ramp-swings").contains("swings with time"), "seed {seed}");
        assert!(outcome.ended.findings.iter().all(|f| f.code != "ramp-regions"), "seed {seed}");
    }
}
