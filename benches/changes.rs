//! Change points: `cargo bench --bench changes`. The same series, penalty and least
//! length for ours and for ruptures' compiled kernel search (`tests/peers/changes.py`),
//! both in this run; the changes found must be the same. And a long log, against reading
//! its values once.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::print_stderr,
    missing_docs,
    reason = "a measurement, not the tool"
)]

#[path = "../tests/peers/support.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod support;

use rampart::analysis::changes::{mean, mean_and_variance};
use rand::{RngExt, SeedableRng};
use std::hint::black_box;
use std::time::{Duration, Instant};

/// Readings with noise 1 whose level is another after every `every`.
fn series(length: usize, every: usize) -> Vec<f64> {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
    (0..length)
        .map(|i| {
            let (a, b): (f64, f64) = (random.random(), random.random());
            let noise = (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos();
            noise + if (i / every) % 2 == 1 { 3.0 } else { 0.0 }
        })
        .collect()
}

fn timed<T>(mut work: impl FnMut() -> T) -> (Duration, T) {
    let mut times = Vec::new();
    let mut made = None;
    for _ in 0..5 {
        let began = Instant::now();
        made = Some(black_box(work()));
        times.push(began.elapsed());
    }
    times.sort_unstable();
    (times[2], made.unwrap())
}

fn main() {
    const LENGTH: usize = 50_000;
    let penalty = 2.0 * (LENGTH as f64).ln();
    println!("{LENGTH} readings, penalty {penalty:.2}, segments of 2 readings or more:");
    for (name, every) in [("a change every 100", 100), ("a change every 1000", 1000), ("no change", usize::MAX)] {
        let values = series(LENGTH, every);
        let (ours, found) = timed(|| mean(&values, penalty, 2).unwrap());
        let case = serde_json::json!({ "search": "kernel", "values": values, "penalty": penalty, "least": 2 });
        let Some(theirs) = support::python("changes.py", &serde_json::json!({ "cases": [case] })) else { return };
        let changes: Vec<usize> = serde_json::from_value(theirs[0]["changes"].clone()).unwrap();
        assert_eq!(found.changes, changes, "{name}: another optimum");
        let seconds = theirs[0]["seconds"].as_f64().unwrap();
        println!(
            "  {name}: ours {:8.2} ms, ruptures' kernel search {:9.2} ms: {:8.1} times as fast, the same {} changes",
            ours.as_secs_f64() * 1e3,
            seconds * 1e3,
            seconds / ours.as_secs_f64(),
            changes.len()
        );
    }
    for (name, every) in [("a change every 1000", 1000), ("no change", usize::MAX)] {
        let long = series(1_000_000, every);
        let (once, _) = timed(|| long.iter().map(|v| v * v).sum::<f64>());
        let (ours, found) = timed(|| mean(&long, 3.0 * 1e6f64.ln(), 1).unwrap());
        println!(
            "1000000 readings, {name}: {:.3} s, {:.0} times a sum of squares; {} changes",
            ours.as_secs_f64(),
            ours.as_secs_f64() / once.as_secs_f64(),
            found.changes.len()
        );
    }
    let values = series(20_000, 200);
    let (one, _) = timed(|| mean(&values, 30.0, 2).unwrap());
    let (both, _) = timed(|| mean_and_variance(&values, 1e-6, 45.0, 2).unwrap());
    println!(
        "20000 readings, a change every 200: mean and variance over mean alone {:.1}",
        both.as_secs_f64() / one.as_secs_f64()
    );
}
