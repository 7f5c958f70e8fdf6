//! The error queue.

use crate::client::{StandIns, holds, refused};

#[test]
fn first_in_first_out() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            (
                "SCPI-99 21.8.1 (from memory)",
                &[
                    ("BOGUS", ""),
                    ("VOLT 99", ""),
                    ("*ESE", ""),
                    ("SYST:ERR:COUN?", "3"),
                    ("SYST:ERR?", "-113,\"Undefined header\""),
                    ("SYSTem:ERRor:NEXT?", "-222,\"Data out of range\""),
                    (":syst:err?", "-109,\"Missing parameter\""),
                    ("SYST:ERR?", "0,\"No error\""),
                    ("SYST:ERR:COUN?", "0"),
                    ("*ESR?", "48"),
                ],
            ),
            (
                "several in one message",
                &[
                    ("VOLT 99;CURR 99;*OPC?", "1"),
                    ("SYST:ERR?;ERR?;ERR?", "-222,\"Data out of range\";-222,\"Data out of range\";0,\"No error\""),
                ],
            ),
        ],
    );
}

/// The profile says that it holds 20.
#[test]
fn when_it_is_full_the_newest_gives_way() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    client.tell("*CLS");
    client.tell("VOLT 99");
    for _ in 0..30 {
        client.tell("BOGUS");
    }
    // SCPI-99 21.8.1 (from memory): the last becomes -350, what came before it stays
    assert_eq!(client.ask("SYST:ERR:COUN?"), "20");
    assert_eq!(client.ask("SYST:ERR?"), "-222,\"Data out of range\"");
    for _ in 0..18 {
        assert_eq!(client.ask("SYST:ERR?"), "-113,\"Undefined header\"");
    }
    assert_eq!(client.ask("SYST:ERR?"), "-350,\"Queue overflow\"");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
    // The events are noted whether or not there was room.
    assert_eq!(client.ask("*ESR?"), "48");
    // With room again errors are noted again.
    client.tell("VOLT 99");
    assert_eq!(client.ask("SYST:ERR?"), "-222,\"Data out of range\"");
}

#[test]
fn a_command_error_ends_its_message_and_an_execution_error_does_not() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            (
                "IEEE 488.2 6.1.6 (from memory): what came before it is carried out; from memory: the rest is thrown away",
                &[
                    ("VOLT 5,(@1);BOGUS;VOLT 7,(@1)", ""),
                    ("VOLT? (@1)", "5.000"),
                    ("*ESE 3;*ESE?;*ES!;*ESE 4", "3"),
                    ("*ESE?", "3"),
                    ("SYST:ERR?", "-113,\"Undefined header\""),
                    ("SYST:ERR?", "-101,\"Invalid character\""),
                ],
            ),
            ("IEEE 488.2 11.5.1.1.5 (from memory)", &[("VOLT 99,(@1);VOLT 7,(@1)", ""), ("VOLT? (@1)", "7.000")]),
        ],
    );
}

#[test]
fn the_version_and_the_class() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            ("SCPI-99 21.21 (from memory): YYYY.V", &[("SYST:VERS?", "1999.0")]),
            (
                "SCPI-99 volume 4, DC supplies; option words from memory",
                &[("SYST:CAP?", "\"DCPSUPPLY WITH (MEASURE&MULTIPLE)\"")],
            ),
        ],
    );
}

#[test]
fn a_queue_of_another_depth() {
    let bench = "[supply]\nprofile = \"supply-channel-select\"\n[meter]\nprofile = \"meter-plain\"\nwired = \"in series\"\n";
    let standins = StandIns::with_bench(bench);
    let mut client = standins.supply().ending("\r\n");
    for _ in 0..15 {
        client.tell("BOGUS");
    }
    // It holds 10.
    let entries: Vec<String> = (0..11).map(|_| client.ask("SYST:ERR?")).collect();
    assert_eq!(entries[8], "-113,\"Undefined header\"");
    assert_eq!(entries[9], "-350,\"Queue overflow\"");
    assert_eq!(entries[10], "0,\"No error\"");
}

#[test]
fn the_meters_mistakes() {
    let standins = StandIns::start();
    refused(
        &mut standins.meter(),
        "SCPI-99 21.8.9 to 21.8.11 (from memory)",
        &[
            ("CONF:CURR:DC 7", "-222,\"Data out of range\"", "16"),
            ("CURR:DC:NPLC 3", "-224,\"Illegal parameter value\"", "16"),
            ("FUNC \"RES\"", "-224,\"Illegal parameter value\"", "16"),
            ("FUNC 1", "-128,\"Numeric data not allowed\"", "32"),
            ("CONF:CURR:DC 5 V", "-131,\"Invalid suffix\"", "32"),
            ("FETC?", "-230,\"Data corrupt or stale\"", "16"),
            ("CURR:DC:NPLC 10;:INIT;:INIT", "-213,\"Init ignored\"", "16"),
            ("CONF:RES", "-113,\"Undefined header\"", "32"),
        ],
    );
}
