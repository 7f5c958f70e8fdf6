//! A lot: the outliers and a drifting fixture are found, good parts are not refused, a
//! run that is cut goes on, a retest stands beside the first result.

use crate::support::{Outcome, Setup, rehearse, rehearse_in};
use rampart::analysis::inspection::decision::Decision;
use rampart::document::Document;
use rampart::plan::{Bench, Lot, Plan, check_lot};
use rampart::record::{Run, TrialRow, verify};
use rampart::rehearsal::{Rig, UnitFile};
use rampart::runner::{Exit, Progress};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokio::sync::Notify;

const PLAN: &str = include_str!("../../scripts/tantalum-tray.toml");
const LOT: &str = include_str!("../../scripts/tantalum-tray.lot.toml");
const UNIT: &str = include_str!("../../scripts/tantalum-tray.unit.toml");

/// The shipped plan with a soak of seconds: what takes its time is not what is tested.
fn quick() -> String {
    PLAN.replace("electrify = \"1 min\"", "electrify = \"6 s\"\nevery = \"500 ms\"")
}

fn says() -> Vec<(String, String)> {
    let unit = UnitFile::read(&Document::new("unit.toml", UNIT)).unwrap_or_else(|p| panic!("{p}"));
    unit.remarks.into_iter().map(|r| (r.part, r.answer)).collect()
}

fn codes(outcome: &Outcome) -> Vec<String> {
    outcome.run.findings().unwrap().into_iter().filter(|f| f.stage.is_none() || f.code == "control-out").map(|f| f.code).collect()
}

fn part<'t>(trials: &'t [TrialRow], name: &str) -> Vec<&'t TrialRow> {
    trials.iter().filter(|t| t.kind == "part" && t.name == name).collect()
}

/// The positions that have a trial that counts and is nonconforming.
fn refused(run: &Run) -> BTreeSet<u32> {
    let trials = run.trials().unwrap();
    trials.iter().filter(|t| t.doubted.is_none() && t.outcome.is_nonconforming()).filter_map(|t| t.position).collect()
}

/// Cut when `after` parts have been judged, as a killed run leaves it, and taken up again.
fn cut_after(setup: impl Fn(u32) -> Setup<'static>, after: u32) -> (Outcome, u32) {
    let (stop, seen) = (Arc::new(Notify::new()), Arc::new(AtomicBool::new(false)));
    let (told, once) = (stop.clone(), seen.clone());
    let mut hook = move |progress: &Progress<'_>, _: &Rig, _: &Path| {
        // In the middle of the next part, while its output is on.
        match progress {
            Progress::TrialDone { judged, .. } if *judged >= after => once.store(true, Ordering::Relaxed),
            Progress::Live { .. } if once.swap(false, Ordering::Relaxed) => told.notify_one(),
            _ => {}
        }
    };
    let first = rehearse_in(tempfile::tempdir().unwrap(), setup(0), &mut hook, |_| async move {
        stop.notified().await;
        "the test".to_owned()
    });
    assert_eq!(first.ended.exit, Exit::Stopped, "{}", first.ended.how);
    assert!(!first.supply.on);
    assert_eq!(first.run.lot_end().unwrap(), None, "nobody has decided it");
    let trials = u32::try_from(first.run.trials().unwrap().len()).unwrap();
    let used = first.insertions;
    let again = rehearse_in(first.folder, setup(used), &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |_| std::future::pending());
    (again, trials)
}

