//! CHECKS 1.2 for the direction from the instrument.

use super::*;

fn one(text: &str) -> Datum {
    parse_one(text.as_bytes()).unwrap_or_else(|e| panic!("{text}: {e}"))
}

fn problem(text: &str) -> (usize, Problem) {
    let error = parse_list(text.as_bytes()).expect_err(text);
    (error.at, error.problem)
}

#[test]
fn the_three_decimal_forms_are_told_apart() {
    // IEEE 488.2 8.7.2 to 8.7.4; CHECKS 1.2 row 1
    assert_eq!(one("+12"), Datum::Integer(12));
    assert_eq!(one("-007"), Datum::Integer(-7));
    assert_eq!(one("12.50"), Datum::Decimal { value: 12.5, form: Form::Nr2 });
    assert_eq!(one("-1.25E+1"), Datum::Decimal { value: -12.5, form: Form::Nr3 });
    // without a digit before or behind the point, with a small e, without a point: common practice
    assert_eq!(one(".5"), Datum::Decimal { value: 0.5, form: Form::Nr2 });
    assert_eq!(one("5."), Datum::Decimal { value: 5.0, form: Form::Nr2 });
    assert_eq!(one("1e3"), Datum::Decimal { value: 1000.0, form: Form::Nr3 });
}

#[test]
fn the_widest_numbers_seen_are_read_to_the_last_digit() {
    // CHECKS 1.2 row 2: NR1 and NR2 of 17 characters, NR3 of 22
    assert_eq!(one("-1234567890123456"), Datum::Integer(-1234567890123456));
    assert_eq!(one("-123456789.012345").reading(), Ok(-123456789.012345));
    let widest = "-1.23456789012345E-123";
    assert_eq!(widest.len(), 22);
    assert_eq!(one(widest).reading(), Ok(-1.23456789012345e-123));
}

#[test]
fn the_special_numbers_are_no_readings() {
    // SCPI-99 7.2.1.4 and .5; CHECKS 1.2 rows 5 and 6. One page lists the signs of the two infinities
    // swapped; the standard's are taken.
    for (text, special) in [
        ("9.9E37", Special::Infinity),
        ("+9.9E+37", Special::Infinity),
        ("9.90000000E+37", Special::Infinity),
        ("-9.9E37", Special::NegativeInfinity),
        ("-9.90000000E+37", Special::NegativeInfinity),
        ("9.91E37", Special::NotANumber),
        ("+9.91000000E+37", Special::NotANumber),
        ("9.92E37", Special::Infinity),
        ("-9.91E37", Special::NegativeInfinity),
        ("1E38", Special::Infinity),
        ("1E400", Special::Infinity),
        ("-1E99999999999", Special::NegativeInfinity),
    ] {
        assert_eq!(one(text), Datum::Special(special), "{text}");
        assert_eq!(one(text).reading(), Err(NoReading::Special(special)));
    }
    assert_eq!(one(&format!("99{}", "0".repeat(36))), Datum::Special(Special::Infinity));
    assert_eq!(one("9.89E37").reading(), Ok(9.89e37));
    assert_eq!(one("-9.89E37").reading(), Ok(-9.89e37));
}

#[test]
fn an_infinity_computed_in_single_precision_is_one_too() {
    // common practice: 9.9E37 and 9.91E37 as single precision numbers, printed with all digits
    let (infinity, none) = (f64::from(9.9e37f32), f64::from(9.91e37f32));
    assert!(infinity < 9.9e37 || none < 9.91e37, "one of them lies below: {infinity:e} {none:e}");
    assert_eq!(one(&format!("{infinity:E}")), Datum::Special(Special::Infinity));
    assert_eq!(one(&format!("{none:E}")), Datum::Special(Special::NotANumber));
    assert_eq!(one(&format!("{:E}", -infinity)), Datum::Special(Special::NegativeInfinity));
}

#[test]
fn words_that_other_parsers_take_for_numbers_are_words() {
    // CRATES.md pitfall 3; QUIRKS 31
    for word in ["inf", "INF", "nan", "NaN", "infinity", "OL", "OVLOAD", "OVFLOW", "E5", "e", "CV"] {
        assert_eq!(one(word), Datum::Word(word.into()));
        assert!(matches!(one(word).reading(), Err(NoReading::NotNumeric(_))));
    }
    // +inf and -nan are not even words
    assert_eq!(problem("-inf"), (0, Problem::NoElement { found: "'-'".into() }));
    assert_eq!(problem("+NAN"), (0, Problem::NoElement { found: "'+'".into() }));
}

#[test]
fn a_decimal_comma_makes_two_values_and_never_one() {
    // QUIRKS 35: "9,99" read as 999
    assert_eq!(parse_list(b"9,99").unwrap(), [Datum::Integer(9), Datum::Integer(99)]);
    assert_eq!(parse_one(b"9,99"), Err(ParseError { at: 0, problem: Problem::Count { count: 2 } }));
    let said = parse_one(b"9,99").unwrap_err().to_string();
    assert!(said.contains("never a decimal mark"), "{said}");
    assert_eq!(parse_list(b"1.234,5").unwrap().len(), 2);
    assert!(parse_with_unit(b"9,99 V").is_err());
}

