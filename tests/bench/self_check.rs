//! The self-check on a known load: before everything else, and again after so many
//! starts; and what is wrong is named.

use crate::support::{Outcome, SHORT, Setup, rehearse, rehearse_with};
use rampart::instrument::Role;
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress};
use rampart::units::Ohms;
use std::path::Path;

/// 9 V over 500 ohm are 18 mA: the supply's read-back tells that from zero.
fn plan(every: &str) -> String {
    let check = format!(
        "[self_check]\nload = \"500 ohm\"\ntolerance = \"1 %\"\nrated = \"0.5 W\"\nvoltage = \"9 V\"\n{every}\n[[stage]]"
    );
    SHORT.replacen("[[stage]]", &check, 1)
}

fn said(outcome: &Outcome) -> String {
    let found = outcome.run.findings().unwrap();
    found.into_iter().find(|f| f.code.starts_with("self-check")).map(|f| f.sentence).unwrap_or_default()
}

#[test]
fn supply_meter_and_load_agree_before_the_first_stage() {
    let plan = plan("");
    let outcome = rehearse(Setup { plan: &plan, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    assert!(said(&outcome).contains("supply, meter and load agree"), "{}", said(&outcome));
    let asked: Vec<String> = outcome.run.events().unwrap().into_iter().filter(|e| e.kind == "question").map(|e| e.text).collect();
    assert_eq!(asked.len(), 2, "{asked:?}");
    assert!(asked[0].starts_with("Self-check: connect known load (500 ohm ± 1 %)"), "{asked:?}");
    assert!(asked[1].starts_with("Take known load off"), "the unit again: {asked:?}");
    // The check, the ramp, the log and four starts.
    assert_eq!(outcome.supply.switches.iter().filter(|s| s.on).count(), 7);
}

#[test]
fn again_after_so_many_starts_and_nobody_knows_the_off_time_then() {
    let plan = plan("every = 2");
    let outcome = rehearse(Setup { plan: &plan, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    let checks = outcome.run.findings().unwrap().iter().filter(|f| f.code == "self-check").count();
    assert_eq!(checks, 2);
    let starts = outcome.run.starts(3).unwrap();
    assert!(starts.iter().all(|s| s.counts == "good"), "{starts:?}");
    let known: Vec<bool> = starts.iter().map(|s| s.off.is_some()).collect();
    assert_eq!(known, [true, true, false, true], "{starts:?}");
}

#[test]
fn a_load_that_is_another_is_named() {
    let plan = plan("");
    let outcome = rehearse(Setup { plan: &plan, load: Some(Ohms(450.0)), ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Instrument, "{}", outcome.ended.how);
    assert!(said(&outcome).contains("the load is another than the plan says"), "{}", said(&outcome));
    assert!(outcome.run.stages().unwrap().is_empty() && !outcome.supply.on, "no stage is begun");
}

#[test]
fn no_current_anywhere_is_a_fuse_or_a_lead() {
    let plan = plan("");
    let outcome = rehearse(Setup { plan: &plan, load: Some(Ohms(10e6)), ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Instrument, "{}", outcome.ended.how);
    assert!(said(&outcome).contains("the meter's fuse is blown"), "{}", said(&outcome));
}

#[test]
fn a_meter_beyond_its_range_is_named() {
    let plan = plan("");
    let mut hook = |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        if matches!(progress, Progress::Live { .. }) {
            rig.quirk(Role::Meter, |q| q.overloaded = true);
        }
    };
    let outcome = rehearse_with(Setup { plan: &plan, ..Setup::default() }, &mut hook, |_| std::future::pending());
    // Beyond a range that holds the limit for too long is a trip as well.
    assert!(matches!(outcome.ended.exit, Exit::Instrument | Exit::Tripped), "{}", outcome.ended.how);
    assert!(!outcome.supply.on);
}
