//! Intervals, sizes and comparisons of failing rates against scipy and statsmodels.

use crate::support::{close, python};
use rampart::analysis::proportion::*;
use rampart::units::Ratio;
use rand::{RngExt, SeedableRng};
use serde_json::{Value, json};

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or(f64::INFINITY)
}

#[test]
fn rates_are_scipys_and_statsmodels() {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(17);
    let mut drawn = |most: u64| -> (u64, u64) {
        let n = random.random_range(1..=most);
        // Few failures, as starts have them, and any number.
        let most = if random.random_bool(0.7) { n.min(12) } else { n };
        (random.random_range(0..=most), n)
    };
    let confidences = [0.8, 0.9, 0.95, 0.99];
    let proportions: Vec<(u64, u64, f64)> = (0..400)
        .map(|i| (drawn(if i % 2 == 0 { 60 } else { 20_000 }), confidences[i % 4]))
        .map(|((k, n), c)| (k, n, c))
        .collect();
    let comparisons: Vec<(u64, u64, u64, u64)> = (0..300)
        .map(|i| (drawn(if i % 2 == 0 { 40 } else { 3000 }), drawn(if i % 2 == 0 { 40 } else { 3000 })))
        .map(|((a, n1), (b, n2))| (a, n1, b, n2))
        .filter(|(a, n1, b, n2)| a + b > 0 && a + b < n1 + n2)
        .collect();
    let sizes: Vec<(u64, f64, f64)> =
        (0..200).map(|i| (i % 8, 0.5_f64.powf(1.0 + (i as f64) / 20.0), confidences[i as usize % 4])).collect();
    let asked = json!({ "proportions": proportions, "comparisons": comparisons, "sizes": sizes });
    let Some(theirs) = python("rates.py", &asked) else { return };
    for ((k, n, c), theirs) in proportions.iter().zip(theirs["proportions"].as_array().unwrap()) {
        let what = format!("{k} of {n} at {c}");
        let pair = |ours: (f64, f64), name: &str| {
            close(ours.0, number(&theirs[name][0]), 1e-8, &format!("{what}, {name}, low"));
            close(ours.1, number(&theirs[name][1]), 1e-8, &format!("{what}, {name}, high"));
        };
        let both = |i: Option<Interval>| i.map(|i| (i.low.0, i.high.0)).unwrap();
        pair(both(clopper_pearson(*k, *n, *c)), "exact");
        pair(both(wilson(*k, *n, *c)), "wilson");
        pair((wilson_lower(*k, *n, *c).unwrap().0, wilson_upper(*k, *n, *c).unwrap().0), "wilson_one");
        pair(both(wilson_corrected(*k, *n, *c)), "corrected");
        pair((poisson_lower(*k, *c).unwrap(), poisson_upper(*k, *c).unwrap()), "poisson");
        close(upper_bound(*k, *n, *c).unwrap().0, number(&theirs["upper"]), 1e-8, &format!("{what}, upper"));
        close(lower_bound(*k, *n, *c).unwrap().0, number(&theirs["lower"]), 1e-8, &format!("{what}, lower"));
    }
    for ((a, n1, b, n2), theirs) in comparisons.iter().zip(theirs["comparisons"].as_array().unwrap()) {
        let (ours, what) = (fisher((*a, *n1), (*b, *n2)).unwrap(), format!("{a} of {n1} and {b} of {n2}"));
        close(ours.fewer, number(&theirs["fewer"]), 1e-7, &format!("{what}, fewer"));
        close(ours.more, number(&theirs["more"]), 1e-7, &format!("{what}, more"));
        close(ours.two_sided, number(&theirs["two_sided"]), 1e-7, &format!("{what}, two-sided"));
        close(ours.odds_ratio, number(&theirs["odds_ratio"]), 1e-6, &format!("{what}, odds ratio"));
    }
    for ((allowed, rate, c), theirs) in sizes.iter().zip(theirs["sizes"].as_array().unwrap()) {
        let ours = starts_needed_with(*allowed, Ratio(*rate), *c);
        assert_eq!(ours, theirs.as_u64(), "{allowed} failures below {rate} at {c}");
    }
}
