//! Our side of SCPI against a device side that others wrote: the crates `scpi`
//! and `scpi-contrib` from the registry.
//!
//! Three questions: does a device take what our emitters write for what we
//! meant; do we take what a device answers; and do two parsers of program
//! messages see the same commands in one message. Where the two differ, the
//! test says which and why, so that a change on either side shows.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a test that cannot go on stops"
)]
// The helpers of `device` are tests, too.

mod device;

use device::{Supply, ask, refuse, tell};
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use rampart::scpi::emit;
use rampart::scpi::error_queue::{ErrorReport, codes};
use rampart::scpi::header::Pattern;
use rampart::scpi::program::{self, Limits, Numeric};
use rampart::scpi::response::{self, Datum, Identity, NoReading, Special};
use rampart::scpi::status::{EventStatus, StatusByte};
use rampart::units::Unit;

/// So many cases from a fixed seed.
fn cases(count: u32) -> ProptestConfig {
    ProptestConfig { cases: count, rng_seed: RngSeed::Fixed(4882), failure_persistence: None, ..ProptestConfig::default() }
}

// ---- what we emit, they take ----

proptest! {
    #![proptest_config(cases(5000))]

    #[test]
    fn every_number_arrives_bit_for_bit(mantissa in -9.8f64..9.8, power in -307..=37, digits in 0u32..17) {
        let scale = 10f64.powi(digits as i32);
        let value = (mantissa * scale).round() / scale * 10f64.powi(power);
        let text = emit::number(value).unwrap();
        let mut supply = Supply::default();
        tell(&mut supply, &format!("NUMB {text}"));
        prop_assert_eq!(supply.numbers, [value]);
    }

    #[test]
    fn every_string_arrives_as_it_was(text in "[ -~]{0,40}") {
        let mut supply = Supply::default();
        tell(&mut supply, &format!("NAME {};NUMB 1", emit::string(&text).unwrap()));
        // their parser leaves the doubling of quotes to the command
        prop_assert_eq!(&supply.strings, &[text.replace('"', "\"\"")]);
        prop_assert_eq!(supply.numbers, [1.0]);
    }

    #[test]
    fn every_block_arrives_as_it_was(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let mut supply = Supply::default();
        let message = [b"DATA ", &emit::block(&bytes).unwrap()[..], b";NUMB 1"].concat();
        device::run(&mut supply, &message).unwrap();
        prop_assert_eq!(&supply.blocks, &[bytes]);
        prop_assert_eq!(supply.numbers, [1.0]);
    }

    #[test]
    fn every_channel_list_arrives_in_order(channels in prop::collection::vec(0u32..100_000, 1..10)) {
        let mut supply = Supply::default();
        tell(&mut supply, &format!("CHAN {}", emit::channel_list(&channels)));
        prop_assert_eq!(supply.channels, channels.into_iter().map(|c| c as usize).collect::<Vec<_>>());
    }
}

#[test]
fn headers_that_patterns_emit_are_known_to_the_device() {
    for (pattern, command) in [
        ("[:SOURce]:VOLTage[:LEVel]", "SOUR:VOLT"),
        ("[:SOURce]:VOLTage:PROTection", "SOUR:VOLT:PROT"),
        ("OUTPut[:STATe]", "OUTP"),
    ] {
        let pattern = Pattern::new(pattern).unwrap();
        for header in [pattern.long(&[]), pattern.short(&[])] {
            // SOURce is no default node of this device, see `device`
            let header = if header.starts_with("VOLT") { format!("SOUR:{header}") } else { header };
            let mut supply = Supply::default();
            tell(&mut supply, &format!("{header} 1"));
            assert_eq!(supply.calls, [command], "{header}");
        }
    }
}

// ---- what they answer, we take ----

