//! Plans, benches, profiles, unit files, records and replies of any content: no panic,
//! no unbounded memory, and a message that points.
//!
//! Each starts from the corpus beside this file and is changed by a seed.
//! `RAMPART_HOSTILE_RUNS=1000000 cargo test --test hostile -- --nocapture` runs long;
//! `RAMPART_HOSTILE_SEED` repeats. What once went wrong goes into the corpus.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test that cannot go on stops"
)]

mod mutate;
#[path = "../bench/support.rs"]
#[allow(dead_code, reason = "the whole runs of the other tests use the rest")]
mod support;

use mutate::mutate;
use rampart::clock::Clock;
use rampart::document::{Document, Problems};
use rampart::instrument::profile::Profile;
use rampart::instrument::session::framing;
use rampart::interlock::open_supply;
use rampart::link::memory;
use rampart::link::trace::{Direction, TrafficSink};
use rampart::plan::{Bench, Plan, check};
use rampart::record::{Durability, Record, Run, verify};
use rampart::rehearsal::UnitFile;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};

/// Cases of each kind where nobody asks for more.
const RUNS: u64 = 20_000;
/// What reading anything may take beyond what the test has anyway, in kilobytes.
const MEMORY: u64 = 400_000;

fn setting(name: &str) -> Option<u64> {
    std::env::var(name).ok().and_then(|v| v.parse().ok())
}

/// Calls `case` with one changed text after the other; `share` of the runs asked for.
fn changed(kind: &str, share: f64, mut case: impl FnMut(&str, &[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/hostile/corpus").join(kind);
    let mut paths: Vec<PathBuf> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    paths.sort();
    let corpus: Vec<Vec<u8>> = paths.iter().map(|p| std::fs::read(p).unwrap()).collect();
    let fresh = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs() * 1_000_000;
    let first = setting("RAMPART_HOSTILE_SEED");
    let runs = first.map_or((setting("RAMPART_HOSTILE_RUNS").unwrap_or(RUNS) as f64 * share) as u64, |_| 1).max(1);
    let first = first.unwrap_or(fresh);
    println!("{kind}: {runs} cases from seed {first} (RAMPART_HOSTILE_SEED)");
    let before = peak();
    for seed in first..first + runs {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let (text, other) = (corpus.choose(&mut random).unwrap(), corpus.choose(&mut random).unwrap());
        let bytes = mutate(&mut random, text, other);
        let what = format!("{kind}, RAMPART_HOSTILE_SEED={seed}");
        let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| case(&what, &bytes)));
        assert!(done.is_ok(), "{what} panicked; the input:\n{}", String::from_utf8_lossy(&bytes));
    }
    let grown = peak().saturating_sub(before);
    assert!(grown < MEMORY, "{kind}: {grown} kB more at the peak");
}

/// The most memory that the process has had, in kilobytes; 0 where the system does not say.
fn peak() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}

/// An error says something, and not without end; in a text with lines it points at one.
fn pointed(what: &str, text: &str, problems: &Problems) {
    assert!(problems.any_errors(), "{what}: refused without a word");
    for problem in problems.iter() {
        assert!(!problem.title.is_empty(), "{what}");
        if let Some((line, _)) = problem.line_column() {
            assert!(line <= text.lines().count() + 1, "{what}: {problem:?}");
        }
    }
    let told = problems.to_string();
    assert!(told.len() < 1000 + text.len() * 200, "{what}: {} bytes of complaint", told.len());
}

#[test]
fn plans() {
    let bench = Bench::read(&Document::new("bench.toml", support::BENCH)).unwrap_or_else(|p| panic!("{p}"));
    let (mut good, mut bad) = (0, 0);
    changed("plan", 1.0, |what, bytes| {
        let text = String::from_utf8_lossy(bytes).into_owned();
        match Plan::read(&Document::new("plan.toml", text.clone())) {
            Ok(plan) => {
                let checked = check(plan, bench.clone(), "2026-11-25");
                assert_eq!(checked.passed.is_none(), checked.problems.any_errors(), "{what}");
                drop(checked.problems.to_string());
                good += 1;
            }
            Err(problems) => {
                pointed(what, &text, &problems);
                bad += 1;
            }
        }
    });
    println!("plans: {good} read, {bad} refused");
}

#[test]
fn benches() {
    let plan = Plan::read(&Document::new("plan.toml", support::SHORT)).unwrap_or_else(|p| panic!("{p}"));
    changed("bench", 1.0, |what, bytes| {
        let text = String::from_utf8_lossy(bytes).into_owned();
        match Bench::read(&Document::new("bench.toml", text.clone())) {
            Ok(bench) => drop(check(plan.clone(), bench, "2026-11-25").problems.to_string()),
            Err(problems) => pointed(what, &text, &problems),
        }
    });
}

