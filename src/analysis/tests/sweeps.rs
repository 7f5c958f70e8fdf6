//! The shape of a sweep and a part in its lot, against closed forms and published rules.

use crate::analysis::finding::{LotPart, Severity, lot as lot_finding};
use crate::analysis::leakage::conduction::At;
use crate::analysis::leakage::lot::{Told, standing};
use crate::analysis::leakage::sweep::{hysteresis, knee, steepness, ways};
use crate::units::{Amperes, Volts};

fn at(volts: f64, current: f64, relative: f64) -> At {
    At { volts: Volts(volts), current: Amperes(current), u: Amperes(current * relative) }
}

#[test]
fn the_steepness_between_steps_is_the_exponent_of_the_voltage() {
    // Log-log slope: ohmic 1, space charge 2 (from memory); u by the law of propagation.
    let s = steepness(&at(2.0, 2e-6, 0.01), &at(4.0, 4e-6, 0.01)).unwrap();
    assert!((s.exponent - 1.0).abs() < 1e-12 && (s.ratio - 2.0).abs() < 1e-12);
    assert!((s.u - 0.01 * 2f64.sqrt() / 2f64.ln()).abs() < 1e-12);
    assert!((steepness(&at(2.0, 1e-6, 0.0), &at(4.0, 4e-6, 0.0)).unwrap().exponent - 2.0).abs() < 1e-12);
    assert_eq!(steepness(&at(2.0, 0.0, 0.0), &at(4.0, 1e-6, 0.0)), None);
    assert_eq!(steepness(&at(4.0, 1e-6, 0.0), &at(2.0, 1e-6, 0.0)), None);
}

#[test]
fn a_knee_from_slope_one_to_three_is_found_where_it_is() {
    // Metal, Ta2O5, tantalum: log-log slope 1, then about 3 (space charge with traps).
    let current = |v: f64| if v < 8.0 { v } else { 8.0 * (v / 8.0_f64).powi(3) };
    let curve: Vec<At> = (1..=16).map(|i| at(f64::from(i), 1e-9 * current(f64::from(i)), 0.01)).collect();
    let found = knee(&curve, None).unwrap();
    assert!((found.volts.0 - 8.0).abs() < 0.4, "{found:?}");
    assert!((found.below.0 - 1.0).abs() < 0.1 && (found.above.0 - 3.0).abs() < 0.1, "{found:?}");
    // One power has none, and neither has a curve that a smooth law describes as well.
    let straight: Vec<At> = (1..=16).map(|i| at(f64::from(i), 1e-9 * f64::from(i).powi(2), 0.01)).collect();
    assert_eq!(knee(&straight, None), None);
    assert_eq!(knee(&curve, Some(found.chi_square)), None);
    assert_eq!(knee(&curve[..6], None), None);
}

#[test]
fn a_sweep_that_comes_back_otherwise_is_seen() {
    let steps = |down: f64| -> Vec<(Volts, At)> {
        let mut made: Vec<(Volts, At)> = [2.0, 4.0, 6.0].iter().map(|v| (Volts(*v), at(*v, 1e-6 * v, 0.01))).collect();
        made.extend([4.0, 2.0].iter().map(|v| (Volts(*v), at(*v, 1e-6 * v * down, 0.01))));
        made
    };
    let found = hysteresis(&steps(1.3)).unwrap();
    assert!((found.ratio - 1.3).abs() < 1e-9 && found.voltages == 2 && found.is_seen());
    // Two ratios of 1.41 % each: 1 % for their mean.
    assert!((found.u - 0.01).abs() < 1e-9, "{}", found.u);
    assert!(!hysteresis(&steps(1.01)).unwrap().is_seen());
    assert_eq!(hysteresis(&steps(1.0)[..3]), None);
    assert_eq!(ways(&steps(1.0)).0.len(), 3);
    assert_eq!(ways(&[(Volts(1.0), 0)]), (&[(Volts(1.0), 0)][..], &[][..]));
}

#[test]
fn a_part_that_stands_out_of_its_lot_is_an_outlier_by_the_modified_z_score() {
    // Iglewicz and Hoaglin 1993 (NIST/SEMATECH handbook 1.3.5.17): M = 0.6745 (x - median) / MAD, cut 3.5.
    let lot: Vec<Amperes> = [1.0, 1.1, 0.9, 1.2, 1.05, 40.0].iter().map(|v| Amperes(v * 1e-6)).collect();
    let found = standing(&lot, 5).unwrap();
    assert_eq!((found.rank, found.of, found.told), (1, 6, Told::Outlier));
    // By hand: median of ln(0.9, 1, 1.05, 1.1, 1.2) is ln 1.05; deviations .154, .049, 0, .047, .134: MAD .0488.
    let mad = (1.05_f64 / 1.0).ln();
    assert!((found.z.unwrap() - 0.6745 * (40.0_f64 / 1.05).ln() / mad).abs() < 1e-9);
    assert!((found.ratio - 40.0 / 1.05).abs() < 1e-9);
    assert_eq!(standing(&lot, 0).unwrap().told, Told::Alike);
    // Of three, one is always the worst.
    assert_eq!(standing(&lot[3..], 2).unwrap().told, Told::TooFew);
    assert_eq!(standing(&lot, 9), None);
    assert_eq!(standing(&[Amperes(1e-6)], 0), None);
}

#[test]
fn a_lot_without_an_outlier_seldom_has_one() {
    use rand::{RngExt, SeedableRng};
    let mut wrong = 0;
    for seed in 0..1000 {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        // Twelve uniform numbers make one that is nearly normal; a spread of a third.
        let lot: Vec<Amperes> = (0..8)
            .map(|_| {
                let z: f64 = (0..12).map(|_| random.random_range(0.0..1.0)).sum::<f64>() - 6.0;
                Amperes(1e-6 * (0.33 * z).exp())
            })
            .collect();
        let worst = (0..8).find(|i| standing(&lot, *i).unwrap().rank == 1).unwrap();
        wrong += i32::from(standing(&lot, worst).unwrap().told == Told::Outlier);
    }
    eprintln!("outliers in lots of eight without one: {wrong} of 1000");
    assert!(wrong <= 50, "{wrong}");
}

#[test]
fn the_finding_on_a_lot_claims_no_more_than_its_number_allows() {
    let parts = |values: &[f64]| -> Vec<LotPart> {
        (1..).zip(values).map(|(i, v)| LotPart { name: format!("P{i}"), leakage: Amperes(v * 1e-6) }).collect()
    };
    let say = |values: &[f64]| lot_finding(&parts(values), Volts(6.0)).unwrap();
    let found = say(&[1.0, 1.1, 0.9, 1.2, 1.05, 40.0]);
    assert_eq!((found.code.as_ref(), found.severity), ("lot-outlier", Severity::Anomaly));
    assert!(
        found.sentence.contains("P6 stands out: it leaks 40.0 uA, 38.1 times the median of the other 5"),
        "{}",
        found.sentence
    );
    let found = say(&[1.0, 1.1, 40.0]);
    assert_eq!((found.code.as_ref(), found.severity), ("lot-too-small", Severity::Note));
    assert!(found.advice.unwrap().contains("One of 3 is always the worst"));
    assert_eq!(say(&[1.0, 1.1, 0.9, 1.2, 1.05, 1.3]).code, "lot-alike");
    assert_eq!(say(&[1.0, 1.1, 0.9, 1.2, 1.05, 0.95, 30.0, 40.0]).code, "lot-outliers");
    assert_eq!(lot_finding(&parts(&[1.0, 2.0]), Volts(6.0)), None);
}
