//! Mann and Kendall's test, Theil and Sen's slope and the correction for autocorrelation
//! against pymannkendall and scipy.

use crate::support::{close, python};
use rampart::analysis::series::trend::{chance, kendall, trend};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

#[test]
fn trends_are_scipys_and_pymannkendalls() {
    let cases: Vec<Vec<f64>> = (0..200)
        .map(|seed| {
            let mut random = ChaCha8Rng::seed_from_u64(seed);
            let slope = random.random_range(-0.05..0.05);
            let (mut at, length) = (0.0, random.random_range(12..80));
            (0..length)
                .map(|i| {
                    at = 0.4 * at + random.random_range(-1.0..1.0);
                    let value: f64 = at + slope * f64::from(i);
                    // Every other case has ties.
                    if seed % 2 == 0 { value } else { (value * 4.0).round() / 4.0 }
                })
                .collect()
        })
        .collect();
    let Some(theirs) = python("trend.py", &json!({ "cases": cases })) else { return };
    let (mut asked, mut agree) = (0, 0);
    for (seed, (values, theirs)) in cases.iter().zip(theirs.as_array().unwrap()).enumerate() {
        let of = |name: &str| theirs[name].as_f64().unwrap();
        let what = |name: &str| format!("seed {seed}, {name}");
        let (s, variance) = kendall(values);
        close(s, of("s"), 1e-12, &what("s"));
        close(variance, of("variance"), 1e-12, &what("variance"));
        // Theirs is a difference from one: no digits below 1e-16.
        assert!((chance(s, variance) - of("p")).abs() < 1e-12, "{}", what("p"));
        let points: Vec<(f64, f64)> = values.iter().enumerate().map(|(i, v)| (i as f64, *v)).collect();
        let ours = trend(&points, 0.95).unwrap();
        close(ours.slope + 1.0, of("slope") + 1.0, 1e-12, &what("slope"));
        // Theirs may fall below one; what seems to help we do not believe.
        if seed % 2 == 0 {
            // The two points of the median slope tie by construction, but for rounding: a
            // rank, and with it a lag at the edge of telling, may come out otherwise.
            asked += 1;
            agree += usize::from((ours.widened / of("widened").max(1.0) - 1.0).abs() < 1e-3);
        }
        if ours.widened == 1.0 {
            close(ours.within.0 + 1.0, of("low") + 1.0, 1e-9, &what("low"));
            close(ours.within.1 + 1.0, of("high") + 1.0, 1e-9, &what("high"));
        }
    }
    assert!(agree * 10 >= asked * 9, "the correction agrees in {agree} of {asked}");
}
