//! The thirteen mandated common commands, the status byte, and the registers behind it.

use crate::client::{StandIns, holds};

#[test]
fn the_thirteen_common_commands() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            ("IEEE 488.2 10.14 (from memory): four fields", &[("*IDN?", "STAND-IN,supply-channel-list,B0417,1.0")]),
            (
                "IEEE 488.2 10.19 (from memory): 1 when nothing is pending; leaves ESR bit 0 alone",
                &[("*OPC?", "1"), ("*ESR?", "0")],
            ),
            (
                "IEEE 488.2 10.18 (from memory): ESR bit 0 when nothing is pending",
                &[("*OPC", ""), ("*ESR?", "1"), ("*ESR?", "0")],
            ),
            ("IEEE 488.2 10.10, 10.11 (from memory)", &[("*ESE 33", ""), ("*ESE?", "33"), ("*ESE #H21", ""), ("*ESE?", "33")]),
            ("IEEE 488.2 10.11 (from memory): rounded", &[("*ESE 32.6", ""), ("*ESE?", "33")]),
            ("IEEE 488.2 10.34, 10.35 (from memory): bit 6 is never set", &[("*SRE 255", ""), ("*SRE?", "191")]),
            ("IEEE 488.2 10.38 (from memory): 0 is passed", &[("*TST?", "0")]),
            ("IEEE 488.2 10.39 (from memory)", &[("*WAI", ""), ("*WAI;*OPC?", "1")]),
            ("IEEE 488.2 10.36 (from memory)", &[("*STB?", "0")]),
            (
                "IEEE 488.2 10.3 (from memory): events and errors go, enables stay",
                &[
                    ("*ESE 60;*SRE 32", ""),
                    ("BOGUS", ""),
                    ("*OPC", ""),
                    ("*CLS", ""),
                    ("*ESR?", "0"),
                    ("SYST:ERR?", "0,\"No error\""),
                    ("*ESE?;*SRE?", "60;32"),
                    ("*STB?", "0"),
                ],
            ),
            (
                "IEEE 488.2 10.32 (from memory): settings go, enables and events stay",
                &[("*ESE 60;*OPC", ""), ("VOLT 5,(@1)", ""), ("*RST", ""), ("VOLT? (@1)", "0.000"), ("*ESE?;*ESR?", "60;1")],
            ),
            ("in small letters too: IEEE 488.2 7.6.1.5 (from memory)", &[("*esr?", "0"), ("*Opc?", "1")]),
        ],
    );
    // The meter has them as well.
    holds(
        &mut standins.meter(),
        &[
            ("IEEE 488.2 10.14 (from memory)", &[("*IDN?", "STAND-IN,meter-plain,M0932,1.0")]),
            ("IEEE 488.2 10", &[("*ESE 1;*ESE?", "1"), ("*SRE 32;*SRE?", "32"), ("*OPC", ""), ("*STB?", "96"), ("*TST?", "0")]),
        ],
    );
}

#[test]
fn a_fresh_instrument_says_that_it_was_switched_on() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    // IEEE 488.2 11.5.1.1.2 (from memory): bit 7, once. No error goes with it.
    assert_eq!(client.ask("*ESR?"), "128");
    assert_eq!(client.ask("*ESR?"), "0");
    assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"");
    assert_eq!(standins.meter().ask("*ESR?"), "128");
}

#[test]
fn the_status_byte() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            (
                "SCPI-99 9.1 (from memory): bit 2, error queue not empty",
                &[("BOGUS", ""), ("*STB?", "4"), ("SYST:ERR?", "-113,\"Undefined header\""), ("*STB?", "0")],
            ),
            ("IEEE 488.2 11.2.1.3 (from memory): bit 4, message available", &[("*OPC?;*STB?", "1;16"), ("*STB?;*STB?", "0;16")]),
            (
                "IEEE 488.2 11.2.1.2, 11.2.2 (from memory): bit 5 by *ESE; bit 6 by *SRE",
                &[
                    ("*ESE 1", ""),
                    ("*OPC", ""),
                    ("*STB?", "32"),
                    ("*SRE 32", ""),
                    ("*STB?", "96"),
                    ("*STB?", "96"),
                    ("*ESR?", "1"),
                    ("*STB?", "0"),
                ],
            ),
            ("CHECKS 1.4, worked: a bad command with OPC set reads 33", &[("*OPC", ""), ("BOGUS", ""), ("*ESR?", "33")]),
            (
                "the error bit alone asks for no service: IEEE 488.2 11.3.2 (from memory)",
                &[("*SRE 32", ""), ("BOGUS", ""), ("*STB?", "4"), ("*SRE 4", ""), ("*STB?", "68")],
            ),
        ],
    );
}

