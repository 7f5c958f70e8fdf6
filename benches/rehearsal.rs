//! What a rehearsal costs: `cargo bench`. Each figure is a ratio to something
//! that was measured in the same run, because machines are noisy:
//!
//! - 500 starts: bench time over the time that they took;
//! - the same, over the time that bare SQLite takes for as many rows;
//! - from 500 to 10,000 starts of the demo unit, with judgement and report: the cost of each
//!   over that among the fewest, in time of the processor, with the most memory of each,
//!   the binary being run anew for every number;
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

/// The demo plan with more and more starts, through the binary, so that each has a process
/// of its own: what a start costs, over what each of the fewest does. Flat is 1. What the
/// other stages cost is measured alone and taken off.
fn curve() {
    let plan = include_str!("../scripts/frost-alarm.toml");
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    std::fs::write(place("plan.unit.toml"), include_str!("../scripts/frost-alarm.unit.toml")).unwrap();
    let run = |times: u32| -> (f64, f64, String) {
        let text = plan.replace("times     = 300", &format!("times = {times}"));
        assert_ne!(text, plan, "the demo plan has 300 starts");
        std::fs::write(place("plan.toml"), text).unwrap();
        let logs = place("logs");
        let began = Instant::now();
        let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_rampart"))
            .args(["rehearse", "--seed", "3", "--json", "--logs"])
            .args([&logs, &place("plan.toml")])
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::null())
            .spawn()
            .unwrap();
        let before = processor_of_children();
        // What it used last is read while it still is there: its memory goes with it.
        let mut memory = String::new();
        while child.try_wait().unwrap().is_none() {
            memory = most_memory(child.id()).unwrap_or(memory);
            std::thread::sleep(Duration::from_millis(5));
        }
        let took = began.elapsed().as_secs_f64();
        let processor = processor_of_children() - before;
        std::fs::remove_dir_all(&logs).unwrap();
        (processor, took, memory)
    };
    let (rest, ..) = run(10);
    let mut first = None;
    println!("starts of the demo      for each   over the fewest   wall time   most memory");
    for times in [500, 1000, 2000, 5000, 10_000] {
        let (processor, took, memory) = run(times);
        let each = (processor - rest) / f64::from(times - 10);
        let ratio = each / *first.get_or_insert(each);
        println!("{times:18} {:10.2} ms {ratio:17.2} {took:9.1} s {memory:>13}", each * 1e3);
    }
}

/// Seconds of the processor that children which have ended have used, in the program and in
/// the system for it, as Linux tells it (proc(5): fields 16 and 17 of stat, in hundredths).
fn processor_of_children() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after = stat.rsplit_once(") ").map_or("", |(_, after)| after);
    after.split(' ').skip(13).take(2).filter_map(|ticks| ticks.parse::<f64>().ok()).sum::<f64>() / 100.0
}

/// As Linux tells it.
fn most_memory(process: u32) -> Option<String> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status")).ok()?;
    Some(status.lines().find_map(|l| l.strip_prefix("VmHWM:"))?.trim().to_owned())
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
