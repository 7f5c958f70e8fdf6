//! The circuit against closed forms (common practice: charge and discharge through
//! a resistor, Ohm's law), and against the unit file's own figures.

use super::*;
use crate::instrument::Role;
use crate::instrument::profile::{OffState, Profile, SHIPPED};
use crate::rehearsal::message::Does;
use crate::rehearsal::world::{Electrics, Guards, Input, Source, World};
use crate::units::{Ohms, Seconds};

/// The answer of the meter's measurement.
fn finished(rig: &Rig) -> String {
    match rig.finish(Role::Meter) {
        Does::Answers(text) => text,
        other => panic!("{other:?}"),
    }
}

fn world(text: &str, leads: f64, off: OffState) -> World {
    // Without what is inside a real one, so that closed forms hold.
    let electrics = Electrics { capacitance: 1e-9, preload: 1e9, crossover: 0.0, recovery: 0.0, ..electrics() };
    World::new(unit(text).things("unit", 7), "unit", Ohms(leads), electrics, source(false, 0.0, 1.0, off), 7)
}

pub(super) fn electrics() -> Electrics {
    usual(profile("supply-channel-list").supply().unwrap())
}

fn profile(name: &str) -> Profile {
    crate::instrument::profile::find(name, std::path::Path::new(".")).unwrap()
}

pub(super) const FREE: Guards = Guards { voltage: None, current: None };

/// An output that rises at once, so that closed forms hold.
pub(super) fn source(on: bool, voltage: f64, limit: f64, off: OffState) -> Source {
    Source { on, voltage, limit, off, slew: (1e9, 1e9) }
}

fn with_part(part: &str) -> String {
    format!("{UNIT}[part.C1]\n{part}\n")
}

#[test]
fn a_part_charges_through_its_resistor_as_the_closed_form_says() {
    let text = with_part("capacitance = \"10 uF\"\ninsulation = \"1000 Gohm\"\nseries = \"10 kohm\"");
    let mut world = world(&text, 0.0, OffState::Open);
    world.connect("unit", "C1").unwrap();
    world.set_output(source(true, 9.0, 1.0, OffState::Open), FREE);
    for t in [0.001, 0.02, 0.05, 0.1, 0.2, 0.5] {
        world.advance(t);
        let truth = 9.0 * (1.0 - (-t / 0.1_f64).exp());
        let seen = world.see();
        assert!((seen.unit - truth).abs() < 0.002 * truth, "{t} s: {} {truth}", seen.unit);
        assert!((seen.current - (9.0 - truth) / 1e4).abs() < 0.005 * 9e-4, "{t} s: {}", seen.current);
        // The charge that went through the lead is the one that sits on the part.
        assert!((world.charge() - 10e-6 * seen.unit).abs() < 0.002 * 10e-6 * truth, "{t} s");
    }
}

#[test]
fn what_is_left_decays_with_the_bleeder_and_stays_at_an_open_switch() {
    let text = UNIT.replace("50 uA", "1 nA").replace("12 mA", "1 nA").replace("10 uF", "100 uF");
    let tau = 470.0 * 100e-6;
    for (off, left) in [(OffState::Bleeder(Ohms(470.0)), 9.0 * (-1.0_f64).exp()), (OffState::Open, 9.0)] {
        let mut world = world(&text, 0.0, off);
        world.set_output(source(true, 9.0, 1.0, off), FREE);
        world.advance(0.5);
        assert!((world.see().unit - 9.0).abs() < 0.01);
        world.set_output(source(false, 9.0, 1.0, off), FREE);
        world.advance(0.5 + tau);
        assert!((world.see().unit - left).abs() < 0.01 * left, "{off:?}: {} {left}", world.see().unit);
    }
}

#[test]
fn an_output_held_at_zero_falls_no_slower_than_its_profile_says() {
    let off = OffState::ZeroVolts;
    let mut world = world(UNIT, 0.0, off);
    world.set_output(source(true, 9.0, 1.0, off), FREE);
    world.advance(0.5);
    // 18 V in 200 ms.
    world.set_output(Source { on: false, voltage: 9.0, limit: 1.0, off, slew: (1e9, 90.0) }, FREE);
    world.advance(0.55);
    assert!((world.see().unit - 4.5).abs() < 0.1, "{}", world.see().unit);
    world.advance(0.65);
    assert!(world.see().unit < 0.02, "{}", world.see().unit);
}