/// The judge's lot: 125 parts, 6 outliers, a fixture that gets dirty; cut at part 60.
#[test]
fn outliers_and_drift_are_found_good_parts_pass_and_a_cut_lot_goes_on() {
    let plan: &'static str = quick().leak();
    let mut good_refused = 0;
    for seed in 1..=2 {
        let truth = UnitFile::read(&Document::new("unit.toml", UNIT)).unwrap_or_else(|p| panic!("{p}"));
        let bad: BTreeSet<u32> = truth.outliers(seed).into_iter().collect();
        let skipped = 17;
        let (outcome, cut) = cut_after(
            |used| Setup { plan, lot: Some(LOT), unit: UNIT.to_owned(), seed, used, says: says(), ..Setup::default() },
            60,
        );
        let run = &outcome.run;
        let what = format!("seed {seed}: {}", outcome.ended.how);
        assert_eq!(outcome.ended.exit, Exit::Anomaly, "{what}");
        let trials = run.trials().unwrap();
        // The part in hand was void, and was put in again.
        let void = trials.iter().find(|t| t.number == cut).unwrap();
        assert_eq!((void.outcome.word(), void.kind.as_str()), ("void", "part"), "{what}: {void:?}");
        let anew = part(&trials, &void.name);
        assert!(anew.len() > 1 && anew[1].retest_of == Some(cut), "{what}: {anew:?}");
        assert_eq!(run.resumed().unwrap().len(), 1);
        // Every part was measured but the one that was left out.
        let parts: BTreeSet<u32> = trials.iter().filter_map(|t| t.position).collect();
        assert_eq!(parts.len(), 124, "{what}");
        assert!(!parts.contains(&skipped) && run.skips().unwrap()[0].why == "a lead is bent", "{what}");
        // The outliers are refused, and found as such; no good part is.
        let refused = refused(run);
        let wanted: BTreeSet<u32> = bad.iter().copied().filter(|p| *p != skipped).collect();
        good_refused += refused.difference(&wanted).count();
        assert!(wanted.is_subset(&refused), "{what}: {refused:?} of {wanted:?}");
        let findings = run.findings().unwrap();
        let found = findings.iter().find(|f| f.code == "lot-outliers-found").unwrap_or_else(|| panic!("{what}"));
        for position in &wanted {
            let names = found.sentence.split(" stand out").next().unwrap().trim_start_matches("Parts ");
            assert!(names.split(", ").any(|n| n == position.to_string()), "{what}: {position} in {names}");
        }
        // The drift is found, the fixture was cleaned, and what was in doubt measured again.
        assert!(codes(&outcome).iter().any(|c| c == "control-out"), "{what}");
        let doubted: Vec<&TrialRow> = trials.iter().filter(|t| t.doubted.is_some()).collect();
        assert!(!doubted.is_empty(), "{what}");
        for trial in &doubted {
            let later = part(&trials, &trial.name).into_iter().any(|t| t.number > trial.number && t.doubted.is_none());
            assert!(later, "{what}: part {} is still in doubt", trial.name);
            assert!(run.measures().unwrap().iter().any(|m| m.trial == trial.number), "its first result is kept");
        }
        // What the operator wanted again stands beside the first, with its reason.
        let again = part(&trials, "21");
        assert!(again.iter().any(|t| t.retest_why.as_deref() == Some("poor contact, it was loose in the clip")), "{what}");
        assert!(again[0].ended.is_some() && again[0].outcome.is_conforming() | bad.contains(&21), "the first is kept");
        let end = run.lot_end().unwrap().unwrap();
        assert_eq!((end.decision, end.count.open, end.count.doubtful), (Decision::Refused, 0, 0), "{what}: {}", end.why);
        assert_eq!(codes(&outcome).iter().filter(|c| *c == "lot-refused").count(), 1, "the lot is judged once: {what}");
        assert!(verify(outcome.folder.path()).unwrap().damage.is_empty());
        assert!(!outcome.supply.on);
    }
    // Stated: fewer than 2.5 % of parts that are inside the limit by U or more; some 236 good parts.
    assert_eq!(good_refused, 0, "good parts that were refused");
}