proptest! {
    #![proptest_config(cases(5000))]

    #[test]
    fn every_number_that_a_device_answers_is_read_bit_for_bit(value in prop::num::f64::ANY) {
        let mut supply = Supply { level: value, ..Supply::default() };
        let datum = response::parse_one(&ask(&mut supply, "NUMB?")).unwrap();
        match datum.reading() {
            Ok(read) => prop_assert_eq!(read, value),
            Err(NoReading::Special(special)) => {
                let single = value as f32;
                prop_assert!(single.is_nan() || single.abs() >= 9.9e37, "{} as {:?}", value, special);
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }

    #[test]
    fn every_string_and_block_that_a_device_answers_is_read(
        text in "[ -~]{0,40}", bytes in prop::collection::vec(any::<u8>(), 0..300), count in any::<i64>()
    ) {
        let mut supply = Supply { name: text.clone(), data: bytes.clone(), count, ..Supply::default() };
        let arrived = ask(&mut supply, "ALL?;*IDN?");
        let end = rampart::scpi::message_end(&arrived, b"\n");
        prop_assert_eq!(end, Some(arrived.len() - 1));
        let first = arrived.len() - 1 - ";ORCHARD WORKS,FROST,0,0".len();
        let list = response::parse_list(&arrived[..first]).unwrap();
        prop_assert_eq!(&list[..3], &[Datum::Text(text), Datum::Block(bytes), Datum::Integer(count)]);
        prop_assert_eq!(list[3..].iter().map(Datum::register).collect::<Vec<_>>(), [Some(count as u64); 3]);
    }
}

#[test]
fn the_special_numbers_of_the_device_are_ours() {
    for (level, special) in
        [(f64::INFINITY, Special::Infinity), (f64::NEG_INFINITY, Special::NegativeInfinity), (f64::NAN, Special::NotANumber)]
    {
        let mut supply = Supply { level, ..Supply::default() };
        assert_eq!(response::parse_one(&ask(&mut supply, "NUMB?")).unwrap(), Datum::Special(special));
    }
}

#[test]
fn identity_registers_and_booleans_are_read() {
    let mut supply = Supply::default();
    let identity = Identity::parse(&ask(&mut supply, "*IDN?")).unwrap();
    assert_eq!((identity.model.as_str(), identity.serial), ("FROST", None));
    assert_eq!(response::parse_one(&ask(&mut supply, "OUTP?")).unwrap().boolean(), Some(false));
    tell(&mut supply, "OUTP ON");
    assert_eq!(response::parse_one(&ask(&mut supply, "OUTP?")).unwrap().boolean(), Some(true));
    refuse(&mut supply, "NONSENSE");
    let status = StatusByte::read(&response::parse_one(&ask(&mut supply, "*STB?")).unwrap()).unwrap();
    assert!(status.contains(StatusByte::ERROR_QUEUE));
    let events = EventStatus::read(&response::parse_one(&ask(&mut supply, "*ESR?")).unwrap()).unwrap();
    assert_eq!(events, EventStatus::COMMAND_ERROR);
    let units = response::parse_message(&ask(&mut supply, "*OPC?;:SYST:VERS?;*ESE?")).unwrap();
    assert_eq!(units.len(), 3);
    assert_eq!(units[0], [Datum::Integer(1)]);
    assert_eq!(units[1][0].reading(), Ok(1999.0));
}

#[test]
fn the_error_queue_of_the_device_is_read_to_its_end() {
    let mut supply = Supply::default();
    for message in ["NONSENSE", "SOUR:VOLT", "SOUR:VOLT 1,2", "OUTP MAYBE"] {
        refuse(&mut supply, message);
    }
    let next = |supply: &mut Supply| ErrorReport::parse(&ask(supply, "SYST:ERR?")).unwrap();
    let queued: Vec<ErrorReport> = (0..5).map(|_| next(&mut supply)).collect();
    assert_eq!(queued.iter().map(|r| r.code).collect::<Vec<_>>(), [-113, -109, -108, -224, 0]);
    assert_eq!(queued[0], ErrorReport::standard(codes::UNDEFINED_HEADER));
    assert!(queued[4].is_none());
}

#[test]
fn the_standard_codes_have_the_same_texts_and_event_bits_there() {
    for (code, text) in codes::TABLE {
        let theirs = scpi::error::ErrorCode::get_error(*code as i16).unwrap_or_else(|| panic!("{code} is unknown there"));
        assert_eq!(std::str::from_utf8(theirs.get_message()).unwrap(), *text);
        let bit = ErrorReport::standard(*code).class().map_or(0, |class| class.bit().0);
        assert_eq!(bit, theirs.esr_mask(), "{code}");
    }
}

// ---- one message, two parsers ----

/// The headers of `message` as our parser and patterns see them, and the code that stopped it.
fn ours(message: &str) -> (Vec<&'static str>, i32) {
    let program = program::parse(message.as_bytes(), &Limits::default());
    let mut calls = Vec::new();
    for unit in &program.units {
        if unit.header.starts_with('*') {
            continue; // not noted there either
        }
        let known = device::COMMANDS.iter().find(|(_, pattern)| {
            Pattern::new(&format!("{pattern}{}", if unit.query { "?" } else { "" })).is_ok_and(|p| unit.fits(&p).is_some())
        });
        match known {
            Some((name, _)) => calls.push(*name),
            None => return (calls, codes::UNDEFINED_HEADER),
        }
        let count = unit.parameters.len();
        if unit.query != (count == 0) {
            return (calls, if unit.query { codes::PARAMETER_NOT_ALLOWED } else { codes::MISSING_PARAMETER });
        }
    }
    (calls, program.fault.map_or(0, |fault| fault.code))
}

fn theirs(message: &str) -> (Vec<&'static str>, i32) {
    let mut supply = Supply::default();
    let code = device::run(&mut supply, message.as_bytes()).map_or_else(|e| i32::from(e.get_code()), |_| 0);
    (supply.calls, code)
}

fn fragment() -> impl Strategy<Value = String> {
    let headers = [
        "SOUR:VOLT",
        ":SOUR:VOLT",
        ":SOURCE:VOLTAGE:LEVEL",
        "sour:volt:lev",
        "VOLT",
        "VOLT:LEV",
        "LEV",
        "PROT",
        ":SOUR:VOLT:PROT",
        "CURR",
        ":SOUR:CURR",
        "OUTP",
        ":OUTP:STAT",
        "STAT",
        ":OUTPU",
        "SOURC:VOLT",
        "VOLTA",
        "NUMB",
        ":NUMB",
        "SOUR",
    ];
    let parameter = prop_oneof![Just(" 1"), Just(" 2.5 "), Just("?"), Just("? "), Just("\t0")];
    let of_the_tree = (prop::sample::select(headers.to_vec()), parameter).prop_map(|(header, rest)| format!("{header}{rest}"));
    prop_oneof![9 => of_the_tree, 1 => Just("*WAI".to_owned()), 1 => Just("*cls ".to_owned())]
}

proptest! {
    #![proptest_config(cases(20000))]

    #[test]
    fn compound_headers_resolve_to_the_same_commands(fragments in prop::collection::vec(fragment(), 1..6)) {
        let message = fragments.join(";");
        prop_assert_eq!(ours(&message), theirs(&message), "{}", message);
    }
}

#[test]
fn worked_examples_of_compound_headers_agree() {
    // SCPI-99 volume 1, 6.2.4
    for (message, calls, code) in [
        ("SOUR:VOLT:LEV 8;PROT 8.8;:SOUR:CURR 3;:OUTP ON", vec!["SOUR:VOLT", "SOUR:VOLT:PROT", "SOUR:CURR", "OUTP"], 0),
        ("SOUR:VOLT 8;PROT 8.8", vec!["SOUR:VOLT"], -113),
        ("SOUR:VOLT 8;CURR 1", vec!["SOUR:VOLT", "SOUR:CURR"], 0),
        ("SOUR:VOLT 8;:CURR 1", vec!["SOUR:VOLT"], -113),
        ("SOUR:VOLTA 8", vec![], -113),
    ] {
        assert_eq!(ours(message), (calls.clone(), code), "ours: {message}");
        assert_eq!(theirs(message), (calls, code), "theirs: {message}");
    }
}

#[test]
fn violations_of_the_grammar_are_called_by_the_same_codes() {
    for message in [
        "SOUR:VOLTAGEPROTECT 1",
        "SOUR::VOLT 1",
        "SOUR:VOLT,1",
        "NUMB 1,,2",
        "NAME \"open",
        "NUMB ABCDEFGHIJKLM",
        "NUMB 1 ABCDEFGHIJKLM",
        "DATA #15abc",
        "CHAN (@1",
        "CHAN (@\"a\")",
        "SOUR:VOLT\u{b5} 1",
    ] {
        let (our_code, their_code) = (ours(message).1, theirs(message).1);
        assert_eq!(our_code, their_code, "{message}");
        assert!(our_code < -99, "{message}");
    }
    // Here they differ, and ours follows the standard's own description of the code (SCPI-99 volume 2, 21.8.9):
    for (message, our_code, their_code) in [
        // -101 is for a character that no syntactic element of the kind holds; they say -102 or -110
        ("SOUR:VOLT& 1", -101, -102),
        ("9VOLT 1", -101, -110),
        // -111 is for a character between header and data that is no separator
        ("NUMB?1", -111, -102),
        ("NAME\"x\"", -111, -110),
        // -103 is for a character where a separator is due; they take it for a suffix
        ("NUMB 1:2", -103, -131),
        // -121 is for a character that is no part of the number
        ("NUMB 1.2.3", -121, -131),
        ("NUMB #Hxyz", -121, -120),
    ] {
        assert_eq!((ours(message).1, theirs(message).1), (our_code, their_code), "{message}");
    }
}

#[test]
fn suffixes_mean_the_same_there() {
    // they know fewer: no MA and above for volts and amperes
    for (command, unit, suffixes) in [
        ("SOUR:VOLT", Unit::Volt, &["V", "KV", "MV", "UV", "mv"][..]),
        ("SOUR:CURR", Unit::Ampere, &["A", "KA", "MA", "UA", "NA"]),
        ("LOAD", Unit::Ohm, &["OHM", "KOHM", "MOHM", "GOHM", "UOHM"]),
        ("RATE", Unit::Hertz, &["HZ", "KHZ", "MHZ", "GHZ"]),
        ("HOLD", Unit::Second, &["S", "MS", "US", "NS"]),
    ] {
        for suffix in suffixes {
            for space in ["", " "] {
                let message = format!("{command} 2.5{space}{suffix}");
                let mut supply = Supply::default();
                tell(&mut supply, &message);
                let unit_seen = program::parse(message.as_bytes(), &Limits::default()).units.remove(0);
                let Ok(Numeric::Value(ours)) = unit_seen.parameters[0].numeric(Some(unit)) else { panic!("{message}") };
                let theirs = supply.numbers[0];
                assert!((ours - theirs).abs() <= 1e-12 * ours.abs(), "{message}: {ours} here, {theirs} there");
            }
        }
    }
}
