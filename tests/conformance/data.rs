//! Program data in, response data out.

use crate::client::{StandIns, holds, refused};

/// Each of these sets the voltage of channel 1 to what follows.
#[test]
fn numbers_in_every_form() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    let rows = [
        // IEEE 488.2 7.7.2 (from memory): NRf
        ("5", "5.000"),
        ("+5", "5.000"),
        ("5.", "5.000"),
        (".5", "0.500"),
        ("05.50", "5.500"),
        ("0.5E1", "5.000"),
        ("0.5e+1", "5.000"),
        ("50E-1", "5.000"),
        ("0.5 E 1", "5.000"),
        ("-0", "0.000"),
        // IEEE 488.2 7.7.4 (from memory); literals from CHECKS 1.2 row 7
        ("#HB", "11.000"),
        ("#hb", "11.000"),
        ("#q15", "13.000"),
        ("#Q15", "13.000"),
        ("#B01011", "11.000"),
        // IEEE 488.2 7.7.3; CHECKS 1.2 rows 14 and 15: M is milli, MA is mega
        ("5V", "5.000"),
        ("5 V", "5.000"),
        ("5000 MV", "5.000"),
        ("5000mv", "5.000"),
        ("0.005KV", "5.000"),
        ("0.000005 MAV", "5.000"),
        ("5E6UV", "5.000"),
        ("5E9 NV", "5.000"),
        ("5E12PV", "5.000"),
        ("5E15 FV", "5.000"),
        ("5E18AV", "5.000"),
        ("5E-9 GV", "5.000"),
        ("5E-12 TV", "5.000"),
        ("5E-15PEV", "5.000"),
        ("5E-18EXV", "5.000"),
        // SCPI-99 7.2.1.2
        ("MAX", "30.000"),
        ("MAXIMUM", "30.000"),
        ("MIN", "0.000"),
        ("minimum", "0.000"),
        ("DEF", "0.000"),
        // the instrument's own step
        ("1.23449", "1.234"),
    ];
    for (data, reads) in rows {
        let set = format!("VOLT {data},(@1)");
        holds(
            &mut client,
            &[(
                "IEEE 488.2 7.7 (from memory)",
                &[("VOLT 7,(@1)", ""), (&set, ""), ("VOLT? (@1)", reads), ("SYST:ERR?", "0,\"No error\"")],
            )],
        );
    }
    holds(
        &mut client,
        &[
            (
                "SCPI-99 7.2.1.2: the limits can be asked",
                &[("VOLT? MAX,(@1)", "30.000"), ("VOLT? MIN", "0.000"), ("CURR? MAX", "3.000"), ("VOLT:PROT? MAX", "36.00")],
            ),
            (
                "IEEE 488.2 7.7.3: amperes and seconds",
                &[
                    ("CURR 60 MA,(@1)", ""),
                    ("CURR? (@1)", "0.060"),
                    ("CURR:PROT:DEL 25MS,(@1)", ""),
                    ("CURR:PROT:DEL? (@1)", "0.025"),
                    ("CURR:PROT:DEL 100 US,(@1)", ""),
                    ("CURR:PROT:DEL? (@1)", "0.000"),
                ],
            ),
            (
                "SCPI-99 8.3.2 (from memory): channel lists",
                &[
                    ("VOLT 3,(@1,2)", ""),
                    ("VOLT? (@1,2)", "3.000,3.000"),
                    ("VOLT 4,(@1:2)", ""),
                    ("VOLT? (@2:1)", "4.000,4.000"),
                    ("VOLT 5", ""),
                    ("VOLT?", "5.000"),
                    ("VOLT? (@2)", "4.000"),
                ],
            ),
        ],
    );
}

#[test]
fn booleans_come_in_in_many_ways_and_go_out_in_one() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    // SCPI-99 7.3: ON, OFF, or a number, on unless it rounds to zero
    for (data, state) in
        [("ON", "1"), ("1", "1"), ("on", "1"), ("2.4", "1"), ("0.5", "1"), ("-1", "1"), ("OFF", "0"), ("0", "0"), ("0.4", "0")]
    {
        let before = if state == "1" { "OUTP OFF,(@1)" } else { "OUTP ON,(@1)" };
        let set = format!("OUTP {data},(@1)");
        holds(&mut client, &[("SCPI-99 7.3", &[(before, ""), (&set, ""), ("OUTP? (@1)", state), ("OUTPut:STATe?", state)])]);
    }
}

