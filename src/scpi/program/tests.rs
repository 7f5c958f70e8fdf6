//! CHECKS 1.2 for the direction to the instrument.

use super::*;
use crate::scpi::error_queue::codes;
use crate::scpi::header::{Mnemonic, Pattern};
use crate::units::Unit as Of;

fn run(message: &str) -> Program {
    parse(message.as_bytes(), &Limits::default())
}

fn headers(message: &str) -> Vec<String> {
    let program = run(message);
    assert_eq!(program.fault, None, "{message}");
    program.units.into_iter().map(|unit| unit.header + if unit.query { "?" } else { "" }).collect()
}

fn fault(message: &str) -> (i32, usize) {
    let fault = run(message).fault.unwrap_or_else(|| panic!("{message:?} has no fault"));
    (fault.code, fault.at)
}

fn parameters(data: &str) -> Vec<Parameter> {
    let program = run(&format!("VOLT {data}"));
    assert_eq!(program.fault, None, "{data}");
    program.units[0].parameters.clone()
}

fn only(data: &str) -> Parameter {
    let mut list = parameters(data);
    assert_eq!(list.len(), 1, "{data}");
    list.remove(0)
}

fn code_of(data: &str) -> i32 {
    fault(&format!("VOLT {data}")).0
}

#[test]
fn headers_are_resolved_against_the_one_before() {
    // SCPI-99 6.2.4, IEEE 488.2 A.1.1; CHECKS 1.2 row 19 (from memory)
    let cases = [
        ("VOLT 9", vec!["VOLT"]),
        (":SOUR:VOLT 9;CURR 1", vec!["SOUR:VOLT", "SOUR:CURR"]),
        ("SOUR:VOLT:LEV 9;PROT 10;:CURR 1", vec!["SOUR:VOLT:LEV", "SOUR:VOLT:PROT", "CURR"]),
        ("STAT:OPER:ENAB 1;PTR 2;EVEN?", vec!["STAT:OPER:ENAB", "STAT:OPER:PTR", "STAT:OPER:EVEN?"]),
        ("A:B;C:D;E", vec!["A:B", "A:C:D", "A:C:E"]),
        // common commands leave the place alone
        ("SOUR:VOLT 9;*OPC?;CURR 1", vec!["SOUR:VOLT", "*OPC?", "SOUR:CURR"]),
        ("meas:volt?; curr?\n", vec!["MEAS:VOLT?", "MEAS:CURR?"]),
        ("*rst ; *idn?", vec!["*RST", "*IDN?"]),
        ("", vec![]),
        (" \r\n", vec![]),
        ("VOLT 9;", vec!["VOLT"]),
    ];
    for (message, expected) in cases {
        assert_eq!(headers(message), expected, "{message}");
    }
    // each message starts at the root again
    assert_eq!(headers("CURR 1"), ["CURR"]);
}

#[test]
fn header_faults_have_their_codes_and_places() {
    // SCPI-99 volume 2, 21.8.9 (texts of the codes); CHECKS 1.2 rows 4 and 19
    let cases = [
        ("VOLT,9", (-111, 4)),
        ("VOLT\"9\"", (-111, 4)),
        ("VOLT?9", (-111, 5)),
        ("VOLT#H5", (-111, 4)),
        ("VOLT& 9", (-101, 4)),
        ("9VOLT", (-101, 0)),
        ("&VOLT", (-101, 0)),
        ("VOLT\u{b5}", (-101, 4)),
        ("VOLT::LEV 9", (-103, 5)),
        ("::VOLT", (-103, 1)),
        ("VOLT: LEV", (-102, 5)),
        ("VOLT:", (-102, 5)),
        ("?", (-102, 0)),
        ("*", (-102, 1)),
        ("*1", (-101, 1)),
        ("VOLT 1;;CURR 1", (-102, 7)),
        ("VOLT 1\nCURR 1", (-102, 6)),
        ("VOLTAGEPROTECT 9", (-112, 0)),
        ("SOUR:VOLTAGEPROTEC 9", (-112, 5)),
        ("VOLT?? 1", (-111, 5)),
        ("*IDN:X", (-111, 4)),
    ];
    for (message, expected) in cases {
        assert_eq!(fault(message), expected, "{message}");
    }
    assert_eq!(headers("ABCDEFGHIJKL 9"), ["ABCDEFGHIJKL"], "12 characters are allowed");
}

