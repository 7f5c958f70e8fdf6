//! Whatever ends a run, the stand-in's own output is off, or the run says that it
//! could not be verified.

use crate::support::{SHORT, Setup, rehearse, rehearse_with, unit};
use rampart::analysis::finding::Severity;
use rampart::instrument::Role;
use rampart::link::fault::Schedule;
use rampart::plan::Quirks;
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress};
use rampart::units::Seconds;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};

fn quirks(change: impl FnOnce(&mut Quirks)) -> (Quirks, Schedule) {
    let mut quirks = Quirks::default();
    change(&mut quirks);
    (quirks, Schedule::new())
}

#[test]
fn over_current_in_a_start_trips_and_nothing_is_energised_again() {
    let outcome = rehearse(Setup { unit: unit("latch_up = { chance = \"100 %\", current = \"300 mA\" }"), ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    assert!(!outcome.supply.on);
    assert_eq!(outcome.supply.switches.iter().filter(|s| s.on).count(), 1, "{:?}", outcome.supply.switches);
    assert!(outcome.ended.off.is_ok());
    let events = outcome.run.events().unwrap();
    let trip = events.iter().position(|e| e.kind == "trip").unwrap();
    assert!(events[trip + 1..].iter().any(|e| e.kind == "off" && e.text.contains("verified")), "{events:?}");
}

#[test]
fn a_trip_during_a_later_start_keeps_the_earlier_ones() {
    // Half of the starts latch up: with this seed at least one start is good before the trip.
    let plan = SHORT.split("[[stage]]").next().unwrap().to_owned() + "[[stage]]" + SHORT.rsplit("[[stage]]").next().unwrap();
    let unit = unit("latch_up = { chance = \"30 %\", current = \"300 mA\" }");
    let outcome = (1..20)
        .map(|seed| rehearse(Setup { plan: &plan, unit: unit.clone(), seed, ..Setup::default() }))
        .find(|o| o.ended.exit == Exit::Tripped && o.run.starts(1).unwrap().len() > 1)
        .unwrap();
    let starts = outcome.run.starts(1).unwrap();
    assert_eq!(starts.last().unwrap().outcome, "tripped");
    assert!(starts[..starts.len() - 1].iter().all(|s| s.counts == "good"), "{starts:?}");
    assert!(!outcome.supply.on);
}

/// How many messages the meter gets before the start stage.
fn messages_before_starts() -> u64 {
    let outcome = rehearse(Setup::default());
    let began = outcome.run.stages().unwrap()[2].began;
    let traffic = std::fs::read_to_string(outcome.folder.path().join("traffic.log")).unwrap();
    traffic.lines().filter(|l| l.contains(" meter > ") && l.split(' ').next().unwrap().parse::<f64>().unwrap() < began.0).count()
        as u64
}

#[test]
fn the_meters_cable_pulled_in_a_start_ends_with_the_output_off_and_the_start_void() {
    let after = messages_before_starts() + 60;
    for change in [|q: &mut Quirks, n| q.hangs_up_after = Some(n), |q: &mut Quirks, n| q.silent_after = Some(n)]
        as [fn(&mut Quirks, u64); 2]
    {
        let outcome = rehearse(Setup { meter: quirks(|q| change(q, after)), ..Setup::default() });
        assert_eq!(outcome.ended.exit, Exit::Instrument, "{}", outcome.ended.how);
        assert!(!outcome.supply.on);
        assert!(outcome.ended.off.is_ok(), "verified at the supply");
        let starts = outcome.run.starts(3).unwrap();
        let (last, earlier) = starts.split_last().unwrap();
        assert_eq!(last.counts, "void", "{starts:?}");
        assert!(!earlier.is_empty() && earlier.iter().all(|s| s.counts == "good"), "{starts:?}");
    }
}

#[test]
fn a_supply_that_is_gone_cannot_be_verified_off_and_the_run_says_so() {
    for change in
        [|q: &mut Quirks| q.hangs_up_after = Some(120), |q: &mut Quirks| q.silent_after = Some(120)] as [fn(&mut Quirks); 2]
    {
        let outcome = rehearse(Setup { supply: quirks(change), ..Setup::default() });
        assert_eq!(outcome.ended.exit, Exit::NotOff, "{}", outcome.ended.how);
        assert!(outcome.ended.off.is_err());
        assert!(outcome.run.events().unwrap().iter().any(|e| e.text.contains("could not be verified off")));
    }
}

#[test]
fn an_output_that_does_not_obey_off_is_never_called_off() {
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        if matches!(progress, Progress::Live { .. }) {
            rig.quirk(Role::Supply, |q| q.ignores_off = u32::MAX);
        }
    };
    let outcome = rehearse_with(Setup::default(), &mut hook, |_| std::future::pending());
    assert!(outcome.supply.on, "the stand-in did not obey");
    assert_eq!(outcome.ended.exit, Exit::NotOff);
    assert!(outcome.ended.how.contains("the supply says that its output is on"), "{}", outcome.ended.how);
}

#[test]
fn a_stop_at_any_moment_ends_with_the_output_off() {
    let mut on_when_stopped = 0;
    for tenth in 0..60 {
        let moment = Seconds(f64::from(tenth) * 0.137);
        let mut was_on = false;
        // What is found comes after the stop.
        let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
            if !matches!(progress, Progress::Finding(_)) {
                was_on = rig.supply_state().on;
            }
        };
        let outcome = rehearse_with(Setup::default(), &mut hook, |clock| async move {
            clock.sleep_until(moment).await;
            "a test".into()
        });
        on_when_stopped += u32::from(was_on);
        if outcome.ended.exit == Exit::Within {
            continue; // it had ended before
        }
        assert_eq!(outcome.ended.exit, Exit::Stopped, "{moment}: {}", outcome.ended.how);
        assert!(!outcome.supply.on, "{moment}");
        let starts = outcome.run.starts(3).unwrap();
        assert!(starts.iter().all(|s| s.counts != "failed"), "{starts:?}");
    }
    assert!(on_when_stopped > 15, "the stop hardly ever met an output that was on: {on_when_stopped}");
}