#[test]
fn a_limited_output_charges_the_input_with_the_limit() {
    let text = UNIT.replace("10 uF", "1000 uF").replace("dropout = \"2 V\"", "dropout = \"8.9 V\"");
    let mut world = world(&text, 0.08, OffState::Open);
    world.set_output(source(true, 9.0, 0.1, OffState::Open), FREE);
    world.advance(0.05);
    let seen = world.see();
    // I t / C = 5 V, less what the unit itself takes (50 uA).
    assert!(seen.limiting && (seen.current - 0.1).abs() < 1e-6);
    assert!((seen.unit - 5.0).abs() < 0.02, "{}", seen.unit);
    // The leads' drop stands at the terminals.
    assert!((seen.terminal - seen.unit - 0.1 * 0.08).abs() < 1e-6);
    world.advance(0.2);
    assert!(!world.see().limiting && world.see().unit > 8.99);
}

#[test]
fn the_shunt_is_a_burden_on_the_unit() {
    let mut world = world(UNIT, 0.0, OffState::Open);
    world.set_output(source(true, 9.0, 1.0, OffState::Open), FREE);
    world.set_meter(Input { series: Ohms(100.0), ..Input::default() });
    world.advance(1.0);
    // 12 mA through 100 ohm.
    assert!((world.see().unit - 7.8).abs() < 0.01, "{}", world.see().unit);
}

#[test]
fn leakage_follows_the_unit_files_formula_and_settles_under_bias() {
    let text = with_part(
        "capacitance = \"4.7 uF\"\ninsulation = \"50 Mohm\"\nseries = \"1 kohm\"\nfield = { at_1V = \"0.4 uA\", slope = 2.5 }\n\
         after_rest = { more = \"50 %\", time = \"5 s\", settles_in = \"20 s\" }",
    );
    let mut world = world(&text, 0.0, OffState::Open);
    world.connect("unit", "C1").unwrap();
    world.set_output(source(true, 6.0, 1.0, OffState::Open), FREE);
    let at = |world: &World, rested: f64| {
        let v = world.see().unit;
        v / 50e6 + 0.4e-6 * v * (2.5 * (v.sqrt() - 1.0)).exp() * (1.0 + 0.5 * rested)
    };
    world.advance(0.2);
    let (early, truth) = (world.see().current, at(&world, (-0.2_f64 / 20.0).exp()));
    assert!((early - truth).abs() < 0.005 * truth, "{early} {truth}");
    world.advance(20.0);
    let (later, truth) = (world.see().current, at(&world, (-1.0_f64).exp()));
    assert!((later - truth).abs() < 0.005 * truth, "{later} {truth}");
    world.advance(200.0);
    let (settled, truth) = (world.see().current, at(&world, 0.0));
    assert!((settled - truth).abs() < 0.005 * truth, "{settled} {truth}");
    assert!(early > 1.3 * settled, "{early} {settled}");
}

#[test]
fn absorption_falls_from_decade_to_decade() {
    // Curie and von Schweidler: a power of time with an exponent near 1 (NTRS 20060026218: 0.8 to 1.1).
    let text = with_part("capacitance = \"10 uF\"\ninsulation = \"1000 Gohm\"\nseries = \"1 kohm\"\nabsorption = \"2 %\"");
    let mut world = world(&text, 0.0, OffState::Open);
    world.connect("unit", "C1").unwrap();
    world.set_output(source(true, 10.0, 1.0, OffState::Open), FREE);
    let mut at = |t: f64| {
        world.advance(t);
        world.see().current
    };
    let (one, ten, hundred) = (at(1.0), at(10.0), at(100.0));
    assert!((4.0..20.0).contains(&(one / ten)) && (4.0..20.0).contains(&(ten / hundred)), "{one} {ten} {hundred}");
}

