//! What follows a trip: the order in which things are switched off and cleared, and
//! going on where the plan lets it.

use crate::support::{Outcome, SHORT, Setup, rehearse, rehearse_with, unit};
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress};
use std::path::Path;

fn with_retry(retry: &str) -> String {
    SHORT.replacen("[[stage]]", &format!("[interlock]\nretry = {retry}\n[[stage]]"), 1)
}

fn on_times(outcome: &Outcome) -> Vec<f64> {
    outcome.supply.switches.iter().filter(|s| s.on).map(|s| s.at).collect()
}

/// QUIRKS row 16: clearing gives power back on some supplies, and the stand-in is one.
#[test]
fn off_then_zero_then_cleared_then_verified() {
    let mut seen = 0;
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        seen += u32::from(matches!(progress, Progress::Live { .. }) && rig.supply_state().voltage.0 > 8.0);
        if seen == 4 {
            rig.trip_protection();
        }
    };
    let outcome = rehearse_with(Setup::default(), &mut hook, |_| std::future::pending());
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    assert!(!outcome.supply.on);
    let after: Vec<bool> = outcome.supply.switches.iter().skip_while(|s| s.at < 4.0).map(|s| s.on).collect();
    assert!(!after.contains(&true), "clearing gave power back: {:?}", outcome.supply.switches);
    let traffic = std::fs::read_to_string(outcome.folder.path().join("traffic.log")).unwrap();
    let lines: Vec<&str> = traffic.lines().collect();
    let clear = lines.iter().position(|l| l.contains("VOLT:PROT:CLE (@1)")).expect("it is cleared");
    let before = |what: &str| lines[..clear].iter().rposition(|l| l.contains(what)).expect(what);
    let (off, zero) = (before("> OUTP OFF,(@1)"), before("> VOLT 0.000,(@1)"));
    assert!(off < zero, "{off} {zero} {clear}");
    let verified = lines[clear..].iter().position(|l| l.contains("OUTP? (@1)")).expect("verified after it");
    assert!(verified < 8, "{:?}", &lines[clear..]);
}

#[test]
fn the_plan_may_let_it_go_on_after_a_named_cause() {
    // The first two times that it is switched on are the ramp and the log.
    let unit = unit("latch_up = { at_start = 4, current = \"300 mA\" }");
    let plan = with_retry("{ times = 2, after = [\"time in limiting\"], pause = \"5 s\" }");
    let outcome = rehearse(Setup { plan: &plan, unit, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Anomaly, "{}", outcome.ended.how);
    let starts = outcome.run.starts(3).unwrap();
    let counts: Vec<&str> = starts.iter().map(|s| s.counts.as_str()).collect();
    assert_eq!(counts, ["good", "failed", "good", "good"], "{starts:?}");
    let events = outcome.run.events().unwrap();
    let (trip, on) = (events.iter().find(|e| e.kind == "trip").unwrap().at.0, on_times(&outcome));
    assert!(on.iter().all(|at| *at < trip || *at > trip + 5.0), "the pause: {trip} {on:?}");
    assert!(events.iter().any(|e| e.kind == "goes on" && e.text.contains("after time in limiting: in 5 s")), "{events:?}");
    assert_eq!(outcome.run.findings().unwrap().iter().filter(|f| f.code == "tripped").count(), 1);
}

#[test]
fn no_oftener_than_it_says_and_each_pause_is_longer() {
    let unit = unit("short = { above = \"4 V\", resistance = \"10 ohm\" }");
    let plan = with_retry("{ times = 2, after = [\"time in limiting\", \"over-current\"], pause = \"3 s\" }");
    let outcome = rehearse(Setup { plan: &plan, unit, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    // The ramp is over before it has limited for too long; the log is not.
    let on = on_times(&outcome);
    assert_eq!(on.len(), 1 + 3, "{on:?}");
    let off: Vec<f64> = outcome.supply.switches.iter().filter(|s| !s.on).map(|s| s.at).collect();
    let pauses: Vec<f64> = on[2..].iter().zip(&off[1..]).map(|(on, off)| on - off).collect();
    assert!((3.0..3.6).contains(&pauses[0]) && (6.0..6.6).contains(&pauses[1]), "{pauses:?}");
}

#[test]
fn not_after_another_cause() {
    let unit = unit("latch_up = { at_start = 4, current = \"300 mA\" }");
    let plan = with_retry("{ times = 9, after = [\"no reading\"], pause = \"5 s\" }");
    let outcome = rehearse(Setup { plan: &plan, unit, ..Setup::default() });
    assert_eq!((outcome.ended.exit, on_times(&outcome).len()), (Exit::Tripped, 4), "{}", outcome.ended.how);
}

#[test]
fn a_log_goes_on_for_the_rest_of_its_time() {
    let plan = with_retry("{ times = 3, after = [\"no reading\"], pause = \"1 s\" }");
    let mut seen = 0;
    // The meter is out for a while in the middle of the log.
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| match progress {
        Progress::Live { .. } => {
            seen += u32::from(rig.supply_state().voltage.0 > 8.0);
            if seen == 4 {
                rig.unplug(rampart::instrument::Role::Meter, true);
            }
        }
        Progress::Event { text, .. } if text.contains("lets the run go on") => {
            rig.unplug(rampart::instrument::Role::Meter, false)
        }
        _ => {}
    };
    let outcome = rehearse_with(Setup { plan: &plan, ..Setup::default() }, &mut hook, |_| std::future::pending());
    let starts = outcome.run.starts(3).unwrap();
    assert_eq!(starts.len(), 4, "{}", outcome.ended.how);
    let log = outcome.run.currents(2).unwrap();
    let values = log.iter().filter(|p| p.current.value().is_some()).count();
    assert!((8..=11).contains(&values), "2 s in all, one in 0.2 s: {log:?}");
    assert_eq!(outcome.ended.exit, Exit::Undecided, "a silence says nothing of the unit: {}", outcome.ended.how);
}