#[test]
fn units_before_a_fault_stand() {
    let program = run("VOLT 9;CURR 1;OUTP& 1;VOLT 2");
    assert_eq!(program.units.len(), 2);
    assert_eq!(program.fault, Some(Fault { code: codes::INVALID_CHARACTER, at: 18 }));
    assert_eq!(program.fault.unwrap().report().emit(), b"-101,\"Invalid character\"");
    assert_eq!(program.units[1].at, 7);
}

#[test]
fn numbers_are_read_in_all_their_forms() {
    // IEEE 488.2 7.7.2; CHECKS 1.2 row 1
    let cases = [
        ("12", 12.0),
        ("+12.5", 12.5),
        ("-.5", -0.5),
        ("5.", 5.0),
        ("1.25E1", 12.5),
        ("1e-3", 0.001),
        // blanks around the E: IEEE 488.2 7.7.2.2
        ("1.25 E 1", 12.5),
        ("1 e -3", 0.001),
        ("007", 7.0),
    ];
    for (data, expected) in cases {
        assert_eq!(only(data), Parameter::Number { value: expected, suffix: None }, "{data}");
    }
    assert_eq!(parameters("1, 2 ,3").len(), 3);
}

#[test]
fn numeric_limits_raise_their_errors() {
    // IEEE 488.2 7.7.2.4.1; CHECKS 1.2 row 3
    assert_eq!(code_of("1E32001"), codes::EXPONENT_TOO_LARGE);
    assert_eq!(code_of("1E-32001"), codes::EXPONENT_TOO_LARGE);
    assert_eq!(code_of("1E99999999999"), codes::EXPONENT_TOO_LARGE);
    assert_eq!(only("1E-32000"), Parameter::Number { value: 0.0, suffix: None });
    // within the grammar's limits, but beyond a number of 64 bits
    assert_eq!(code_of("1E32000"), codes::DATA_OUT_OF_RANGE);
    assert_eq!(code_of(&"1".repeat(256)), codes::TOO_MANY_DIGITS);
    let zeros_in_front = format!("{}.{}", "0".repeat(300), "1".repeat(255));
    assert!(matches!(only(&zeros_in_front), Parameter::Number { .. }));
    assert_eq!(code_of(&format!("{zeros_in_front}1")), codes::TOO_MANY_DIGITS);
}

#[test]
fn what_is_no_number_is_refused() {
    for (data, code) in [
        ("1.2.3", -121),
        ("1+2", -121),
        ("+", -120),
        ("-x", -120),
        (".", -120),
        ("#Hxyz", -121),
        ("#B012", -121),
        ("#Z", -121),
        ("#", -121),
        ("1 2", -103),
        ("1:2", -103),
        ("1\"a\"", -103),
        ("\"a\"b", -103),
    ] {
        assert_eq!(code_of(data), code, "{data}");
    }
    assert_eq!(code_of("1,,2"), codes::SYNTAX_ERROR);
    assert_eq!(code_of(",1"), codes::SYNTAX_ERROR);
    assert_eq!(code_of("1,"), codes::SYNTAX_ERROR);
    assert_eq!(code_of("%"), codes::INVALID_CHARACTER);
}

#[test]
fn a_decimal_comma_makes_two_parameters() {
    // QUIRKS 35
    let unit = run("VOLT 9,99").units.remove(0);
    assert_eq!(unit.parameters.len(), 2);
    assert_eq!(unit.takes(1..=1), Err(codes::PARAMETER_NOT_ALLOWED));
    assert_eq!(unit.takes(0..=2), Ok(()));
    assert_eq!(run("VOLT").units[0].takes(1..=1), Err(codes::MISSING_PARAMETER));
    assert_eq!(run("VOLT").units[0].parameter(0), Err(codes::MISSING_PARAMETER));
}