#[test]
fn what_is_wrong_with_data() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    let long = format!("VOLT {}", "1".repeat(256));
    refused(
        &mut client,
        "IEEE 488.2 7.7 (from memory); SCPI-99 21.8.9 and 21.8.10 (from memory); CHECKS 1.2 rows 3 and 4, 1.5 rows 7 and 8",
        &[
            ("VOLT", "-109,\"Missing parameter\"", "32"),
            ("*ESE", "-109,\"Missing parameter\"", "32"),
            ("VOLT 5,(@1),7", "-108,\"Parameter not allowed\"", "32"),
            ("*CLS 1", "-108,\"Parameter not allowed\"", "32"),
            ("*IDN? 1", "-108,\"Parameter not allowed\"", "32"),
            ("VOLT 1E32001", "-123,\"Exponent too large\"", "32"),
            ("VOLT 1E-32001", "-123,\"Exponent too large\"", "32"),
            (&long, "-124,\"Too many digits\"", "32"),
            ("VOLT 5A", "-131,\"Invalid suffix\"", "32"),
            ("VOLT 5 OHM", "-131,\"Invalid suffix\"", "32"),
            ("VOLT 5 MXV", "-131,\"Invalid suffix\"", "32"),
            ("VOLT 5 VOLTVOLTVOLTV", "-134,\"Suffix too long\"", "32"),
            ("*ESE 5V", "-138,\"Suffix not allowed\"", "32"),
            ("VOLT MEDIUM", "-141,\"Invalid character data\"", "32"),
            ("OUTP MAYBE", "-141,\"Invalid character data\"", "32"),
            ("OUTP ABCDEFGHIJKLM", "-144,\"Character data too long\"", "32"),
            ("ABCDEFGHIJKLM 5", "-112,\"Program mnemonic too long\"", "32"),
            ("VOLT \"5\"", "-158,\"String data not allowed\"", "32"),
            ("VOLT #15hello", "-168,\"Block data not allowed\"", "32"),
            ("VOLT (@1)", "-178,\"Expression data not allowed\"", "32"),
            ("VOLT 5,1", "-128,\"Numeric data not allowed\"", "32"),
            ("*ESE ON", "-104,\"Data type error\"", "32"),
            ("*SRE \"1\"", "-104,\"Data type error\"", "32"),
            ("VOLT 5 6", "-103,\"Invalid separator\"", "32"),
            ("VOLT,5", "-111,\"Header separator error\"", "32"),
            ("VOLT\"5\"", "-111,\"Header separator error\"", "32"),
            ("VOLT 5,", "-102,\"Syntax error\"", "32"),
            ("VOLT:", "-102,\"Syntax error\"", "32"),
            ("VOLT ,5", "-102,\"Syntax error\"", "32"),
            ("VO$T 5", "-101,\"Invalid character\"", "32"),
            ("@1", "-101,\"Invalid character\"", "32"),
            ("VOLT #H5G", "-121,\"Invalid character in number\"", "32"),
            ("VOLT #Q8", "-121,\"Invalid character in number\"", "32"),
            ("VOLT 1.2.3", "-121,\"Invalid character in number\"", "32"),
            ("VOLT 'open", "-151,\"Invalid string data\"", "32"),
            ("VOLT #19short", "-161,\"Invalid block data\"", "32"),
            ("VOLT 5,(@1", "-171,\"Invalid expression\"", "32"),
            ("VOLT 5,(1)", "-171,\"Invalid expression\"", "32"),
            ("VOLT 31", "-222,\"Data out of range\"", "16"),
            ("VOLT -1", "-222,\"Data out of range\"", "16"),
            ("VOLT 1E300", "-222,\"Data out of range\"", "16"),
            ("VOLT INF", "-222,\"Data out of range\"", "16"),
            ("VOLT 5,(@9)", "-222,\"Data out of range\"", "16"),
            ("*ESE 256", "-222,\"Data out of range\"", "16"),
            ("*SRE -1", "-222,\"Data out of range\"", "16"),
            ("STAT:OPER:ENAB 65536", "-222,\"Data out of range\"", "16"),
            ("VOLT NAN", "-224,\"Illegal parameter value\"", "16"),
            ("VOLT? UP", "-224,\"Illegal parameter value\"", "16"),
        ],
    );
    // On the way to 5 V the output passes the level and trips: from then on it stays off.
    client.tell("*RST;*CLS");
    client.tell("VOLT:PROT 3,(@1);:VOLT 5,(@1);:OUTP ON,(@1)");
    assert!((0..1000).any(|_| client.ask("VOLT:PROT:TRIP? (@1)") == "1"), "it never trips");
    client.tell("OUTP ON,(@1)");
    assert_eq!(client.ask("SYST:ERR?"), "-221,\"Settings conflict\"");
    assert_eq!(client.ask("*ESR?"), "16");
}

#[test]
fn what_was_refused_changes_nothing() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    for wrong in
        ["VOLT 31,(@1)", "VOLT 5A,(@1)", "VOLT 5,(@9)", "VOLT 5,(@1),1", "VOLT \"5\",(@1)", "VOLTA 5,(@1)", "VOLT NAN,(@1)"]
    {
        // IEEE 488.2 11.5.1.1.4 (from memory) and .5
        holds(
            &mut client,
            &[(
                "IEEE 488.2 11.5.1 (from memory)",
                &[("VOLT 7,(@1)", ""), (wrong, ""), ("VOLT? (@1)", "7.000"), ("OUTP? (@1)", "0")],
            )],
        );
    }
}