#[test]
fn a_panic_ends_with_the_output_off() {
    let mut seen = 0;
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        if matches!(progress, Progress::Live { .. }) && rig.supply_state().on {
            seen += 1;
            assert!(seen < 5, "on purpose");
        }
    };
    let outcome = rehearse_with(Setup::default(), &mut hook, |_| std::future::pending());
    assert_eq!(outcome.ended.exit, Exit::Instrument);
    assert!(outcome.ended.how.contains("a fault in this tool: on purpose"), "{}", outcome.ended.how);
    assert!(!outcome.supply.on);
    assert!(outcome.ended.off.is_ok());
}

#[test]
fn a_record_that_cannot_be_written_ends_with_the_output_off() {
    // Somebody else takes the file for writing while the log runs: the next row fails.
    let (place, logging) = (Arc::new(OnceLock::<PathBuf>::new()), Arc::new(AtomicBool::new(false)));
    let (known, began) = (place.clone(), logging.clone());
    let mut hook = move |progress: &Progress<'_>, rig: &Rig, folder: &Path| {
        known.get_or_init(|| folder.to_owned());
        if matches!(progress, Progress::Live { .. }) && rig.supply_state().voltage.0 > 8.0 {
            began.store(true, Ordering::Relaxed);
        }
    };
    let outcome = rehearse_with(Setup::default(), &mut hook, |clock| async move {
        while !logging.load(Ordering::Relaxed) {
            clock.sleep(Seconds(0.02)).await;
        }
        let store = rusqlite::Connection::open(place.get().unwrap().join("run.sqlite")).unwrap();
        store.busy_timeout(std::time::Duration::ZERO).unwrap();
        while store.execute_batch("BEGIN IMMEDIATE").is_err() {
            clock.sleep(Seconds(0.02)).await;
        }
        std::future::pending::<()>().await;
        drop(store);
        String::new()
    });
    assert_eq!(outcome.ended.exit, Exit::Instrument, "{}", outcome.ended.how);
    assert!(outcome.ended.how.contains("a row could not be written"), "{}", outcome.ended.how);
    assert!(!outcome.supply.on);
    assert_eq!(outcome.supply.switches.iter().filter(|s| s.on).count(), 2, "nothing is energised again");
    assert!(outcome.ended.off.is_ok());
}

#[test]
fn a_unit_that_stands_at_a_voltage_of_its_own_is_not_energised() {
    // An open output and a large capacitor: the voltage from the ramp stays.
    let bench = "[supply]\nprofile = \"supply-channel-select\"\n[meter]\nprofile = \"meter-plain\"\nwired = \"in series\"\n";
    let unit = unit("").replace("10 uF", "10 mF").replace("50 uA", "1 uA");
    let plan = SHORT.replace("limit = \"60 mA\"", "limit = \"100 mA\"").replacen(
        "[[stage]]",
        "[interlock]\nin_limit = \"1 h\"\n[[stage]]",
        1,
    );
    let outcome = rehearse(Setup { bench, unit, plan: &plan, ..Setup::default() });
    assert!(outcome.ended.how.contains("is the unit fed from elsewhere?"), "{}", outcome.ended.how);
    assert_eq!(outcome.supply.switches.iter().filter(|s| s.on).count(), 1);
}

#[test]
fn what_is_held_for_probing_is_switched_off_when_the_time_is_up() {
    let plan = SHORT.replace("watch = \"500 ms\"", "watch = \"500 ms\"\non_fault = { hold = \"3 s\" }");
    let unit = unit("").replace("12 mA", "3 mA");
    let outcome = rehearse(Setup { plan: &plan, unit, ..Setup::default() });
    assert_eq!(outcome.run.starts(3).unwrap().len(), 1, "the stage ends after the hold");
    let switches: Vec<f64> = outcome.supply.switches.iter().rev().take(2).map(|s| s.at).collect();
    let held = switches[0] - switches[1];
    assert!((3.4..4.2).contains(&held), "{held}");
    assert!(!outcome.supply.on);
}

