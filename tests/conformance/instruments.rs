//! What a supply and a meter are asked in SCPI, whatever their dialect.

use crate::client::{StandIns, holds};

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
            let came = client.bytes(expected.len());
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
