//! `rampart resume`, as its user meets it.

use crate::support::{Running, StandIn, only_run, signal};
use crate::texts::{SHORT, unit};
use rampart::record::Run;
use rustix::process::Signal;

const PACE: &str = "4";

fn stopped(standin: &StandIn) {
    standin.write("plan.toml", SHORT);
    let mut run = Running::start(standin.path(), &["run", "plan.toml", "--pace", PACE]);
    run.until("stage 2/3");
    signal(&run.child, Signal::INT);
    let (code, text) = run.end();
    let name = only_run(standin.path()).file_name().unwrap().to_string_lossy().into_owned();
    assert_eq!(code, Some(130), "{text}");
    assert!(text.contains(&format!("`rampart resume {name}` goes on with it.")), "{text}");
}

fn resume(standin: &StandIn, more: &[&str]) -> (Option<i32>, String) {
    Running::start(standin.path(), &[&["resume", "last", "--pace", PACE], more].concat()).end()
}

#[test]
fn a_stopped_run_goes_on_and_the_gap_is_told() {
    let standin = StandIn::start(&unit(""), PACE);
    stopped(&standin);
    let (code, text) = resume(&standin, &[]);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("the run goes on in stage 2, "), "{text}");
    let folder = only_run(standin.path());
    let page = std::fs::read_to_string(folder.join("report.html")).unwrap();
    assert!(page.contains("Taken up again") && page.contains("after its last row"), "the report tells the gap");
    let traffic = std::fs::read_to_string(folder.join("traffic.log")).unwrap();
    let times: Vec<f64> = traffic.lines().filter_map(|l| l.split(' ').next()?.parse().ok()).collect();
    assert!(times.len() > 100 && times.is_sorted(), "one traffic log, in order");
    let (code, text) = resume(&standin, &[]);
    assert!(code == Some(2) && text.contains("carried out to its end"), "{text}");
}

#[test]
fn a_wire_that_comes_back_does_not_end_the_run() {
    let standin = StandIn::start(&unit(""), PACE);
    let hand = standin.through_a_hand();
    standin.write("plan.toml", SHORT);
    let mut run = Running::start(standin.path(), &["run", "plan.toml", "--pace", PACE]);
    run.until("stage 2/3");
    let before = hand.lines().len();
    while hand.lines().len() < before + 8 {
        std::thread::yield_now();
    }
    hand.cut_once();
    let (code, text) = run.end();
    assert_eq!(code, Some(0), "{text}");
    assert!(text.contains("the link is there again"), "{text}");
    let run = Run::open(&only_run(standin.path())).unwrap();
    assert!(run.events().unwrap().iter().any(|e| e.kind == "link" && e.text.contains("the same instrument")));
    assert_eq!(run.starts(3).unwrap().len(), 10);
}

#[test]
fn another_plan_is_refused_unless_the_user_says_so() {
    let standin = StandIn::start(&unit(""), PACE);
    stopped(&standin);
    // What was measured at 9 V is not judged together with what comes at 5 V.
    standin.write(
        "plan.toml",
        &SHORT.replace("to     = \"5 V\"", "to     = \"6 V\"").replace("every  = \"200 ms\"", "every  = \"300 ms\""),
    );
    let (code, text) = resume(&standin, &["--changed"]);
    assert!(code == Some(2) && text.contains("stage 2 is another than the one that was cut"), "{text}");
    let other = SHORT.replace("times   = 10", "times   = 3");
    standin.write("plan.toml", &other);
    let (code, text) = resume(&standin, &[]);
    assert!(code == Some(2) && text.contains("the plan plan.toml is another than the run followed"), "{text}");
    assert!(text.contains("--changed") && text.contains("Nothing was energised"), "{text}");
    let (code, text) = resume(&standin, &["--changed"]);
    assert_eq!(code, Some(0), "{text}");
    let run = Run::open(&only_run(standin.path())).unwrap();
    assert_eq!(run.starts(3).unwrap().len(), 3, "by the plan as it is now");
    let gap = &run.resumed().unwrap()[0];
    assert!(gap.differs.contains("the plan plan.toml is another"), "{gap:?}");
    let plans: Vec<_> = run.files().unwrap().into_iter().filter(|f| f.kind == "plan").map(|f| f.text).collect();
    assert_eq!(plans, [SHORT.to_owned(), other], "both are kept");
    standin.write("plan.toml", "");
    std::fs::remove_file(standin.path().join("plan.toml")).unwrap();
    let (code, text) = resume(&standin, &[]);
    assert!(code == Some(2) && text.contains("and that is not here") && text.contains("--plan FILE"), "{text}");
}

#[test]
fn after_a_trip_it_is_refused_unless_the_user_says_so() {
    let unit = unit("latch_up = { at_start = 5, current = \"300 mA\" }");
    let standin = StandIn::start(&unit, PACE);
    standin.write("plan.toml", SHORT);
    let (code, text) = Running::start(standin.path(), &["run", "plan.toml", "--pace", PACE]).end();
    assert_eq!(code, Some(3), "{text}");
    let (code, text) = resume(&standin, &[]);
    assert!(code == Some(2) && text.contains("an interlock had tripped: time in limiting"), "{text}");
    let (code, text) = resume(&standin, &["--after-trip"]);
    // The start that tripped has failed, and counts.
    assert_eq!(code, Some(1), "{text}");
    let run = Run::open(&only_run(standin.path())).unwrap();
    assert!(run.resumed().unwrap()[0].differs.contains("after a trip"), "{:?}", run.resumed());
    let starts = run.starts(3).unwrap();
    assert_eq!((starts.len(), starts.iter().filter(|s| s.counts == "failed").count()), (10, 1), "{starts:?}");
}
