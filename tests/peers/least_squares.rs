//! Fits of noisy data against scipy's curve_fit: parameters and their uncertainties.

use crate::support::{close, python};
use rampart::analysis::numeric::distribution::{Chance, normal_at};
use rampart::analysis::numeric::least_squares::{Observation, fit};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

type Model = fn(&f64, &[f64]) -> f64;
type Row = (f64, f64, f64);

const MODELS: [(&str, Model, [f64; 3], usize); 3] = [
    ("decay", |x, b| b[0] * (-b[1] * x).exp() + b[2], [5.0, 0.4, 1.0], 3),
    ("absorption", |x, b| b[2] + b[0] * x.powf(-b[1]), [3.0, 0.9, 0.5], 3),
    ("diode", |x, b| b[0] * (x / b[1]).exp_m1(), [0.2, 1.3, 0.0], 2),
];

/// Data of the model with noise of 1 %, and a start within a factor of 1.5.
fn case(seed: u64) -> (usize, Vec<f64>, Vec<Row>) {
    let mut draw = ChaCha8Rng::seed_from_u64(seed);
    let which = (seed % 3) as usize;
    let (_, model, truth, n) = MODELS[which];
    let truth: Vec<f64> = truth[..n].iter().map(|t| t * draw.random_range(0.7..1.4)).collect();
    let rows = (1..=25).map(|i| {
        let x = 0.25 * f64::from(i);
        let clean = model(&x, &truth);
        let u = 0.01 * clean.abs() + 0.002;
        (x, clean + u * normal_at(Chance::Below(draw.random_range(1e-9..1.0))).unwrap(), u)
    });
    let rows = rows.collect();
    let start = truth.iter().map(|t| t * draw.random_range(0.67..1.5)).collect();
    (which, start, rows)
}

#[test]
fn fits_are_scipys() {
    let cases: Vec<_> = (0..300).map(case).collect();
    let asked: Vec<_> = cases.iter().map(|(which, start, rows)| json!([MODELS[*which].0, start, rows])).collect();
    let Some(theirs) = python("least_squares.py", &json!(asked)) else { return };
    let mut compared = 0;
    for (seed, ((which, start, rows), theirs)) in cases.iter().zip(theirs.as_array().unwrap()).enumerate() {
        let rows: Vec<_> = rows.iter().map(|(x, y, u)| Observation::with_u(*x, *y, *u)).collect();
        let ours = fit(MODELS[*which].1, &rows, start).unwrap_or_else(|e| panic!("seed {seed}: {e}"));
        let Some(theirs) = theirs.as_array() else { continue };
        compared += 1;
        for (i, found) in ours.parameters.iter().enumerate() {
            let (value, u) = (theirs[0][i].as_f64().unwrap(), theirs[1][i].as_f64().unwrap());
            let name = MODELS[*which].0;
            // Against the parameter's uncertainty: what matters of a difference.
            let off = (found - value).abs() / u;
            assert!(off < 1e-4, "seed {seed} {name} {i}: ours {found}, theirs {value} +- {u}");
            close(ours.u(i).unwrap(), u, 1e-4, &format!("seed {seed} {name}, u of {i}"));
        }
    }
    assert!(compared > 280, "scipy fitted only {compared}");
}
