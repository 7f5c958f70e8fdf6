//! Headers: long and short forms, optional nodes, suffixes, and the path through a
//! compound message.

use crate::client::{StandIns, holds, refused};

#[test]
fn long_and_short_forms_and_nothing_between() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    let same = ["VOLT 5,(@1)", "VOLTAGE 5,(@1)", "volt 5,(@1)", "Voltage 5,(@1)", ":VOLT 5,(@1)", "SOUR:VOLT 5,(@1)"];
    let optional = [
        ":SOURce:VOLTage:LEVel:IMMediate:AMPLitude 5,(@1)",
        "SOUR:VOLT:LEV 5,(@1)",
        "VOLT:IMM 5,(@1)",
        "SOURCE:VOLTAGE:AMPL 5,(@1)",
        "VOLT:LEV:AMPL 5,(@1)",
    ];
    for message in same.into_iter().chain(optional) {
        // SCPI-99 volume 1, 6.2.1 and 6.2.2 (from memory)
        holds(
            &mut client,
            &[("SCPI-99 6.2 (from memory)", &[(message, ""), ("VOLT? (@1)", "5.000"), ("SYST:ERR?", "0,\"No error\"")])],
        );
    }
    let undefined = "-113,\"Undefined header\"";
    let rows = [
        "VOLTA 5",
        "VOL 5",
        "SOURC:VOLT 5",
        "VOLT:LEVE 5",
        "SYSTE:ERR?",
        "SYST:ERRO?",
        "STAT:QUEST?",
        "*OP",
        "*IDNX?",
        "OUTPU ON",
    ]
    .map(|message| (message, undefined, "32"));
    refused(&mut client, "CHECKS 1.2 row 18; SCPI-99 6.2.1", &rows);
}

#[test]
fn a_question_is_another_header_than_its_command() {
    let standins = StandIns::start();
    let undefined = "-113,\"Undefined header\"";
    let rows = ["*CLS?", "*RST?", "*STB", "*IDN", "*ESR", "SYST:ERR", "STAT:PRES?", "MEAS:VOLT", "STAT:OPER:COND 1"]
        .map(|message| (message, undefined, "32"));
    refused(&mut standins.supply(), "IEEE 488.2 7.6 (from memory)", &rows);
}

#[test]
fn the_path_through_a_compound_message() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            (
                "SCPI-99 6.2.4: relative to the last",
                &[("SOUR:VOLT 5,(@1);CURR 0.5,(@1)", ""), ("SOUR:VOLT? (@1);CURR? (@1)", "5.000;0.500")],
            ),
            (
                "SCPI-99 6.2.4: a colon leads to the root",
                &[
                    ("SOUR:VOLT 6,(@1);:OUTP ON,(@1);:OUTP? (@1)", "1"),
                    ("VOLT:PROT 12,(@1);PROT:STAT ON,(@1)", ""),
                    ("SYST:ERR?", "0,\"No error\""),
                ],
            ),
            (
                "SCPI-99 6.2.4: without it the path stays",
                &[
                    ("SOUR:VOLT 5,(@1);OUTP ON,(@1)", ""),
                    ("SYST:ERR?", "-113,\"Undefined header\""),
                    ("OUTP? (@1)", "0"),
                    ("VOLT? (@1)", "5.000"),
                ],
            ),
            (
                "IEEE 488.2 A.1.1 (from memory): common commands leave the path alone",
                &[("SOUR:VOLT 4,(@1);*OPC?;CURR 0.25,(@1);CURR? (@1)", "1;0.250"), ("SYST:ERR?", "0,\"No error\"")],
            ),
            (
                "SCPI-99 6.2.4: the next message begins at the root",
                &[("SOUR:VOLT 4,(@1)", ""), ("CURR 0.5,(@1)", ""), ("OUTP? (@1)", "0"), ("SYST:ERR?", "0,\"No error\"")],
            ),
            (
                "IEEE 488.2 8.4.2 (from memory): the answers of a message are one response, semicolons between",
                &[("*OPC?;*ESE?;SYST:VERS?;*SRE?", "1;0;1999.0;0"), ("*OPC? ; *ESE? ;*SRE?", "1;0;0")],
            ),
            ("IEEE 488.2 7.3.1 (from memory): units without a query answer nothing", &[("*ESE 1;*SRE 2;*ESE?;*SRE?", "1;2")]),
            (
                "IEEE 488.2 7.3 (from memory): an empty message is one; common practice: a semicolon at the end",
                &[("*OPC?;", "1"), ("", ""), (" \t", "")],
            ),
        ],
    );
}

#[test]
fn numeric_suffixes_of_headers() {
    let standins = StandIns::start();
    let mut client = standins.supply();
    holds(
        &mut client,
        &[(
            "SCPI-99 6.2.5 (from memory): 1 where it is left out",
            &[
                ("STAT:QUES:INST:ISUM:ENAB 5", ""),
                ("STAT:QUES:INST:ISUMMARY1:ENAB?", "5"),
                ("STAT:QUES:INST:ISUM2:ENAB?", "32767"),
                ("SOUR1:VOLT 6,(@1);:VOLT1? (@1)", "6.000"),
                ("SYST1:ERR1?", "0,\"No error\""),
            ],
        )],
    );
    refused(
        &mut client,
        "SCPI-99 21.8.9 (from memory), CHECKS 1.5 row 7",
        &[
            ("STAT:QUES:INST:ISUM3:ENAB 5", "-114,\"Header suffix out of range\"", "32"),
            ("VOLT2 5", "-114,\"Header suffix out of range\"", "32"),
            ("SOUR3:VOLT?", "-114,\"Header suffix out of range\"", "32"),
            ("BOGUS2 5", "-113,\"Undefined header\"", "32"),
            ("STAT:QUES:INST:ISUM1:BOGUS?", "-113,\"Undefined header\"", "32"),
        ],
    );
}

#[test]
fn white_space() {
    let standins = StandIns::start();
    holds(
        &mut standins.supply(),
        &[
            (
                "IEEE 488.2 7.4.1.2 (from memory): blanks, tabs and other control characters",
                &[("  VOLT \t 5 , (@1)  ", ""), ("VOLT?\t(@1)\r", "5.000"), ("\u{1}*OPC?", "1")],
            ),
            (
                "IEEE 488.2 7.6.1 (from memory): none within a header",
                &[("VOLT :PROT 5", ""), ("SYST:ERR?", "-101,\"Invalid character\"")],
            ),
        ],
    );
}