#[test]
fn where_the_fixture_cannot_be_mended_the_lot_is_held_and_can_be_gone_on_with() {
    let plan = quick().replace("every = 20", "every = 5");
    let lot = LOT.replace("125", "20");
    let unit = UNIT.replace("each  = \"150 Gohm\"", "each = \"3 Gohm\"").replace("after = 40", "after = 8\ncomes_clean = false");
    let unit = unit.replace("parts       = 125", "parts = 20").replace("count = 6", "count = 0");
    let held = rehearse(Setup { plan: &plan, lot: Some(&lot), unit, ..Setup::default() });
    assert_eq!(held.ended.exit, Exit::Anomaly, "the drift is one: {}", held.ended.how);
    let end = held.run.lot_end().unwrap().unwrap();
    assert_eq!(end.decision, Decision::OnHold);
    assert!(end.why.contains("also after the fixture was mended") && end.count.doubtful > 0 && end.count.open > 0, "{end:?}");
    // Mended afterwards: what is in doubt and what is left.
    let unit = UNIT.replace("parts       = 125", "parts = 20").replace("count = 6", "count = 0");
    let setup = Setup { plan: &plan, lot: Some(&lot), unit, ..Setup::default() };
    let done = rehearse_in(held.folder, setup, &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |_| std::future::pending());
    let end = done.run.lot_end().unwrap().unwrap();
    assert_eq!((end.decision, end.count.judged, end.count.open), (Decision::Accepted, 20, 0), "{}", end.why);
    let codes = codes(&done);
    assert!(codes.iter().any(|c| c == "lot-accepted") && !codes.iter().any(|c| c == "lot-on-hold"), "{codes:?}");
}

#[test]
fn a_sample_is_drawn_with_the_seed_and_a_skipped_part_has_a_stand_in() {
    let lot = LOT.replace("125", "60") + "\n[sampling]\nsample = 8\naccept = 1\nstop = \"when decided\"\n";
    let plan = quick().replace("retests  = 1 ", "retests  = 0 ");
    let unit =
        UNIT.replace("parts       = 125", "parts = 60").replace("count = 6", "count = 0").replace("after = 40", "after = 400");
    let drawn = Lot::read(&Document::new("lot.toml", lot.clone())).unwrap_or_else(|p| panic!("{p}")).order(5);
    let sample = &drawn[..8];
    assert!(sample.is_sorted() && drawn.iter().collect::<BTreeSet<_>>().len() == 60, "{drawn:?}");
    let says = vec![(sample[2].to_string(), "skip its marking cannot be read".to_owned())];
    let run = |unit: &str, says| {
        rehearse(Setup { plan: &plan, lot: Some(&lot), unit: unit.to_owned(), seed: 5, says, ..Setup::default() })
    };
    let outcome = run(&unit, says);
    let taken: Vec<u32> = outcome.run.trials().unwrap().iter().filter_map(|t| t.position).collect();
    let mut wanted: Vec<u32> = sample.iter().copied().filter(|p| *p != sample[2]).collect();
    wanted.push(drawn[8]);
    assert_eq!(taken, wanted);
    let end = outcome.run.lot_end().unwrap().unwrap();
    assert_eq!((end.decision, end.count.judged, end.count.skipped), (Decision::Accepted, 8, 1), "{}", end.why);
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    // With every part bad it is decided after two.
    let bad = unit.replace("\"320 Mohm\"", "\"5 Mohm\"");
    let outcome = run(&bad, Vec::new());
    let end = outcome.run.lot_end().unwrap().unwrap();
    assert_eq!((end.decision, end.count.judged), (Decision::Refused, 2), "{}", end.why);
}

