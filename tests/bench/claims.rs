//! Start stages that go on until a claim about the failing rate is decided.

use crate::support::{BENCH, Outcome, Setup, passed, rehearse, rehearse_in, unit};
use rampart::clock::Clock;
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress};
use rampart::units::Seconds;
use std::path::Path;

/// A claim that 25 starts without a failure prove.
const CLAIM: &str = "until = { failing_below = \"10 %\", confidence = \"90 %\" }";

fn plan(until: &str) -> String {
    format!(
        "title = \"t\"\n[unit]\nname = \"unit\"\nceiling = {{ voltage = \"10 V\", current = \"120 mA\", power = \"1.5 W\" }}\n\
         [[stage]]\ndo = \"start\"\nvoltage = \"9 V\"\nlimit = \"100 mA\"\n{until}\noff = {{ from = \"300 ms\", to = \"2 s\" }}\n\
         watch = \"500 ms\"\nstates = {{ running = [\"8 mA\", \"20 mA\"] }}\n"
    )
}

fn said(outcome: &Outcome, code: &str) -> String {
    let found = outcome.ended.findings.iter().find(|f| f.code == code);
    found.map_or_else(|| panic!("no {code} in {:?}", outcome.ended.findings), |f| f.sentence.clone())
}

#[test]
fn a_good_unit_proves_its_claim_and_the_stage_ends_there() {
    let plan = plan(CLAIM);
    let outcome = rehearse(Setup { plan: &plan, ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    assert_eq!(outcome.run.starts(1).unwrap().len(), 25);
    assert_eq!(
        said(&outcome, "claim-proved"),
        "Proved with 90 % confidence (one-sided): the failing rate is below 10 %; none of 25 starts failed."
    );
    assert!(outcome.ended.findings.iter().all(|f| f.code != "starts-good"));
    let what = &outcome.run.stages().unwrap()[0].what;
    assert!(what.contains("25 if none fails, 33 on the average at a failing rate of 1 %, 125 at most"), "{what}");
    assert!(outcome.run.events().unwrap().iter().any(|e| e.kind == "decided"));
}

#[test]
fn a_unit_that_never_starts_refutes_it_soon() {
    let plan = plan(CLAIM);
    let outcome = rehearse(Setup { plan: &plan, unit: unit("").replace("12 mA", "65 uA"), ..Setup::default() });
    assert_eq!(outcome.ended.exit, Exit::Anomaly, "{}", outcome.ended.how);
    assert_eq!(outcome.run.starts(1).unwrap().len(), 3);
    assert_eq!(
        said(&outcome, "claim-refuted"),
        "Refuted with 90 % confidence (one-sided): the failing rate is not below 10 %; 3 of 3 starts failed."
    );
    assert!(said(&outcome, "starts-fail").contains("3 of 3"));
}

#[test]
fn what_ends_before_it_is_decided_is_said_to_be_open() {
    let plan = plan(&format!("on_fault = \"off\"\n{CLAIM}"));
    let outcome = rehearse(Setup { plan: &plan, unit: unit("").replace("12 mA", "65 uA"), ..Setup::default() });
    assert_eq!(outcome.run.starts(1).unwrap().len(), 1);
    assert_eq!(
        said(&outcome, "claim-open"),
        "Not decided whether the failing rate is below 10 %: the one start that counts failed."
    );
}

fn cut(folder: tempfile::TempDir, plan: &str, unit: &str, at: Option<f64>) -> Outcome {
    let stop = |clock: Clock| async move {
        match at {
            Some(at) => clock.sleep(Seconds(at)).await,
            None => std::future::pending().await,
        }
        "the test".to_owned()
    };
    let setup = Setup { plan, unit: unit.to_owned(), ..Setup::default() };
    rehearse_in(folder, setup, &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, stop)
}

#[test]
fn a_run_that_is_cut_goes_on_with_the_tally_and_the_same_off_times() {
    let plan = plan(CLAIM);
    let whole = rehearse(Setup { plan: &plan, ..Setup::default() });
    let once = cut(tempfile::tempdir().unwrap(), &plan, &unit(""), Some(20.0));
    assert_eq!(once.ended.exit, Exit::Stopped, "{}", once.ended.how);
    let open = said(&once, "claim-open");
    assert!(open.contains("starts failed; with 90 % confidence (one-sided) that shows a rate below"), "{open}");
    let again = cut(once.folder, &plan, &unit(""), None);
    assert_eq!(again.ended.exit, Exit::Within, "{}", again.ended.how);
    let starts = again.run.starts(1).unwrap();
    let void = starts.iter().filter(|s| s.counts == "void").count();
    // The one in hand is void and counts for nothing: one more is made for it.
    assert_eq!((starts.len() - void, void <= 1), (25, true), "{starts:?}");
    assert!(said(&again, "claim-proved").contains("none of 25 starts failed"));
    let offs = |o: &Outcome| -> Vec<(u32, f64)> {
        let rows = o.run.starts(1).unwrap();
        rows.iter().filter_map(|s| Some((s.number, (s.off?.0 * 20.0).round() / 20.0))).collect()
    };
    let (ours, theirs) = (offs(&again), offs(&whole));
    for (number, off) in &ours {
        if let Some((_, other)) = theirs.iter().find(|(n, _)| n == number) {
            assert!((off - other).abs() <= 0.051, "start {number}: {off} {other}");
        }
    }
}

#[test]
fn the_off_times_do_not_hang_on_how_many_may_follow() {
    let drawn = |until: &str| {
        let passed = passed(&plan(until), BENCH);
        let rampart::plan::StageKind::Start(start) = &passed.plan().stages[0].kind else { panic!() };
        start.off_times(7)
    };
    let (few, many) = (drawn(CLAIM), drawn(&format!("times = 1000\n{CLAIM}")));
    assert_eq!((few.len(), many.len()), (125, 1000));
    assert_eq!(few, many[..125]);
    let mut round: Vec<f64> = few[..50].iter().map(|t| t.0).collect();
    round.sort_by(f64::total_cmp);
    assert!((round[0] - 0.3).abs() < 1e-12 && (round[49] - 2.0).abs() < 1e-12, "{round:?}");
}
