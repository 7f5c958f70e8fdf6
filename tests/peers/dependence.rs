//! Penalised logistic regression against Newton's steps in numpy, written apart from
//! ours; runs and Holm's correction against statsmodels, ranks against scipy.

use crate::support::{close, python};
use rampart::analysis::dependence::firth::Model;
use rampart::analysis::dependence::runs::{Continuity, Runs};
use rampart::analysis::dependence::{holm, spearman};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

#[test]
fn dependences_are_the_reference_libraries() {
    let random = &mut ChaCha8Rng::seed_from_u64(31);
    let regressions: Vec<(Vec<Vec<f64>>, Vec<bool>)> = (0..60)
        .map(|i| {
            let n = 20 + 2 * i;
            let columns: Vec<Vec<f64>> =
                (0..1 + i % 2).map(|_| (0..n).map(|_| random.random::<f64>() * 4.0 - 2.0).collect()).collect();
            // Every third is separated, or nearly so.
            let slope = if i % 3 == 0 { 30.0 } else { 1.0 };
            let mut failed: Vec<bool> =
                columns[0].iter().map(|x| random.random_bool(1.0 / (1.0 + (-(slope * (x - 0.8))).exp()))).collect();
            (failed[0], failed[1]) = (true, false);
            (columns, failed)
        })
        .collect();
    let sequences: Vec<Vec<bool>> = (0..300)
        .map(|i| {
            let mut made: Vec<bool> = (0..10 + i % 90).map(|_| random.random_bool(0.3)).collect();
            (made[0], made[1]) = (true, false);
            made
        })
        .collect();
    let chances: Vec<Vec<f64>> = (0..200).map(|i| (0..1 + i % 7).map(|_| random.random::<f64>().powi(3)).collect()).collect();
    let pairs: Vec<(Vec<f64>, Vec<f64>)> = (0..200)
        .map(|i| {
            let mut column = || -> Vec<f64> { (0..5 + i % 40).map(|_| f64::from(random.random_range(0..30_u8))).collect() };
            (column(), column())
        })
        .collect();
    let asked = json!({ "regressions": regressions, "runs": sequences, "holm": chances, "spearman": pairs });
    let Some(theirs) = python("dependence.py", &asked) else { return };
    let list = |name: &str| theirs[name].as_array().unwrap().clone();
    for (i, ((columns, failed), theirs)) in regressions.iter().zip(list("regressions")).enumerate() {
        let model = Model { columns, failed };
        let fit = model.fit(&[]).unwrap_or_else(|e| panic!("case {i}: {e}"));
        let near = |ours: f64, theirs: &serde_json::Value, tolerance: f64, what: &str| {
            let theirs = theirs.as_f64().unwrap();
            assert!((ours - theirs).abs() <= tolerance * (1.0 + theirs.abs()), "case {i}, {what}: ours {ours}, theirs {theirs}");
        };
        for (ours, theirs) in fit.coefficients.iter().zip(theirs["coefficients"].as_array().unwrap()) {
            near(*ours, theirs, 2e-6, "coefficient");
        }
        near(model.chance_without(&fit, &[1]).unwrap(), &theirs["chance"], 1e-7, "chance");
        let (low, high) = model.interval(&fit, 1, 0.95).unwrap();
        for (ours, theirs, what) in [(low, &theirs["interval"][0], "low"), (high, &theirs["interval"][1], "high")] {
            if theirs.as_f64().unwrap().abs() < 10.0 {
                near(ours, theirs, 2e-5, what);
            } else {
                // Where a condition all but separates the starts there are several tops far out.
                // A likelihood that was reached proves a value to be inside: who is farther is right.
                assert!(
                    ours.abs() >= theirs.as_f64().unwrap().abs() * (1.0 - 2e-5),
                    "case {i}, {what}: ours {ours}, theirs {theirs}"
                );
            }
        }
    }
    for (i, (failed, theirs)) in sequences.iter().zip(list("runs")).enumerate() {
        let ours = Runs::of(failed).unwrap();
        close(ours.z(Continuity::None), theirs["none"].as_f64().unwrap(), 1e-9, &format!("sequence {i}"));
        if let Some(half) = theirs["half"].as_f64() {
            // Within half a run of the expected number the package oversteps it; ours stops there.
            let near = (ours.runs as f64 - ours.expected).abs() < 0.5;
            assert!(near || (ours.z(Continuity::Half) - half).abs() < 1e-9, "sequence {i}: {ours:?} {half}");
        }
    }
    for (ours, theirs) in chances.iter().zip(list("holm")) {
        for (ours, theirs) in holm(ours).iter().zip(theirs.as_array().unwrap()) {
            close(*ours, theirs.as_f64().unwrap(), 1e-12, "Holm");
        }
    }
    for ((a, b), theirs) in pairs.iter().zip(list("spearman")) {
        let pairs: Vec<(f64, f64)> = a.iter().copied().zip(b.iter().copied()).collect();
        if let (Some(ours), Some(theirs)) = (spearman(&pairs), theirs.as_f64()) {
            assert!((ours - theirs).abs() < 1e-10, "{ours} {theirs}");
        }
    }
}
