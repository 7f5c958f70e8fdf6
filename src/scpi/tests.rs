//! Checks against IEEE 488.2-1992 and SCPI-1999; the clause stands beside each.

use super::error_queue::{ErrorReport, standard_text};
use super::header::Header;
use super::program::{Parameter, Refusal, Unit, parse, suffix_factor};
use super::response::{Datum, list, number};
use super::status::{EventStatus, StatusByte};
use super::*;
use proptest::prelude::*;

#[test]
fn numbers_of_all_three_forms_are_read() {
    // IEEE 488.2 8.7.2 (NR1), 8.7.3 (NR2), 8.7.4 (NR3).
    for (text, value) in [("42", 42.0), ("-7", -7.0), ("+0", 0.0), ("1.5", 1.5), ("-.5", -0.5), ("5.", 5.0), ("1.5E-3", 1.5e-3), ("+1.23456789E+02", 123.456_789), ("1e3", 1000.0)] {
        assert_eq!(number(text.as_bytes()), Ok(Number::Value(value)), "{text}");
    }
    for text in ["", ".", "e5", "1e", "1.2.3", "inf", "nan", "0x10", "1,5", "1 5", "--1", "1_0"] {
        assert!(number(text.as_bytes()).is_err(), "{text}");
    }
}

#[test]
fn special_numbers_are_never_values() {
    // SCPI-1999 7.2.1.4 and 7.2.1.5. One published page lists the signs of the infinities swapped; the standard's are used.
    assert_eq!(number(b"9.9E37"), Ok(Number::Infinity));
    assert_eq!(number(b"9.90000000E+37"), Ok(Number::Infinity));
    assert_eq!(number(b"-9.9E37"), Ok(Number::NegativeInfinity));
    assert_eq!(number(b"9.91E37"), Ok(Number::NotANumber));
    assert_eq!(number(b"+9.91000000E+37"), Ok(Number::NotANumber));
    assert_eq!(number(b"1E38"), Ok(Number::Infinity));
    assert_eq!(number(b"9.8E37"), Ok(Number::Value(9.8e37)));
}

#[test]
fn non_decimal_numbers_are_read() {
    // IEEE 488.2 7.7.4: literals of the standard's examples.
    for (text, value) in [("#HA2F", 2607), ("#ha4e", 2638), ("#Q62", 50), ("#q15", 13), ("#B01011", 11)] {
        assert_eq!(list(text.as_bytes()), Ok(vec![Datum::NonDecimal(value)]), "{text}");
    }
}

