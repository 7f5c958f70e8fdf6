//! Rows 8 to 19: what is set, the output, and what trips.

use super::*;

pub(super) fn rows() -> Vec<Row> {
    let off_is = |name, word| variant(name, LIST, &[("off_is    = \"bleeder\"\nbleeder   = \"470 ohm\"", word)]);
    let spelled =
        [("VOLT:PROT:TRIP? (@{channel})\", yes = [\"1\"]", "OUTP:OVP:TRIG? (@{channel})\", yes = [\"TRIGGERED\", \"5\"]")];
    let short_delay = variant("short-delay", LIST, &[("longest = \"1 s\"", "longest = \"50 ms\"")]);
    let milliseconds =
        [("resolution = \"1 ms\", ", "resolution = \"1 ms\", send_scale = \"1 ms\", reply = { scale = \"1 ms\" }, ")];
    vec![
        (8, "one command for both", Ok(vec![run(Right).with(ACKNOWLEDGED), run(Right)])),
        (
            9,
            "clipped or rounded in silence",
            Ok(vec![
                run(Never(INSTRUMENT)).does("sets_less = \"10 %\""),
                run(Refused(INSTRUMENT)).does("voltage_step = \"700 mV\""),
            ]),
        ),
        (
            10,
            "words for on and off",
            Ok(vec![run(Right).with(ACKNOWLEDGED), run(Right).with(INDEX), run(Right).does("ignores_off = 1")]),
        ),
        (11, "inverted sense", Ok(vec![run(Right).with(SELECT), run(SaidNotOff).does("inverted = true")])),
        (
            12,
            "what off is",
            Ok(vec![
                run(Right),
                run(Right).with(off_is("open", "off_is    = \"open\"")),
                run(Right).with(off_is("zero", "off_is    = \"zero volts\"")),
            ]),
        ),
        (
            13,
            "state after power-on",
            Ok(vec![
                run(Never(&[Exit::Wrong])).does("power_on = \"last\""),
                run(Refused(TRIPPED)).does("mains_dip_after = \"3 s\""),
            ]),
        ),
        (
            14,
            "names of protections",
            Ok(vec![run(Right).with(INDEX), run(Right).with(SELECT), run(Right).does("never_trips = true")]),
        ),
        (
            15,
            "whether it has tripped",
            Ok(vec![
                run(Refused(TRIPPED)).does("trips_after = \"800 ms\""),
                run(Refused(TRIPPED)).with(variant("spelled", LIST, &spelled)).does("trips_after = \"800 ms\""),
            ]),
        ),
        (
            16,
            "clearing gives power back",
            Ok(vec![
                run(Refused(TRIPPED)).does("trips_after = \"800 ms\"").also(cleared_while_off),
                // The profile does not know of it.
                run(Refused(TRIPPED))
                    .with(SELECT)
                    .does("trips_after = \"800 ms\", clearing_restores = true")
                    .also(cleared_while_off),
            ]),
        ),
        (
            17,
            "delay of a protection",
            Ok(vec![
                run(Right).with(short_delay.clone()).also(|outcome| {
                    let delays = read_back(outcome, "over-current delay");
                    assert!(!delays.is_empty() && delays.iter().all(|d| (d - 0.05).abs() < 1e-9), "{delays:?}");
                }),
                // Counted in milliseconds, in both directions.
                run(Right).with(variant("milliseconds", LIST, &milliseconds)).also(|outcome| {
                    assert!(sent(outcome, "supply").iter().any(|m| m == "CURR:PROT:DEL 600,(@1)"), "not in milliseconds");
                    assert!(read_back(outcome, "over-current delay").iter().all(|d| (d - 0.6).abs() < 1e-9));
                }),
                // The interlock would wait for 10 s: the supply itself trips when its delay is over.
                run(Refused(TRIPPED)).with(short_delay).lenient().also(|outcome| {
                    assert!(outcome.ended.how.contains("over-current protection"), "{}", outcome.ended.how);
                    let switches = &outcome.supply.switches;
                    let on = switches.iter().find(|s| s.on).unwrap().at;
                    let off = switches.iter().find(|s| !s.on && s.at > on).unwrap().at;
                    assert!((0.05..2.0).contains(&(off - on)), "{switches:?}");
                }),
            ]),
        ),
        (
            18,
            "trip level against set-point",
            Ok(vec![
                run(Right).does("trip_above_set = true"),
                // Somebody has left 25 V: a level below that would be refused at first.
                run(Right).does("trip_above_set = true, panel = [{ after = \"0 s\", voltage = \"25 V\" }]").also(|outcome| {
                    let levels = read_back(outcome, "over-voltage protection");
                    assert!(!levels.is_empty() && levels.iter().all(|l| *l < 25.0), "{levels:?}");
                }),
            ]),
        ),
        (19, "its own timer", Ok(vec![run(ByItself).does("silent_after = 120"), run(Right).does("timer_latches = true")])),
    ]
}

/// The trip was cleared, after off and zero volts, and the output never came back.
fn cleared_while_off(outcome: &Outcome) {
    let sent = sent(outcome, "supply");
    let off = sent.iter().rposition(|m| m.contains("OUTP ON") || m.contains("OUTP:DIS 0")).unwrap();
    let mut after = sent.iter().skip(off);
    assert!(after.any(|m| m.contains("OUTP OFF") || m.contains("OUTP:DIS 1")), "no off");
    assert!(after.any(|m| m.starts_with("VOLT 0.000")), "not set to zero before it is cleared");
    assert!(after.any(|m| m.contains("PROT:CLE")), "never cleared");
    assert!(!outcome.supply.switches.last().unwrap().on, "{:?}", outcome.supply.switches);
    let on = outcome.supply.switches.iter().rposition(|s| s.on).unwrap();
    assert_eq!(outcome.supply.switches.len(), on + 2, "on, tripped, and nothing more: {:?}", outcome.supply.switches);
}
