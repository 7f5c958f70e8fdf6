//! A run on a terminal: the live line, and a terminal that goes away.

use crate::support::{StandIn, only_run, rampart};
use crate::texts::{SHORT, unit};
use rampart::record::Run;
use rampart::sys::Terminal;
use std::process::{Child, Stdio};
use tokio::io::AsyncReadExt;

const PACE: &str = "4";

/// A run whose three standard streams are a terminal.
fn run_on(terminal: &Terminal, standin: &StandIn) -> Child {
    standin.write("plan.toml", SHORT);
    let stream = || {
        let file = std::fs::OpenOptions::new().read(true).write(true).open(terminal.path()).unwrap();
        Stdio::from(file)
    };
    rampart(standin.path(), &["run", "plan.toml", "--pace", PACE])
        .stdin(stream())
        .stdout(stream())
        .stderr(stream())
        .env("TERM", "xterm")
        .env("COLUMNS", "120")
        .spawn()
        .unwrap()
}

/// Reads from the terminal until `words` have come.
async fn until(terminal: &mut Terminal, seen: &mut String, words: &str) {
    let mut chunk = [0; 4096];
    while !seen.contains(words) {
        let wait = std::time::Duration::from_secs(60);
        let count = tokio::time::timeout(wait, terminal.read(&mut chunk)).await.expect(seen).unwrap();
        assert!(count > 0, "{seen}");
        seen.push_str(&String::from_utf8_lossy(&chunk[..count]));
    }
}

fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap()
}

#[test]
fn a_live_line_tells_stage_progress_time_left_and_readings() {
    runtime().block_on(async {
        let standin = StandIn::start(&unit(""), PACE);
        let mut terminal = Terminal::open().unwrap();
        let mut child = run_on(&terminal, &standin);
        let mut seen = String::new();
        until(&mut terminal, &mut seen, "Report: ").await;
        assert_eq!(child.wait().unwrap().code(), Some(0), "{seen}");
        // One line of 80 columns, as it stood at some moment of the third stage.
        let live = seen.split(['\r', '\n']).find(|l| l.contains("3/3 start ") && l.contains("5/10: ")).expect(&seen);
        for word in [" %, ", " s left ", " 9.00", " V ", " mA ", " running ", " 5/10: 0 failed"] {
            assert!(live.contains(word), "{word:?} is not in {live:?}");
        }
    });
}

#[test]
fn a_terminal_that_goes_away_does_not_end_a_run() {
    runtime().block_on(async {
        let standin = StandIn::start(&unit(""), PACE);
        let mut terminal = Terminal::open().unwrap();
        let mut child = run_on(&terminal, &standin);
        let mut seen = String::new();
        until(&mut terminal, &mut seen, "stage 2/3").await;
        // Not the run's controlling terminal: no SIGHUP comes, but every line that
        // is printed from now on fails.
        drop(terminal);
        assert_eq!(child.wait().unwrap().code(), Some(0));
        let folder = only_run(standin.path());
        assert_eq!(Run::open(&folder).unwrap().starts(3).unwrap().len(), 10);
        assert!(folder.join("report.html").exists());
        assert!(standin.end().contains("output 1 off"));
    });
}
