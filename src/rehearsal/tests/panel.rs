//! What hands set at the front panel: coupled channels, the state after power-on, knobs and
//! keys, as they act at the unit's terminals and in answers.

use super::*;
use crate::instrument::Role;
use crate::rehearsal::message::Does;
use crate::units::Seconds;

/// A unit of 750 ohm: 12 mA at 9 V.
const RESISTOR: &str = "cause = \"none\"\n[board]\ninput = \"10 uF\"\nrunning = \"1 nA\"\nasleep = \"1 nA\"\nshort = { above = \"0 V\", resistance = \"750 ohm\" }\n";

fn standin(profile: &str, switches: &str) -> Rig {
    let text = format!("[supply]\nprofile = \"{profile}\"\nstandin = {{ {switches} }}\n");
    let bench = Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"));
    Rig::build(&bench, &unit(RESISTOR), "unit", 1, Clock::start(1.0)).unwrap()
}

fn say(rig: &Rig, message: &str) -> String {
    match rig.handle(Role::Supply, message) {
        Does::Answers(text) => text,
        Does::Sets => String::new(),
        other => panic!("{message}: {other:?}"),
    }
}

fn number(rig: &Rig, message: &str) -> f64 {
    say(rig, message).parse().unwrap()
}

/// Volts at the unit a while later.
async fn settled(rig: &Rig) -> f64 {
    rig.clock().sleep(Seconds(0.5)).await;
    rig.seen().unit
}

#[tokio::test(start_paused = true)]
async fn what_sets_the_other_channel_moves_the_unit_where_they_track() {
    for (coupling, volts) in [("none", 3.0), ("tracking", 6.0)] {
        let rig = standin("supply-channel-list", &format!("coupling = {coupling:?}"));
        for message in ["VOLT 3,(@1)", "OUTP ON,(@1)", "VOLT 6,(@2)"] {
            say(&rig, message);
        }
        let seen = settled(&rig).await;
        assert!((seen - volts).abs() < 0.02, "{coupling}: {seen} V");
        assert_eq!(number(&rig, "VOLT? (@1)"), volts);
        assert_eq!(say(&rig, "OUTP:COUP?"), if coupling == "none" { "0" } else { "1" });
        // The other output is off still.
        assert_eq!((say(&rig, "OUTP? (@1)"), say(&rig, "OUTP? (@2)")), ("1".into(), "0".into()));
        say(&rig, "OUTP:COUP OFF");
        say(&rig, "VOLT 4,(@2)");
        assert_eq!(number(&rig, "VOLT? (@1)"), volts);
    }
}

/// The unit has twice what is set and read back, and protection at the channel's own level
/// does not see it.
#[tokio::test(start_paused = true)]
async fn in_series_the_unit_has_the_sum_and_each_channel_sees_its_half() {
    let rig = standin("supply-channel-list", "coupling = \"series\"");
    for message in ["VOLT:PROT 9.9,(@1)", "VOLT:PROT 9.9,(@2)", "VOLT 9,(@1)", "CURR 0.1,(@1)", "OUTP ON,(@1)"] {
        say(&rig, message);
    }
    let seen = settled(&rig).await;
    assert_eq!(say(&rig, "SYST:ERR?"), "0,\"No error\"");
    assert!((seen - 18.0).abs() < 0.05, "{seen} V");
    assert!((number(&rig, "MEAS:VOLT? (@1)") - 9.0).abs() < 0.03);
    assert!((number(&rig, "MEAS:CURR? (@1)") - 0.024).abs() < 0.002);
    assert_eq!((say(&rig, "OUTP? (@2)"), say(&rig, "VOLT:PROT:TRIP? (@1)")), ("1".into(), "0".into()));
    for message in ["OUTP OFF,(@1)", "OUTP:COUP OFF"] {
        say(&rig, message);
    }
    assert_eq!(say(&rig, "OUTP? (@2)"), "0");
    settled(&rig).await;
    say(&rig, "OUTP ON,(@1)");
    let seen = settled(&rig).await;
    assert!((seen - 9.0).abs() < 0.03, "{seen} V");
    // Above its own level it trips, at twice that at the unit.
    let rig = standin("supply-channel-list", "coupling = \"series\"");
    for message in ["VOLT:PROT 5,(@1)", "VOLT 9,(@1)", "OUTP ON,(@1)"] {
        say(&rig, message);
    }
    settled(&rig).await;
    assert_eq!((say(&rig, "VOLT:PROT:TRIP? (@1)"), say(&rig, "OUTP? (@2)")), ("1".into(), "0".into()));
}

/// The unit can have twice the limit that is set, and twice what one channel reads back.
#[tokio::test(start_paused = true)]
async fn in_parallel_the_unit_can_have_the_sum_of_both_limits() {
    for (coupling, limit) in [("none", 0.01), ("parallel", 0.02)] {
        let rig = standin("supply-channel-list", &format!("coupling = {coupling:?}"));
        // 18 V would drive 24 mA.
        for message in ["VOLT 18,(@1)", "CURR 0.01,(@1)", "OUTP ON,(@1)"] {
            say(&rig, message);
        }
        settled(&rig).await;
        let seen = rig.seen();
        assert!(seen.limiting && (seen.current - limit).abs() < 2.5e-3, "{coupling}: {seen:?}");
        assert!((number(&rig, "MEAS:CURR? (@1)") - 0.01).abs() < 3e-3, "{coupling}");
    }
}