#[test]
fn non_decimal_numbers_have_the_values_of_the_standard() {
    // IEEE 488.2 7.7.4; CHECKS 1.2 row 7
    for (data, expected) in [("#HA2F", 2607), ("#ha4e", 2638), ("#Q62", 50), ("#q15", 13), ("#B01011", 11)] {
        assert_eq!(only(data), Parameter::NonDecimal(expected));
        assert_eq!(only(data).numeric(None), Ok(Numeric::Value(expected as f64)));
    }
    assert_eq!(code_of("#H10000000000000000"), codes::DATA_OUT_OF_RANGE);
}

#[test]
fn every_multiplier_has_its_power() {
    // IEEE 488.2 7.7.3; CHECKS 1.2 row 14
    let rows = [
        ("EX", 1e18),
        ("PE", 1e15),
        ("T", 1e12),
        ("G", 1e9),
        ("MA", 1e6),
        ("K", 1e3),
        ("M", 1e-3),
        ("U", 1e-6),
        ("N", 1e-9),
        ("P", 1e-12),
        ("F", 1e-15),
        ("A", 1e-18),
    ];
    for (multiplier, expected) in rows {
        for (unit, symbol) in [(Of::Volt, "V"), (Of::Ampere, "A"), (Of::Watt, "W"), (Of::Second, "S"), (Of::Farad, "F")] {
            assert_eq!(factor(&format!("{multiplier}{symbol}"), unit), Some(expected), "{multiplier}{symbol}");
        }
        if multiplier != "M" {
            assert_eq!(factor(&format!("{multiplier}OHM"), Of::Ohm), Some(expected));
        }
    }
}

#[test]
fn m_is_milli_except_for_ohms_and_hertz() {
    // IEEE 488.2 7.7.3; CHECKS 1.2 row 15
    let value = |data: &str, unit| only(data).numeric(Some(unit)).unwrap();
    assert_eq!(value("1 MV", Of::Volt), Numeric::Value(1e-3));
    assert_eq!(value("1 MAV", Of::Volt), Numeric::Value(1e6));
    assert_eq!(value("1MOHM", Of::Ohm), Numeric::Value(1e6));
    assert_eq!(value("1MAOHM", Of::Ohm), Numeric::Value(1e6));
    assert_eq!(value("1 mhz", Of::Hertz), Numeric::Value(1e6));
    assert_eq!(value("60 mA", Of::Ampere), Numeric::Value(0.06));
    assert_eq!(value("1 MAA", Of::Ampere), Numeric::Value(1e6));
    assert_eq!(value("2.5E-1 MS", Of::Second), Numeric::Value(0.25e-3));
    assert_eq!(value("1E 3 UV", Of::Volt), Numeric::Value(1e-3));
    // E is an exponent only with digits behind it
    assert_eq!(value("1 EXV", Of::Volt), Numeric::Value(1e18));
    // percent and degrees take none
    assert_eq!(value("50 PCT", Of::Percent), Numeric::Value(0.5));
    assert_eq!(value("-40 CEL", Of::Celsius), Numeric::Value(-40.0));
    for (data, unit) in [("1 MPCT", Of::Percent), ("1 MCEL", Of::Celsius), ("1 KDEG", Of::Celsius)] {
        assert_eq!(only(data).numeric(Some(unit)), Err(codes::INVALID_SUFFIX), "{data}");
    }
}

