//! Every kind of fault at many moments of a run: no false reading enters the
//! record, nothing hangs, the output ends off or is not called off.

use crate::support::{Setup, rehearse};
use rampart::link::fault::{Kind, Schedule};
use rampart::plan::Quirks;
use rampart::runner::Exit;
use std::time::Duration;

const KINDS: [Kind; 9] = [
    Kind::ByteDropped,
    Kind::ByteDoubled,
    Kind::Late(Duration::from_millis(1200)),
    Kind::Late(Duration::from_millis(4500)),
    Kind::Lost,
    Kind::Joined,
    Kind::Garbled,
    Kind::Closed,
    Kind::Unsent,
];

fn at(number: u64, kind: Kind) -> (Quirks, Schedule) {
    (Quirks::default(), Schedule::from([(number, kind)]))
}

/// A dropped or doubled digit makes another number that no reader can know to be
/// false; everything else must not.
fn may_alter_a_number(kind: Kind) -> bool {
    matches!(kind, Kind::ByteDropped | Kind::ByteDoubled)
}

fn try_one(supply: bool, number: u64, kind: Kind) -> bool {
    let mut setup = Setup::default();
    if supply {
        setup.supply = at(number, kind)
    } else {
        setup.meter = at(number, kind)
    }
    let outcome = rehearse(setup);
    let fired = if supply { outcome.fired.0.all() } else { outcome.fired.1.all() };
    let what = format!("{kind:?} at {number} of the {}: {}", if supply { "supply" } else { "meter" }, outcome.ended.how);
    match (&outcome.ended.off, outcome.ended.exit) {
        (Ok(_), exit) => {
            assert!(!outcome.supply.on, "called off, but on: {what}");
            assert_ne!(exit, Exit::NotOff, "{what}");
        }
        (Err(_), Exit::NotOff) => assert!(supply, "the meter's fault cannot hide the supply's state: {what}"),
        // The instruments never came up: nothing was energised.
        (Err(why), _) => assert!(why.contains("nothing was energised") && !outcome.supply.on, "{what}"),
    }
    for stage in 1..=3 {
        for reading in outcome.run.readings(stage).unwrap() {
            let Some(value) = reading.value else { continue };
            if may_alter_a_number(kind) {
                continue;
            }
            // The truth: never more than 9 V and, after the inrush, 12 mA. A voltage taken for a current would be far off.
            let most = if reading.measurand == "voltage" { 9.1 } else { 0.106 };
            assert!(value.abs() <= most, "a false reading, {reading:?}: {what}");
            if reading.measurand == "voltage" && stage == 2 {
                assert!(!(0.5..=8.9).contains(&value), "a false voltage, {reading:?}: {what}");
            }
        }
    }
    !fired.is_empty()
}

#[test]
fn every_fault_at_many_moments_ends_well() {
    let mut fired = std::collections::BTreeMap::new();
    for supply in [true, false] {
        for kind in KINDS {
            // Prime steps, so that the moments fall on every kind of message.
            for number in (1..240).step_by(if supply { 13 } else { 11 }) {
                if try_one(supply, number, kind) {
                    *fired.entry(format!("{kind:?}")).or_insert(0) += 1;
                }
            }
        }
    }
    assert_eq!(fired.len(), KINDS.len(), "a fault that never fired is no test: {fired:?}");
    assert!(fired.values().all(|n| *n > 15), "{fired:?}");
}

#[test]
fn a_late_reply_is_recorded_as_late_and_shifts_nothing() {
    // One reading of the meter in the log comes 4.5 s late, beyond its time-out of 3 s.
    let mut met = 0;
    for number in (40..90).step_by(5) {
        let setup = Setup { meter: at(number, Kind::Late(Duration::from_millis(4500))), ..Setup::default() };
        let plan = setup.plan.replace("[unit]", "[interlock]\nno_reading = \"20 s\"\n[unit]");
        let outcome = rehearse(Setup { plan: &plan, ..setup });
        let kinds: Vec<String> = (1..=3).flat_map(|s| outcome.run.readings(s).unwrap()).map(|r| r.kind).collect();
        met += kinds.iter().filter(|k| *k == "late").count();
        assert!(!outcome.supply.on);
        for reading in outcome.run.readings(2).unwrap().iter().filter(|r| r.role == "meter").skip(3) {
            assert!(reading.value.is_none_or(|v| (v - 0.012).abs() < 1e-4), "{reading:?}");
        }
    }
    assert!(met > 0, "no reading was ever late");
}
