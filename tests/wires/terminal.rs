//! A run on a terminal: the live line, and a terminal that goes away.

use crate::support::{StandIn, only_run, rampart};
use crate::texts::{SHORT, unit};
use rampart::record::Run;
use rampart::sys::Terminal;
use std::process::{Child, Stdio};
use tokio::io::{AsyncReadExt, AsyncWriteExt};

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
        for word in [" %, ", " s left ", " V ", " mA ", " running ", " 5/10: 0 failed"] {
            assert!(live.contains(word), "{word:?} is not in {live:?}");
        }
        // 9 V within what the supply is set by.
        assert!(live.contains(" 8.9") || live.contains(" 9.0"), "{live:?}");
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

#[test]
fn a_line_typed_while_a_question_stands_is_its_answer_and_any_other_a_mark() {
    runtime().block_on(async {
        let standin = StandIn::start(&unit(""), PACE);
        // Without a patch panel the operator is asked.
        let bench = std::fs::read_to_string(standin.path().join("bench.toml")).unwrap();
        let asks: String = bench.split("[patch]").next().unwrap().into();
        standin.write("bench.toml", &asks);
        let question = "[[stage]]\ndo = \"ask\"\nsay = \"Is the lid on?\"\naccept = [\"yes\"]\n";
        let plan = SHORT.replacen("[[stage]]", &format!("{question}[[stage]]"), 1);
        let mut terminal = Terminal::open().unwrap();
        standin.write("plan.toml", &plan);
        let stream = || Stdio::from(std::fs::OpenOptions::new().read(true).write(true).open(terminal.path()).unwrap());
        let mut child =
            rampart(standin.path(), &["run", "plan.toml"]).stdin(stream()).stdout(stream()).stderr(stream()).spawn().unwrap();
        let mut seen = String::new();
        until(&mut terminal, &mut seen, "Is the lid on?").await;
        terminal.write_all(b"yes\n").await.unwrap();
        until(&mut terminal, &mut seen, "stage 2/").await;
        terminal.write_all(b"\nsprayed U7 cold\n").await.unwrap();
        until(&mut terminal, &mut seen, "marked: sprayed U7 cold").await;
        until(&mut terminal, &mut seen, "Report: ").await;
        assert_eq!(child.wait().unwrap().code(), Some(0), "{seen}");
        let run = Run::open(&only_run(standin.path())).unwrap();
        let marks: Vec<String> = run.marks().unwrap().into_iter().map(|m| m.text).collect();
        assert_eq!(marks, ["sprayed U7 cold"]);
        let answers: Vec<String> = run.events().unwrap().into_iter().filter(|e| e.kind == "answer").map(|e| e.text).collect();
        assert!(answers.contains(&"yes".to_owned()), "{answers:?}");
    });
}