#[test]
fn a_suffix_gives_the_number_that_its_exponent_would() {
    // common practice: 35 MV and 35E-3 V are the same set-point, to the last bit
    for count in 1..=2000 {
        for (suffix, exponent) in [("MV", "E-3"), ("UV", "E-6"), ("NV", "E-9"), ("AV", "E-18"), ("KV", "E3")] {
            let written: f64 = format!("{count}{exponent}").parse().unwrap();
            let read = only(&format!("{count} {suffix}")).numeric(Some(Of::Volt));
            assert_eq!(read, Ok(Numeric::Value(written)), "{count} {suffix}");
        }
    }
}

#[test]
fn suffixes_that_do_not_fit_are_refused() {
    // CHECKS 1.2 rows 4 and 16
    assert_eq!(only("1 A").numeric(Some(Of::Volt)), Err(codes::INVALID_SUFFIX));
    assert_eq!(only("1 XV").numeric(Some(Of::Volt)), Err(codes::INVALID_SUFFIX));
    assert_eq!(only("1 M").numeric(Some(Of::Volt)), Err(codes::INVALID_SUFFIX));
    assert_eq!(only("1 V").numeric(None), Err(codes::SUFFIX_NOT_ALLOWED));
    assert_eq!(only("1 V/S").numeric(Some(Of::VoltPerSecond)), Ok(Numeric::Value(1.0)));
    assert_eq!(code_of("1 ABCDEFGHIJKLM"), codes::SUFFIX_TOO_LONG);
    assert_eq!(only("1E300 EXV").numeric(Some(Of::Volt)), Err(codes::DATA_OUT_OF_RANGE));
}

#[test]
fn words_stand_in_for_numbers() {
    // SCPI-99 7.2.1; CHECKS 1.2 row 5
    for (word, expected) in [
        ("MIN", Numeric::Minimum),
        ("maximum", Numeric::Maximum),
        ("DEF", Numeric::Default),
        ("UP", Numeric::Up),
        ("DOWN", Numeric::Down),
        ("INFinity", Numeric::Infinity),
        ("NINF", Numeric::NegativeInfinity),
        ("NAN", Numeric::NotANumber),
    ] {
        assert_eq!(only(word).numeric(Some(Of::Volt)), Ok(expected), "{word}");
    }
    for word in ["MINI", "MAXIMU", "INFIN", "X"] {
        assert_eq!(only(word).numeric(None), Err(codes::INVALID_CHARACTER_DATA), "{word}");
    }
    assert_eq!(code_of("ABCDEFGHIJKLM"), codes::CHARACTER_DATA_TOO_LONG);
    assert_eq!(code_of("MA-X"), codes::INVALID_CHARACTER_DATA);
}

#[test]
fn booleans_are_words_or_round_to_zero_or_not() {
    // SCPI-99 7.3; CHECKS 1.2 row 8
    let read = ["ON", "off", "1", "0", "2", "0.4", "0.6", "-1", "#B1"].map(|data| only(data).boolean().unwrap());
    assert_eq!(read, [true, false, true, false, true, false, true, true, true]);
    let refused = ["YES", "1 V", "\"ON\"", "(1)", "#11x"].map(|data| only(data).boolean().unwrap_err());
    assert_eq!(refused, [-141, -138, -158, -178, -168]);
}

#[test]
fn words_are_chosen_from_a_list() {
    let sources = ["BUS", "IMMediate", "EXTernal"].map(|word| Mnemonic::new(word).unwrap());
    assert_eq!(only("imm").choice(&sources), Ok(1));
    assert_eq!(only("EXTERNAL").choice(&sources), Ok(2));
    assert_eq!(only("EXTERN").choice(&sources), Err(codes::INVALID_CHARACTER_DATA));
    assert_eq!(only("1").choice(&sources), Err(codes::NUMERIC_DATA_NOT_ALLOWED));
}