#[tokio::test(start_paused = true)]
async fn when_the_mains_come_back_the_output_does_as_it_is_told() {
    for (state, was_on, volts) in [
        ("off", true, 0.0),
        ("off", false, 0.0),
        ("last", true, 9.0),
        ("last", false, 0.0),
        ("on", true, 9.0),
        ("on", false, 9.0),
    ] {
        let rig = standin("supply-channel-list", &format!("power_on = {state:?}, mains_dip_after = \"2 s\""));
        for message in ["VOLT 9,(@1)", "CURR 0.1,(@1)", if was_on { "OUTP ON,(@1)" } else { "OUTP OFF,(@1)" }] {
            say(&rig, message);
        }
        assert_eq!(say(&rig, "OUTP:PON:STAT?") == "RST", state == "off");
        let seen = settled(&rig).await;
        assert!((seen - if was_on { 9.0 } else { 0.0 }).abs() < 0.03, "{state} {was_on}: {seen} V before");
        rig.clock().sleep(Seconds(3.0)).await;
        let seen = rig.seen().unit;
        assert!((seen - volts).abs() < 0.03, "{state} {was_on}: {seen} V after");
        assert_eq!(number(&rig, "VOLT? (@1)"), if state == "off" { 0.0 } else { 9.0 });
    }
}

#[tokio::test(start_paused = true)]
async fn hands_turn_knobs_and_press_keys_at_their_time() {
    let rig = standin(
        "supply-channel-list",
        "panel = [{ after = \"6 s\", output = \"off\" }, { after = \"1 s\", voltage = \"6 V\" }, { after = \"2 s\", limit = \"5 mA\" }, \
         { after = \"3 s\", limit = \"1 A\", coupling = \"series\" }, { after = \"5 s\", coupling = \"none\" }]",
    );
    for message in ["VOLT 9,(@1)", "VOLT 2,(@2)", "CURR 1,(@2)", "OUTP ON,(@1)"] {
        say(&rig, message);
    }
    let mut seen = Vec::new();
    for _ in 0..7 {
        seen.push(settled(&rig).await);
        rig.clock().sleep(Seconds(0.5)).await;
    }
    // 9 V; the knob at 6 V; 5 mA (and its row, 1 mA) into 750 ohm; 6 V and the other's 2 V in
    // series; alone again; off, through 470 ohm.
    for (at, volts, within) in [(0, 9.0, 0.02), (1, 6.0, 0.02), (2, 3.75, 0.8), (3, 8.0, 0.02), (5, 6.0, 0.02), (6, 0.0, 0.02)] {
        assert!((seen[at] - volts).abs() < within, "{at}: {volts} in {seen:?}");
    }
    // Nobody looked for long: they acted at their times all the same.
    let rig = standin(
        "supply-channel-list",
        "panel = [{ after = \"100 s\", output = \"on\" }, { after = \"200 s\", output = \"off\" }]",
    );
    rig.clock().sleep(Seconds(1000.0)).await;
    let state = rig.supply_state();
    assert_eq!(state.switches.iter().map(|s| (s.at, s.on)).collect::<Vec<_>>(), [(100.0, true), (200.0, false)]);
}

#[test]
fn mistakes_in_what_a_stand_in_is_are_pointed_at() {
    let read = |profile: &str, lines: &str| {
        let text = format!("[supply]\nprofile = {profile:?}\n{lines}\n");
        Bench::read(&Document::new("bench.toml", text)).unwrap_err().to_string()
    };
    for (lines, line, says) in [
        ("[supply.electrics]\ncapacitor = \"0 F\"", 4, "it is from 1 nF to 1 F"),
        ("[supply.electrics]\ncapacitor = \"10 V\"", 4, "capacit"),
        ("[supply.electrics]\ncapacitor = 10", 4, "bare number"),
        ("[supply.electrics]\ncapacitance = \"10 uF\"", 4, "did you mean \"capacitor\""),
        ("[supply.electrics]\nrise = \"-1 ms\"", 4, "cannot be"),
        ("[supply.electrics]\nsurge = \"1 A\"", 4, "a supply of 3 A can give no less"),
        ("[supply.electrics]\novershoot = \"100 %\"", 4, "it is from 0 % to 95 %"),
        ("[supply.electrics]\noff_is = \"bleeder\"", 3, "lacks \"bleeder\""),
        ("[supply.electrics]\noff_is = \"open\"\nbleeder = \"470 ohm\"", 5, "off_is = \"bleeder\""),
        ("[supply.electrics]\noff_is = \"shut\"", 4, "\"zero volts\""),
        ("[supply.electrics]\nnoise = { rms = \"1 mV\" }", 4, "lacks \"bandwidth\""),
        ("[supply.electrics]\nnoise = { rms = \"1 mV\", bandwidth = \"0 Hz\" }", 4, "cannot be"),
        ("[supply.electrics]\nover_current_counts = \"never\"", 4, "\"from a change\""),
        ("standin = { coupling = \"sereis\" }", 3, "did you mean \"series\""),
        ("standin = { power_on = \"yes\" }", 3, "\"last\""),
        ("standin = { panel = [{ voltage = \"4 V\" }] }", 3, "lacks \"after\""),
        ("standin = { panel = [{ after = \"3 s\" }] }", 3, "turns nothing"),
        ("standin = { panel = [{ after = \"3 s\", volts = \"4 V\" }] }", 3, "no key \"volts\""),
    ] {
        let problems = read("supply-channel-list", lines);
        assert!(problems.contains(says) && problems.contains(&format!("bench.toml:{line}:")), "{lines}: {problems}");
    }
    let problems = read("supply-acknowledged", "standin = { coupling = \"series\" }");
    assert!(problems.contains("one channel") && problems.contains("bench.toml:3:"), "{problems}");
}
