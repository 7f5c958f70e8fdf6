//! The computer sleeps in the middle of a run: what was under way is void, nothing
//! stays on, and the times that are kept are the true ones.

use crate::support::{Outcome, SHORT, Setup, rehearse_with};
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress};
use std::path::Path;
use std::sync::atomic::Ordering;

/// Sleeps for an hour at the first moment that `when` says.
fn asleep(plan: &str, mut when: impl FnMut(&Progress<'_>, &Rig) -> bool + Send) -> Outcome {
    let setup = Setup { plan, ..Setup::default() };
    let slept = setup.slept.clone();
    let mut hook = move |progress: &Progress<'_>, rig: &Rig, _: &Path| {
        if slept.load(Ordering::Relaxed) == 0 && when(progress, rig) {
            slept.store(3_600_000, Ordering::Relaxed);
        }
    };
    rehearse_with(setup, &mut hook, |_| std::future::pending())
}

/// The fifth look of a stage, while the output is on.
fn fifth_look(of: u32) -> impl FnMut(&Progress<'_>, &Rig) -> bool + Send {
    let (mut stage, mut looks) = (0, 0);
    move |progress, _| {
        match progress {
            Progress::Stage { number, .. } => stage = *number,
            Progress::Live { .. } if stage == of => looks += 1,
            _ => {}
        }
        looks == 5
    }
}

#[test]
fn a_start_in_hand_is_void_and_the_next_follows() {
    let outcome = asleep(SHORT, fifth_look(3));
    // One void start of four is many.
    assert_eq!(outcome.ended.exit, Exit::Undecided, "{}", outcome.ended.how);
    let starts = outcome.run.starts(3).unwrap();
    let counts: Vec<&str> = starts.iter().map(|s| s.counts.as_str()).collect();
    assert_eq!(counts, ["void", "good", "good", "good"], "{starts:?}");
    assert!(starts[0].reason.contains("the computer slept for 3600 s"), "{starts:?}");
    assert!(outcome.run.events().unwrap().iter().any(|e| e.kind == "slept"));
    assert!(!outcome.supply.on);
}

#[test]
fn a_log_goes_on_without_a_burst() {
    let outcome = asleep(SHORT, fifth_look(2));
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    let log = outcome.run.currents(2).unwrap();
    assert!((9..=13).contains(&log.len()), "2 s, one in 0.2 s: {}", log.len());
    // The first reading after switching on comes a little late, and the second in time.
    let close = log.windows(2).filter(|w| w[1].at.0 - w[0].at.0 < 0.15).count();
    assert!(close <= 2, "{log:?}");
    // On for the ramp, the log, the rest of the log, and four starts.
    assert_eq!(outcome.supply.switches.iter().filter(|s| s.on).count(), 7);
}

#[test]
fn an_off_time_that_became_longer_is_kept_as_it_was() {
    // Just after the first start has been judged: the second waits for its off-time.
    let outcome = asleep(SHORT, |progress, _| matches!(progress, Progress::Start { number: 1, .. }));
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    let starts = outcome.run.starts(3).unwrap();
    assert!(starts.iter().all(|s| s.counts == "good"), "{starts:?}");
    let off: Vec<f64> = starts.iter().map(|s| s.off.unwrap().0).collect();
    assert!(off[1] > 3600.4 && off[2] < 1.0 && off[3] < 1.0, "{off:?}");
    let store = rusqlite::Connection::open(outcome.folder.path().join("run.sqlite")).unwrap();
    let sql = "SELECT number FROM start WHERE off_note LIKE '%longer by the computer%'";
    let marked: Vec<u32> = store.prepare(sql).unwrap().query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
    assert_eq!(marked, [2]);
}

#[test]
fn sleep_before_the_output_is_on_is_no_sleep_with_it_on() {
    // Between the ramp and the log nothing is energised.
    let outcome = asleep(SHORT, |progress, _| matches!(progress, Progress::StageDone { number: 1, .. }));
    assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
    let events = outcome.run.events().unwrap();
    assert!(events.iter().any(|e| e.kind == "slept") && !events.iter().any(|e| e.kind == "goes on"), "{events:?}");
    assert_eq!(outcome.supply.switches.iter().filter(|s| s.on).count(), 6);
}