#[test]
fn a_fault_that_is_held_has_failed_whatever_ends_the_hold() {
    let plan = SHORT.replace("watch = \"500 ms\"", "watch = \"500 ms\"\non_fault = { hold = \"10 min\" }");
    let unit = unit("").replace("12 mA", "3 mA");
    let outcome = rehearse_with(
        Setup { plan: &plan, unit, ..Setup::default() },
        &mut |_: &Progress<'_>, _: &Rig, _: &Path| {},
        |clock| async move {
            clock.sleep_until(Seconds(20.0)).await;
            "the test".to_owned()
        },
    );
    assert_eq!(outcome.ended.exit, Exit::Stopped, "{}", outcome.ended.how);
    let starts = outcome.run.starts(3).unwrap();
    assert_eq!((starts.len(), starts[0].counts.as_str()), (1, "failed"), "{starts:?}");
    assert!(outcome.run.findings().unwrap().iter().any(|f| f.code == "starts-fail"));
    assert!(!outcome.supply.on);
}

#[test]
fn a_protection_of_the_supplys_own_is_seen_while_it_happens() {
    let mut seen = 0;
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        seen += u32::from(matches!(progress, Progress::Live { .. }) && rig.supply_state().voltage.0 > 8.0);
        if seen == 4 {
            rig.trip_protection();
        }
    };
    let plan = SHORT.replace("for = \"2 s\"", "for = \"1 h\"");
    let outcome = rehearse_with(Setup { plan: &plan, ..Setup::default() }, &mut hook, |_| std::future::pending());
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    assert!(outcome.ended.how.contains("the supply says that its over-voltage protection has tripped"), "{}", outcome.ended.how);
    assert!(outcome.run.ended.unwrap() < Seconds(30.0), "at once, not at the end of the log");
    assert!(!outcome.supply.on);
}

#[test]
fn what_was_seen_before_a_trip_or_a_stop_is_judged() {
    fn codes(outcome: &crate::support::Outcome) -> Vec<(&str, Severity)> {
        outcome.ended.findings.iter().map(|f| (&*f.code, f.severity)).collect()
    }
    // The first two times that it is switched on are the ramp and the log.
    let unit = unit("latch_up = { at_start = 5, current = \"300 mA\" }");
    let outcome = rehearse(Setup { unit, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    let found = codes(&outcome);
    let at = found.iter().position(|f| *f == ("tripped", Severity::Anomaly)).unwrap_or_else(|| panic!("{found:?}"));
    assert_eq!(found.get(at + 1), Some(&("starts-fail", Severity::Anomaly)), "{found:?}");
    let tripped = &outcome.ended.findings[at].sentence;
    assert!(tripped.contains("in stage 3, in start 3: ") && tripped.contains(" at the supply; "), "{tripped}");
    let fails = &outcome.ended.findings[at + 1].sentence;
    assert!(fails.starts_with("1 of 3 starts failed"), "{fails}");
    assert_eq!(outcome.run.findings().unwrap().len(), outcome.ended.findings.len(), "recorded as shown");

    let began = rehearse(Setup::default()).run.stages().unwrap()[2].began;
    let outcome = rehearse_with(Setup::default(), &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |clock| async move {
        clock.sleep_until(began + Seconds(2.5)).await;
        "a test".into()
    });
    assert_eq!(outcome.ended.exit, Exit::Stopped, "{}", outcome.ended.how);
    let last = outcome.ended.findings.iter().find(|f| f.code == "starts-good").expect("judged");
    assert!(last.sentence.starts_with("0 of 2 starts failed"), "{last:?}");
}

#[test]
fn silence_trips_when_it_has_lasted_too_long_and_not_when_the_time_outs_are_over() {
    // The meter's time-out is 3 s, and getting back into step takes twice that; the
    // interlock allows 2 s.
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        if matches!(progress, Progress::Live { .. }) && rig.supply_state().voltage.0 > 8.0 {
            rig.unplug(rampart::instrument::Role::Meter, true);
        }
    };
    let outcome = rehearse_with(Setup::default(), &mut hook, |_| std::future::pending());
    assert_eq!(outcome.ended.exit, Exit::Instrument, "{}", outcome.ended.how);
    assert!(outcome.ended.how.contains("the meter has given no reading"), "{}", outcome.ended.how);
    let last = outcome.run.readings(2).unwrap().iter().filter(|r| r.role == "meter").map(|r| r.answered.0).fold(0.0, f64::max);
    let off = outcome.supply.switches.last().unwrap();
    assert!(!off.on && (1.9..2.2).contains(&(off.at - last)), "off {} s after the last reading", off.at - last);
}
