//! What is made sure of before power, and what keeps a stage from it.

use crate::support::{BENCH, Outcome, SHORT, Setup, rehearse, rehearse_with};
use rampart::instrument::Role;
use rampart::plan::{Coupling, PowerOn};
use rampart::rehearsal::{Panel, Rig};
use rampart::runner::{Exit, Progress};
use std::path::Path;

/// A run on a bench whose front panel somebody has set.
fn by_hand(hand: impl Fn(&mut Panel) + Send, at_stage: u32) -> Outcome {
    let mut hook = move |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        if matches!(progress, Progress::Stage { number, .. } if *number == at_stage) {
            rig.by_hand(&hand);
        }
    };
    rehearse_with(Setup::default(), &mut hook, |_| std::future::pending())
}

#[test]
fn every_stage_has_its_lines() {
    let outcome = rehearse(Setup::default());
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    let lines = outcome.run.preflight().unwrap();
    let wanted = [
        "supply: identity",
        "supply: error queue",
        "supply: channel coupling",
        "supply: power-on state",
        "supply: remote sense",
        "supply: limits and protection",
        "supply: watchdog",
        "supply: output",
        "voltage left at the unit",
        "meter: identity",
        "meter: error queue",
    ];
    for stage in [1, 2] {
        let made: Vec<&str> = lines.iter().filter(|l| l.stage == stage).map(|l| l.what.as_str()).collect();
        assert_eq!(made, wanted, "stage {stage}");
    }
    assert!(lines.iter().all(|l| l.good));
    let found = |what: &str| lines.iter().find(|l| l.what == what).unwrap().found.clone();
    assert!(found("supply: identity").contains("STAND-IN,supply-channel-list"));
    assert!(found("supply: limits and protection").contains("over-voltage protection 10.500 V (reads 10.500 V)"), "{lines:?}");
    assert_eq!(found("supply: watchdog"), "armed while the output is on, 4 s");
    assert!(outcome.run.settings().unwrap().iter().any(|s| s.what == "watchdog" && s.read_back == Some(4.0)));
}

#[test]
fn what_is_not_so_keeps_a_stage_from_power() {
    let at_once = by_hand(|p| p.power_on = PowerOn::Last, 1);
    assert_eq!(at_once.ended.exit, Exit::Wrong, "{}", at_once.ended.how);
    assert!(
        at_once.ended.how.contains("supply: power-on state: answers 1; wanted is that its output stays off"),
        "{}",
        at_once.ended.how
    );
    assert!(at_once.supply.switches.is_empty());
    let later = by_hand(|p| p.remote_sense = true, 3);
    assert_eq!(later.ended.exit, Exit::Instrument, "{}", later.ended.how);
    assert!(later.ended.how.contains("supply: remote sense: answers EXT"), "{}", later.ended.how);
    assert!(!later.supply.on && later.run.starts(3).unwrap().is_empty());
    let line = later.run.preflight().unwrap().into_iter().find(|l| !l.good).unwrap();
    assert_eq!((line.stage, line.what.as_str()), (3, "supply: remote sense"));
}

#[test]
fn what_the_dialect_can_put_right_is_put_right() {
    let outcome = by_hand(|p| p.coupling = Coupling::Tracking, 2);
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    let lines = outcome.run.preflight().unwrap();
    let line = lines.iter().find(|l| l.stage == 2 && l.what == "supply: channel coupling").unwrap();
    assert!(line.found.contains("after it was put right"), "{line:?}");
}

#[test]
fn what_cannot_be_asked_is_asked_of_the_operator_once() {
    let bench = BENCH.replace("supply-channel-list", "supply-index-in-header");
    let outcome = rehearse(Setup { bench: &bench, ..Setup::default() });
    let events = outcome.run.events().unwrap();
    let asked: Vec<_> = events.iter().filter(|e| e.kind == "question" && e.text.contains("Look at it")).collect();
    assert_eq!(asked.len(), 1, "{events:?}");
    assert!(asked[0].text.contains("not coupled") && asked[0].text.contains("stays off when its mains come back"));
    assert!(events.iter().any(|e| e.kind == "answer"));
    let lines = outcome.run.preflight().unwrap();
    assert!(lines.iter().any(|l| l.what == "supply: remote sense" && l.found.contains("the operator was")), "{lines:?}");
    // Where the bench file says so, nobody is asked.
    let said =
        bench.replacen("[supply]", "[supply]\nlooked_at = [\"channel coupling\", \"power-on state\", \"remote sense\"]", 1);
    let outcome = rehearse(Setup { bench: &said, ..Setup::default() });
    assert!(!outcome.run.events().unwrap().iter().any(|e| e.kind == "question"));
    assert!(outcome.run.preflight().unwrap().iter().any(|l| l.found.contains("looked at, says the bench file")));
}

/// The cable to the supply is out for good: nothing of this program can reach it, and
/// it switches off by itself.
#[test]
fn the_supplys_own_timer_is_the_last_resort() {
    let mut looks = 0;
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        looks += u32::from(matches!(progress, Progress::Live { .. }) && rig.supply_state().voltage.0 > 8.0);
        if looks == 4 {
            rig.unplug(Role::Supply, true);
        }
    };
    let plan = SHORT.replace("for = \"2 s\"", "for = \"10 min\"");
    let outcome = rehearse_with(Setup { plan: &plan, ..Setup::default() }, &mut hook, |_| std::future::pending());
    assert_eq!(outcome.ended.exit, Exit::NotOff, "{}", outcome.ended.how);
    assert!(!outcome.supply.on, "its own timer: {:?}", outcome.supply.switches);
}