#[test]
fn non_decimal_numbers_have_the_values_of_the_standard() {
    // IEEE 488.2 7.7.4; CHECKS 1.2 row 7
    for (text, expected) in [("#HA2F", 2607), ("#ha4e", 2638), ("#Q62", 50), ("#q15", 13), ("#B01011", 11)] {
        assert!(matches!(one(text), Datum::NonDecimal { value, .. } if value == expected), "{text}");
        assert_eq!(one(text).register(), Some(expected));
    }
    assert_eq!(one("#HFFFFFFFFFFFFFFFF").register(), Some(u64::MAX));
    assert_eq!(problem("#H10000000000000000").1, Problem::NonDecimalTooLarge);
    assert_eq!(problem("#Q8").1, Problem::NonDecimalDigits);
    assert_eq!(problem("#B012"), (4, Problem::Trailing { found: "'2'".into() }));
}

#[test]
fn booleans_are_zero_and_one() {
    // SCPI-99 7.3; CHECKS 1.2 row 8
    let answers = ["0", "1", "+1", "2", "ON", "1.0"].map(|text| one(text).boolean());
    assert_eq!(answers, [Some(false), Some(true), Some(true), None, None, None]);
    assert_eq!(emit_list(&[Datum::switch(true), Datum::switch(false)]), b"1,0");
}

#[test]
fn strings_hold_commas_and_doubled_quotes() {
    // IEEE 488.2 8.7.8; CHECKS 1.2 rows 9 and 10
    let text = r#""one double quote inside brackets: [""]""#;
    let inside = r#"one double quote inside brackets: ["]"#;
    assert_eq!(one(text), Datum::Text(inside.into()));
    assert_eq!(emit_list(&[Datum::Text(inside.into())]), text.as_bytes());
    assert_eq!(one("'it''s, \"so\"; #15'"), Datum::Text("it's, \"so\"; #15".into()));
    assert_eq!(one("\"\""), Datum::Text(String::new()));
    assert_eq!(problem("1,\"open"), (2, Problem::OpenString));
    assert_eq!(problem("\"a\rb\""), (0, Problem::OpenString));
}

#[test]
fn strings_that_are_not_utf8_are_latin1() {
    // common practice: 0xB5 and 0xB0 are micro and degree
    assert_eq!(parse_one(b"\"5 \xb5A, 20 \xb0C\"").unwrap(), Datum::Text("5 µA, 20 °C".into()));
    assert_eq!(one("\"5 µA\""), Datum::Text("5 µA".into()));
}

#[test]
fn definite_blocks_are_taken_by_their_length() {
    // IEEE 488.2 8.7.9; CHECKS 1.2 row 12
    for (header, length) in [("#800000080", 80), ("#44000", 4000), ("#41024", 1024), ("#213", 13)] {
        let data: Vec<u8> = (0..length).map(|i| b"\n,;\"#\x00\xff"[i % 7]).collect();
        let message = [header.as_bytes(), &data].concat();
        assert_eq!(parse_one(&message).unwrap(), Datum::Block(data.clone()), "{header}");
        // and a list goes on behind it
        let list = parse_list(&[&message[..], b",5"].concat()).unwrap();
        assert_eq!(list, [Datum::Block(data), Datum::Integer(5)]);
    }
    // data begin at byte 5, counted from one
    assert_eq!(one("#213Hello, world!"), Datum::Block("#213Hello, world!".as_bytes()[4..].to_vec()));
    assert_eq!(one("#10"), Datum::Block(vec![]));
}

#[test]
fn a_block_that_was_cut_short_says_by_how_much() {
    assert_eq!(problem("1,#210abc"), (2, Problem::BlockShort { announced: 10, present: 3 }));
    assert_eq!(problem("#9999999999x"), (0, Problem::BlockShort { announced: 999_999_999, present: 1 }));
    for header in ["#", "#5", "#41", "#2x1", "#A"] {
        assert_eq!(problem(header), (0, Problem::BlockHeader), "{header}");
    }
}

#[test]
fn an_indefinite_block_ends_the_whole_response() {
    // IEEE 488.2 8.7.10; CHECKS 1.2 row 13
    assert_eq!(parse_list(b"1,#0ab,\n;c\n").unwrap(), [Datum::Integer(1), Datum::Block(b"ab,\n;c".to_vec())]);
    assert_eq!(one("#0"), Datum::Block(vec![]));
}