#[test]
fn profiles_and_what_a_check_makes_of_them() {
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan::read(&Document::new("plan.toml", support::SHORT)).unwrap_or_else(|p| panic!("{p}"));
    let name = folder.path().join("bench.toml").display().to_string();
    changed("profile", 1.0, |what, bytes| {
        let text = String::from_utf8_lossy(bytes).into_owned();
        match Profile::read("p", Document::new("p.toml", text.clone())) {
            Ok(profile) if profile.supply().is_some() => {
                std::fs::write(folder.path().join("p.toml"), bytes).unwrap();
                if let Ok(bench) = Bench::read(&Document::new(name.clone(), "[supply]\nprofile = \"p.toml\"\n")) {
                    drop(check(plan.clone(), bench, "2026-11-25").problems.to_string());
                }
            }
            Ok(_) => {}
            Err(problems) => pointed(what, &text, &problems),
        }
    });
}

#[test]
fn unit_files() {
    changed("unit", 1.0, |what, bytes| {
        let text = String::from_utf8_lossy(bytes).into_owned();
        if let Err(problems) = UnitFile::read(&Document::new("unit.toml", text.clone())) {
            pointed(what, &text, &problems);
        }
    });
}

struct Deaf;
impl TrafficSink for Deaf {
    fn message(&self, _: Direction, _: &[u8]) {}
}

/// A supply that answers anything: what it says is refused or believed, in time.
#[test]
fn replies() {
    let dialects = ["supply-channel-list", "supply-channel-select", "supply-index-in-header", "supply-acknowledged"];
    let mut number = 0;
    changed("reply", 0.05, |what, bytes| {
        number += 1;
        let bench = format!("[supply]\nprofile = \"{}\"\n", dialects[number % dialects.len()]);
        let bench = Bench::read(&Document::new("bench.toml", bench)).unwrap_or_else(|p| panic!("{p}"));
        let lines: Vec<Vec<u8>> = bytes.split(|b| *b == b'\n').map(<[u8]>::to_vec).collect();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().start_paused(true).build().unwrap();
        let took = runtime.block_on(async {
            let clock = Clock::start(1.0);
            let (near, far) = memory::pair(framing(&bench.supply.profile.wire));
            let end = bench.supply.profile.wire.receive_end.clone();
            let mut random = ChaCha8Rng::seed_from_u64(number as u64);
            tokio::spawn(async move {
                let (reader, mut writer) = tokio::io::split(far);
                let (mut reader, mut heard) = (BufReader::new(reader), Vec::new());
                while reader.read_until(b'\n', &mut heard).await.is_ok_and(|read| read > 0) {
                    for _ in 0..random.random_range(0..3) {
                        let line = lines.choose(&mut random).cloned().unwrap_or_default();
                        let answered = writer.write_all(&[&line[..], end.as_bytes()].concat()).await;
                        if answered.is_err() {
                            return;
                        }
                    }
                    heard.clear();
                }
            });
            if let Ok(mut opened) = open_supply(Box::new(near), &bench.supply, clock, Arc::new(Deaf)).await {
                drop(opened.instrument.audit().await);
                drop(opened.instrument.snapshot().await);
                drop(opened.instrument.off().await);
            }
            clock.now()
        });
        assert!(took.0 < 600.0, "{what}: it took {took} of bench time");
    });
}

/// A record that something has written over: read, verified, reported, gone on with,
/// or refused.
#[test]
fn records() {
    let outcome = support::rehearse(support::Setup::default());
    let whole = std::fs::read(outcome.folder.path().join("run.sqlite")).unwrap();
    let runs = (setting("RAMPART_HOSTILE_RUNS").unwrap_or(RUNS) / 100).max(1);
    let fresh = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs() * 1_000_000;
    let first = setting("RAMPART_HOSTILE_SEED").unwrap_or(fresh);
    println!("records: {runs} cases from seed {first} (RAMPART_HOSTILE_SEED)");
    let (mut noticed, mut unreadable) = (0, 0);
    for seed in first..first + runs {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let mut bytes = whole.clone();
        match random.random_range(0..4) {
            0 => bytes.truncate(random.random_range(0..bytes.len())),
            1 => {
                let page = random.random_range(0..bytes.len() / 4096) * 4096;
                bytes[page..page + 4096].fill(random.random());
            }
            _ => {
                for _ in 0..random.random_range(1..4) {
                    let at = random.random_range(0..bytes.len());
                    bytes[at] ^= 1 << random.random_range(0..8);
                }
            }
        }
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("run.sqlite"), &bytes).unwrap();
        let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            match verify(folder.path()) {
                Ok(seen) => noticed += u64::from(!seen.damage.is_empty()),
                Err(error) => {
                    assert!(!error.to_string().is_empty());
                    unreadable += 1;
                }
            }
            if let Ok(run) = Run::open(folder.path()) {
                for stage in run.stages().unwrap_or_default() {
                    drop((run.readings(stage.number), run.starts(stage.number), run.leakages(stage.number)));
                }
                drop((run.events(), run.findings(), run.settings(), run.files(), run.preflight()));
            }
            drop(rampart::report::write(folder.path()));
            drop(Record::append(folder.path(), Durability::Rehearsal).map(|_| ()));
        }));
        assert!(done.is_ok(), "RAMPART_HOSTILE_SEED={seed}: a damaged record made it panic");
    }
    println!("records: {noticed} named what is damaged, {unreadable} could not be read at all, of {runs}");
}
