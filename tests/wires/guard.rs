//! The guard, with real processes: whatever ends a run, the output ends off.

use crate::support::{PATIENCE, Running, StandIn, only_run, signal};
use crate::texts::{SHORT, unit};
use rampart::record::Run;
use rustix::process::{Pid, Signal, kill_process, test_kill_process};
use std::time::{Duration, Instant};

/// A run that is in its log, with the output on.
fn logging(standin: &mut StandIn) -> Running {
    // A silence of one second, so that a run that hangs is lost after four.
    let plan = SHORT.replacen("[[stage]]", "[interlock]\nno_reading = \"1 s\"\n\n[[stage]]", 1).replace("\"5 s\"", "\"5 min\"");
    standin.write("plan.toml", &plan);
    let mut run = Running::start(standin.path(), &["run", "plan.toml"]);
    run.until("stage 2/3");
    let began = Instant::now();
    while !standin.state().contains("output 1 ON") {
        assert!(began.elapsed() < PATIENCE, "never on");
    }
    run
}

/// The guard's process, as the record names it.
pub fn guard_of(standin: &StandIn) -> Pid {
    let record = Run::open(&only_run(standin.path())).unwrap();
    let events = record.events().unwrap();
    let event = events.iter().find(|e| e.kind == "guard").unwrap();
    Pid::from_raw(event.text.rsplit(' ').next().unwrap().parse().unwrap()).unwrap()
}

/// Ended, and waits at most to be counted by a parent that does not.
fn is_dead(process: Pid) -> bool {
    let state = std::fs::read_to_string(format!("/proc/{}/stat", process.as_raw_nonzero())).unwrap_or_default();
    test_kill_process(process).is_err() || state.rsplit(") ").next().is_some_and(|rest| rest.starts_with('Z'))
}

pub fn gone(process: Pid) {
    let began = Instant::now();
    while !is_dead(process) {
        assert!(began.elapsed() < PATIENCE, "the guard stays");
        std::thread::yield_now();
    }
}

fn log_of(standin: &StandIn) -> String {
    std::fs::read_to_string(only_run(standin.path()).join("guard.log")).unwrap()
}

#[test]
fn a_run_that_is_killed_leaves_its_output_off_within_a_second() {
    for (ways, name) in [(&[][..], "TCP"), (&["--supply", "serial"][..], "serial")] {
        let mut standin = StandIn::start_with(&unit(""), "1", ways);
        let run = logging(&mut standin);
        let guard = guard_of(&standin);
        signal(&run.child, Signal::KILL);
        let took = standin.until_off();
        assert!(took < Duration::from_secs(1), "{name}: {took:?}");
        gone(guard);
        let log = log_of(&standin);
        assert!(
            log.contains("has ended without having seen its output off") && log.contains("output off, verified"),
            "{name}: {log}"
        );
        run.end();
    }
}

#[test]
fn a_run_that_hangs_is_ended_and_its_output_switched_off() {
    let mut standin = StandIn::start(&unit(""), "1");
    let run = logging(&mut standin);
    signal(&run.child, Signal::STOP);
    // The supply's own timer may be first: it hears nothing, as long as its guard hears nothing.
    let took = standin.until_off();
    assert!(took < Duration::from_secs(8), "{took:?}");
    let (code, text) = run.end();
    assert_eq!(code, None, "killed: {text}");
    assert!(log_of(&standin).contains("no sign of life"), "{}", log_of(&standin));
}

#[test]
fn without_its_guard_a_run_does_not_stay_on() {
    let mut standin = StandIn::start(&unit(""), "1");
    let run = logging(&mut standin);
    kill_process(guard_of(&standin), Signal::KILL).unwrap();
    let (code, text) = run.end();
    assert_eq!(code, Some(4), "{text}");
    assert!(text.contains("the guard process is gone") && text.contains("Output off, verified"), "{text}");
    assert!(standin.end().contains("output 1 off"));
}

#[test]
fn the_terminals_signals_do_not_reach_the_guard() {
    let mut standin = StandIn::start(&unit(""), "1");
    let run = logging(&mut standin);
    let guard = guard_of(&standin);
    // Not compared with this process's session: that has no number here where its leader is outside of the container.
    assert_eq!(rustix::process::getsid(Some(guard)).unwrap(), guard, "it leads a session of its own");
    for number in [Signal::INT, Signal::HUP, Signal::TERM, Signal::QUIT] {
        kill_process(guard, number).unwrap();
    }
    // It still does what it is for.
    signal(&run.child, Signal::KILL);
    assert!(standin.until_off() < Duration::from_secs(1));
    gone(guard);
    run.end();
}

#[test]
fn where_the_run_cannot_verify_off_the_guard_goes_on_trying() {
    let mut standin = StandIn::start(&unit(""), "1");
    let mut run = logging(&mut standin);
    let guard = guard_of(&standin);
    standin.signal(Signal::STOP);
    // Its end, and not that of its output: the guard speaks on the same terminal.
    assert_eq!(run.child.wait().unwrap().code(), Some(6));
    standin.signal(Signal::CONT);
    gone(guard);
    let (_, text) = run.end();
    assert!(text.contains("GO AND LOOK") && text.contains("The guard process goes on trying"), "{text}");
    assert!(log_of(&standin).contains("output off, verified"), "{}", log_of(&standin));
    assert!(standin.end().contains("output 1 off"));
}

#[test]
fn a_run_that_ends_well_sends_its_guard_away() {
    let standin = StandIn::start(&unit(""), "4");
    standin.write("plan.toml", SHORT);
    let (code, text) = Running::start(standin.path(), &["run", "plan.toml", "--pace", "4"]).end();
    assert_eq!(code, Some(0), "{text}");
    gone(guard_of(&standin));
    assert!(!only_run(standin.path()).join("guard.log").exists(), "it had nothing to do");
}