#[test]
fn telegraph_noise_has_two_levels() {
    let text = with_part(
        "capacitance = \"1 uF\"\ninsulation = \"1000 Gohm\"\nseries = \"1 ohm\"\nfield = { at_1V = \"1 uA\", slope = 0.0 }\ntelegraph = { more = \"10 %\", stay = \"3 s\" }",
    );
    let mut world = world(&text, 0.0, OffState::Open);
    world.connect("unit", "C1").unwrap();
    world.set_output(source(true, 1.0, 1.0, OffState::Open), FREE);
    let (mut low, mut high) = (0, 0);
    for t in 1..400 {
        world.advance(f64::from(t));
        let current = world.see().current;
        match current {
            i if (i - 1.0e-6).abs() < 2e-9 => low += 1,
            i if (i - 1.1e-6).abs() < 2e-9 => high += 1,
            // A switching within the last milliseconds.
            _ => {}
        }
    }
    assert!(low > 100 && high > 100 && low + high > 380, "{low} {high}");
}

#[test]
fn a_latch_up_lasts_under_a_limit_until_the_power_is_gone() {
    let text = format!("{UNIT}latch_up = {{ at_start = 2, current = \"300 mA\" }}\n");
    let off = OffState::Bleeder(Ohms(100.0));
    let mut world = world(&text, 0.0, off);
    let mut t = 0.0;
    for (start, latched) in [(1, false), (2, true), (3, false)] {
        world.set_output(source(true, 9.0, 0.1, off), FREE);
        t += 1.0;
        world.advance(t);
        let seen = world.see();
        assert_eq!(seen.limiting, latched, "start {start}: {seen:?}");
        // Under the limit the latched path holds its own voltage (0.8 V to 1 V).
        assert!(
            if latched { (0.8..1.0).contains(&seen.unit) } else { (seen.current - 0.012).abs() < 1e-5 },
            "start {start}: {seen:?}"
        );
        world.set_output(source(false, 9.0, 0.1, off), FREE);
        t += 1.0;
        world.advance(t);
    }
}

#[test]
fn a_short_above_a_voltage_holds_the_output_there_in_limiting() {
    let text = format!("{UNIT}short = {{ above = \"5 V\", resistance = \"1 ohm\" }}\n");
    let mut world = world(&text, 0.0, OffState::Open);
    world.set_output(source(true, 4.0, 0.1, OffState::Open), FREE);
    world.advance(1.0);
    assert!(!world.see().limiting && (world.see().current - 0.012).abs() < 1e-5);
    world.set_output(source(true, 9.0, 0.1, OffState::Open), FREE);
    world.advance(2.0);
    // 100 mA less the unit's own 12 mA through 1 ohm.
    assert!(world.see().limiting && (world.see().unit - 5.088).abs() < 0.002, "{:?}", world.see());
}

#[test]
fn a_start_from_a_residual_above_the_reset_hangs() {
    let text = format!("{UNIT}reset_below = \"0.7 V\"\nhung = \"2 mA\"\n");
    // Off as an open switch: below drop-out 50 uA (v / 2 V) flow out of 10 uF, so 0.4 s a factor of e.
    for (rest, current) in [(0.1, 0.002), (2.0, 0.012)] {
        let mut world = world(&text, 0.0, OffState::Open);
        world.set_output(source(true, 9.0, 0.1, OffState::Open), FREE);
        world.advance(1.0);
        world.set_output(source(false, 9.0, 0.1, OffState::Open), FREE);
        world.advance(1.0 + rest);
        world.set_output(source(true, 9.0, 0.1, OffState::Open), FREE);
        world.advance(2.0 + rest);
        assert!((world.see().current - current).abs() < 1e-5, "after {rest} s: {:?}", world.see());
    }
}

