//! Settings that change by themselves or by a hand, and links that drop and come back.

use crate::support::{BENCH, Outcome, SHORT, Setup, rehearse_with};
use rampart::instrument::Role;
use rampart::link::fault::{Kind, Schedule};
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress};
use rampart::units::{Amperes, Volts};
use std::path::Path;

/// A log of a minute, and four starts after it.
fn plan() -> String {
    SHORT.replace("for = \"2 s\"", "for = \"1 min\"")
}

/// Something happens at the tenth look of the log.
fn when_logging(what: impl Fn(&Rig) + Send, setup: Setup<'_>) -> Outcome {
    let (mut stage, mut looks) = (0, 0);
    let mut hook = move |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        match progress {
            Progress::Stage { number, .. } => stage = *number,
            Progress::Live { .. } if stage == 2 => looks += 1,
            _ => return,
        }
        if looks == 10 {
            looks += 1;
            what(rig);
        }
    };
    rehearse_with(setup, &mut hook, |_| std::future::pending())
}

#[test]
fn whatever_a_hand_changes_is_seen_and_switched_off_for() {
    type Hand = fn(&Rig);
    let hands: [(Hand, &str); 4] = [
        (|rig| rig.turn(Some(Volts(8.5)), None, None), "the voltage was set to 9.0000 V, and is 8.5000 V now"),
        (|rig| rig.turn(None, Some(Amperes(0.05)), None), "the current limit was set to 60.000 mA, and is 50.000 mA now"),
        (|rig| rig.turn(None, None, Some(false)), "the output has gone off by itself"),
        (|rig| rig.turn_meter(&rampart::plan::Turn::Highest), "the meter's range was set to"),
    ];
    for (hand, said) in hands {
        let plan = plan();
        let outcome = when_logging(hand, Setup { plan: &plan, ..Setup::default() });
        assert_eq!(outcome.ended.exit, Exit::Tripped, "{said}: {}", outcome.ended.how);
        assert!(outcome.ended.how.contains(said), "{}", outcome.ended.how);
        assert!(outcome.ended.how.contains("a changed setting"), "{}", outcome.ended.how);
        let took = outcome.run.ended.unwrap().0;
        assert!(took < 12.0, "seen within a few seconds, not at the end of the minute: {took}");
        assert!(!outcome.supply.on);
    }
}

#[test]
fn an_output_that_comes_on_while_it_should_be_off_is_switched_off() {
    let plan = SHORT.replace("off = \"500 ms\"", "off = \"1 min\"");
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        if matches!(progress, Progress::Start { number: 2, .. }) {
            rig.turn(None, None, Some(true));
        }
    };
    let outcome = rehearse_with(Setup { plan: &plan, ..Setup::default() }, &mut hook, |_| std::future::pending());
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    assert!(outcome.ended.how.contains("the output has come on by itself"), "{}", outcome.ended.how);
    let on = outcome.supply.switches.iter().rfind(|s| s.on).unwrap().at;
    let off = outcome.supply.switches.last().unwrap();
    assert!(!off.on && off.at - on < 6.0, "{:?}", outcome.supply.switches);
}

#[test]
fn a_supply_that_restarts_with_its_output_on_is_switched_off() {
    let plan = plan();
    let restart = |rig: &Rig| rig.reboot_supply();
    let outcome = when_logging(restart, Setup { plan: &plan, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Tripped, "{}", outcome.ended.how);
    assert!(!outcome.supply.on);
}

/// The wire of an instrument is cut at every hundredth reply or so, and comes back.
#[test]
fn a_link_that_drops_is_opened_again_and_the_run_goes_on() {
    for (role, at) in [(Role::Supply, 60), (Role::Supply, 150), (Role::Supply, 400), (Role::Meter, 20), (Role::Meter, 60)] {
        let mut setup = Setup { reopen: Some(0), ..Setup::default() };
        let cut = Schedule::from([(at, Kind::Closed)]);
        match role {
            Role::Supply => setup.supply.1 = cut,
            Role::Meter => setup.meter.1 = cut,
        }
        let outcome = rehearse_with(setup, &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |_| std::future::pending());
        let what = format!("{role:?} at {at}: {}", outcome.ended.how);
        assert!(matches!(outcome.ended.exit, Exit::Within | Exit::Undecided), "{what}");
        assert_eq!(outcome.run.starts(3).unwrap().len(), 4, "{what}");
        let events = outcome.run.events().unwrap();
        let link = events.iter().find(|e| e.kind == "link").expect(&what);
        assert!(link.text.contains("opened again at try 1: ") && link.text.contains("the same instrument"), "{}", link.text);
        // What was under way is void, and nothing was good because it was not seen.
        let void = outcome.run.starts(3).unwrap().iter().filter(|s| s.counts == "void").count();
        assert!(void <= 1, "{what}");
        assert!(!outcome.supply.on, "{what}");
    }
}

#[test]
fn a_link_that_stays_away_ends_the_run_in_the_right_code() {
    for (role, exit) in [(Role::Supply, Exit::NotOff), (Role::Meter, Exit::Instrument)] {
        let mut setup = Setup { reopen: Some(u32::MAX), ..Setup::default() };
        let cut = Schedule::from([(70, Kind::Closed)]);
        match role {
            Role::Supply => setup.supply.1 = cut,
            Role::Meter => setup.meter.1 = cut,
        }
        let outcome = rehearse_with(setup, &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |_| std::future::pending());
        assert_eq!(outcome.ended.exit, exit, "{}", outcome.ended.how);
        assert!(outcome.run.events().unwrap().iter().any(|e| e.text.contains("could not be opened again")));
        assert!(role == Role::Supply || !outcome.supply.on);
    }
}

#[test]
fn a_link_that_needs_some_tries_is_waited_for() {
    let mut setup = Setup { reopen: Some(3), ..Setup::default() };
    setup.supply.1 = Schedule::from([(150, Kind::Closed)]);
    let outcome = rehearse_with(setup, &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |_| std::future::pending());
    assert!(matches!(outcome.ended.exit, Exit::Within | Exit::Undecided), "{}", outcome.ended.how);
    assert!(outcome.run.events().unwrap().iter().any(|e| e.text.contains("opened again at try 4")));
}

/// Off that another instrument of the same kind gives proves nothing of this one.
#[test]
fn another_instrument_behind_the_address_is_not_believed() {
    // Also where the bench file names no serial number: it was another one before.
    let without = BENCH.replace("serial  = \"B0417\"\n", "");
    assert_ne!(without, BENCH);
    for (cut, bench) in [(60, BENCH), (150, BENCH), (300, BENCH), (60, &without), (150, &without), (300, &without)] {
        let mut setup = Setup { bench, reopen: Some(0), stranger: true, ..Setup::default() };
        setup.supply.1 = Schedule::from([(cut, Kind::Closed)]);
        let outcome = rehearse_with(setup, &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |_| std::future::pending());
        assert_eq!(outcome.ended.exit, Exit::NotOff, "{}", outcome.ended.how);
        assert!(outcome.ended.off.is_err());
    }
}
