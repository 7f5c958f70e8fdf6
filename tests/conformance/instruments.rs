//! What a supply and a meter are asked in SCPI, whatever their dialect.

use crate::client::{StandIns, holds, refused};

/// SCPI-99 volume 2, 4 (CONFigure, FETCh, READ, MEASure) and volume 4, DC supplies.
#[test]
fn a_meter() {
    let standins = StandIns::start();
    let mut meter = standins.meter();
    holds(
        &mut meter,
        &[
            (
                "the lowest range that holds the value",
                &[
                    ("CONF:CURR:DC 0.05", ""),
                    ("CURR:DC:RANG?", "1.0E-1"),
                    ("SENSe:CURRent:DC:RANGe:UPPer?", "1.0E-1"),
                    ("CURR:RANG 5 MA", ""),
                    ("CURR:RANG?", "1.0E-2"),
                    ("CURR:RANG MIN;RANG?", "1.0E-4"),
                    ("CURR:RANG? MAX", "4.0E-1"),
                    ("CONF:CURR DEF", ""),
                    ("CURR:RANG?", "4.0E-1"),
                ],
            ),
            (
                "function and range",
                &[
                    ("CONF:VOLT:DC 10", ""),
                    ("CONF?", "\"VOLT +1.00000000E+01,+1.00000000E-05\""),
                    ("FUNC?", "\"VOLT\""),
                    ("FUNC \"CURR:DC\"", ""),
                    ("FUNC?", "\"CURR\""),
                ],
            ),
            (
                "line cycles",
                &[
                    ("CURR:DC:NPLC 1", ""),
                    ("CURR:NPLC?", "1"),
                    ("VOLT:NPLC MAX;NPLC?", "10"),
                    ("CURR:NPLC? MIN;NPLC? MAX", "0.2;10"),
                ],
            ),
            (
                "range, then resolution: what the second says leaves the first alone",
                &[
                    ("CONF:CURR:DC 0.01,0.000001", ""),
                    ("CURR:RANG?", "1.0E-2"),
                    ("CONF:CURR DEF,MIN", ""),
                    ("CURR:RANG?", "4.0E-1"),
                ],
            ),
            ("a command and a question in one message", &[("CONF:CURR:DC 0.1;:CURR:DC:NPLC 0.2;:CURR:RANG?;*OPC?", "1.0E-1;1")]),
        ],
    );
    meter.tell("*RST;*CLS;:CONF:CURR:DC 0.1;:CURR:DC:NPLC 1");
    // CHECKS 1.2 row 17: SD.DDDDDDDDESDD
    let shape = |text: &str| -> String { text.chars().map(|c| if c.is_ascii_digit() { 'D' } else { c }).collect() };
    let read = meter.ask("READ?");
    assert!(matches!(&*shape(&read).replace('-', "+"), "+D.DDDDDDDDE+DD"), "{read}");
    assert!(read.parse::<f64>().unwrap().abs() < 50e-6, "nothing is on: {read}");
    // FETCh? gives the same again, and nothing once the range is another.
    assert_eq!(meter.ask("FETC?"), read);
    meter.tell("CURR:RANG 0.001");
    meter.tell("FETC?");
    assert_eq!(meter.ask("SYST:ERR?"), "-230,\"Data corrupt or stale\"");
    // Two measurements in one message are two answers in one response.
    let both = meter.ask("READ?;READ?;*OPC?");
    assert_eq!(both.split(';').count(), 3, "{both}");
    // INITiate, then FETCh? waits for the end.
    let fetched = meter.ask("INIT;:FETC?");
    assert!(fetched.parse::<f64>().is_ok(), "{fetched}");
    // MEASure? brings its own range, the highest where none is asked for.
    meter.ask("MEAS:CURR:DC?");
    assert_eq!(meter.ask("CURR:RANG?"), "4.0E-1");
    meter.ask("MEAS:CURR:DC? 0.001");
    assert_eq!(meter.ask("CURR:RANG?"), "1.0E-3");
    // SCPI-99 7.2.1.4: overload is 9.9E37. The unit draws 12 mA.
    let mut supply = standins.supply();
    assert_eq!(supply.ask("VOLT 9,(@1);:CURR 0.1,(@1);:OUTP ON,(@1);*OPC?"), "1");
    meter.tell("CONF:CURR:DC 0.0001");
    let mut over = meter.ask("READ?");
    for _ in 0..20 {
        if over.parse::<f64>().unwrap() >= 9.9e37 {
            break;
        }
        over = meter.ask("READ?");
    }
    assert_eq!(over, "+9.90000000E+37");
    assert_eq!(supply.ask("OUTP OFF,(@1);:OUTP? (@1)"), "0");
}

