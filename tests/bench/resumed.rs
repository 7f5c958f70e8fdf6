//! A run that is cut short and taken up again comes to the same as one that is not.

use crate::support::{BENCH, EVERY, EVERY_UNIT, Outcome, Setup, rehearse, rehearse_in};
use rampart::analysis::Level;
use rampart::clock::Clock;
use rampart::record::Point;
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress, Resume};
use rampart::units::Seconds;
use rand::{RngExt, SeedableRng};
use std::future::Future;
use std::path::Path;
use tempfile::TempDir;

fn setup() -> Setup<'static> {
    Setup { plan: EVERY, unit: EVERY_UNIT.to_owned(), ..Setup::default() }
}

fn until<S: Future<Output = String>>(folder: TempDir, stop: impl FnOnce(Clock) -> S) -> Outcome {
    rehearse_in(folder, setup(), &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, stop)
}

/// Stopped after `first` seconds, and again `second` after it was taken up, then left alone.
fn cut_twice(first: f64, second: f64) -> Outcome {
    let after = |span: f64| {
        move |clock: Clock| async move {
            clock.sleep(Seconds(span)).await;
            "the test".to_owned()
        }
    };
    let once = until(tempfile::tempdir().unwrap(), after(first));
    let again = match once.ended.exit {
        Exit::Stopped => until(once.folder, after(second)),
        _ => return once,
    };
    match again.ended.exit {
        Exit::Stopped => until(again.folder, |_| std::future::pending()),
        _ => again,
    }
}

fn starts(outcome: &Outcome) -> Vec<(u32, String, String, Option<String>)> {
    outcome.run.starts(4).unwrap().into_iter().map(|s| (s.number, s.counts, s.outcome, s.state)).collect()
}

/// What the two come to must be the same, but for the starts that were cut.
fn same(cut: &Outcome, unbroken: &Outcome, what: &str) {
    assert_eq!(cut.ended.exit, unbroken.ended.exit, "{what}: {}", cut.ended.how);
    assert!(!cut.supply.on, "{what}");
    let stages =
        |o: &Outcome| -> Vec<_> { o.run.stages().unwrap().into_iter().map(|s| (s.number, s.kind, s.what, s.how)).collect() };
    assert_eq!(stages(cut), stages(unbroken), "{what}");
    let (made, wanted) = (starts(cut), starts(unbroken));
    let void = made.iter().filter(|s| s.1 == "void").count();
    assert!(void <= cut.run.resumed().unwrap().len(), "{what}: {made:?}");
    assert_eq!(made.len(), wanted.len(), "{what}: {made:?}");
    for (made, wanted) in made.iter().zip(&wanted).filter(|(m, _)| m.1 != "void") {
        assert_eq!(made, wanted, "{what}");
    }
    let (made, wanted) = (cut.run.leakages(5).unwrap(), unbroken.run.leakages(5).unwrap());
    assert_eq!(made.len(), wanted.len(), "{what}");
    for (made, wanted) in made.iter().zip(&wanted) {
        assert_eq!(
            (made.step, made.set, &made.part, made.limit),
            (wanted.step, wanted.set, &wanted.part, wanted.limit),
            "{what}"
        );
        let (Level::Known { value: a, u: ua }, Level::Known { value: b, u: ub }) = (made.soak.leakage, wanted.soak.leakage)
        else {
            panic!("{what}: {made:?} {wanted:?}")
        };
        assert!((a.0 - b.0).abs() <= 2.0 * ua.0.hypot(ub.0), "{what}: {made:?} {wanted:?}");
    }
    let codes = |o: &Outcome| -> Vec<_> { o.run.findings().unwrap().into_iter().map(|f| (f.stage, f.code)).collect() };
    let (made, wanted) = (codes(cut), codes(unbroken));
    // A void start is one more thing to say.
    let made: Vec<_> = made.into_iter().filter(|f| f.1 != "starts-many-void").collect();
    assert_eq!(made, wanted, "{what}");
    let damage = rampart::record::verify(cut.folder.path()).unwrap().damage;
    assert!(damage.is_empty(), "{what}: {damage:?}");
}

