//! Nodes, levels and the working, against closed forms, tables and common practice.

use crate::analysis::logic::{Reads, output, thresholds, typical};
use crate::analysis::node::{Leak, Measured, Question, Towards, what_if};
use crate::units::{Amperes, Ohms, Ratio, Volts};

#[track_caller]
fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= expected.abs() * relative + 1e-18, "found {found}, expected {expected}");
}

#[test]
fn every_family_has_the_levels_of_its_source() {
    let rows: [(&str, f64, f64, f64); 22] = [
        // JEDEC standard for B series CMOS, VO 0.5/4.5, 1/9, 1.5/13.5 V.
        ("4000B", 5.0, 1.5, 3.5),
        ("4000B", 10.0, 3.0, 7.0),
        ("4000B", 15.0, 4.0, 11.0),
        // UB series: from memory.
        ("4000UB", 5.0, 1.0, 4.0),
        ("4000UB", 10.0, 2.0, 8.0),
        ("4000UB", 15.0, 2.5, 12.5),
        // JESD7A.
        ("74HC", 2.0, 0.5, 1.5),
        ("74HC", 4.5, 1.35, 3.15),
        ("74HC", 6.0, 1.8, 4.2),
        ("74HCT", 4.5, 0.8, 2.0),
        ("74HCT", 5.5, 0.8, 2.0),
        // Data sheets of the series; 54LS has the lower VIL.
        ("74LS", 5.0, 0.8, 2.0),
        ("54LS", 5.0, 0.7, 2.0),
        // JESD8C, JESD8-5, JESD8-7, JESD8-11.
        ("LVCMOS33", 2.7, 0.8, 2.0),
        ("LVCMOS33", 3.6, 0.8, 2.0),
        ("LVCMOS25", 2.5, 0.7, 1.7),
        ("LVCMOS18", 1.8, 0.63, 1.17),
        ("LVCMOS15", 1.5, 0.525, 0.975),
        // Data sheets: VIH at 2 V and 3 V; VIL from memory.
        ("74AHC", 2.0, 0.5, 1.5),
        ("74AHC", 3.0, 0.9, 2.1),
        // Common practice: three and seven tenths of the supply.
        ("CMOS 30/70", 3.3, 0.99, 2.31),
        ("CMOS 30/70", 9.0, 2.7, 6.3),
    ];
    for (family, supply, low, high) in rows {
        let (t, _) = thresholds(family, Volts(supply)).unwrap();
        near(t.low.0, low, 1e-12);
        near(t.high.0, high, 1e-12);
    }
    for (family, supply) in [("74HC", 1.9), ("74HC", 6.1), ("74HCT", 4.4), ("4000B", 3.0), ("LVCMOS18", 2.0)] {
        assert!(thresholds(family, Volts(supply)).is_err(), "{family} at {supply} V");
    }
}

#[test]
fn typical_thresholds_outputs_and_margins_are_the_data_sheets() {
    // Data sheets of B series gates: 2.25/2.75 V at 5 V, 4.5/5.5 at 10, 6.75/8.25 at 15.
    for (supply, low, high) in [(5.0, 2.25, 2.75), (10.0, 4.5, 5.5), (15.0, 6.75, 8.25)] {
        let (t, _) = typical("4000b", Volts(supply)).unwrap();
        assert_eq!((t.low, t.high), (Volts(low), Volts(high)));
    }
    assert_eq!(typical("74HC", Volts(5.0)), None);
    // VOL at most 0.05 V, VOH at least VDD - 0.05 V at 1 uA; 74LS 0.4 V at 4 mA and 2.7 V, 54LS 2.5 V.
    for (family, supply, low, high) in [("4000B", 5.0, 0.05, 4.95), ("74LS", 5.0, 0.4, 2.7), ("54LS", 5.0, 0.4, 2.5)] {
        let (t, _) = output(family, Volts(supply)).unwrap();
        near(t.low.0, low, 1e-12);
        near(t.high.0, high, 1e-12);
    }
    // Guaranteed noise margins 1.0, 2.0, 2.5 V: VIL less the output at which it is specified (0.5, 1, 1.5 V).
    for (supply, margin, specified_at) in [(5.0, 1.0, 0.5), (10.0, 2.0, 1.0), (15.0, 2.5, 1.5)] {
        near(thresholds("4000B", Volts(supply)).unwrap().0.low.0 - specified_at, margin, 1e-12);
    }
}