/// SCPI-99 volume 2: TRIGger, INITiate, SENSe:RANGe:AUTO, FORMat; IEEE 488.2 8.7.9 for the
/// block; `SAMPle:COUNt` and the place of the zero from memory.
#[test]
fn a_meter_that_takes_many_readings() {
    let standins = StandIns::start();
    let mut meter = standins.meter();
    holds(
        &mut meter,
        &[
            (
                "what holds until it is told otherwise",
                &[
                    ("SAMP:COUN?;:TRIG:SEQ:DEL?;:FORM:DATA?", "1;+0.00000000E+00;ASC,0"),
                    ("INIT:CONT?;:CAL:ZERO:AUTO?;:SENS:CURR:DC:RANG:AUTO?", "0;0;0"),
                    ("SAMPLE:COUNT 3;:TRIGGER:DELAY 5 MS;:FORMAT REAL,64", ""),
                    ("SAMP:COUN?;:TRIG:DEL?;:FORM?", "3;+5.00000000E-03;REAL,64"),
                    ("CURR:RANG:AUTO ON;AUTO?", "1"),
                    ("CURR:RANG 0.01;RANG:AUTO?", "0"),
                    ("*RST;:SAMP:COUN?;:FORM?", "1;ASC,0"),
                ],
            ),
            ("a range by itself", &[("CONF:CURR 0.1;:CURR:RANG:AUTO 1;:INIT;*WAI;:CURR:RANG?", "1.0E-4")]),
            (
                "one that measures all the time is not started",
                &[("INIT:CONT ON;:INIT", ""), ("SYST:ERR?", "-213,\"Init ignored\""), ("INIT:CONT OFF;CONT?", "0")],
            ),
        ],
    );
    meter.tell("*RST;*CLS;:CONF:CURR:DC 0.1;:CURR:DC:NPLC 0.2;:SAMP:COUN 4");
    let list = meter.ask("READ?");
    let numbers: Vec<f64> = list.split(',').map(|number| number.parse().unwrap()).collect();
    assert!(numbers.len() == 4 && numbers.iter().all(|number| number.abs() < 50e-6), "{list}");
    meter.tell("FORM REAL,64");
    meter.send(b"FETC?;*OPC?\n");
    // #, one digit that counts the digits of the length, the length, so many bytes.
    let head = meter.bytes(4);
    assert_eq!(head, b"#232", "{head:?}");
    let block = meter.bytes(32);
    for (eight, number) in block.chunks(8).zip(&numbers) {
        assert!((f64::from_be_bytes(eight.try_into().unwrap()) - number).abs() < 1e-11, "{eight:?} {number}");
    }
    assert_eq!(meter.line(), ";1");
    refused(
        &mut meter,
        "values that are none",
        &[
            ("SAMP:COUN 0", "-222,\"Data out of range\"", "16"),
            ("TRIG:DEL -1", "-222,\"Data out of range\"", "16"),
            ("FORM REAL,32", "-224,\"Illegal parameter value\"", "16"),
            ("FORM PACK", "-224,\"Illegal parameter value\"", "16"),
            ("CAL:ZERO:AUTO TWICE", "-224,\"Illegal parameter value\"", "16"),
            ("VOLT:RANG:AUTO ON", "-221,\"Settings conflict\"", "16"),
            ("SAMP:COUN", "-109,\"Missing parameter\"", "32"),
        ],
    );
}