#[test]
fn the_unit_starts_only_when_the_node_reaches_the_threshold() {
    // Divider of 100 kohm and the insulation: 60 % and 40 % of the rail; the threshold is 50 %.
    for (insulation, starts_after) in [("150 kohm", Some(0.1 * 0.6 * (0.6_f64 / 0.1).ln())), ("66.7 kohm", None)] {
        let text = format!(
            "{}arming = {{ resistor = \"100 kohm\", capacitor = \"C1\", threshold = \"50 %\" }}\n[part.C1]\ncapacitance = \"1 uF\"\ninsulation = \"{insulation}\"\n",
            UNIT
        );
        let mut world = world(&text, 0.0, OffState::Open);
        world.set_output(source(true, 9.0, 0.1, OffState::Open), FREE);
        let mut started = None;
        for ms in 1..5000 {
            world.advance(f64::from(ms) * 1e-3);
            // Above the inrush's end: running draws 12 mA.
            if started.is_none() && ms > 5 && world.see().current > 0.01 {
                started = Some(f64::from(ms) * 1e-3);
            }
        }
        match (started, starts_after) {
            // RC with the parallel resistance: 0.1 s x 0.6.
            (Some(at), Some(truth)) => assert!((at - truth).abs() < 0.02 * truth + 0.002, "{at} {truth}"),
            (found, expected) => assert_eq!(found, expected),
        }
    }
}

fn answer(rig: &Rig, role: Role, message: &str) -> String {
    match rig.handle(role, message) {
        Does::Answers(text) => text,
        Does::Sets => String::new(),
        other => panic!("{message}: {other:?}"),
    }
}

#[tokio::test(start_paused = true)]
async fn a_unit_asleep_reads_zero_at_every_supply_and_not_at_the_meter() {
    let asleep = UNIT.replace("12 mA", "65 uA").replace("50 uA", "65 uA");
    for (name, on, ask) in [
        ("supply-channel-list", ["VOLT 9,(@1)", "CURR 0.1,(@1)", "OUTP ON,(@1)"], "MEAS:CURR? (@1)"),
        ("supply-channel-select", ["VOLT 9", "CURR 0.1", "OUTP:DIS 0"], "MEAS:CURR?"),
        ("supply-index-in-header", ["V1 9", "I1 0.1", "OP1 1"], "I1O?"),
        ("supply-acknowledged", ["SYST:REM", "SET 9,0.1", "OUT ON"], "GET?"),
        ("supply-plain", ["VOLT 9", "CURR 0.1", "OUTP ON"], "MEAS:CURR?"),
        ("supply-packed-digits", ["VOLT0900", "CURR0100", "OUT1"], "GET?"),
    ] {
        for seed in 0..20 {
            let rig = rig(name, "meter-plain", &asleep, seed);
            for message in on {
                answer(&rig, Role::Supply, message);
            }
            rig.clock().sleep(Seconds(1.0)).await;
            for _ in 0..50 {
                let text = answer(&rig, Role::Supply, ask);
                // Eight digits are four of the voltage and four of the current.
                let of_current = if text.len() == 8 && !text.contains('.') { &text[4..] } else { &text };
                let current = of_current.rsplit(',').next().unwrap().trim_end_matches('A').to_owned();
                assert!(current.chars().all(|c| c == '0' || c == '.'), "{name}, seed {seed}: {text}");
            }
            answer(&rig, Role::Meter, "CONF:CURR:DC 1.0E-4");
            // The larger shunt takes 6 mV, which the input capacitor must lose first.
            rig.clock().sleep(Seconds(0.1)).await;
            assert!(matches!(rig.handle(Role::Meter, "READ?"), Does::Measures { .. }));
            rig.clock().sleep(Seconds(0.02)).await;
            let read: f64 = finished(&rig).parse().unwrap();
            // 0.05 % of the reading and 0.025 % of 100 uA.
            assert!((read - 65e-6).abs() < 65e-6 * 5e-4 + 25e-9, "{read}");
        }
    }
    assert_eq!(SHIPPED.iter().filter(|(n, _)| n.starts_with("supply")).count(), 6, "a supply is missing here");
}

