//! Change points against ruptures: its compiled kernel search, its dynamic programme and
//! its PELT with both costs. The penalised cost must be the same, and the changes too,
//! but for ties.
//!
//! ruptures prunes at once what a segment of the least length could still need, so that
//! with a least length above one its penalised searches may miss the optimum by a little:
//! ours must never cost more, and be equal where the lengths allow it to be.

use crate::support::{close, python};
use rampart::analysis::changes::{Partition, mean, mean_and_variance};
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};

/// What ruptures adds to every variance (`add_small_diag`).
const SMALL: f64 = 1e-6;

fn normal(random: &mut impl Rng) -> f64 {
    let (a, b): (f64, f64) = (random.random(), random.random());
    (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

fn series(random: &mut ChaCha8Rng, length: usize) -> Vec<f64> {
    let often = random.random_range(0.0..0.06);
    let (mut level, mut spread) = (0.0, 1.0);
    (0..length)
        .map(|_| {
            if random.random_bool(often) {
                level = 3.0 * normal(random);
                spread = random.random_range(0.3..2.0);
            }
            level + spread * normal(random)
        })
        .collect()
}

fn compare(
    search: &str,
    seeds: std::ops::Range<u64>,
    lengths: std::ops::Range<usize>,
    ours: impl Fn(&[f64], f64, usize) -> Partition,
) {
    let mut cases: Vec<Value> = Vec::new();
    let mut found = Vec::new();
    for seed in seeds {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let length = random.random_range(lengths.clone());
        let values = series(&mut random, length);
        let penalty = random.random_range(1.0..4.0) * (length as f64).ln();
        let least = if search == "normal" { 2 } else { random.random_range(1..4) };
        let made = ours(&values, penalty, least);
        // The dynamic programme is asked for as many changes as the optimum has.
        if search == "mean, so many changes" && made.changes.is_empty() {
            continue;
        }
        cases.push(
            json!({ "search": search, "values": values, "penalty": penalty, "least": least, "changes": made.changes.len() }),
        );
        found.push((seed, least, made));
    }
    let Some(theirs) = python("changes.py", &json!({ "cases": cases })) else { return };
    let (mut same, mut better) = (0, 0);
    for ((seed, least, made), theirs) in found.iter().zip(theirs.as_array().unwrap()) {
        let cost = theirs["cost"].as_f64().unwrap();
        let changes: Vec<usize> = serde_json::from_value(theirs["changes"].clone()).unwrap();
        if changes == made.changes {
            close(made.cost, cost, 1e-9, &format!("{search}, seed {seed}"));
            same += 1;
        } else {
            // They may differ where ours is the cheaper, and where segments have a least length.
            assert!(made.cost < cost + 1e-9 * cost.abs(), "{search}, seed {seed}: ours {}, theirs {cost}", made.cost);
            assert!(*least > 1, "{search}, seed {seed}: ours {:?}, theirs {changes:?}", made.changes);
            better += 1;
        }
    }
    println!("{search}: {same} the same optimum, {better} in which ours costs less");
    assert!(same > 20 * better, "{search}: {same} the same, {better} better");
}

#[test]
fn the_mean_has_the_kernel_searchs_optimum() {
    compare("kernel", 0..400, 20..900, |v, p, l| mean(v, p, l).unwrap());
}

#[test]
fn the_mean_has_the_dynamic_programmes_optimum() {
    compare("mean, so many changes", 1000..1060, 20..90, |v, p, l| mean(v, p, l).unwrap());
}

#[test]
fn the_mean_has_pelts_optimum() {
    compare("mean", 2000..2060, 20..120, |v, p, l| mean(v, p, l).unwrap());
}

#[test]
fn mean_and_variance_have_pelts_optimum() {
    compare("normal", 3000..3100, 20..120, |v, p, l| mean_and_variance(v, SMALL, p, l).unwrap());
}
