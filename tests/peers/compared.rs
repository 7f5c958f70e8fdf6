//! The distance of two distributions, and how many starts a proof takes, against scipy.

use crate::support::{close, python};
use rampart::analysis::compare::distribution::distance;
use rampart::analysis::proportion::starts_after_needed;
use rand::{RngExt, SeedableRng};
use serde_json::json;

#[test]
fn distances_and_sizes_are_scipys() {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(23);
    let distances: Vec<(Vec<f64>, Vec<f64>)> = (0..300)
        .map(|i| {
            let (n, m) = (random.random_range(1..=80), random.random_range(1..=80));
            // The same law, one that is shifted, and one with ties.
            let shift = [0.0, 0.3, 0.0][i % 3];
            let mut draw = |by: f64| {
                let value: f64 = random.random_range(0.0..1.0) + by;
                if i % 3 == 2 { (value * 8.0).floor() } else { value }
            };
            ((0..n).map(|_| draw(0.0)).collect(), (0..m).map(|_| draw(shift)).collect())
        })
        .collect();
    let needed: Vec<(u64, u64, u64, f64)> = (0..60)
        .map(|i| {
            let failed = u64::from(i % 7 == 6);
            // Enough failures before that some number after shows it.
            (random.random_range(3..=12), random.random_range(30..=400), failed, [0.9, 0.95, 0.99][i % 3])
        })
        .collect();
    let Some(theirs) = python("compared.py", &json!({ "distances": distances, "needed": needed })) else { return };
    let mut without = 0;
    for (i, ((a, b), theirs)) in distances.iter().zip(theirs["distances"].as_array().unwrap()).enumerate() {
        let ours = distance(a, b).unwrap();
        close(ours.largest, theirs["largest"].as_f64().unwrap(), 1e-12, &format!("pair {i}, distance"));
        match theirs["chance"].as_f64() {
            Some(chance) => close(ours.chance, chance, 1e-9, &format!("pair {i}, chance")),
            None => {
                without += 1;
                assert!(ours.chance > 0.999, "pair {i}: {}", ours.chance);
            }
        }
    }
    assert!(without < 10, "{without} pairs have no peer");
    for (case, theirs) in needed.iter().zip(theirs["needed"].as_array().unwrap()) {
        assert_eq!(starts_after_needed((case.0, case.1), case.2, case.3), theirs.as_u64(), "{case:?}");
    }
    // The numbers that a comparison of 4 of 60 with none of 60 names.
    assert_eq!(starts_after_needed((4, 60), 0, 0.95), Some(66));
}