#[test]
fn whenever_it_is_cut() {
    let unbroken = rehearse(setup());
    let whole = unbroken.run.ended.unwrap().0;
    let seed = 20_261_126;
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    for round in 0..40 {
        // The sweep is the longest by far: half of the cuts come before it.
        let most = if round % 2 == 0 { 70.0 } else { whole };
        let (first, second) = (random.random_range(0.0..most), random.random_range(0.0..most));
        let cut = cut_twice(first, second);
        same(&cut, &unbroken, &format!("seed {seed}, round {round}: cut at {first}, then after {second}"));
    }
}

#[test]
fn the_parts_of_a_log_make_one_log() {
    let began = rehearse(setup()).run.stages().unwrap()[2].began.0;
    let stop = |clock: Clock| async move {
        clock.sleep_until(Seconds(began + 5.0)).await;
        "the test".to_owned()
    };
    let cut = until(until(tempfile::tempdir().unwrap(), stop).folder, |_| std::future::pending());
    let looks = cut.run.currents(3).unwrap();
    let (before, after): (Vec<Point>, Vec<Point>) = looks.into_iter().partition(|p| p.at.0 < began + 30.0);
    // 10 s were wanted, one a second: what was logged before the cut is not logged again.
    assert_eq!((before.len(), after.len() + before.len()), (5, 10), "{before:?} {after:?}");
    let said = cut.run.findings().unwrap().into_iter().find(|f| f.code == "log-current").unwrap();
    assert!(said.sentence.starts_with("Over 10 s the unit drew (30.0"), "{}", said.sentence);
    let gap = &cut.run.resumed().unwrap()[0];
    assert_eq!((gap.stretch, gap.gap), (2, Seconds(60.0)));
}

#[test]
fn what_is_done_is_not_resumed() {
    let done = rehearse(setup());
    let why = |plan: &str| {
        let passed = crate::support::passed(plan, BENCH);
        Resume::read(&done.run, &passed, String::new(), Seconds(1e4)).map(|_| ()).unwrap_err()
    };
    assert!(why(EVERY).contains("carried out to its end"));
    let (before, after) = EVERY.split_once("[[stage]]\ndo = \"ramp\"").unwrap();
    let without = format!("{before}{}", after.split_once("[[stage]]").map(|(_, rest)| format!("[[stage]]{rest}")).unwrap());
    assert!(why(&without).contains("stage 2 of the record is a ramp stage; in the plan it is a log stage"), "{}", why(&without));
}

/// Between the looks of a slow log the output is looked at all the same; those are no part of it.
#[test]
fn a_slow_log_goes_on_for_the_rest_of_its_time() {
    let plan =
        crate::support::SHORT.replace("for = \"2 s\"", "for = \"2 min\"").replace("every = \"200 ms\"", "every = \"20 s\"");
    let setup = || Setup { plan: &plan, ..Setup::default() };
    let began = rehearse(setup()).run.stages().unwrap()[1].began.0;
    let stop = |clock: Clock| async move {
        clock.sleep_until(Seconds(began + 50.0)).await;
        "the test".to_owned()
    };
    let nothing = &mut |_: &Progress<'_>, _: &Rig, _: &Path| {};
    let cut = rehearse_in(tempfile::tempdir().unwrap(), setup(), nothing, stop);
    assert_eq!(cut.ended.exit, Exit::Stopped, "{}", cut.ended.how);
    let whole = rehearse_in(cut.folder, setup(), nothing, |_| std::future::pending());
    let looks: Vec<Point> = whole.run.currents(2).unwrap().into_iter().filter(|p| p.step.is_some()).collect();
    let spans: Vec<u32> = looks.iter().filter_map(|p| p.step).collect();
    // At 0, 20 and 40 s, and then for the 60 s that are left.
    assert_eq!(spans, [1, 1, 1, 2, 2, 2], "{looks:?}");
    let on = whole.run.stages().unwrap()[1].ended.unwrap().0 - whole.run.resumed().unwrap()[0].at.0;
    assert!((60.0..62.0).contains(&on), "{on}");
}
