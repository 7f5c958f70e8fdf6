//! What the person writes and reads.

use super::*;
use proptest::prelude::*;

#[test]
fn values_with_units_are_read() {
    let cases: [(&str, Unit, f64); 18] = [
        ("9 V", Unit::Volt, 9.0),
        ("100 mA", Unit::Ampere, 0.1),
        ("2.2 uF", Unit::Farad, 2.2e-6),
        ("2.2 µF", Unit::Farad, 2.2e-6),
        ("2.2 μF", Unit::Farad, 2.2e-6),
        ("1.5 s", Unit::Second, 1.5),
        ("2 min", Unit::Second, 120.0),
        ("-40 degC", Unit::Celsius, -40.0),
        ("470 kohm", Unit::Ohm, 470e3),
        ("470kΩ", Unit::Ohm, 470e3),
        ("80 mohm", Unit::Ohm, 0.08),
        ("10 Mohm", Unit::Ohm, 10e6),
        ("0.5 V/s", Unit::VoltPerSecond, 0.5),
        ("0.5 V/min", Unit::VoltPerSecond, 0.5 / 60.0),
        ("95 %", Unit::Percent, 0.95),
        ("225 mAh", Unit::AmpereHour, 0.225),
        ("1e-3 A", Unit::Ampere, 1e-3),
        ("3 fA", Unit::Ampere, 3e-15),
    ];
    for (text, unit, value) in cases {
        assert_eq!(parse_as(text, unit), Ok(value), "{text}");
    }
}

#[test]
fn a_slip_is_refused_with_a_hint() {
    let cases: [(&str, Unit, &str, &str); 9] = [
        ("9", Unit::Volt, "bare number", "\"9 V\""),
        ("1,5 V", Unit::Volt, "comma", "point"),
        ("1 M", Unit::Ohm, "prefix but no unit", "M is mega"),
        ("1 m", Unit::Ampere, "prefix but no unit", "m is milli"),
        ("5 k", Unit::Ohm, "prefix but no unit", "\"5 kohm\""),
        ("5 A", Unit::Volt, "is a current; expected a voltage", "\"9 V\""),
        ("5 v", Unit::Volt, "not a unit", "\"5 V\""),
        ("five volts", Unit::Volt, "expected a voltage", "unit"),
        ("1 kdegC", Unit::Celsius, "not a unit", "degC"),
    ];
    for (text, unit, problem, hint) in cases {
        let error = parse_as(text, unit).unwrap_err();
        assert!(error.problem.contains(problem), "{text}: {}", error.problem);
        let said = error.hint.unwrap_or_default();
        assert!(said.contains(hint), "{text}: {said}");
    }
}

#[test]
fn numbers_that_are_none_are_refused() {
    for text in ["", "V", ".", "-", "inf V", "NaN V", "1e999 V", "0x10 V", "1.2.3 V", "1 2 V", "--1 V", "1_000 V"] {
        assert!(parse_as(text, Unit::Volt).is_err(), "{text}");
    }
}

#[test]
fn printing_is_in_engineering_form() {
    assert_eq!(Amperes(0.0649e-3).to_string(), "64.9 uA");
    assert_eq!(Volts(9.0).to_string(), "9 V");
    assert_eq!(Ohms(470e3).to_string(), "470 kohm");
    assert_eq!(Seconds(1200.0).to_string(), "1200 s");
    assert_eq!(Ratio(0.01).to_string(), "1 %");
    assert_eq!(Celsius(-40.0).to_string(), "-40 degC");
    assert_eq!(Volts(0.0).to_string(), "0 V");
    assert_eq!(engineering(0.012_345, Unit::Ampere, 3), "12.3 mA");
    assert_eq!(engineering(0.999_96, Unit::Volt, 3), "1.00 V");
    assert_eq!(engineering(0.1234, Unit::Percent, 3), "12.3 %");
}

#[test]
fn digits_follow_the_uncertainty() {
    // Two digits of uncertainty: JCGM 100:2008, 7.2.6.
    assert_eq!(with_uncertainty(64.9e-6, 0.81e-6, Unit::Ampere), "(64.90 ± 0.81) uA");
    assert_eq!(with_uncertainty(12.3456e-3, 23e-6, Unit::Ampere), "(12.346 ± 0.023) mA");
    assert_eq!(with_uncertainty(9.0, 0.0049, Unit::Volt), "(9.0000 ± 0.0049) V");
    assert_eq!(with_uncertainty(9.0, 0.0, Unit::Volt), "9.00 V");
    assert_eq!(with_uncertainty(1e-6, 1e-3, Unit::Ampere), "(0.0 ± 1.0) mA");
    assert_eq!(with_uncertainty(0.123, 0.012, Unit::Percent), "(12.3 ± 1.2) %");
    assert_eq!(with_uncertainty(123456.0, 2300.0, Unit::Second), "(123500 ± 2300) s");
}

#[test]
fn a_value_alone_has_the_digits_that_it_deserves() {
    assert_eq!(deserved(64.9e-6, 0.81e-6, Unit::Ampere), "64.90 uA");
    assert_eq!(deserved(12.3456e-3, 23e-6, Unit::Ampere), "12.346 mA");
    assert_eq!(deserved(9.0, 0.0049, Unit::Volt), "9.0000 V");
    assert_eq!(deserved(12.0e-3, 5.0e-3, Unit::Ampere), "12.0 mA");
    assert_eq!(deserved(1.2e-3, 50e-3, Unit::Ampere), "1 mA");
    assert_eq!(deserved(9.0, 0.0, Unit::Volt), "9.00 V");
}

proptest! {
    #[test]
    fn what_is_printed_reads_back_bit_for_bit(value in proptest::num::f64::NORMAL | proptest::num::f64::ZERO) {
        for unit in [Unit::Volt, Unit::Ohm, Unit::Second, Unit::Celsius, Unit::Percent, Unit::VoltPerSecond, Unit::AmpereHour] {
            let text = print::exact(value, unit);
            prop_assert_eq!(parse_as(&text, unit).map(f64::to_bits), Ok(value.to_bits()), "{}", text);
        }
    }

    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC*", unit in 0usize..4) {
        let unit = [Unit::Volt, Unit::Second, Unit::Percent, Unit::Celsius][unit];
        if let Ok(value) = parse_as(&text, unit) {
            prop_assert!(value.is_finite());
        }
    }
}

#[test]
fn nothing_is_nought_percent() {
    assert_eq!(engineering(0.0, Unit::Percent, 3), "0 %");
    assert_eq!(Ratio(0.0).to_string(), "0 %");
}
