//! Rows 56 to 62: remote control, errors, identity, sense.

use super::*;

pub(super) fn rows() -> Vec<Row> {
    let reset = |name, settle: &str| {
        let tables = format!("[reset]\nsend = \"*RST\"\nsettle = {settle:?}\n\n[supply]\n");
        variant(name, LIST, &[("[supply]\n", &tables)])
    };
    let matched = variant("matched", LIST, &[("serial_field = 3\n", "serial_field = 3\nmatch = [\"STAND-IN,*,1.*\"]\n")]);
    vec![
        (56, "remote control", Ok(vec![run(Right).with(ACKNOWLEDGED), run(Never(INSTRUMENT)).does("needs_remote = true")])),
        (
            57,
            "knobs",
            Ok(vec![run(Refused(&[Exit::Instrument, Exit::Tripped])).does("panel = [{ after = \"3 s\", voltage = \"4 V\" }]")]),
        ),
        (58, "error queue", Ok(vec![run(Right).does("errors_before = 40"), run(Right).meter_does("errors_before = 40")])),
        (59, "no error queue", Ok(vec![run(Right).with(INDEX), run(Right).meter(UNITS)])),
        (
            60,
            "reset",
            Ok(vec![
                run(Right).with(reset("settles", "10 s")).does("reset_takes = \"8 s\""),
                run(Never(INSTRUMENT)).with(reset("settles-not", "1 s")).does("reset_takes = \"8 s\""),
            ]),
        ),
        (
            61,
            "identity",
            Ok(vec![
                run(Right).with(matched.clone()),
                run(Never(INSTRUMENT)).with(matched).does("identity = \"STAND-IN,other,B0417,2.0\""),
            ]),
        ),
        (
            62,
            "remote sense",
            Ok(vec![
                run(Never(&[Exit::Wrong])).does("remote_sense = true"),
                // 9 V become more than the unit's ceiling of 10 V.
                run(Refused(TRIPPED)).does("sense_lead_open = \"15 %\""),
            ]),
        ),
    ]
}
