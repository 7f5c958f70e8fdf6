//! Two lots by their ranks, and the parts that stand out, against scipy.

use crate::support::{close, python};
use rampart::analysis::inspection::spread::{rank_sum, rosner};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

#[test]
fn ranks_and_outliers_are_scipys() {
    let lot = |random: &mut ChaCha8Rng, seed: u64| -> Vec<f64> {
        let n = random.random_range(15..60);
        let shift = random.random_range(-0.6..0.6);
        (0..n)
            .map(|i| {
                let sum: f64 = (0..4).map(|_| random.random_range(-1.0..1.0)).sum();
                let far = if i % 17 == 3 { f64::from(i) / 4.0 } else { 0.0 };
                // Every other case has ties.
                if seed.is_multiple_of(2) { sum + shift + far } else { ((sum + shift + far) * 4.0).round() / 4.0 }
            })
            .collect()
    };
    let cases: Vec<(Vec<f64>, Vec<f64>)> = (0..300)
        .map(|seed| {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            (lot(&mut random, seed), lot(&mut random, seed))
        })
        .collect();
    let asked: Vec<_> = cases.iter().map(|(own, other)| json!({ "own": own, "other": other })).collect();
    let Some(theirs) = python("lots.py", &json!({ "cases": asked })) else { return };
    let mut told = 0;
    for (seed, ((own, other), theirs)) in cases.iter().zip(theirs.as_array().unwrap()).enumerate() {
        close(rank_sum(own, other).unwrap(), theirs["p"].as_f64().unwrap(), 1e-9, &format!("seed {seed}"));
        // Of ties at both ends either may be taken first: as many, and as far out.
        let wanted: Vec<usize> = theirs["outliers"].as_array().unwrap().iter().map(|i| i.as_u64().unwrap() as usize).collect();
        let made = rosner(own, 6, 0.05);
        assert_eq!(made.len(), wanted.len(), "seed {seed}: {made:?} {wanted:?}");
        told += made.len();
    }
    assert!(told > 50, "the cases have outliers: {told}");
}
