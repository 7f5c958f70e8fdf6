//! The catalogue: `cargo bench --bench catalogue`. 5000 records; the index made from all of
//! them, and a filter answered by it, in this process and by the binary from its start;
//! the baseline is reading every record for the same answer, in this run.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    missing_docs,
    reason = "a measurement, not the tool"
)]

use rampart::analysis::finding::{Finding, Severity};
use rampart::instrument::{Measurand, Reading, Regulation, Role, Sample};
use rampart::record::catalogue::{Filter, Refresh, runs};
use rampart::record::{Durability, FileRow, Header, Record, Run};
use rampart::units::Seconds;
use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

const RECORDS: u32 = 5000;
const PLAN: &str = include_str!("../scripts/frost-alarm.toml");

/// A record like that of a short run: the shipped plan, 400 readings, a dozen findings.
fn make(logs: &Path, number: u32) {
    let day = 1 + number % 28;
    let month = 1 + (number / 28) % 12;
    let folder = logs.join(format!("2026{month:02}{day:02}T100000-frost-alarm-{number}"));
    std::fs::create_dir_all(&folder).unwrap();
    let header = Header {
        kind: "run",
        title: "Frost alarm".into(),
        unit: format!("orchard frost alarm, board {}", number % 50),
        seed: number.into(),
        began: format!("2026-{month:02}-{day:02}T10:00:00Z"),
        cautions: String::new(),
        files: vec![FileRow { kind: "plan".into(), name: "frost-alarm.toml".into(), text: PLAN.into() }],
    };
    let mut record = Record::create(&folder, &header, Durability::Rehearsal).unwrap();
    record.begin_stage(1, "log", "a log", Seconds(0.0)).unwrap();
    for place in 0..400 {
        let asked = Seconds(f64::from(place) * 0.1);
        let sample = Sample::Value { value: 0.012, u: 1e-5 };
        let reading = Reading {
            role: Role::Meter,
            measurand: Measurand::Current,
            asked,
            answered: asked,
            sample,
            regulation: Regulation::Voltage,
        };
        record.reading(1, None, None, &reading).unwrap();
    }
    record.end_stage(1, "done", Seconds(40.0)).unwrap();
    for place in 0..12 {
        let severity = if number.is_multiple_of(3) && place == 0 { Severity::Anomaly } else { Severity::Note };
        record.finding(Some(1), &Finding::new("log-current", severity, "The unit drew 12 mA.".into())).unwrap();
    }
    record.finish("the plan was carried out", u8::from(number.is_multiple_of(3)), Seconds(40.0)).unwrap();
}

/// The middle one of seven.
fn middle<T>(mut work: impl FnMut() -> T) -> (Duration, T) {
    let mut times = Vec::new();
    let mut last = None;
    for _ in 0..7 {
        let began = Instant::now();
        last = Some(work());
        times.push(began.elapsed());
    }
    times.sort_unstable();
    (times[3], last.unwrap())
}

fn main() {
    let place = tempfile::tempdir().unwrap();
    let logs = place.path().join("logs");
    (0..RECORDS).for_each(|number| make(&logs, number));

    let asked = Filter { unit: Some("board 7".into()), since: Some("2026-03".into()), ..Filter::default() };
    let began = Instant::now();
    let without: Vec<String> = (0..RECORDS)
        .map(|_| ())
        .zip(std::fs::read_dir(&logs).unwrap())
        .filter_map(|((), entry)| {
            let folder = entry.unwrap().path();
            let run = Run::open(&folder).unwrap();
            // What a list shows of it.
            run.findings().unwrap();
            run.files().unwrap();
            (run.unit.contains("board 7") && run.began.as_str() >= "2026-03")
                .then(|| folder.file_name().unwrap().to_string_lossy().into_owned())
        })
        .collect();
    let baseline = began.elapsed();

    let began = Instant::now();
    let all = runs(&logs, Refresh::All, &Filter::default()).unwrap();
    let rebuilt = began.elapsed();
    assert_eq!(all.len(), RECORDS as usize);

    let (answered, found) = middle(|| runs(&logs, Refresh::Changed, &asked).unwrap());
    assert_eq!(found.len(), without.len());
    assert!(found.iter().all(|e| without.contains(&e.name)), "the index says the same as the records");
    let binary = || {
        let command = &mut Command::new(env!("CARGO_BIN_EXE_rampart"));
        let said = command.args(["runs", "--unit", "board 7", "--since", "2026-03", "--json"]).current_dir(place.path()).output();
        serde_json::from_slice::<serde_json::Value>(&said.unwrap().stdout).unwrap().as_array().unwrap().len()
    };
    let (from_start, count) = middle(binary);
    assert_eq!(count, found.len());
    make(&logs, RECORDS);
    let began = Instant::now();
    runs(&logs, Refresh::Changed, &asked).unwrap();
    let one_more = began.elapsed();

    let ratio = |time: Duration| baseline.as_secs_f64() / time.as_secs_f64();
    let line = |what: &str, time: Duration| {
        println!("  {what:44} {:9.1} ms, {:7.2} times as fast", time.as_secs_f64() * 1e3, ratio(time))
    };
    println!("{RECORDS} records, {} found:", found.len());
    line("every record read (baseline)", baseline);
    line("the index made anew from all records", rebuilt);
    line("a filter answered by the index", answered);
    line("the same by the binary, from its start", from_start);
    line("the same with one record more than before", one_more);
}