#[test]
fn the_format_of_meters_is_read_and_written() {
    // CHECKS 1.2 row 17: SD.DDDDDDDDESDD, several separated by commas, CR LF over RS-232
    let message = b"+1.23456789E-03,-9.87654321E+01\r\n";
    let list = parse_list(message).unwrap();
    assert_eq!(list.iter().map(Datum::reading).collect::<Vec<_>>(), [Ok(1.23456789e-3), Ok(-98.7654321)]);
    assert_eq!(nr3(1.23456789e-3, 9), "+1.23456789E-03");
    assert_eq!(nr3(-98.7654321, 9), "-9.87654321E+01");
    assert_eq!(nr3(0.0, 9), "+0.00000000E+00");
    assert_eq!(nr3(1e-123, 3), "+1.00E-123");
    assert_eq!((nr3(f64::NAN, 9), nr2(f64::INFINITY, 3)), ("9.91E+37".into(), "9.9E+37".into()));
    assert_eq!((nr2(12.5, 3), nr2(-0.0004, 2)), ("12.500".into(), "-0.00".into()));
}

#[test]
fn units_of_a_compound_response_stay_apart() {
    // IEEE 488.2 8.4: semicolon between response message units
    let units = parse_message(b"9.000;\"a;b\",1;CV\n").unwrap();
    assert_eq!(units.len(), 3);
    assert_eq!(units[1], [Datum::Text("a;b".into()), Datum::Integer(1)]);
    assert_eq!(units[2], [Datum::Word("CV".into())]);
    assert_eq!(parse_message(b"1;").unwrap_err().at, 2);
    assert_eq!(problem("1;2"), (1, Problem::Trailing { found: "';'".into() }));
}

#[test]
fn a_unit_behind_a_number_is_returned_as_it_stands() {
    // QUIRKS 32
    let cases = [("1.234A", 1.234, "A"), ("101.2e-3 V DC", 0.1012, "V DC"), ("-5", -5.0, ""), ("1.5EX", 1.5, "EX")];
    for (text, value, unit) in cases {
        let (datum, found) = parse_with_unit(text.as_bytes()).unwrap();
        assert_eq!((datum.reading(), found.as_str()), (Ok(value), unit));
    }
    assert_eq!(parse_with_unit("12 µA".as_bytes()).unwrap().1, "µA");
    assert_eq!(parse_with_unit(b"12 \xb5A").unwrap().1, "µA");
    assert!(matches!(parse_with_unit(b"9.9E37 V").unwrap().0, Datum::Special(_)));
    for text in ["1.2.3", "1;V", "V 1", "", "1 \"V\"", "1 ,V"] {
        assert!(parse_with_unit(text.as_bytes()).is_err(), "{text}");
    }
}

#[test]
fn errors_point_at_their_byte() {
    assert_eq!(problem(""), (0, Problem::Empty));
    assert_eq!(problem(" \r\n"), (1 + 1, Problem::Empty));
    assert_eq!(problem("1.5,,2"), (4, Problem::NoElement { found: "','".into() }));
    assert_eq!(problem("1.5,"), (4, Problem::NoElement { found: "the end".into() }));
    assert_eq!(problem("1.234A"), (5, Problem::Trailing { found: "'A'".into() }));
    assert_eq!(problem("1.2.3"), (3, Problem::Trailing { found: "'.'".into() }));
    assert_eq!(problem("12 34"), (3, Problem::Trailing { found: "'3'".into() }));
    assert_eq!(problem("\u{7f}1"), (0, Problem::NoElement { found: "byte 0x7f".into() }));
    assert_eq!(parse_list(b"1\n2").unwrap_err().at, 1);
    assert_eq!(
        parse_list(b"1.234A").unwrap_err().to_string(),
        "at byte 5: expected a comma, a semicolon or the end after the value, found 'A'"
    );
}

#[test]
fn character_data_is_kept_as_sent() {
    // IEEE 488.2 8.7.1: response mnemonics are upper case; small letters are met
    assert_eq!(parse_list(b"CV, ur ,UP_2").unwrap(), ["CV", "ur", "UP_2"].map(|w| Datum::Word(w.into())));
}

#[test]
fn an_identity_is_four_fields() {
    // IEEE 488.2 10.14; CHECKS 1.3: 0 where serial or firmware are unknown (from memory)
    let identity = Identity::parse(b"ORCHARD WORKS,FROST-2 #15,B0417,1.02,rev B\r\n").unwrap();
    assert_eq!((identity.maker.as_str(), identity.model.as_str()), ("ORCHARD WORKS", "FROST-2 #15"));
    assert_eq!((identity.serial.as_deref(), identity.firmware.as_deref()), (Some("B0417"), Some("1.02,rev B")));
    let unknown = Identity::parse(b"ORCHARD WORKS, FROST, 0, 0").unwrap();
    assert_eq!((unknown.serial.clone(), unknown.firmware.clone()), (None, None));
    assert_eq!(unknown.to_string(), "ORCHARD WORKS,FROST,0,0");
    let error = Identity::parse(b"FROST V1.0").unwrap_err();
    assert_eq!((error.fields, error.text.as_str()), (1, "FROST V1.0"));
}
