//! How runs over TCP end, seen from both ends of the wire.

use crate::support::{Running, StandIn, only_run, signal};
use crate::texts::{SHORT, unit};
use rampart::record::Run;
use rustix::process::Signal;
use std::io::{Read, Write};

const PACE: &str = "4";

fn run(standin: &StandIn) -> Running {
    standin.write("plan.toml", SHORT);
    Running::start(standin.path(), &["run", "plan.toml", "--pace", PACE])
}

#[test]
fn a_good_unit() {
    let standin = StandIn::start(&unit(""), PACE);
    let (code, text) = run(&standin).end();
    assert_eq!(code, Some(0), "{text}");
    let record = Run::open(&only_run(standin.path())).unwrap();
    assert_eq!(record.starts(3).unwrap().iter().filter(|s| s.counts == "good").count(), 10, "{text}");
    let state = standin.end();
    assert!(state.contains("output 1 off") && state.contains("switched on 12 times"), "{state}");
}

#[test]
fn over_current_in_a_start() {
    // The third time that it is switched on is the first start.
    let standin = StandIn::start(&unit("latch_up = { at_start = 3, current = \"300 mA\" }"), PACE);
    let (code, text) = run(&standin).end();
    assert_eq!(code, Some(3), "{text}");
    assert!(text.contains("interlock: "), "{text}");
    let record = Run::open(&only_run(standin.path())).unwrap();
    assert_eq!(record.starts(3).unwrap().len(), 1, "{text}");
    let state = standin.end();
    assert!(state.contains("output 1 off") && state.contains("switched on 3 times"), "{state}");
}

#[test]
fn the_meters_wire_is_cut_in_a_start() {
    let standin = StandIn::start(&unit(""), PACE);
    let hand = standin.through_a_hand();
    let mut run = run(&standin);
    run.until("stage 3/3");
    // Two starts of 2 s and a part of the third, by what the meter has said.
    let before = hand.lines().len();
    while hand.lines().len() < before + 150 {
        std::thread::yield_now();
    }
    hand.cut();
    let (code, text) = run.end();
    assert_eq!(code, Some(4), "{text}");
    assert!(text.contains("meter: ") && text.contains("closed"), "{text}");
    assert!(text.contains("Output off, verified"), "{text}");
    let record = Run::open(&only_run(standin.path())).unwrap();
    let starts = record.starts(3).unwrap();
    let (last, earlier) = starts.split_last().unwrap();
    assert_eq!(last.counts, "void", "{starts:?}");
    assert!(!earlier.is_empty() && earlier.iter().all(|s| s.counts == "good"), "{starts:?}");
    let state = standin.end();
    assert!(state.contains("output 1 off"), "{state}");
}

#[test]
fn a_signal_switches_off_and_says_what_is_kept() {
    for (number, name) in [(Signal::INT, "Ctrl-C"), (Signal::TERM, "SIGTERM"), (Signal::HUP, "terminal")] {
        let mut standin = StandIn::start(&unit(""), PACE);
        let hand = standin.through_a_hand();
        let mut run = run(&standin);
        run.until("stage 2/3");
        while !standin.state().contains("switched on 2 times") {
            std::thread::yield_now();
        }
        let before = hand.lines().len();
        while hand.lines().len() < before + 5 {
            std::thread::yield_now();
        }
        signal(&run.child, number);
        let (code, text) = run.end();
        assert_eq!(code, Some(130), "{text}");
        assert!(text.contains(name), "{name}: {text}");
        assert!(text.contains("Output off, verified") && text.contains("Nothing that was recorded is lost"), "{text}");
        assert!(only_run(standin.path()).join("report.html").exists(), "{text}");
        let state = standin.end();
        assert!(state.contains("output 1 off") && state.contains("switched on 2 times"), "{state}");
    }
}

#[test]
fn off_asks_the_run_that_holds_the_supply_to_stop() {
    let mut standin = StandIn::start(&unit(""), "1");
    standin.write("plan.toml", SHORT);
    let mut run = Running::start(standin.path(), &["run", "plan.toml"]);
    run.until("stage 2/3");
    while !standin.state().contains("output 1 ON") {
        std::thread::yield_now();
    }
    let off = crate::support::rampart(standin.path(), &["off"]).output().unwrap();
    let said = format!("{}{}", String::from_utf8_lossy(&off.stdout), String::from_utf8_lossy(&off.stderr));
    assert_eq!(off.status.code(), Some(0), "{said}");
    assert!(said.contains("rampart run plan.toml") && said.contains("it is asked to stop"), "{said}");
    let (code, text) = run.end();
    assert!(code == Some(130) && text.contains("Output off, verified"), "{text}");
    assert!(standin.end().contains("output 1 off"));
}

#[test]
fn an_output_left_on_is_switched_off_by_hand() {
    let mut standin = StandIn::start(&unit(""), "1");
    let bench = std::fs::read_to_string(standin.path().join("bench.toml")).unwrap();
    let port = bench.split("TCPIP::127.0.0.1::").nth(1).unwrap().split("::").next().unwrap().parse::<u16>().unwrap();
    {
        let mut somebody = std::net::TcpStream::connect(("127.0.0.1", port)).unwrap();
        somebody.write_all(b"VOLT 5,(@1)\nOUTP ON,(@1)\nOUTP? (@1)\n").unwrap();
        let mut answer = [0; 1];
        somebody.read_exact(&mut answer).unwrap();
    }
    assert!(standin.state().contains("output 1 ON"));
    let off = crate::support::rampart(standin.path(), &["off"]).output().unwrap();
    let said = String::from_utf8_lossy(&off.stdout);
    assert_eq!(off.status.code(), Some(0), "{said}");
    assert!(said.contains("output off, verified"), "{said}");
    assert!(standin.end().contains("output 1 off"));
}

#[test]
fn an_off_that_reaches_nobody_shouts() {
    let folder = tempfile::tempdir().unwrap();
    // A port that was free a moment ago, and that nobody listens on.
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let bench = format!("[supply]\naddress = \"TCPIP::127.0.0.1::{port}::SOCKET\"\nprofile = \"supply-channel-list\"\n");
    std::fs::write(folder.path().join("bench.toml"), bench).unwrap();
    let off = crate::support::rampart(folder.path(), &["off"]).output().unwrap();
    assert_eq!(off.status.code(), Some(6));
    assert!(String::from_utf8_lossy(&off.stderr).contains("AN OUTPUT COULD NOT BE VERIFIED OFF. GO AND LOOK"));
}

#[test]
fn a_second_run_at_the_same_instruments_is_refused() {
    let standin = StandIn::start(&unit(""), PACE);
    let mut first = run(&standin);
    first.until("stage 2/3");
    let second = crate::support::rampart(standin.path(), &["run", "plan.toml", "--pace", PACE]).output().unwrap();
    let said = String::from_utf8_lossy(&second.stderr);
    assert_eq!(second.status.code(), Some(4), "{said}");
    assert!(said.contains("is in use: process ") && said.contains("rampart run plan.toml, since "), "{said}");
    let (code, text) = first.end();
    assert_eq!(code, Some(0), "the first goes on undisturbed: {text}");
    only_run(standin.path());
}
