//! Bytes that nobody meant: whatever comes, nothing panics, nothing grows
//! beyond its input, and what is parsed can be written and parsed again.
//!
//! Two kinds of input: any bytes, and messages of the grammar with a few
//! changes, which get further in. The seed is fixed.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a test that cannot go on stops"
)]
// The helpers are tests, too.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use rampart::link::ReceiveEnd;
use rampart::scpi::error_queue::{ErrorReport, LONGEST_TEXT};
use rampart::scpi::header::Pattern;
use rampart::scpi::message_end;
use rampart::scpi::program::{self, Limits, Parameter};
use rampart::scpi::response::{self, Datum, Form, Identity, emit_list, parse_list, parse_message};
use rampart::units::Unit;

fn cases(count: u32) -> ProptestConfig {
    ProptestConfig { cases: count, rng_seed: RngSeed::Fixed(4882), failure_persistence: None, ..ProptestConfig::default() }
}

/// Pieces of both directions' grammar, well formed and not.
fn piece() -> impl Strategy<Value = Vec<u8>> {
    let fixed = [
        "1",
        "-1.5E-3",
        "9.9E37",
        "9.91E+37",
        "1E400",
        ".",
        "-",
        "1e",
        "#H",
        "#HA2F",
        "#Q8",
        "#B101",
        "#0",
        "#13",
        "#210",
        "#9999999999",
        "\"",
        "'",
        "\"\"",
        "''",
        "\"a\"",
        "\"a\"\"b\"",
        "CV",
        "OL",
        "inf",
        "NaN",
        "(@1,3:5)",
        "(@",
        ")",
        ",",
        ";",
        ":",
        "*",
        "?",
        " ",
        "\t",
        "\n",
        "\r\n",
        "V",
        " MV",
        "MAOHM",
        "SOUR",
        ":VOLT",
        "*IDN?",
        "VOLT ",
        "\u{b5}A",
        "0,\"No error\"",
        "-222,\"x;y\"",
        "+000,",
        "E",
    ];
    let fixed = prop::sample::select(fixed.iter().map(|text| text.as_bytes().to_vec()).collect::<Vec<_>>());
    let digits = prop::collection::vec(prop::sample::select(b"0123456789".to_vec()), 1..30);
    prop_oneof![8 => fixed, 1 => digits, 1 => prop::collection::vec(any::<u8>(), 0..4)]
}

