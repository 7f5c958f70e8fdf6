//! Operating characteristics of sampling plans against scipy's binomial and
//! hypergeometric distributions.

use crate::support::{close, python};
use rampart::analysis::sampling::Plan;
use rampart::analysis::sampling::isolated::least_sample;
use rampart::units::Ratio;
use rand::{RngExt, SeedableRng};
use serde_json::json;

#[test]
fn what_plans_let_through_is_scipys() {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(2859);
    let mut cases = Vec::new();
    for _ in 0..1500 {
        let lot: u64 = 2 + (10.0_f64.powf(random.random_range(0.0..6.0)) as u64);
        let sample = random.random_range(1..=lot.min(3150));
        let accept = random.random_range(0..=sample.min(44));
        let bad = random.random_range(0..=lot.min(4 * (accept + 3) * lot / sample));
        cases.push((sample, accept, bad, lot));
    }
    let least: Vec<(u64, u64, u64, f64)> = (0..300)
        .map(|i| {
            let lot = random.random_range(5..3000_u64);
            let bad = random.random_range(1..=lot.min(60));
            (lot, bad, random.random_range(0..bad.min(6)), [0.01, 0.05, 0.1][i % 3])
        })
        .collect();
    let Some(theirs) = python("sampling.py", &json!({ "plans": cases, "least": least })) else { return };
    for ((sample, accept, bad, lot), theirs) in cases.iter().zip(theirs["plans"].as_array().unwrap()) {
        let (plan, what) = (Plan { sample: *sample, accept: *accept }, format!("{sample}, {accept}, {bad} of {lot}"));
        let share = *bad as f64 / *lot as f64;
        let (ours, exact) = (plan.passes(Ratio(share)).unwrap(), plan.passes_lot(*bad, *lot).unwrap());
        assert!((ours - theirs[0].as_f64().unwrap()).abs() < 1e-9, "{what}: binomial {ours} against {}", theirs[0]);
        assert!((exact - theirs[1].as_f64().unwrap()).abs() < 1e-9, "{what}: hypergeometric {exact} against {}", theirs[1]);
        if accept < sample {
            close(plan.accepted_with(0.1).unwrap().0, theirs[2].as_f64().unwrap(), 1e-9, &format!("{what}, 10 % point"));
        }
    }
    for ((lot, bad, accept, risk), theirs) in least.iter().zip(theirs["least"].as_array().unwrap()) {
        let ours = least_sample(*lot, *bad, *accept, *risk).map(|plan| plan.sample);
        assert_eq!(ours, theirs.as_u64(), "{bad} of {lot}, {accept} allowed, {risk}");
    }
}
