//! Mixtures against scikit-learn's: the same optimum, on data from seeds.

use crate::support::{close, python};
use rampart::analysis::states::mixture::{Spreads, Wanted, Weighted, fit};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

#[test]
fn mixtures_reach_scikit_learns_likelihood() {
    let mut cases = Vec::new();
    let mut ours = Vec::new();
    for seed in 0..150 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let components = random.random_range(1..4_usize);
        let length = random.random_range(60..400);
        let values: Vec<f64> = (0..length)
            .map(|_| {
                let (a, b): (f64, f64) = (random.random(), random.random());
                let noise = (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos();
                let state = random.random_range(0..components);
                8.0 * state as f64 + (1.0 + 0.5 * state as f64) * noise
            })
            .collect();
        let points: Vec<Weighted> = values.iter().map(|v| Weighted { at: *v, weight: 1.0, grain: 0.0 }).collect();
        ours.push(fit(&points, Wanted { components, spreads: Spreads::Own, stray: false, floor: 1e-9 }).unwrap());
        cases.push(json!({ "values": values, "components": components }));
    }
    let Some(theirs) = python("states.py", &json!({ "cases": cases })) else { return };
    for (seed, (ours, theirs)) in ours.iter().zip(theirs.as_array().unwrap()).enumerate() {
        let what = format!("seed {seed}");
        close(ours.log_likelihood, theirs["log_likelihood"].as_f64().unwrap(), 1e-6, &what);
        for (component, mean) in ours.components.iter().zip(theirs["means"].as_array().unwrap()) {
            close(component.mean + 100.0, mean.as_f64().unwrap() + 100.0, 1e-3, &what);
        }
    }
}
