//! What a rehearsal costs: `cargo bench`. Each figure is a ratio to something
//! that was measured in the same run, because machines are noisy:
//!
//! - 500 starts: bench time over the time that they took;
//! - the same, over the time that bare SQLite takes for as many rows;
//! - from 300 to 10,000 starts of the demo unit: the cost of each over that among the fewest;
//! - reading a reply: over `str::parse` of the same text.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout, missing_docs, reason = "a measurement, not the tool")]

#[path = "../tests/bench/support.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod support;

use std::hint::black_box;
use std::time::{Duration, Instant};
use support::{Setup, rehearse, unit};

const PLAN: &str = r#"
title = "500 starts"
[unit]
name = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[[stage]]
do = "start"
voltage = "9 V"
limit = { starting = "100 mA", running = "40 mA", after = "100 ms" }
times = 500
off = "500 ms"
watch = "1.5 s"
states = { running = ["8 mA", "20 mA"] }
"#;

/// The median of five rounds.
fn median(mut round: impl FnMut() -> Duration) -> Duration {
    let mut times: Vec<Duration> = (0..5).map(|_| round()).collect();
    times.sort_unstable();
    times[2]
}

fn timed<T>(work: impl FnOnce() -> T) -> (Duration, T) {
    let began = Instant::now();
    let made = black_box(work());
    (began.elapsed(), made)
}

fn starts() {
    let (mut rows, mut bench_time) = (0, 0.0);
    let ours = median(|| {
        let (took, outcome) = timed(|| rehearse(Setup { plan: PLAN, unit: unit(""), ..Setup::default() }));
        assert_eq!(outcome.run.starts(1).unwrap().len(), 500);
        rows = outcome.run.readings(1).unwrap().len();
        bench_time = outcome.run.ended.unwrap().0;
        took
    });
    let bare = median(|| {
        let folder = tempfile::tempdir().unwrap();
        let mut store = rusqlite::Connection::open(folder.path().join("bare.sqlite")).unwrap();
        store.pragma_update(None, "synchronous", "OFF").unwrap();
        store
            .execute_batch("CREATE TABLE r (a INTEGER, b INTEGER, c TEXT, d TEXT, e REAL, f REAL, g TEXT, h REAL, i REAL)")
            .unwrap();
        timed(|| {
            let work = store.transaction().unwrap();
            let mut insert = work.prepare("INSERT INTO r VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)").unwrap();
            for row in 0..u32::try_from(rows).unwrap() {
                insert.execute(rusqlite::params![1, row, "supply", "current", 0.1, 0.2, "value", 0.012, 1e-5]).unwrap();
            }
            drop(insert);
            work.commit().unwrap();
        })
        .0
    });
    println!("500 starts, {:.1} min of bench time, {rows} readings: {:.2} s", bench_time / 60.0, ours.as_secs_f64());
    println!("  bench time over the time taken:      {:8.0}", bench_time / ours.as_secs_f64());
    println!("  over as many rows into bare SQLite:  {:8.1}", ours.as_secs_f64() / bare.as_secs_f64());
}

/// The demo unit's starts, more and more of them: what each costs over what each of the
/// fewest costs, the solver's part included. Flat is 1. And the most memory so far.
fn curve() {
    let plan = include_str!("../scripts/frost-alarm.toml");
    let begin = plan.find("[[stage]]\ndo        = \"start\"").unwrap();
    let end = plan.find("[[stage]]\ndo        = \"leakage\"").unwrap();
    let head = &plan[..plan.find("[[stage]]").unwrap()];
    let mut first = None;
    println!("starts of the demo unit      for each   over the fewest   most memory");
    for times in [300, 1000, 3000, 10_000] {
        let stage = plan[begin..end].replace("times     = 300", &format!("times = {times}"));
        let unit = include_str!("../scripts/frost-alarm.unit.toml").to_owned();
        let plan = format!("{head}{stage}");
        let (took, outcome) = timed(|| rehearse(Setup { plan: &plan, unit, ..Setup::default() }));
        assert_eq!(outcome.run.starts(1).unwrap().len(), times);
        let each = took.as_secs_f64() / times as f64;
        let ratio = each / *first.get_or_insert(each);
        println!("{times:22} {:10.2} ms {ratio:13.2} {:>16}", each * 1e3, most_memory());
    }
}

/// As Linux tells it.
fn most_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:")).unwrap_or("not known here");
    line.trim().to_owned()
}

fn replies() {
    const COUNT: u32 = 200_000;
    let texts: Vec<String> = (0..COUNT).map(|n| format!("+{:.6E}", 1e-3 + f64::from(n) * 1e-9)).collect();
    let ours = median(|| timed(|| texts.iter().filter(|t| rampart::scpi::response::parse_one(t.as_bytes()).is_ok()).count()).0);
    let plain = median(|| timed(|| texts.iter().filter(|t| t.parse::<f64>().is_ok()).count()).0);
    println!("{COUNT} replies read, over str::parse:    {:8.1}", ours.as_secs_f64() / plain.as_secs_f64());
}

fn main() {
    starts();
    curve();
    replies();
}