/// Boards of a lot by their current: four states by the guard band, the worst of two stages.
#[test]
fn boards_are_judged_by_the_worst_of_their_stages() {
    let plan = r#"
title = "boards"
[unit]
name = "board"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[[stage]]
do = "log"
voltage = "9 V"
limit = "60 mA"
for = "3 s"
every = "200 ms"
expect = { current = ["8 mA", "20 mA"] }
[[stage]]
do = "start"
voltage = "9 V"
limit = { starting = "100 mA", running = "40 mA", after = "100 ms" }
times = 3
off = "500 ms"
watch = "500 ms"
states = { running = ["8 mA", "20 mA"] }
"#;
    let lot =
        "[lot]\nnumber = \"7\"\npart = \"board B\"\nquantity = 3\noperator = \"M. Lind\"\nserials = [\"B1\", \"B2\", \"B3\"]\n";
    let outcome = rehearse(Setup { plan, lot: Some(lot), ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    let trials = outcome.run.trials().unwrap();
    let told: Vec<_> = trials.iter().map(|t| (t.name.as_str(), t.outcome.word(), t.stages)).collect();
    assert_eq!(told, [("B1", "pass", (1, 2)), ("B2", "pass", (3, 4)), ("B3", "pass", (5, 6))]);
    assert_eq!(outcome.run.starts(6).unwrap().len(), 3, "the third board's");
    let tight = plan.replacen("\"20 mA\"]", "\"11.5 mA\"]", 1);
    let outcome = rehearse(Setup { plan: &tight, lot: Some(lot), ..Setup::default() });
    assert!(outcome.run.trials().unwrap().iter().all(|t| t.outcome.word() == "fail" && t.why.contains("mean current")));
    assert_eq!(outcome.run.lot_end().unwrap().unwrap().decision, Decision::Refused);
}

#[test]
fn what_cannot_be_inspected_is_refused_before_power() {
    let said = |plan: &str, lot: Option<&str>, bench: &str| {
        let plan = Plan::read(&Document::new("plan.toml", plan)).unwrap_or_else(|p| panic!("{p}"));
        let bench = Bench::read(&Document::new("bench.toml", bench)).unwrap_or_else(|p| panic!("{p}"));
        let lot = lot.map(|text| Lot::read(&Document::new("lot.toml", text)).unwrap_or_else(|p| panic!("{p}")));
        let checked = check_lot(plan, lot, bench, "2026-11-25");
        (checked.passed.is_some(), checked.problems.to_string())
    };
    let bench = crate::support::BENCH;
    let (passed, text) = said(PLAN, None, bench);
    assert!(!passed && text.contains("no lot is named"), "{text}");
    // Without outcomes on an expired calibration, unless somebody says why.
    let expired = bench.replacen("[meter]", "[meter]\ncalibration_due = 2026-11-01", 1);
    let (passed, text) = said(PLAN, Some(LOT), &expired);
    assert!(!passed && text.contains("no outcome of a lot may rest on it"), "{text}");
    let overdue = format!("{LOT}overdue = \"agreed with the customer, 20 November\"\n");
    let (passed, text) = said(PLAN, Some(&overdue), &expired);
    assert!(passed && text.contains("expired on"), "{text}");
    let (passed, text) = said(&PLAN.replace("limit     = \"handbook\"", "limit = \"1 uA\""), Some(LOT), bench);
    assert!(passed, "{text}");
    let ask = PLAN.to_owned() + "\n[[stage]]\ndo = \"ask\"\nsay = \"now the board\"\nconnect = \"board\"\n";
    assert!(said(&ask, Some(LOT), bench).1.contains("connects something else than the part in hand"));
    let log = "\ntitle = \"t\"\n[unit]\nname = \"u\"\nceiling = { voltage = \"10 V\", current = \"50 mA\" }\n[[stage]]\ndo = \"log\"\nvoltage = \"5 V\"\nlimit = \"20 mA\"\nfor = \"5 s\"\nevery = \"1 s\"\n";
    assert!(said(log, Some(LOT), bench).1.contains("no stage of this plan says what a good part is"));
    let wrong = |text: &str| Lot::read(&Document::new("lot.toml", text)).unwrap_err().to_string();
    assert!(
        wrong("[lot]\nnumber = \"1\"\npart = \"p\"\nquantity = 2\noperator = \"o\"\nserials = [\"a\", \"a\"]")
            .contains("is there twice")
    );
    assert!(
        wrong("[lot]\nnumber = \"1\"\npart = \"p\"\nquantity = 2\noperator = \"o\"\n[sampling]\nsample = 3")
            .contains("from 1 to 2")
    );
}