#[tokio::test(start_paused = true)]
async fn a_meter_gives_the_mean_over_its_integration_time() {
    // Ripple of 50 % with a period of 200 ms: none in the mean over 200 ms, much in that over 20 ms.
    let text = format!("{UNIT}ripple = {{ share = \"50 %\", period = \"200 ms\" }}\n");
    let rig = rig("supply-channel-list", "meter-plain", &text, 3);
    for message in ["VOLT 9,(@1)", "OUTP ON,(@1)"] {
        answer(&rig, Role::Supply, message);
    }
    answer(&rig, Role::Meter, "CONF:CURR:DC 1.0E-1");
    rig.clock().sleep(Seconds(1.0)).await;
    let mut spreads = Vec::new();
    for rate in ["1", "10"] {
        answer(&rig, Role::Meter, &format!("CURR:DC:NPLC {rate}"));
        let mut readings: Vec<f64> = Vec::new();
        for _ in 0..30 {
            let Does::Measures { first, then } = rig.handle(Role::Meter, "READ?") else { panic!("no measurement") };
            rig.clock().sleep(Seconds(first)).await;
            readings.push(finished(&rig).parse().unwrap());
            rig.clock().sleep(Seconds(then + 0.003)).await;
        }
        let most = readings.iter().fold(f64::MIN, |a, b| a.max(*b));
        let least = readings.iter().fold(f64::MAX, |a, b| a.min(*b));
        spreads.push(most - least);
    }
    assert!(spreads[0] > 0.008 && spreads[1] < 0.0003, "{spreads:?}");
}

#[tokio::test(start_paused = true)]
async fn a_meter_across_the_unit_reads_its_voltage() {
    let bench = bench("supply-channel-list", "meter-plain", "across");
    let rig = Rig::build(&bench, &unit(UNIT), "unit", 1, Clock::start(1.0)).unwrap();
    for message in ["VOLT 9,(@1)", "OUTP ON,(@1)"] {
        answer(&rig, Role::Supply, message);
    }
    answer(&rig, Role::Meter, "CONF:VOLT:DC 10");
    rig.clock().sleep(Seconds(1.0)).await;
    rig.handle(Role::Meter, "READ?");
    rig.clock().sleep(Seconds(0.02)).await;
    let read: f64 = finished(&rig).parse().unwrap();
    // 0.0035 % and 0.0005 % of 10 V.
    let truth = rig.seen().unit;
    assert!((read - truth).abs() < 4e-4, "{read} for {truth}");
    rig.quirk(Role::Meter, |q| q.overloaded = true);
    rig.handle(Role::Meter, "READ?");
    rig.clock().sleep(Seconds(0.02)).await;
    assert_eq!(finished(&rig), "+9.90000000E+37");
}

/// A real output, with what is inside it.
fn bench_supply(text: &str, off: OffState) -> World {
    World::new(unit(text).things("unit", 7), "unit", Ohms(0.08), electrics(), source(false, 0.0, 1.0, off), 7)
}

const SHORTED: &str = "cause = \"none\"\n[board]\ninput = \"1 nF\"\nrunning = \"1 nA\"\nasleep = \"1 nA\"\nshort = { above = \"0 V\", resistance = \"10 ohm\" }\n";

#[test]
fn a_limit_takes_a_while_and_its_capacitor_is_outside_it() {
    let mut world = bench_supply(SHORTED, OffState::Open);
    // 9 V would drive 0.9 A into 10 ohm; the limit is 50 mA. It rises at once.
    world.set_output(source(true, 9.0, 0.05, OffState::Open), FREE);
    world.advance(150e-6);
    let early = world.see();
    assert!(!early.limiting && early.current > 0.3, "{early:?}");
    // From the crossover on, 10 uF empty into 10 ohm: a time constant of 0.1 ms.
    world.advance(0.2e-3);
    let (at, began) = (world.time(), world.see().current);
    world.advance(at + 0.1008e-3);
    let (seen, fallen) = (world.see(), 0.05 + (began - 0.05) * (-1.0_f64).exp());
    assert!(seen.limiting && (seen.current - fallen).abs() < 0.03 * fallen, "{seen:?} {fallen}");
    world.advance(0.1);
    assert!((world.see().current - 0.05).abs() < 1e-4 && world.see().limiting, "{:?}", world.see());
}