#[test]
fn strings_words_and_blocks_are_read() {
    // IEEE 488.2 8.7.8, 8.7.1, 8.7.9, 8.7.10.
    assert_eq!(list(br#""one double quote inside brackets: [""]""#), Ok(vec![Datum::Text("one double quote inside brackets: [\"]".into())]));
    assert_eq!(list(b"'it''s'"), Ok(vec![Datum::Text("it's".into())]));
    assert_eq!(list(b"CV, ON"), Ok(vec![Datum::Word("CV".into()), Datum::Word("ON".into())]));
    assert_eq!(list(b"#213abcdefghijklm"), Ok(vec![Datum::Block(b"abcdefghijklm".to_vec())]));
    assert_eq!(list(b"#0a\nb,c"), Ok(vec![Datum::Block(b"a\nb,c".to_vec())]));
    let long = emit::block(&[b'\n'; 1024]);
    assert!(long.starts_with(b"#41024"));
    assert_eq!(list(&long), Ok(vec![Datum::Block(vec![b'\n'; 1024])]));
    // A string whose second character is a digit was once taken for a block.
    assert_eq!(list(br#""10A""#), Ok(vec![Datum::Text("10A".into())]));
    assert!(list(b"#9999999999").is_err());
    assert!(list(b"#3100abc").is_err());
}

#[test]
fn a_decimal_comma_makes_a_list_of_two() {
    assert_eq!(list(b"9,99"), Ok(vec![Datum::Number(Number::Value(9.0)), Datum::Number(Number::Value(99.0))]));
    assert_eq!(list(b"1.5,x y"), Err(response::ResponseError { at: 6 }));
}

#[test]
fn a_message_ends_at_its_terminator_but_not_inside_a_block() {
    assert_eq!(message_end(b"1.5\nrest", b"\n"), Some(3));
    assert_eq!(message_end(b"1.5", b"\n"), None);
    assert_eq!(message_end(b"1.5\r\n", b"\r\n"), Some(3));
    assert_eq!(message_end(b"#15a\nb\nc\n", b"\n"), Some(8));
    assert_eq!(message_end(b"1,#15a\nb\nc\n", b"\n"), Some(10));
    assert_eq!(message_end(b"#15a\nb", b"\n"), None);
    // A garbled quote must not swallow the next messages: strings hold no line's end.
    assert_eq!(message_end(b"-113,\"Undef\n0\n", b"\n"), Some(11));
    assert_eq!(message_end(b"x#15\nabcd\n", b"\n"), Some(4));
    assert_eq!(message_end(b"#9999999999\n", b"\n"), None);
}

#[test]
fn entries_of_the_error_queue_are_read_in_their_real_life_forms() {
    // SCPI-1999 21.8.1, and the variants that instruments send.
    for text in ["0,\"No error\"", "+0,\"No error\"", "-000,\"No error\"", "0,No error", "0", " 0 , \"\" "] {
        let report = ErrorReport::parse(text.as_bytes());
        assert!(report.is_ok_and(|r| r.is_none()), "{text}");
    }
    let report = ErrorReport::parse(b"-222,\"Data out of range;VOLT 99\"").unwrap();
    assert_eq!((report.code, report.text.as_str()), (-222, "Data out of range;VOLT 99"));
    assert_eq!(ErrorReport::parse(b"-350,\"Too many errors\"").unwrap().code, -350);
    for text in ["", "No error", "CV", "1.5,\"x\"", "9.9E37"] {
        assert!(ErrorReport::parse(text.as_bytes()).is_err(), "{text}");
    }
}

#[test]
fn error_classes_set_their_bit_of_the_event_status_register() {
    // SCPI-1999 21.8.9 to 21.8.16; -500 and below from memory.
    for (code, bit) in [(-113, 32), (-222, 16), (-313, 8), (42, 8), (-410, 4), (-500, 128), (-600, 64), (-700, 2), (-800, 1), (0, 0)] {
        assert_eq!(ErrorReport::standard(code).class().0, bit, "{code}");
    }
    // A bad command with operation complete set reads 33.
    assert_eq!(EventStatus::OPERATION_COMPLETE.with(ErrorReport::standard(-113).class()).0, 33);
    assert_eq!(StatusByte::ERROR_QUEUE.0, 4);
    assert!(StatusByte(0x24).has(StatusByte::EVENT_STATUS));
}

#[test]
fn standard_texts_are_the_standards() {
    for (code, text) in [(-113, "Undefined header"), (-222, "Data out of range"), (-350, "Queue overflow"), (-410, "Query INTERRUPTED"), (-420, "Query UNTERMINATED")] {
        assert_eq!(standard_text(code), Some(text));
    }
    assert_eq!(ErrorReport::standard(-222).to_string(), "-222,\"Data out of range\"");
}

#[test]
fn headers_match_in_exactly_two_forms() {
    // SCPI-1999 6.2.1: only the exact long or the exact short form.
    let words = |text: &str| text.split(':').map(str::to_owned).collect::<Vec<_>>();
    let preset = Header::new("SYSTem:PRESet");
    assert!(preset.matches(&words("SYST:PRES")).is_some());
    assert!(preset.matches(&words("system:preset")).is_some());
    assert!(preset.matches(&words("SYST:PRESET")).is_some());
    assert!(preset.matches(&words("SYSTe:PRESe")).is_none());
    let voltage = Header::new("[SOURce:]VOLTage[:LEVel][:IMMediate][:AMPLitude]");
    for text in ["VOLT", "SOUR:VOLT", "SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE", "volt:lev", "VOLT:AMPL"] {
        assert!(voltage.matches(&words(text)).is_some(), "{text}");
    }
    assert!(voltage.matches(&words("VOLT:PROT")).is_none());
    let output = Header::new("OUTPut#[:STATe]");
    assert_eq!(output.matches(&words("OUTP2")), Some(vec![2]));
    assert_eq!(output.matches(&words("OUTPUT:STAT")), Some(vec![1]));
    assert_eq!(voltage.short(), "VOLT");
    assert_eq!(voltage.long(), "SOURCE:VOLTAGE:LEVEL:IMMEDIATE:AMPLITUDE");
}

fn one(text: &str) -> Unit {
    let (mut units, error) = parse(text.as_bytes());
    assert_eq!(error, None, "{text}");
    assert_eq!(units.len(), 1, "{text}");
    units.remove(0)
}

#[test]
fn suffixes_follow_the_milli_mega_rule() {
    // IEEE 488.2 7.7.3, tables 7-1 and 7-2.
    for (text, value, unit) in [
        ("1 MV", 1e-3, "V"),
        ("1 MAV", 1e6, "V"),
        ("1 MOHM", 1e6, "OHM"),
        ("1 MHZ", 1e6, "HZ"),
        ("2 MA", 2e-3, "A"),
        ("3 UA", 3.0 * 1e-6, "A"),
        ("4 KOHM", 4e3, "OHM"),
        ("5V", 5.0, "V"),
        ("6 A", 6.0, "A"),
        ("7 PCT", 7.0, "PCT"),
        ("1 EXV", 1e18, "V"),
    ] {
        let unit_read = one(&format!("X {text}"));
        assert_eq!(unit_read.parameters, vec![Parameter::Number(value, unit.into())], "{text}");
    }
    assert_eq!(suffix_factor("MPCT"), None);
    assert_eq!(suffix_factor("KDEG"), None);
    assert_eq!(suffix_factor("XYZ"), None);
}

#[test]
fn compound_headers_walk_the_tree() {
    // SCPI-1999 6.2.4.
    let (units, error) = parse(b"SOUR:VOLT 9;CURR 0.06;*OPC?;VOLT:PROT 10;:OUTP ON");
    assert_eq!(error, None);
    let headers: Vec<String> = units.iter().map(|u| u.header.join(":")).collect();
    assert_eq!(headers, ["SOUR:VOLT", "SOUR:CURR", "*OPC", "SOUR:VOLT:PROT", "OUTP"]);
    assert!(units[2].query);
    assert_eq!(units[4].parameters, vec![Parameter::Word("ON".into())]);
    assert_eq!(one("VOLT 1,(@1,3:5)").parameters[1], Parameter::Expression("(@1,3:5)".into()));
    assert_eq!(one("X \"a\"\"b\",#13abc,#HFF").parameters, vec![Parameter::Text("a\"b".into()), Parameter::Block(b"abc".to_vec()), Parameter::Number(255.0, String::new())]);
}

#[test]
fn violations_raise_the_standards_codes() {
    // SCPI-1999 21.8.9; limits from IEEE 488.2 7.6.1.4.1, 7.7.1.4, 7.7.2.4.1, 7.7.3.4.
    let digits = "1".repeat(256);
    let long = "A".repeat(13);
    for (text, code) in [
        ("VOLT 1E32001", -123),
        (format!("VOLT {digits}").as_str(), -124),
        (format!("{long} 1").as_str(), -112),
        (format!("X {long}").as_str(), -144),
        (format!("X 1 {long}").as_str(), -134),
        ("X 1 QQ", -131),
        ("VOLT(@1)", -111),
        ("X \"open", -151),
        ("X #3100ab", -161),
        ("X (@1", -171),
        ("X 1 1", -103),
        ("X 1,", -109),
        ("X 1,,2", -109),
        ("1X", -102),
        ("X \u{1}", -101),
        ("*", -102),
    ] {
        assert_eq!(parse(text.as_bytes()).1, Some(Refusal(code)), "{text}");
    }
    // 255 digits pass, and leading zeros do not count.
    assert_eq!(parse(format!("VOLT 000{}", "1".repeat(255)).as_bytes()).1, None);
}

#[test]
fn emitted_numbers_read_back() {
    for value in [0.0, 9.0, 0.06, -1.5e-9, 1e300, f64::MIN_POSITIVE] {
        assert_eq!(number(emit::number(value).as_bytes()), Ok(Number::classify(value)));
    }
    assert_eq!(emit::number(f64::NAN), "9.91E37");
    assert_eq!(number(emit::number(f64::NEG_INFINITY).as_bytes()), Ok(Number::NegativeInfinity));
}

/// Bytes that look like messages, and bytes that do not.
fn messages() -> impl Strategy<Value = Vec<u8>> {
    let pieces = proptest::sample::select(vec!["VOLT", ":", ";", "*IDN?", " ", "1.5", "E", "#", "0", "9", "\"", "'", "(@1)", ",", "MV", "\n", "-", "+", "?", "\u{e9}"]);
    prop_oneof![
        proptest::collection::vec(any::<u8>(), 0..200),
        proptest::collection::vec(pieces, 0..40).prop_map(|p| p.concat().into_bytes()),
    ]
}

/// How many bytes of payload a response holds.
fn held(data: &[Datum]) -> usize {
    data.iter()
        .map(|d| match d {
            Datum::Text(t) | Datum::Word(t) => t.len(),
            Datum::Block(b) => b.len(),
            _ => 8,
        })
        .sum()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 20_000, ..ProptestConfig::default() })]

    #[test]
    fn no_input_panics_or_holds_more_than_its_length_accounts_for(bytes in messages()) {
        if let Ok(data) = list(&bytes) {
            // U+FFFD takes three bytes for one.
            prop_assert!(held(&data) <= 8 * bytes.len() + 8);
        }
        let (units, _) = parse(&bytes);
        prop_assert!(units.len() <= 256);
        prop_assert!(units.iter().all(|u| u.parameters.len() <= 256));
        if let Ok(report) = ErrorReport::parse(&bytes) {
            prop_assert!(report.text.len() <= 3 * bytes.len());
        }
        if let Some(end) = message_end(&bytes, b"\n") {
            prop_assert!(end < bytes.len());
            prop_assert_eq!(bytes[end], b'\n');
        }
        if let Ok(Number::Value(value)) = number(&bytes) {
            prop_assert!(value.is_finite() && value.abs() < 9.9e37);
        }
    }

    #[test]
    fn strings_and_blocks_survive_the_way_there_and_back(text in "[ -~]{0,60}", data in proptest::collection::vec(any::<u8>(), 0..300)) {
        prop_assert_eq!(list(emit::quoted(&text).as_bytes()), Ok(vec![Datum::Text(text)]));
        let mut wire = emit::block(&data);
        wire.push(b'\n');
        prop_assert_eq!(message_end(&wire, b"\n"), Some(wire.len() - 1));
        wire.pop();
        prop_assert_eq!(list(&wire), Ok(vec![Datum::Block(data)]));
    }

    #[test]
    fn numbers_survive_the_way_there_and_back(value in -9.0e37f64..9.0e37) {
        prop_assert_eq!(number(emit::number(value).as_bytes()), Ok(Number::Value(value)));
        let sent = format!("VOLT {}", emit::number(value));
        let (units, error) = parse(sent.as_bytes());
        prop_assert_eq!(error, None);
        prop_assert_eq!(&units[0].parameters, &vec![Parameter::Number(value, String::new())]);
    }
}
