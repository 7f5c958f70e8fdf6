//! Rows 20 to 37: modes and readings.

use super::*;

pub(super) fn rows() -> Vec<Row> {
    let measures = [("read      = \"READ?\"", "read      = \"MEAS:CURR:DC?\"")];
    let measures_in_range = [("read      = \"READ?\"", "read      = \"MEAS:CURR:DC? {range}\"")];
    let comma = [("[supply]\n", "[numbers]\ndecimal = \",\"\nfields = \";\"\n\n[supply]\n")];
    let grouped = [
        ("[supply]\n", "[numbers]\ngroup = \",\"\nfields = \";\"\n\n[supply]\n"),
        ("resolution   = \"1 mV\"\n", "resolution   = \"1 mV\"\nreply = { scale = \"1 mV\" }\n"),
        ("resolution = \"1 mV\"\n", "resolution = \"1 mV\"\nreply = { scale = \"1 mV\" }\n"),
    ];
    let checked = [("read      = \"READ?\"", "read      = \"READ?\"\nreply     = { unit = \"checked\" }")];
    let fetches = [("read      = \"READ?\"", "trigger   = \"INIT\"\nread      = \"FETC?\"")];
    vec![
        (20, "mode as words", Ok(vec![run(Refused(TRIPPED)).with(SELECT).limited()])),
        (21, "mode 1 is constant current", Ok(vec![run(Refused(TRIPPED)).with(INDEX).limited()])),
        (
            22,
            "mode 1 is constant voltage",
            Ok(vec![run(Refused(TRIPPED)).with(ACKNOWLEDGED).limited(), run(Refused(TRIPPED)).does("mode_swapped = true")]),
        ),
        (
            23,
            "limiting as a bit, not latched",
            Ok(vec![
                run(Refused(TRIPPED)).limited(),
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).limited().does("hides_limiting = true"),
            ]),
        ),
        (24, "one converter", Ok(vec![run(Right).does("conversion = \"32 ms\"")])),
        (25, "values repeated", Ok(vec![run(Right).does("updates_every = \"100 ms\"")])),
        (
            26,
            "rates",
            Ok(vec![
                run(Right).meter(PLAIN),
                run(Right).meter(UNITS),
                run(Right).meter(ECHO),
                run(Right)
                    .meter_does("line = \"60 Hz\", hum = { current = \"1 mA\", frequency = \"60 Hz\", off_by = \"0.1 %\" }"),
                run(Right).meter_does("noise = \"0.01 %\", fewer_digits = true"),
            ]),
        ),
        (
            27,
            "measuring resets range, zero and trigger",
            Ok(vec![
                run(Right).meter_does("zero = { drift = \"0.1 %\", auto = true }, input = { delay = \"5 ms\" }"),
                // The range in force is not the one that was set, and that is a trip.
                run(Refused(TRIPPED)).meter(variant("measures", PLAIN, &measures)).also(|outcome| {
                    assert!(outcome.ended.how.contains("range"), "{}", outcome.ended.how);
                }),
                run(Right).meter(variant("measures-in-range", PLAIN, &measures_in_range)).also(|outcome| {
                    assert!(sent(outcome, "meter").iter().any(|m| m == "MEAS:CURR:DC? 1.0E-1"));
                }),
            ]),
        ),
        (
            28,
            "old data",
            Ok(vec![run(Right).meter(variant("fetches", PLAIN, &fetches)), run(Right).meter_does("answers_old = true")]),
        ),
        (
            29,
            "collected or it hangs",
            Ok(vec![
                run(Right).meter_does("hangs_when_hurried = true"),
                run(Right).meter(variant("fetches", PLAIN, &fetches)).meter_does("memory = 1"),
            ]),
        ),
        (
            30,
            "readings unasked",
            Ok(vec![
                run(Right).meter_does("repeats_itself = \"30 ms\""),
                run(Right).meter_does("free_running = true"),
                run(Right).meter(UNITS).meter_does("free_running = true"),
                run(Right).meter(STREAMS).slow().also(|outcome| {
                    assert_eq!(sent(outcome, "meter"), [""; 0], "it is asked nothing");
                }),
                run(Right)
                    .meter(variant("old", STREAMS, &[("\"200 ms\"", "\"400 ms\"")]))
                    .meter_does("stream_lag = \"400 ms\"")
                    .slow(),
                // Its readings are older than the profile says.
                run(Misled)
                    .meter(variant("older", STREAMS, &[("\"200 ms\"", "\"0 s\"")]))
                    .meter_does("stream_lag = \"2 s\"")
                    .slow(),
            ]),
        ),
        (
            31,
            "overload",
            Ok(vec![
                run(Refused(TRIPPED)).meter_does("overloaded = true"),
                run(Refused(TRIPPED)).meter(UNITS).meter_does("overloaded = true"),
                run(Refused(TRIPPED)).meter(ECHO).meter_does("overloaded = true"),
            ]),
        ),
        // No reading is taken at all, so nothing can be decided.
        (
            32,
            "unit behind the number",
            Ok(vec![
                run(Right).meter(UNITS),
                run(Refused(UNDECIDED)).meter_does("unit_in_answers = \" A\""),
                run(Refused(UNDECIDED)).meter(variant("checked", PLAIN, &checked)).meter_does("unit_in_answers = \" V DC\""),
            ]),
        ),
        (33, "prefixes and fields", Ok(vec![run(Right).with(INDEX), run(Right).with(ACKNOWLEDGED), run(Right).meter(ECHO)])),
        (
            34,
            "digits without a point",
            Ok(vec![
                run(Right).with(PACKED).also(|outcome| {
                    assert!(sent(outcome, "supply").iter().any(|m| m == "SET09000060"), "9.00 V and 60 mA");
                }),
                // The profile says nothing of it.
                run(Refused(&[Exit::Instrument, Exit::Tripped])).does("packed_digits = true"),
                // A digit more than the profile says is no number.
                run(Never(&[Exit::NotOff, Exit::Instrument])).with(PACKED).does("unit_in_answers = \"0\""),
            ]),
        ),
        (
            35,
            "decimal comma",
            Ok(vec![
                run(Right).meter(COMMA),
                run(Right).with(variant("comma", LIST, &comma)),
                // 9 V are 9,000 mV.
                run(Right).with(variant("grouped", LIST, &grouped)),
                run(Never(&[Exit::NotOff])).does("decimal_comma = true"),
                run(Refused(UNDECIDED)).meter_does("decimal_comma = true"),
            ]),
        ),
        (
            36,
            "range by itself",
            Ok(vec![
                // Until it is told: then it holds.
                run(Right).meter_does("auto_range = { gap = \"50 ms\" }"),
                run(Right).meter(UNITS).meter_does("auto_range = {}, free_running = true"),
                // 12 mA on the range of 10 mA: the usual 120 % would be just there.
                run(Refused(TRIPPED)).meter_does("auto_range = { holds = \"always\", up = \"150 %\" }"),
                run(Never(INSTRUMENT)).meter_does("auto_range = { holds = \"always\" }, free_running = true"),
            ]),
        ),
        (
            37,
            "lead in another jack",
            Ok(vec![
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).meter_does("wrong_jack = true").also(no_current),
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).meter_does("hands = [{ after = \"3 s\", jack = \"nowhere\" }]"),
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).meter_does("hands = [{ after = \"3 s\", fuse = \"melts\" }]"),
                run(Refused(&[Exit::Instrument, Exit::Tripped])).meter_does("hands = [{ after = \"3 s\", range = \"100 uA\" }]"),
                run(Refused(&[Exit::Instrument, Exit::Tripped, Exit::Anomaly]))
                    .meter_does("hands = [{ after = \"3 s\", function = \"voltage\" }]"),
            ]),
        ),
    ]
}