#[test]
fn over_voltage_trips_at_its_level_and_over_current_after_its_delay_though_nobody_looks() {
    let off = OffState::Bleeder(Ohms(470.0));
    let slow = Source { slew: (100.0, 100.0), ..source(true, 9.0, 1.0, off) };
    let mut world = bench_supply(UNIT, off);
    world.set_output(slow, Guards { voltage: Some(5.0), current: None });
    world.advance(10.0);
    let (_, at) = world.tripped().unwrap();
    // 5 V at 100 V/s.
    assert!((at - 0.05).abs() < 1e-4, "{at}");
    assert!(world.see().unit < 0.01, "{:?}", world.see());
    let mut world = bench_supply(SHORTED, off);
    world.set_output(source(true, 9.0, 0.05, off), Guards { voltage: None, current: Some(0.3) });
    world.advance(10.0);
    let (_, at) = world.tripped().unwrap();
    assert!((at - 0.3).abs() < 0.5e-3, "{at}");
    assert!(world.see().current.abs() < 1e-6, "{:?}", world.see());
}

#[test]
fn an_hour_of_a_unit_that_idles_costs_next_to_nothing() {
    let mut world = bench_supply(UNIT, OffState::Open);
    world.set_output(source(true, 9.0, 0.1, OffState::Open), FREE);
    world.advance(1.0);
    let before = world.steps();
    // Looked at every second.
    for second in 2..3600 {
        world.advance(f64::from(second));
    }
    let steps = world.steps() - before;
    assert!(steps < 60, "{steps} steps");
}

#[test]
fn a_fuse_that_melts_leaves_nothing_and_an_intact_one_stays() {
    for (limit, melts) in [(0.5, false), (1.0, true)] {
        let mut world = bench_supply(SHORTED, OffState::Open);
        // A fuse of 250 mA: 2.75 times as much melts it.
        world.set_meter(Input { series: Ohms(1.0), fuse: Some(0.25), ..Input::default() });
        world.set_output(source(true, 12.0, limit, OffState::Open), FREE);
        world.advance(1.0);
        let charge = world.charge();
        world.advance(2.0);
        assert_eq!((world.charge() - charge).abs() < 1e-9, melts, "{limit} A: {:?}", world.see());
        assert_eq!(world.see().unit < 1e-3, melts, "{limit} A: {:?}", world.see());
    }
}

#[test]
fn an_output_that_holds_zero_is_followed_on_and_off_again_and_again() {
    let off = OffState::ZeroVolts;
    let profile = profile("supply-acknowledged");
    let profile = profile.supply().unwrap();
    let slew = (profile.rated_voltage.0 / 0.01, profile.rated_voltage.0 / profile.output.fall.0.max(1e-3));
    let at = |on: bool, voltage: f64| Source { on, voltage, limit: 0.06, off, slew };
    let electrics = usual(profile);
    for unit_text in [UNIT.to_owned(), UNIT.replace("12 mA", "30 mA")] {
        let mut world = World::new(unit(&unit_text).things("unit", 7), "unit", Ohms(0.08), electrics, at(false, 0.0), 7);
        world.set_meter(Input { series: Ohms(0.1), ..Input::default() });
        let mut t = 0.0;
        for voltage in [1.0, 5.0, 0.5, 8.0, 9.0, 0.0, 3.0] {
            t += 0.2;
            world.set_output(at(true, voltage), FREE);
            world.advance(t);
            assert_eq!(world.failure(), None, "on at {voltage} V, {t} s");
            assert!((world.see().terminal - voltage).abs() < 0.01, "{voltage} V: {:?}", world.see());
            for part in 1..40 {
                if part == 3 {
                    world.set_output(at(false, voltage), FREE);
                }
                t += 0.0137;
                world.advance(t);
                assert_eq!(world.failure(), None, "off from {voltage} V, {t} s");
            }
            assert!(world.see().unit.abs() < 0.01, "{:?}", world.see());
        }
        assert!(world.steps() < 4_000, "{}", world.steps());
    }
}
