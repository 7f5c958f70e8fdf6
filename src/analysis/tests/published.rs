//! Published values.

use crate::analysis::leakage::sweep::runs_away;
use crate::analysis::logic::{Reads, thresholds};
use crate::analysis::node::{Leak, Measured, Node};
use crate::analysis::proportion::*;
use crate::analysis::rank::median;
use crate::analysis::series::mean_and_deviation;
use crate::analysis::uncertainty::{Standing, combined, rectangular, resolution};
use crate::analysis::{energy, logic};
use crate::units::{Amperes, Farads, Ohms, Ratio, Volts};

fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= expected.abs() * relative, "found {found}, expected {expected}");
}

#[test]
fn exact_intervals_match_published_ones() {
    // NIST/SEMATECH handbook 7.2.4.2: 4 of 20, 90 % two-sided (limits computed with scipy 1.17.1).
    let i = clopper_pearson(4, 20, 0.90).unwrap();
    near(i.low.0, 0.071354, 1e-5);
    near(i.high.0, 0.401028, 1e-5);
    // Newcombe 1998, Stat Med 17:857: 81 of 263, 95 %.
    let i = clopper_pearson(81, 263, 0.95).unwrap();
    near(i.low.0, 0.2527, 2e-4);
    near(i.high.0, 0.3676, 2e-4);
    let w = wilson(81, 263, 0.95).unwrap();
    near(w.low.0, 0.2553, 2e-4);
    near(w.high.0, 0.3662, 2e-4);
    // Computed with scipy 1.17.1.
    near(clopper_pearson(0, 20, 0.95).unwrap().high.0, 0.1684, 3e-4);
    near(clopper_pearson(0, 1000, 0.95).unwrap().high.0, 0.003682, 2e-4);
    near(upper_bound(0, 1000, 0.95).unwrap().0, 0.002_991_2, 2e-5);
    near(wilson(0, 1000, 0.95).unwrap().high.0, 0.003827, 2e-4);
    assert_eq!(clopper_pearson(0, 0, 0.95), None);
    assert_eq!(clopper_pearson(3, 2, 0.95), None);
    assert_eq!(clopper_pearson(5, 5, 0.95).unwrap().high, Ratio(1.0));
}

#[test]
fn exact_bounds_hold_for_large_numbers_of_starts() {
    // 1 - 0.05^(1/n), the closed form at zero failures (ASTM E2334).
    for n in [10_u64, 1_000, 1_000_000, 100_000_000] {
        let closed = -(0.05_f64.ln() / n as f64).exp_m1();
        near(upper_bound(0, n, 0.95).unwrap().0, closed, 1e-8);
    }
}

#[test]
fn success_runs_match_the_tables() {
    // Success-run theorem, classical form; the (n + 1) variant gives 58 for 59 and is not used.
    for (reliability, confidence, n) in [
        (0.95, 0.99, 90),
        (0.90, 0.90, 22),
        (0.95, 0.90, 45),
        (0.99, 0.90, 230),
        (0.999, 0.90, 2302),
        (0.90, 0.95, 29),
        (0.95, 0.95, 59),
        (0.99, 0.95, 299),
        (0.999, 0.95, 2995),
        (0.9999, 0.95, 29956),
        (0.90, 0.99, 44),
        (0.99, 0.99, 459),
        (0.999, 0.99, 4603),
        // Common practice: 1 failure in 50 and in 500.
        (0.98, 0.95, 149),
        (0.998, 0.95, 1497),
    ] {
        assert_eq!(starts_needed(Ratio(1.0 - reliability), confidence), Some(n), "{reliability} {confidence}");
    }
    assert_eq!(starts_needed(Ratio(0.0), 0.95), None);
}

#[test]
fn before_and_after_are_compared_exactly() {
    // Common practice table: chance that nothing changed.
    for ((a, n1), (b, n2), chance) in [
        ((4, 500), (0, 500), 0.062),
        ((4, 500), (0, 1000), 0.012),
        ((5, 1000), (0, 1000), 0.031),
        ((1, 100), (0, 400), 0.20),
        ((1, 100), (0, 1900), 0.050),
    ] {
        let found = chance_unchanged((a, n1), (b, n2)).unwrap();
        assert!((found - chance).abs() < 0.0006, "{found} {chance}");
    }
    // Fisher's tea: 3 of 4 against 1 of 4, one-sided 0.2429 (Fisher 1935).
    near(chance_unchanged((3, 4), (1, 4)).unwrap(), 0.2429, 3e-4);
}

#[test]
fn logic_levels_are_the_standards() {
    // JEDEC B series at 5, 10, 15 V; at 9 V between the rows: 0.3 and 0.7 of the supply.
    let (t, _) = thresholds("4000B", Volts(10.0)).unwrap();
    assert_eq!((t.low, t.high), (Volts(3.0), Volts(7.0)));
    let (t, _) = thresholds("4000b", Volts(9.0)).unwrap();
    near(t.low.0, 2.7, 1e-12);
    near(t.high.0, 6.3, 1e-12);
    // JESD7A at 4.5 V.
    let (t, _) = thresholds("74HC", Volts(4.5)).unwrap();
    assert_eq!((t.low, t.high), (Volts(1.35), Volts(3.15)));
    // JESD8-7: 0.35 and 0.65 VCC.
    let (t, _) = thresholds("LVCMOS18", Volts(1.8)).unwrap();
    near(t.low.0, 0.63, 1e-12);
    near(t.high.0, 1.17, 1e-12);
    // Common practice: 2.2 V on a CMOS input at 5 V is undefined.
    let (t, _) = thresholds("4000B", Volts(5.0)).unwrap();
    assert_eq!(t.read(Volts(2.2)), Reads::Undefined);
    assert!(thresholds("74HC", Volts(9.0)).unwrap_err().contains("from 2 V to 6 V"));
    assert!(thresholds("75HC", Volts(5.0)).unwrap_err().contains("known: 4000B"));
    assert!(logic::names().contains(&"74HCT"));
}