fn near_valid() -> impl Strategy<Value = Vec<u8>> {
    let message = prop::collection::vec(piece(), 0..14).prop_map(|pieces| pieces.concat());
    (message, prop::option::of((any::<prop::sample::Index>(), any::<u8>()))).prop_map(|(mut bytes, change)| {
        if let Some((at, byte)) = change.filter(|_| !bytes.is_empty()) {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        bytes
    })
}

fn hostile() -> impl Strategy<Value = Vec<u8>> {
    prop_oneof![1 => prop::collection::vec(any::<u8>(), 0..200), 3 => near_valid()]
}

/// What a datum holds, in bytes beyond its own size. A byte of Latin-1 becomes two of UTF-8.
fn held(datum: &Datum) -> usize {
    match datum {
        Datum::Text(text) | Datum::Word(text) => text.capacity(),
        Datum::Block(bytes) => bytes.capacity(),
        _ => 0,
    }
}

/// What the units of a response occupy, in bytes.
fn size(units: &Vec<Vec<Datum>>) -> usize {
    let of_unit = |unit: &Vec<Datum>| unit.capacity() * size_of::<Datum>() + unit.iter().map(held).sum::<usize>();
    units.capacity() * size_of::<Vec<Datum>>() + units.iter().map(of_unit).sum::<usize>()
}

fn written_and_read(list: &[Datum]) -> Vec<Datum> {
    parse_list(&emit_list(list)).unwrap_or_else(|e| panic!("{list:?}: {e}"))
}

proptest! {
    #![proptest_config(cases(20_000))]

    #[test]
    fn responses(bytes in hostile()) {
        if let Ok(list) = parse_list(&bytes) {
            prop_assert!(list.len() <= bytes.len());
            prop_assert!(list.iter().map(held).sum::<usize>() <= 2 * bytes.len() + 16 * list.len(), "{list:?}");
            prop_assert_eq!(&written_and_read(&list), &list);
            for datum in &list {
                if let Ok(value) = datum.reading() {
                    prop_assert!(value.is_finite() && value.abs() < 9.9e37);
                }
                prop_assert!(datum.described().len() < 300);
            }
        }
        match parse_message(&bytes) {
            Ok(units) => prop_assert!(size(&units) <= 100 * bytes.len() + 400, "{}", size(&units)),
            Err(error) => prop_assert!(error.at <= bytes.len() && error.to_string().len() < 200),
        }
        if let Ok((datum, unit)) = response::parse_with_unit(&bytes) {
            prop_assert!(unit.len() <= 2 * bytes.len() && held(&datum) == 0);
        }
        if let Ok(identity) = Identity::parse(&bytes) {
            prop_assert_eq!(Identity::parse(identity.to_string().as_bytes()).is_ok(), true);
        }
    }

    #[test]
    fn numbers_are_only_what_looks_like_one(bytes in hostile()) {
        // An independent reading of the grammar: no letter but E, no comma.
        if let Ok(datum) = response::parse_one(&bytes)
            && datum.reading().is_ok()
        {
            let text = std::str::from_utf8(bytes.trim_ascii()).unwrap().trim_matches(|c: char| c <= ' ');
            prop_assert!(text.bytes().all(|b| b.is_ascii_digit() || b"+-.eE".contains(&b)), "{text}");
            prop_assert_eq!(datum.reading().unwrap(), text.parse::<f64>().unwrap());
        }
    }

    #[test]
    fn the_end_of_a_message(bytes in hostile(), terminator in prop::sample::select(vec!["\n", "\r", "\r\n", ";", ">"])) {
        let terminator = terminator.as_bytes();
        let end = message_end(&bytes, terminator);
        if let Some(end) = end {
            prop_assert!(bytes[end..].starts_with(terminator));
        }
        // What has been decided stays decided when more arrives.
        for cut in 0..bytes.len() {
            if let Some(early) = message_end(&bytes[..cut], terminator) {
                prop_assert_eq!(Some(early), end);
            }
        }
        // Without a number sign nothing protects, so the first terminator it is.
        if !bytes.contains(&b'#') {
            prop_assert_eq!(end, bytes.windows(terminator.len()).position(|window| window == terminator));
        }
    }

    #[test]
    fn error_reports(bytes in hostile()) {
        match ErrorReport::parse(&bytes) {
            Ok(report) => {
                prop_assert!(report.text.len() <= 2 * bytes.len());
                let again = ErrorReport::parse(&report.emit()).unwrap();
                prop_assert_eq!(again.code, report.code);
                prop_assert!(again.text.chars().count() <= LONGEST_TEXT);
                prop_assert!(bytes.trim_ascii()[0].is_ascii_digit() || b"+-".contains(&bytes.trim_ascii()[0]));
            }
            Err(error) => prop_assert!(error.reply.chars().count() <= 80),
        }
    }

    #[test]
    fn programs(bytes in hostile()) {
        let limits = Limits { bytes: 150, units: 4, parameters: 6 };
        let program = program::parse(&bytes, &limits);
        prop_assert!(program.units.len() <= limits.units);
        if let Some(fault) = program.fault {
            prop_assert!(fault.at <= bytes.len() && (-399..=-100).contains(&fault.code));
        }
        for unit in &program.units {
            prop_assert!(unit.parameters.len() <= limits.parameters);
            prop_assert!(unit.header.len() <= 12 * 13);
            for parameter in &unit.parameters {
                match parameter {
                    Parameter::Number { value, .. } => prop_assert!(value.is_finite()),
                    Parameter::Word(word) => prop_assert!(word.len() <= 12),
                    Parameter::Text(text) | Parameter::Expression(text) => prop_assert!(text.len() <= 2 * bytes.len()),
                    Parameter::Block(block) => prop_assert!(block.len() <= bytes.len()),
                    Parameter::NonDecimal(_) => {}
                }
                for unit in [Some(Unit::Volt), Some(Unit::Ohm), Some(Unit::Percent), None] {
                    if let Ok(program::Numeric::Value(value)) = parameter.numeric(unit) {
                        prop_assert!(value.is_finite());
                    }
                }
                if let Ok(channels) = parameter.channels() {
                    prop_assert!(channels.len() <= 1024);
                }
                let refusals = [
                    parameter.boolean().err(),
                    parameter.text().err(),
                    parameter.block().err(),
                    parameter.channels().err(),
                ];
                prop_assert!(refusals.into_iter().flatten().all(|code| (-223..=-100).contains(&code)), "{refusals:?}");
            }
        }
    }

}

proptest! {
    #![proptest_config(cases(5_000))]

    #[test]
    fn patterns_and_headers(text in "\\PC{0,30}|[\\[\\]:A-Za-z#<>n0-9?*]{0,40}", header in "\\PC{0,30}|[A-Z:0-9?]{0,40}") {
        if let Ok(pattern) = Pattern::new(&text) {
            prop_assert!(pattern.matches(&pattern.short(&[])).is_some(), "{}", pattern.short(&[]));
            prop_assert!(pattern.matches(&pattern.long(&[7])).is_some(), "{}", pattern.long(&[7]));
            let _ = pattern.matches(&header);
        }
        for known in ["[:SOURce#]:VOLTage#[:LEVel]", "*IDN?", "OUTPut<n>?"] {
            let _ = Pattern::new(known).unwrap().matches(&header);
        }
    }

    #[test]
    fn whatever_is_written_is_read(list in prop::collection::vec(datum(), 1..8)) {
        prop_assert_eq!(written_and_read(&list), list);
    }
}

fn datum() -> impl Strategy<Value = Datum> {
    prop_oneof![
        any::<i64>().prop_map(Datum::Integer),
        any::<f64>().prop_map(Datum::number),
        any::<f64>().prop_filter_map("no number", |value| match Datum::number(value) {
            Datum::Decimal { value, .. } => Some(Datum::Decimal { value, form: Form::Nr2 }),
            _ => None,
        }),
        (prop::sample::select(vec![response::Radix::Binary, response::Radix::Octal, response::Radix::Hexadecimal]), any::<u64>())
            .prop_map(|(radix, value)| Datum::NonDecimal { radix, value }),
        "[^\\r\\n]{0,20}".prop_map(Datum::Text),
        "[A-Za-z][A-Za-z0-9_]{0,11}".prop_map(Datum::Word),
        prop::collection::vec(any::<u8>(), 0..1100).prop_map(Datum::Block),
    ]
}

#[test]
fn the_scan_fits_the_link() {
    let end = ReceiveEnd::Bytes { end: b"\n".to_vec(), scan: message_end };
    let ReceiveEnd::Bytes { end, scan } = end else { panic!("not bytes") };
    assert_eq!(scan(b"#12\n\n\n", &end), Some(5));
}

#[test]
fn a_million_bytes_of_one_temptation_are_no_burden() {
    // Each tempts a parser to look back, to nest or to hoard; a quadratic one would not come to its end.
    let long = |piece: &str| piece.repeat(1_000_000 / piece.len()).into_bytes();
    for piece in ["\"", "'\"", "#", "#0", "#13", "1,", "1;", "A", "9", "(", "9E", " ", "\"\"", "#H", "-", "A:", "A B"] {
        let bytes = [long(piece), b"1".to_vec()].concat();
        let end = message_end(&bytes, b"\n");
        assert_eq!(end, None, "{piece}");
        for units in [parse_message(&bytes).ok(), parse_list(&bytes).ok().map(|list| vec![list])].into_iter().flatten() {
            assert!(size(&units) <= 100 * bytes.len(), "{piece}: {}", size(&units));
        }
        assert!(ErrorReport::parse(&bytes).map_or(0, |report| report.text.len()) <= bytes.len());
        assert!(Identity::parse(&bytes).map_or(0, |identity| identity.maker.len()) <= bytes.len());
        let limits = Limits { bytes: bytes.len(), ..Limits::default() };
        assert!(program::parse(&bytes, &limits).units.len() <= limits.units);
    }
}