#[test]
fn strings_take_both_quotes_and_hold_separators() {
    // IEEE 488.2 7.7.5; CHECKS 1.2 row 9
    assert_eq!(only("\"a;b,\"\"c\"\"\"").text(), Ok("a;b,\"c\""));
    assert_eq!(only("'it''s'").text(), Ok("it's"));
    assert_eq!(only("5").text(), Err(codes::NUMERIC_DATA_NOT_ALLOWED));
    assert_eq!(only("BUS").text(), Err(codes::CHARACTER_DATA_NOT_ALLOWED));
    assert_eq!(code_of("\"open"), codes::INVALID_STRING_DATA);
    assert_eq!(code_of("\"a\nb\""), codes::INVALID_STRING_DATA);
}

#[test]
fn blocks_are_taken_by_their_length() {
    // IEEE 488.2 7.7.6; CHECKS 1.2 rows 12 and 13
    let program = parse(b"DATA #15a;b\n\",1;CURR 2\n", &Limits::default());
    assert_eq!(program.fault, None);
    assert_eq!(program.units[0].parameters[0].block(), Ok(&b"a;b\n\""[..]));
    assert_eq!(program.units[1].header, "CURR");
    let rest = parse(b"DATA #0a;b\nc\n", &Limits::default());
    assert_eq!(rest.units[0].parameters[0].block(), Ok(&b"a;b\nc"[..]));
    for data in ["#15abc", "#2", "#2x1", "#9999999999x"] {
        assert_eq!(code_of(data), codes::INVALID_BLOCK_DATA, "{data}");
    }
}

#[test]
fn channel_lists_are_expanded_within_bounds() {
    // SCPI-99 8.3.2
    let list = |data: &str| only(data).channels();
    assert_eq!(list("(@1,3:5)"), Ok(vec![1, 3, 4, 5]));
    assert_eq!(list("(@ 5 : 3 , 1 )"), Ok(vec![5, 4, 3, 1]));
    assert_eq!(list("(@)"), Ok(vec![]));
    assert_eq!(list("(@0:4294967295)"), Err(codes::TOO_MUCH_DATA));
    assert_eq!(list("(@1:1024)").map(|l| l.len()), Ok(1024));
    assert_eq!(list("(@1:1025)"), Err(codes::TOO_MUCH_DATA));
    for data in ["(1,2)", "(@1,)", "(@a)", "(@1!2)", "(@-1)", "(@1:2:3)", "(@99999999999)"] {
        assert_eq!(list(data), Err(codes::INVALID_EXPRESSION), "{data}");
    }
    assert_eq!(list("1"), Err(codes::NUMERIC_DATA_NOT_ALLOWED));
    for data in ["(@1", "(@1;2)", "((1))", "(\"a\")", "(", "(@1\n)"] {
        assert_eq!(code_of(data), codes::INVALID_EXPRESSION, "{data}");
    }
}

#[test]
fn units_fit_patterns() {
    let unit = run(":OUTPUT2:STATE? MAX").units.remove(0);
    assert_eq!(unit.fits(&Pattern::new("OUTPut#[:STATe]?").unwrap()), Some(vec![2]));
    assert_eq!(unit.fits(&Pattern::new("OUTPut#[:STATe]").unwrap()), None);
    let identity = run("*idn?").units.remove(0);
    assert_eq!(identity.fits(&Pattern::new("*IDN?").unwrap()), Some(vec![]));
}

#[test]
fn what_a_device_takes_is_bounded() {
    let limits = Limits { bytes: 40, units: 3, parameters: 2 };
    let run = |message: &str| parse(message.as_bytes(), &limits);
    assert_eq!(run(&"A".repeat(41)).fault.unwrap().code, codes::INPUT_BUFFER_OVERRUN);
    let many = run("A;B;C;D;E");
    assert_eq!((many.units.len(), many.fault.unwrap().code), (3, codes::TOO_MUCH_DATA));
    assert_eq!(run("A 1,2,3").fault.unwrap(), Fault { code: codes::TOO_MUCH_DATA, at: 6 });
    let deep = self::run("A:B:C:D:E:F:G;H:I:J:K:L:M:N");
    assert_eq!((deep.units.len(), deep.fault.unwrap().code), (1, codes::COMMAND_HEADER_ERROR));
}
