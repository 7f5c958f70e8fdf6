//! Rows 38 to 55: how messages travel.

use super::*;

/// It hears nothing for a second and a half.
const STARTS: &str = "boot_takes = \"1500 ms\", boot_text = \"ready\"";

pub(super) fn rows() -> Vec<Row> {
    let wire = |name, more: &str| variant(name, LIST, &[("timeout     = \"1 s\"\n", &format!("timeout = \"1 s\"\n{more}\n"))]);
    let joined = variant(
        "joined",
        LIST,
        &[
            ("timeout     = \"1 s\"\n", "timeout = \"1 s\"\njoin = \";:\"\nqueries = 2\nlongest = 64\n"),
            ("[supply.mode]\nask  = \"STAT:QUES:INST:ISUM{channel}:COND?\"\nbits = { voltage = 1, current = 0 }\n", ""),
        ],
    );
    let boots = [("timeout     = \"1 s\"\n", "timeout = \"1 s\"\nboot = { wait = \"2 s\" }\n")];
    let says_ready = [("timeout     = \"1 s\"\n", "timeout = \"1 s\"\nboot = { wait = \"5 s\", ready = \"ready*\" }\n")];
    let summed = |kind| wire(kind, &format!("checksum = {{ kind = {kind:?} }}"));
    let locked =
        variant("locked", LIST, &[("[supply]\n", "[lock]\nask = \"SYST:HOLD?\"\nrelease = \"SYST:HOLD OFF\"\n\n[supply]\n")]);
    vec![
        (38, "terminators", Ok(vec![run(Right).with(SELECT), run(Never(INSTRUMENT)).does("answers_end = \"\\r\"")])),
        (39, "acknowledgement", Ok(vec![run(Right).with(ACKNOWLEDGED)])),
        (40, "errors in band", Ok(vec![run(Refused(INSTRUMENT)).with(ACKNOWLEDGED).does("falls_to_local_after = \"1500 ms\"")])),
        (
            41,
            "writes without an answer",
            Ok(vec![run(Right).with(INDEX), run(Refused(INSTRUMENT)).with(INDEX).does("loses_every = 7")]),
        ),
        (
            42,
            "late answers",
            Ok(vec![
                run(Refused(INSTRUMENT)).meter_does("late_at = 30, late_by = \"4 s\""),
                run(Gaps).meter_does("late_at = 30, late_by = \"4 s\"").patient(),
                run(Gaps).meter(UNITS).meter_does("late_at = 30, late_by = \"4 s\"").patient(),
            ]),
        ),
        (
            43,
            "interrupted queries",
            Ok(vec![run(Right).with(INDEX).does("interrupts = true"), run(Right).meter(UNITS).meter_does("interrupts = true")]),
        ),
        (
            44,
            "a gap between messages",
            Ok(vec![run(Right).does("misses_early = true"), run(Never(INSTRUMENT)).does("gap = \"30 ms\"")]),
        ),
        (
            45,
            "several commands in a message",
            Ok(vec![
                // One at a time, where the profile says nothing.
                run(Right).does("one_command = true"),
                run(Right).with(joined.clone()).does("takes_at_most = 64").also(|outcome| {
                    let sent = sent(outcome, "supply");
                    assert!(sent.iter().all(|m| m.len() <= 64), "{sent:?}");
                    assert!(sent.iter().any(|m| m == "VOLT 9.000,(@1);:SYST:ERR?"), "{sent:?}");
                    assert!(sent.iter().any(|m| m == "MEAS:VOLT? (@1);:MEAS:CURR? (@1)"), "{sent:?}");
                }),
                run(Never(&[Exit::NotOff])).with(joined).does("one_command = true"),
                run(Never(&[Exit::NotOff])).does("takes_at_most = 12"),
            ]),
        ),
        (46, "line settings", Err("a run over a serial terminal: see serial.rs")),
        (47, "handshake", Err("a run over a serial terminal: see serial.rs")),
        (48, "interface powered from the line", Err("over a port of the test's own: see serial.rs")),
        (
            49,
            "starts when it is opened",
            Ok(vec![
                run(Right).with(variant("boots", LIST, &boots)).does(STARTS),
                run(Right).with(variant("says-ready", LIST, &says_ready)).does(STARTS),
                run(Right).with(PACKED).does("boot_takes = \"1800 ms\", boot_text = \"READY 1.0\""),
                run(Never(INSTRUMENT)).does(STARTS),
            ]),
        ),
        (50, "echo and prompt", Ok(vec![run(Right).meter(ECHO)])),
        (
            51,
            "checksum",
            Ok(vec![
                run(Right).with(summed("sum")),
                run(Right).with(summed("xor")),
                run(Right).with(summed("crc-16")).does("errors_before = 3"),
                run(Right).meter(COMMA),
                // What was changed on the way is missing, and never a number.
                run(Right).meter(COMMA).meter_does("corrupts_every = 31").patient().also(|outcome| {
                    let readings: Vec<_> = (1..=3).flat_map(|stage| outcome.run.readings(stage).unwrap()).collect();
                    assert!(
                        readings.iter().any(|r| r.role == "meter" && r.value.is_none() && r.kind == "garbled"),
                        "none is missing"
                    );
                }),
                run(Never(INSTRUMENT)).does("checksum = true"),
                run(Never(INSTRUMENT)).with(summed("xor")).does("answers_end = \"*00\\n\""),
            ]),
        ),
        // Over TCP, below.
        (52, "one client", Ok(vec![run(Right).does("one_client = true")])),
        (
            53,
            "a lock that is asked for",
            Ok(vec![
                run(Right).with(locked.clone()).also(|outcome| {
                    let sent = sent(outcome, "supply");
                    assert!(
                        sent.iter().any(|m| m == "SYST:HOLD?") && sent.last().is_some_and(|m| m.starts_with("SYST:")),
                        "{sent:?}"
                    );
                    assert!(sent.iter().any(|m| m == "SYST:HOLD OFF"), "it is let go of: {sent:?}");
                }),
                run(Never(INSTRUMENT)).with(locked).does("locked = true").also(|outcome| {
                    assert!(outcome.ended.how.contains("lock"), "{}", outcome.ended.how);
                }),
                run(Never(INSTRUMENT)).does("locked = true"),
            ]),
        ),
        (
            54,
            "hangs",
            Ok(vec![
                run(Right).does("hangs_on_reset = true, hangs_when_hurried = true"),
                run(Right).meter_does("hangs_on_reset = true"),
            ]),
        ),
        (55, "half-open", Ok(vec![run(Refused(INSTRUMENT)).meter_does("silent_after = 60")])),
    ]
}