#[test]
fn a_leakage_moves_its_node_as_ohms_law_says() {
    // Common practice: 1 uA on 1 Mohm is 1 V: a 3.3 V node sits at 2.3 V; 10 uA on 100 kohm the same.
    let thresholds = logic::Thresholds { low: Volts(0.99), high: Volts(2.31) };
    let node = Node::pulled_up(Volts(3.3), Ohms(1e6), thresholds);
    near(node.level(Amperes(1e-6)).0, 2.3, 1e-12);
    near(node.undefined_from().unwrap().nominal.0, 0.99e-6, 1e-9);
    let node = Node::pulled_up(Volts(3.3), Ohms(100e3), thresholds);
    near(node.level(Amperes(10e-6)).0, 2.3, 1e-12);
    // An ohmic part of R to ground makes a divider: rail x R / (R + pull-up).
    let ohmic = |v: f64| Measured { volts: Volts(v), current: Amperes(v / 200e3), expanded: Amperes(0.0) };
    let curve = |volts: &[f64]| Leak::Curve(volts.iter().map(|v| ohmic(*v)).collect());
    let effect = node.settle(&curve(&[1.0, 2.0, 2.2, 2.5, 3.0])).unwrap();
    near(effect.level.nominal.0, 2.2, 1e-4);
    assert!(effect.within_measured);
    assert_eq!(effect.reads, Reads::Undefined);
    assert!(!node.settle(&curve(&[0.5, 1.0])).unwrap().within_measured);
    assert_eq!(node.settle(&curve(&[])), None);
}

#[test]
fn uncertainties_match_published_examples() {
    // JCGM 100:2008: rectangular a = 1.5 gives 0.87; resolution 0.001 gives 0.00029.
    near(rectangular(1.5), 0.8660, 1e-4);
    near(resolution(0.001), 0.000_288_7, 1e-4);
    // Three contributions: 0.00033, 0.00029, 0.00025 give 0.00051.
    near(combined(&[rectangular(0.00058), 0.00029, 0.00025]), 0.00051, 2e-2);
    // ILAC-G8:09/2019 4.2.3 with w = U; 0.0017 + 0.0010 <= 0.0030 passes.
    assert_eq!(Standing::of(0.0017, 0.0010, 0.0030), Standing::Pass);
    assert_eq!(Standing::of(0.0025, 0.0010, 0.0030), Standing::ConditionalPass);
    assert_eq!(Standing::of(0.0035, 0.0010, 0.0030), Standing::ConditionalFail);
    assert_eq!(Standing::of(0.0045, 0.0010, 0.0030), Standing::Fail);
    assert_eq!(Standing::of(0.0001, 0.0040, 0.0030), Standing::NotAdequate);
}

#[test]
fn sums_are_stable() {
    // NIST StRD NumAcc4 (from memory): mean 10000000.2, sd 0.1; NumAcc1: 10000002, 1; NumAcc2: 1.2, 0.1.
    let alternating = |base: f64, first: f64| {
        let mut values = vec![base + first];
        values.extend((0..1000).map(|i| base + if i % 2 == 0 { first - 0.1 } else { first + 0.1 }));
        values
    };
    let (mean, sd) = mean_and_deviation(&alternating(10_000_000.0, 0.2)).unwrap();
    near(mean, 10_000_000.2, 1e-14);
    near(sd.unwrap(), 0.1, 1e-7);
    let (mean, sd) = mean_and_deviation(&alternating(1.0, 0.2)).unwrap();
    near(mean, 1.2, 1e-14);
    near(sd.unwrap(), 0.1, 1e-12);
    let (mean, sd) = mean_and_deviation(&[10_000_001.0, 10_000_003.0, 10_000_002.0]).unwrap();
    assert_eq!((mean, sd), (10_000_002.0, Some(1.0)));
    assert_eq!(mean_and_deviation(&[]), None);
}

#[test]
fn the_middle_of_some_values_is_their_median() {
    assert_eq!(median(&[3.0, 1.0, 2.0, 10.0]), Some(2.5));
    assert_eq!(median(&[]), None);
}

#[test]
fn energies_and_fall_times_are_the_closed_forms() {
    // Common practice: 1000 uF at 30 V is 0.45 J; 10 000 uF at 60 V is 18 J.
    near(energy::stored(Farads(1000e-6), Volts(30.0)).0, 0.45, 1e-12);
    near(energy::stored(Farads(10_000e-6), Volts(60.0)).0, 18.0, 1e-12);
    assert_eq!(energy::caution(energy::stored(Farads(10_000e-6), Volts(60.0))), Some("more than 10 J: can kill"));
    // V = V0 exp(-t/RC): 120 to 60 V takes 0.693 time constants.
    near(energy::fall_time(Ohms(1e3), Farads(1e-3), Volts(120.0), Volts(60.0)).unwrap().0, std::f64::consts::LN_2, 1e-5);
}

#[test]
fn a_threefold_rise_for_a_fifth_more_voltage_is_too_fast() {
    // Common practice.
    assert!(runs_away((Volts(5.0), Amperes(1e-6)), (Volts(6.0), Amperes(3.2e-6))));
    assert!(!runs_away((Volts(5.0), Amperes(1e-6)), (Volts(6.0), Amperes(2.8e-6))));
}
