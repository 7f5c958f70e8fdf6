//! Intervals of a proportion against scipy's exact ones.

use crate::support::{close, python};
use rampart::analysis::proportion::clopper_pearson;
use serde_json::json;

#[test]
fn exact_intervals_are_scipys() {
    let cases: Vec<(u64, u64)> = (0..200_u64).map(|i| ((i * 7) % (i + 1), i + 1)).collect();
    let Some(theirs) = python("numerics.py", &json!({ "clopper_pearson": cases })) else { return };
    for ((k, n), theirs) in cases.iter().zip(theirs["clopper_pearson"].as_array().unwrap()) {
        let ours = clopper_pearson(*k, *n, 0.95).unwrap();
        close(ours.low.0, theirs[0].as_f64().unwrap(), 1e-8, &format!("{k} of {n}, low"));
        close(ours.high.0, theirs[1].as_f64().unwrap(), 1e-8, &format!("{k} of {n}, high"));
    }
}