#[test]
fn a_leak_to_ground_breaks_a_high_level_where_ohms_law_says() {
    // Common practice: a leak beside 1 Mohm at 5 V; VIH of the B series is 3.5 V.
    let asked = Question::new(Volts(5.0), Some(Ohms(1e6)), None, Towards::Ground, "4000B").unwrap();
    let found = what_if(&asked);
    near(found.undefined_from.unwrap().nominal.0, 1.5e-6, 1e-12);
    near(found.wrong_from.unwrap().nominal.0, 3.5e-6, 1e-12);
    assert_eq!(found.meant, Reads::High);
    assert_eq!(
        found.working.answer,
        "The level is undefined for 4000B from a leakage of 1.50 uA on, and wrong for certain from 3.50 uA on."
    );
    let text = found.working.text();
    assert!(
        text.iter().any(|l| l
            == "leakage that makes it undefined: (rail − VIH) / R_up = (5 V − 3.50 V) / 1 Mohm = 1.500 uA, which is 2.33 Mohm across the part's 3.50 V"),
        "{text:#?}"
    );
    // With 5 % resistors: from 1.5 V over 1.05 Mohm to 1.5 V over 0.95 Mohm.
    let wide = what_if(&asked.within(Ratio(0.05))).undefined_from.unwrap();
    near(wide.low.0, 1.5 / 1.05e6, 1e-12);
    near(wide.high.0, 1.5 / 0.95e6, 1e-12);
}

#[test]
fn a_leak_to_the_rail_breaks_a_low_level() {
    // Pulled down by 100 kohm at 5 V: VIL 1.5 V is met at 15 uA, VIH 3.5 V at 35 uA.
    let asked = Question::new(Volts(5.0), None, Some(Ohms(100e3)), Towards::Rail, "4000B").unwrap();
    let found = what_if(&asked.clone().with(Leak::Constant { low: Amperes(20e-6), high: Amperes(20e-6) }));
    near(found.undefined_from.unwrap().nominal.0, 15e-6, 1e-12);
    near(found.wrong_from.unwrap().nominal.0, 35e-6, 1e-12);
    let effect = found.effect.unwrap();
    near(effect.level.nominal.0, 2.0, 1e-9);
    assert_eq!(effect.reads, Reads::Undefined);
    // An ohmic part of 100 kohm makes half the rail, whatever voltage it is given at.
    let ohmic = Leak::Ohmic { low: Amperes(30e-6), high: Amperes(30e-6), at: Volts(3.0) };
    near(what_if(&asked.with(ohmic)).effect.unwrap().level.nominal.0, 2.5, 1e-9);
}

#[test]
fn a_divider_is_solved_with_both_of_its_resistors() {
    // 100 kohm over 900 kohm at 5 V rests at 4.5 V; at 3.5 V 15 uA come and 3.89 uA leave.
    let asked = Question::new(Volts(5.0), Some(Ohms(100e3)), Some(Ohms(900e3)), Towards::Ground, "4000B").unwrap();
    let found = what_if(&asked.clone().with(Leak::Constant { low: Amperes(5e-6), high: Amperes(5e-6) }));
    near(asked.node.at_rest().nominal.0, 4.5, 1e-12);
    near(found.undefined_from.unwrap().nominal.0, 15e-6 - 3.5 / 900e3, 1e-12);
    // Thevenin: 4.5 V behind 90 kohm, less 5 uA.
    near(found.effect.unwrap().level.nominal.0, 4.5 - 5e-6 * 90e3, 1e-9);
    // At 15 V on its own, a leak to the rail only helps a node that is meant to be high.
    let other = Question { node: crate::analysis::node::Node { part: Towards::Rail, ..asked.node }, ..asked };
    let found = what_if(&other);
    assert_eq!((found.undefined_from, found.wrong_from), (None, None));
    assert_eq!(found.working.answer, "A leakage there cannot spoil the level: it pulls the node to where it is, high.");
    // A divider that rests between the levels is undefined without any leak.
    let half = Question::new(Volts(5.0), Some(Ohms(1e5)), Some(Ohms(1e5)), Towards::Ground, "4000B").unwrap();
    assert_eq!(what_if(&half).working.answer, "The node stands at 2.50 V without any leakage: undefined for 4000B.");
}

