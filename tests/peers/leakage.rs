//! The fall of a current under bias, and the laws of conduction, against scipy's
//! curve_fit and least_squares on the same seeded data.

use crate::support::{close, python};
use rampart::analysis::leakage::conduction::{At, Law, rank};
use rampart::analysis::leakage::decay::{Told, Value, decay};
use rampart::units::{Amperes, Volts};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value as Json, json};

fn normal(random: &mut ChaCha8Rng) -> f64 {
    let (a, b): (f64, f64) = (random.random_range(1e-12..1.0), random.random_range(0.0..1.0));
    (-2.0 * a.ln()).sqrt() * (2.0 * std::f64::consts::PI * b).cos()
}

fn soak(seed: u64) -> Vec<Value> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let leakage = 10f64.powf(random.random_range(-9.0..-5.0));
    let absorbed = leakage * 10f64.powf(random.random_range(-0.5..1.0));
    let (exponent, every) = (random.random_range(0.8..1.1), random.random_range(0.5..5.0));
    let noise = leakage * 10f64.powf(random.random_range(-4.0..-2.0));
    (1..=60)
        .map(|i| {
            let at = f64::from(i) * every;
            let current = leakage + absorbed * at.powf(-exponent) + noise * normal(&mut random);
            Value { at, current, u: noise }
        })
        .collect()
}

fn sweep(seed: u64) -> Vec<At> {
    let mut random = ChaCha8Rng::seed_from_u64(1000 + seed);
    let n = random.random_range(5..16_u32);
    let noise = random.random_range(0.01..0.05);
    let law = Law::ALL[(seed % 6) as usize];
    (0..n)
        .map(|i| {
            let v = 1.0 + 11.0 * f64::from(i) / f64::from(n - 1);
            let shape: f64 = match law {
                Law::Ohmic => v,
                Law::SpaceCharge => v * v,
                Law::Power => v.powf(3.0),
                Law::Schottky => (1.5 * v.sqrt()).exp(),
                Law::PooleFrenkel => v * (1.5 * v.sqrt()).exp(),
                Law::FowlerNordheim => v * v * (-12.0 / v).exp(),
            };
            let current = 1e-8 * shape * (1.0 + noise * normal(&mut random));
            At { volts: Volts(v), current: Amperes(current), u: Amperes(current * noise) }
        })
        .collect()
}

#[test]
fn falls_and_laws_are_scipys() {
    let soaks: Vec<Vec<Value>> = (0..120).map(soak).collect();
    let sweeps: Vec<Vec<At>> = (0..300).map(sweep).collect();
    let asked = json!({
        "decay": soaks.iter().map(|s| json!({
            "t": s.iter().map(|v| v.at).collect::<Vec<_>>(), "y": s.iter().map(|v| v.current).collect::<Vec<_>>(),
        })).collect::<Vec<Json>>(),
        "laws": sweeps.iter().map(|s| json!({
            "v": s.iter().map(|p| p.volts.0).collect::<Vec<_>>(), "i": s.iter().map(|p| p.current.0).collect::<Vec<_>>(),
            "u": s.iter().map(|p| p.u.0).collect::<Vec<_>>(),
        })).collect::<Vec<Json>>(),
    });
    let Some(theirs) = python("leakage.py", &asked) else { return };
    let mut compared = 0;
    for (seed, (values, theirs)) in soaks.iter().zip(theirs["decay"].as_array().unwrap()).enumerate() {
        let ours = decay(values).unwrap();
        if ours.told == Told::Settled {
            continue;
        }
        compared += 1;
        let rss: f64 =
            values.iter().map(|v| (v.current - ours.leakage.0 - ours.absorbed.0 * v.at.powf(-ours.exponent)).powi(2)).sum();
        // The same minimum: as small a sum to one part in 10^6 (theirs may have stopped a little above).
        let least = theirs["rss"].as_f64().unwrap();
        assert!(rss <= least * (1.0 + 1e-6), "seed {seed}: {rss:e} {least:e}");
        if (rss / least - 1.0).abs() < 1e-6 {
            close(ours.leakage.0, theirs["constant"].as_f64().unwrap(), 1e-3, &format!("seed {seed}, constant"));
            close(ours.exponent, theirs["exponent"].as_f64().unwrap(), 1e-3, &format!("seed {seed}, exponent"));
        }
    }
    assert!(compared > 100, "{compared}");
    for (seed, (curve, theirs)) in sweeps.iter().zip(theirs["laws"].as_array().unwrap()).enumerate() {
        let ours = rank(curve).unwrap();
        let of = |law: Law, what: &str| theirs[format!("{law:?}")][what].as_f64().unwrap();
        for fit in &ours.fits {
            let what = |name: &str| format!("seed {seed}, {:?}, {name}", fit.law);
            close(fit.chi_square, of(fit.law, "chi_square"), 1e-6, &what("chi square"));
            close(fit.ln_a, of(fit.law, "ln_a"), 1e-5, &what("ln a"));
            // A thousandth of its uncertainty: curve_fit stops where nothing is gained any more.
            assert!((fit.b - of(fit.law, "b")).abs() <= 1e-3 * fit.u_b + 1e-12, "{}", what("b"));
            // Its Jacobian is numeric.
            close(fit.u_b, of(fit.law, "u_b"), 1e-2, &what("u(b)"));
        }
        if ours.widened == 1.0 {
            let (a, b) = (ours.fits[0], ours.fits[1]);
            let difference = of(b.law, "aicc") - of(a.law, "aicc");
            assert!((b.delta - a.delta - difference).abs() < 1e-6 * difference.abs().max(1.0), "seed {seed}: AICc");
        }
    }
}
