//! Published break points, and the optimum against every partition there is.

use super::*;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// The second column of a set in `tests/data`.
pub(in crate::analysis) fn column(text: &str, index: usize) -> Vec<f64> {
    text.lines().filter(|l| !l.starts_with('#')).skip(1).map(|l| l.split(',').nth(index).unwrap().parse().unwrap()).collect()
}

pub(in crate::analysis) fn nile() -> Vec<f64> {
    column(include_str!("../../../tests/data/nile.csv"), 1)
}

/// A standard normal deviate (Box and Muller 1958).
pub(in crate::analysis) fn normal(random: &mut ChaCha8Rng) -> f64 {
    let (a, b): (f64, f64) = (random.random(), random.random());
    (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

#[test]
fn the_nile_breaks_after_1898_its_28th_year() {
    let values = nile();
    assert_eq!(values.len(), 100);
    // Computed with ruptures 1.1.10 (PELT, l2): any penalty from 85914 to 500000 gives the one
    // break that Cobb (Biometrika 65, 1978) names, "near 1898"; 50000 gives ten.
    for penalty in [85_914.0, 200_000.0, 500_000.0] {
        let found = mean(&values, penalty, 1).unwrap();
        // The first reading of the next segment, from 0: 28 is the year 1899.
        assert_eq!(found.changes, [28], "penalty {penalty}");
        assert_eq!(found.segments(100), [0..28, 28..100]);
        // Sum of squares of the split: 1597457.19.
        assert!((found.cost - penalty - 1_597_457.194).abs() < 0.01, "{}", found.cost);
    }
    assert_eq!(mean(&values, 50_000.0, 2).unwrap().changes.len(), 10);
    // Without a change 2835156.75.
    let none = mean(&values, 1e9, 1).unwrap();
    assert!(none.changes.is_empty() && (none.cost - 2_835_156.75).abs() < 0.01);
    // Our own penalty, drawn from the noise, finds the same break.
    let own = penalty(&noise(&values, 0.0).unwrap(), values.len());
    assert_eq!(mean(&values, own, 1).unwrap().changes, [28], "own penalty {own}");
}

/// The optimum by trying every last change before every length.
fn by_hand(values: &[f64], penalty: f64, least: usize, cost: impl Fn(&[f64]) -> f64) -> f64 {
    let mut best = vec![f64::INFINITY; values.len() + 1];
    best[0] = -penalty;
    for end in least..=values.len() {
        for start in 0..=end - least {
            best[end] = best[end].min(best[start] + penalty + cost(&values[start..end]));
        }
    }
    best[values.len()]
}

fn squares(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    values.iter().map(|v| (v - mean).powi(2)).sum()
}

#[test]
fn no_partition_of_hundreds_of_series_costs_less() {
    for seed in 0..400 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let length = random.random_range(8..120);
        let (mut level, mut spread) = (0.0, 1.0);
        let values: Vec<f64> = (0..length)
            .map(|_| {
                if random.random_bool(0.05) {
                    level = 4.0 * normal(&mut random);
                    spread = random.random_range(0.2..3.0);
                }
                1e6 + level + spread * normal(&mut random)
            })
            .collect();
        let penalty = random.random_range(0.5..30.0);
        let least = random.random_range(1..6);
        let found = mean(&values, penalty, least).unwrap();
        let told: f64 =
            found.segments(length).into_iter().map(|s| squares(&values[s])).sum::<f64>() + penalty * found.changes.len() as f64;
        let optimum = by_hand(&values, penalty, least, squares);
        assert!((found.cost - optimum).abs() < 1e-6 * optimum.abs().max(1.0), "seed {seed}: {} {optimum}", found.cost);
        assert!((found.cost - told).abs() < 1e-6 * told.abs().max(1.0), "seed {seed}: {} {told}", found.cost);
        assert!(found.segments(length).iter().all(|s| s.len() >= least), "seed {seed}");
        let floor = 0.01;
        let deviance = |v: &[f64]| v.len() as f64 * (squares(v) / v.len() as f64 + floor).ln();
        let least = least.max(2);
        let found = mean_and_variance(&values, floor, penalty, least).unwrap();
        let optimum = by_hand(&values, penalty, least, deviance);
        assert!((found.cost - optimum).abs() < 1e-6 * optimum.abs().max(1.0), "seed {seed}: {} {optimum}", found.cost);
        assert!(found.segments(length).iter().all(|s| s.len() >= least), "seed {seed}");
    }
}

#[test]
fn without_any_change_the_candidates_stay_few() {
    // PELT would hold as many as there are readings.
    let mut random = ChaCha8Rng::seed_from_u64(11);
    let values: Vec<f64> = (0..200_000).map(|_| normal(&mut random)).collect();
    let found = mean(&values, 3.0 * 200_000f64.ln(), 1).unwrap();
    assert!(found.changes.is_empty());
    assert!(found.candidates < 60, "{}", found.candidates);
    // Equal readings, and a rise of one count in each, are the worst for the pieces.
    assert!(mean(&vec![5.0; 5000], 1.0, 1).unwrap().changes.is_empty());
}

#[test]
fn a_small_step_far_down_a_long_log_is_not_lost_in_rounding() {
    // 12 mA before, a step of 2 uA after: the squares of the one are 1e7 times those of the other.
    let values: Vec<f64> = (0..300_000)
        .map(|i| if i < 200_000 { 12e-3 } else if i < 250_000 { 1e-6 } else { 3e-6 } + f64::from(i % 3) * 1e-7)
        .collect();
    assert_eq!(mean(&values, 1e-8, 1).unwrap().changes, [200_000, 250_000]);
}

#[test]
fn what_cannot_be_partitioned_says_why() {
    assert_eq!(mean(&[1.0, f64::NAN], 1.0, 1), Err(Unfit::NotFinite(1)));
    assert_eq!(mean_and_variance(&[1.0, f64::INFINITY], 0.0, 1.0, 2), Err(Unfit::NotFinite(1)));
    for penalty in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(mean(&[1.0, 2.0], penalty, 1), Err(Unfit::Penalty));
    }
    assert_eq!(mean(&[], 1.0, 1), Err(Unfit::TooShort));
    assert_eq!(mean(&[1.0; 3], 1.0, 4), Err(Unfit::TooShort));
    assert_eq!(noise(&[1.0; 3], 0.0), None);
}

/// AR(1) with standard deviation 1.
pub(in crate::analysis) fn correlated(random: &mut ChaCha8Rng, length: usize, correlation: f64) -> Vec<f64> {
    let mut at = normal(random);
    (0..length)
        .map(|_| {
            at = correlation * at + (1.0 - correlation * correlation).sqrt() * normal(random);
            at
        })
        .collect()
}

#[test]
fn quiet_readings_seldom_seem_to_change() {
    // 400 series each. Asserted: at most 5 % with a false change where readings do not hang
    // together or do with a correlation to 0.7.
    for (correlation, length) in [(0.0, 100), (0.0, 1000), (0.3, 1000), (0.7, 1000), (0.0, 5000)] {
        let runs = if length > 1000 { 100 } else { 400 };
        let alarms = (0..runs)
            .filter(|seed| {
                let values = correlated(&mut ChaCha8Rng::seed_from_u64(*seed), length, correlation);
                let penalty = penalty(&noise(&values, 0.0).unwrap(), length);
                !mean(&values, penalty, 1).unwrap().changes.is_empty()
            })
            .count();
        println!("correlation {correlation}, {length} readings: {alarms} of {runs} with a false change");
        assert!(alarms * 20 <= runs as usize, "correlation {correlation}, {length} readings: {alarms} of {runs}");
    }
}