#[test]
fn the_operation_and_questionable_registers() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            (
                "SCPI-99 volume 1, 4.2.1: they are there",
                &[
                    ("STAT:OPER?", "0"),
                    ("STAT:OPER:EVEN?;COND?;ENAB?", "0;0;0"),
                    ("STATus:QUEStionable:EVENt?", "0"),
                    ("STAT:QUES:COND?", "0"),
                    ("STAT:QUES:ENAB?", "0"),
                ],
            ),
            (
                "SCPI-99 volume 1, 9.2 (from memory): bit 15 is never used",
                &[
                    ("STAT:QUES:ENAB 65535", ""),
                    ("STAT:QUES:ENAB?", "32767"),
                    ("STAT:OPER:ENAB 256", ""),
                    ("STAT:OPER:ENAB?", "256"),
                ],
            ),
            (
                "SCPI-99 volume 2, 20.7 (from memory) (values from memory)",
                &[
                    ("STAT:QUES:ENAB 3;NTR 3;PTR 0", ""),
                    ("STAT:QUES:ENAB?;NTR?;PTR?", "3;3;0"),
                    ("STAT:PRES", ""),
                    ("STAT:QUES:ENAB?;NTR?;PTR?", "0;0;32767"),
                ],
            ),
            (
                "SCPI-99 9.4 (from memory) and CHECKS 1.6 row 4: constant voltage bit 1, constant current bit 0; off neither",
                &[
                    ("VOLT 5,(@2);:CURR 0.1,(@2)", ""),
                    ("STAT:QUES:INST:ISUM2:COND?", "0"),
                    ("OUTP ON,(@2)", ""),
                    ("STAT:QUES:INST:ISUM2:COND?", "2"),
                    ("STAT:QUES:INST:ISUM1:COND?", "0"),
                    ("STAT:QUES:INST:ISUM2:EVEN?", "2"),
                    ("STAT:QUES:INST:ISUM2:EVEN?", "0"),
                    ("OUTP OFF,(@2)", ""),
                    ("STAT:QUES:INST:ISUM2:COND?", "0"),
                ],
            ),
            (
                "SCPI-99 9.4 (from memory): the instrument summary is bit 13; in the status byte bit 3",
                &[
                    ("STAT:QUES:ENAB 8192", ""),
                    ("*STB?", "0"),
                    ("VOLT 5,(@2);:OUTP ON,(@2)", ""),
                    ("STAT:QUES:INST:COND?", "4"),
                    ("STAT:QUES:COND?", "8192"),
                    ("*STB?", "8"),
                    ("*SRE 8;*STB?", "72"),
                    ("STAT:QUES?", "8192"),
                    ("*STB?", "0"),
                ],
            ),
            (
                "SCPI-99 9.2 (from memory): a falling bit is an event where the filter says so",
                &[
                    ("STAT:QUES:INST:ISUM2:NTR 2;PTR 0", ""),
                    ("VOLT 5,(@2);:OUTP ON,(@2)", ""),
                    ("STAT:QUES:INST:ISUM2?", "0"),
                    ("OUTP OFF,(@2)", ""),
                    ("STAT:QUES:INST:ISUM2?", "2"),
                ],
            ),
            (
                "*CLS empties event registers and leaves filters and enables: IEEE 488.2 10.3 (from memory)",
                &[
                    ("STAT:QUES:INST:ISUM2:ENAB 2", ""),
                    ("OUTP ON,(@2)", ""),
                    ("*CLS", ""),
                    ("STAT:QUES:INST:ISUM2:EVEN?;ENAB?", "0;2"),
                ],
            ),
        ],
    );
    let mut meter = standins.meter();
    holds(
        &mut meter,
        &[(
            "SCPI-99 9.3 (from memory): measuring is bit 4; *OPC? and *OPC wait for it: IEEE 488.2 12.5 (from memory)",
            &[
                ("CURR:DC:NPLC 10", ""),
                ("INIT", ""),
                ("STAT:OPER:COND?", "16"),
                ("*OPC", ""),
                ("*ESR?", "0"),
                ("*OPC?", "1"),
                ("STAT:OPER:COND?", "0"),
                ("STAT:OPER?", "16"),
                ("*ESR?", "1"),
            ],
        )],
    );
}