/// The unit never had power, and no reading says otherwise.
fn no_current(outcome: &Outcome) {
    let flows = |r: &rampart::record::ReadingRow| r.role == "meter" && r.value.is_some_and(|value| value.abs() > 0.001);
    let readings: Vec<_> = (1..=3).flat_map(|stage| outcome.run.readings(stage).unwrap()).collect();
    assert!(!readings.is_empty() && !readings.iter().any(flows), "{:?}", readings.iter().find(|r| flows(r)));
    assert!(
        outcome.ended.findings.iter().any(|f| f.severity != rampart::analysis::finding::Severity::Note),
        "{:?}",
        outcome.ended.findings
    );
}

/// Row 37: the profile names the terminal of every range, and a bench file that has the lead
/// elsewhere is refused before power.
#[test]
fn a_lead_in_another_terminal_than_the_range_needs_is_refused_beforehand() {
    use rampart::document::Document;
    use rampart::plan::{Bench, Plan, check};
    let seat = |terminal: &str| {
        let text = format!(
            "[supply]\nprofile = {LIST:?}\n[meter]\nprofile = {PLAIN:?}\nwired = \"in series\"\nterminal = {terminal:?}\n"
        );
        let bench = Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"));
        let plan = Plan::read(&Document::new("plan.toml", SHORT)).unwrap_or_else(|p| panic!("{p}"));
        check(plan, bench, "2026-11-25")
    };
    assert!(seat("mA").passed.is_some());
    let refused = seat("10 A");
    assert!(refused.passed.is_none() && refused.problems.to_string().contains("terminal"), "{}", refused.problems);
}