#[test]
fn a_supply_with_its_channel_chosen_by_a_command() {
    let bench = "[supply]\nprofile = \"supply-channel-select\"\n[meter]\nprofile = \"meter-plain\"\nwired = \"in series\"\n";
    let standins = StandIns::with_bench(bench);
    holds(
        &mut standins.supply().ending("\r\n"),
        &[
            (
                "the standard's output state beside the dialect's inverted one",
                &[
                    ("INST:NSEL 2", ""),
                    ("INSTRUMENT:NSELECT?", "2"),
                    ("INST:NSEL MAX;NSEL?", "3"),
                    ("INST:NSEL MIN;NSEL?", "1"),
                    ("INST:NSEL 2", ""),
                    ("VOLT 5", ""),
                    ("VOLT?", "5.000V"),
                    ("OUTP ON", ""),
                    ("OUTP?;:OUTP:DIS?", "1;0"),
                    ("OUTP:DIS ON", ""),
                    ("OUTP?;:OUTP:DIS?", "0;1"),
                    ("INST:NSEL 1;:VOLT?", "0.000V"),
                ],
            ),
            (
                "SCPI-99 volume 4: trip, and what clears it",
                &[
                    ("VOLT:PROT 3", ""),
                    ("VOLT 5;:OUTP ON", ""),
                    ("VOLT:PROT:TRIP?", "1"),
                    ("OUTP?", "0"),
                    ("OUTP:PROT:CLE", ""),
                    ("VOLT:PROT:TRIP?", "0"),
                ],
            ),
        ],
    );
}

/// To a device of IEEE 488.2 a newline ends a message; a carriage return before it is white
/// space (7.4.1.2 and 7.5, from memory), whatever its profile sends.
#[test]
fn a_newline_alone_ends_a_message_too() {
    let bench = "[supply]\nprofile = \"supply-channel-select\"\n[meter]\nprofile = \"meter-plain\"\nwired = \"in series\"\n";
    let standins = StandIns::with_bench(bench);
    let mut client = standins.supply().ending("\r\n");
    client.send(b"*ESE 3;*ESE?\n");
    assert_eq!(client.line(), "3");
    client.send(b"VOLT 5\n*OPC?\n");
    assert_eq!(client.line(), "1");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
}

/// The thirteen of IEEE 488.2, in every shipped dialect that is asked anything.
#[test]
fn every_dialect_has_the_mandated_commands() {
    // Profile, end of message, end of answer, what it wants first, what frames its answers.
    let supplies = [
        ("supply-channel-list", "\n", "\n", "", "", ""),
        ("supply-channel-select", "\r\n", "\r\n", "", "", ""),
        ("supply-index-in-header", "\n", "\r\n", "", "", ""),
        ("supply-acknowledged", "\r", "\r\n", "SYST:REM", "", "OK\r\n"),
        ("supply-packed-digits", "\r", "\r", "", "", "OK\r"),
        ("supply-plain", "\n", "\n", "", "", ""),
    ];
    for (profile, sent, ends, remote, _, behind) in supplies {
        let standins = StandIns::with_bench(&format!(
            "[supply]\nprofile = {profile:?}\n[meter]\nprofile = \"meter-plain\"\nwired = \"in series\"\n"
        ));
        let mut client = standins.supply().ending(ends);
        let mut tell = |message: &str, answer: Option<&str>| {
            client.send(format!("{message}{sent}").as_bytes());
            let expected = answer.map_or(String::new(), |a| format!("{a}{ends}")) + behind;
            let came = String::from_utf8(client.bytes(expected.len())).unwrap();
            assert_eq!(came, expected, "{profile}: {message:?}");
        };
        if !remote.is_empty() {
            tell(remote, None);
        }
        tell("*ESR?", Some("128"));
        tell("*CLS", None);
        tell("*ESE 255", None);
        tell("*ESE?", Some("255"));
        tell("*SRE 32", None);
        tell("*SRE?", Some("32"));
        tell("*OPC", None);
        tell("*STB?", Some("96"));
        tell("*ESR?", Some("1"));
        tell("*OPC?", Some("1"));
        tell("*TST?", Some("0"));
        tell("*WAI", None);
        tell("*RST", None);
        tell("*ESE?", Some("255"));
        tell("*IDN?", Some(&format!("STAND-IN,{profile},S0001,1.0")));
    }
}

/// Dialects without SCPI's error queue have the common commands all the same.
#[test]
fn dialects_of_their_own() {
    let bench =
        "[supply]\nprofile = \"supply-index-in-header\"\n[meter]\nprofile = \"meter-units-in-reply\"\nwired = \"in series\"\n";
    let standins = StandIns::with_bench(bench);
    let mut meter = standins.meter().ending("\r\n");
    assert_eq!(meter.ask("*ESR?"), "128");
    meter.tell("BOGUS");
    assert_eq!(meter.ask("*OPC?"), "1");
    assert_eq!(meter.ask("*ESR?"), "32");
    assert_eq!(meter.ask("*ESE 32;*ESE?;*STB?"), "32;16");
}