#[test]
fn a_solid_tantalum_capacitor_that_leaks_under_bias_makes_a_level_undefined() {
    // Common practice: one that measures right on a component meter can leak 150 uA under
    // 6 V; beside 1 Mohm even a hundredth of that moves a logic input.
    let asked = Question::new(Volts(6.0), Some(Ohms(1e6)), None, Towards::Ground, "4000B").unwrap();
    let leak = Leak::Ohmic { low: Amperes(1.5e-6), high: Amperes(1.5e-6), at: Volts(6.0) };
    let effect = what_if(&asked.clone().with(leak.clone())).effect.unwrap();
    near(effect.level.nominal.0, 6.0 * 4.0 / 5.0, 1e-9);
    // Ten times more at 85 degC (handbooks' multiplier): 0.4 Mohm beside 1 Mohm.
    let warm = what_if(&asked.with(leak).warmer(10.0)).effect.unwrap();
    near(warm.level.nominal.0, 6.0 * 0.4 / 1.4, 1e-9);
}

#[test]
fn the_level_has_the_limits_of_the_leakage_and_of_the_resistors() {
    // A range of leakages and 5 % resistors, against the closed form at the corners.
    let asked = Question::new(Volts(9.0), Some(Ohms(100e3)), None, Towards::Ground, "4000B").unwrap().within(Ratio(0.05));
    let leak = Leak::Constant { low: Amperes(20e-6), high: Amperes(30e-6) };
    let effect = what_if(&asked.clone().with(leak)).effect.unwrap();
    near(effect.level.nominal.0, 6.5, 1e-9);
    near(effect.level.low.0, 9.0 - 30e-6 * 105e3, 1e-9);
    near(effect.level.high.0, 9.0 - 20e-6 * 95e3, 1e-9);
    assert_eq!((effect.reads, effect.worst), (Reads::High, (Reads::Undefined, Reads::High)));
    assert!(!effect.is_certain());
    // A measured curve with its uncertainty: 60 uA ± 6 uA at 5 V and 6 V, flat between.
    let flat = |v: f64| Measured { volts: Volts(v), current: Amperes(40e-6), expanded: Amperes(4e-6) };
    let asked = Question { node: crate::analysis::node::Node { tolerance: Ratio(0.0), ..asked.node }, ..asked };
    let effect = what_if(&asked.with(Leak::Curve(vec![flat(4.0), flat(6.0)]))).effect.unwrap();
    near(effect.level.nominal.0, 5.0, 1e-9);
    near(effect.level.low.0, 4.6, 1e-9);
    near(effect.level.high.0, 5.4, 1e-9);
    assert!(effect.within_measured && effect.is_certain());
}

#[test]
fn a_question_that_cannot_be_asked_says_why() {
    let ask = |rail: f64, up: Option<f64>, family: &str| {
        Question::new(Volts(rail), up.map(Ohms), None, Towards::Ground, family).map(|_| ()).unwrap_err()
    };
    assert!(ask(5.0, None, "4000B").contains("needs a resistor"));
    assert!(ask(0.0, Some(1e6), "4000B").contains("the rail must be above zero"));
    assert!(ask(5.0, Some(f64::NAN), "4000B").contains("a resistor must be above zero"));
    assert!(ask(5.0, Some(1e6), "9000X").contains("known: 4000B"));
}
