//! Circuits whose answer is known in closed form.

use super::*;
use crate::units::*;

fn rc() -> (Circuit, Node, Part, Part, Part) {
    let mut circuit = Circuit::new();
    let (supply, out) = (circuit.node("in"), circuit.node("out"));
    let source = circuit.add(
        "v1",
        Kind::Voltage(Drive::Pulse { low: 0.0, high: 5.0, delay: 0.0, rise: 0.0, fall: 0.0, width: 1e9, period: f64::INFINITY }),
        &[supply, GROUND],
    );
    let resistor = circuit.resistor("r1", supply, out, Ohms(1e3));
    let capacitor = circuit.capacitor("c1", out, GROUND, Farads(1e-6));
    (circuit, out, source, resistor, capacitor)
}

#[test]
fn a_capacitor_charges_through_a_resistor_as_an_exponential() {
    let (mut circuit, out, source, resistor, capacitor) = rc();
    circuit.begin_with(out, Volts(0.0));
    let mut transient = Transient::begin(circuit, 1, Start::Given, Accuracy::default()).unwrap();
    for step in 0..=5000 {
        let t = f64::from(step) * 1e-6 * 1.7;
        transient.advance(Seconds(t)).unwrap();
        let wanted = 5.0 * (1.0 - (-t / 1e-3).exp());
        let v = transient.voltage(out).0;
        assert!((v - wanted).abs() < 5e-5, "{t}: {v} for {wanted}");
        let i = (5.0 - wanted) / 1e3;
        for part in [resistor, capacitor] {
            assert!((transient.current(part).0 - i).abs() < 5e-7, "{t}: {} for {i}", transient.current(part).0);
            assert!((transient.charge(part).0 - 1e-6 * wanted).abs() < 1e-10, "{t}: {}", transient.charge(part).0);
        }
        assert!((transient.charge(source).0 + 1e-6 * wanted).abs() < 1e-10);
    }
    assert!(transient.effort().steps < 100, "{:?}", transient.effort());
    // An hour at rest.
    let before = transient.effort().steps;
    transient.advance(Seconds(3600.0)).unwrap();
    assert!(transient.effort().steps < before + 40, "{:?}", transient.effort());
}

/// Series R, L and C, driven by a step of 1 V: textbook forms, from memory.
#[test]
fn a_series_circuit_rings_creeps_or_just_does_not() {
    let (l, c) = (1e-3, 1e-7_f64);
    let w0 = 1.0 / (l * c).sqrt();
    let critical = 2.0 * (l / c).sqrt();
    for r in [0.05 * critical, critical, 6.0 * critical] {
        let mut circuit = Circuit::new();
        let (source, middle, out) = (circuit.node("in"), circuit.node("m"), circuit.node("out"));
        circuit.voltage("v1", source, GROUND, Volts(1.0));
        circuit.resistor("r1", source, middle, Ohms(r));
        let coil = circuit.inductor("l1", middle, out, l);
        circuit.capacitor("c1", out, GROUND, Farads(c));
        let mut transient = Transient::begin(circuit, 1, Start::Given, Accuracy::default()).unwrap();
        let damping = r / (2.0 * l);
        for step in 0..2000 {
            let t = f64::from(step) * 1e-7;
            transient.advance(Seconds(t)).unwrap();
            let decay = (-damping * t).exp();
            let wanted = if (damping - w0).abs() < 1e-6 * w0 {
                1.0 - decay * (1.0 + w0 * t)
            } else if damping < w0 {
                let w = (w0 * w0 - damping * damping).sqrt();
                1.0 - decay * ((w * t).cos() + damping / w * (w * t).sin())
            } else {
                let w = (damping * damping - w0 * w0).sqrt();
                1.0 - decay * ((w * t).cosh() + damping / w * (w * t).sinh())
            };
            let v = transient.voltage(out).0;
            assert!((v - wanted).abs() < 2e-4, "{r} ohm, {t} s: {v} for {wanted}");
            // What has flowed is what the capacitor holds.
            assert!((transient.charge(coil).0 - c * v).abs() < 1e-4 * c, "{}", transient.charge(coil).0);
        }
    }
}

/// Between its peaks an unloaded rectifier holds; with a load it falls as an exponential
/// from the peak, less the diode's drop (textbook).
#[test]
fn a_rectifier_holds_the_peak_and_falls_with_its_load() {
    let mut circuit = Circuit::new();
    let (source, out) = (circuit.node("in"), circuit.node("out"));
    let drive = Drive::Sine { offset: 0.0, amplitude: 10.0, frequency: 50.0, delay: 0.0, damping: 0.0, phase: 0.0 };
    circuit.add("v1", Kind::Voltage(drive), &[source, GROUND]);
    let diode = circuit.add("d1", Kind::Diode(Diode::default()), &[source, out]);
    let load = circuit.resistor("r1", out, GROUND, Ohms(1e4));
    circuit.capacitor("c1", out, GROUND, Farads(1e-4));
    let mut transient = Transient::new(circuit, 1).unwrap();
    transient.advance(Seconds(0.106)).unwrap();
    let (top, early) = (transient.voltage(out).0, transient.charge(diode).0);
    assert!((9.2..9.5).contains(&top), "{top}");
    transient.advance(Seconds(0.118)).unwrap();
    let later = transient.voltage(out).0;
    assert!((later / top - (-0.012_f64 / 1.0).exp()).abs() < 1e-5, "{later} after {top}");
    assert!((transient.charge(diode).0 - early).abs() < 1e-9);
    // Over whole periods the diode brings what the load takes.
    transient.advance(Seconds(2.0)).unwrap();
    let (a, b) = (transient.charge(diode).0, transient.charge(load).0);
    transient.advance(Seconds(4.0)).unwrap();
    let (brought, taken) = (transient.charge(diode).0 - a, transient.charge(load).0 - b);
    assert!((brought / taken - 1.0).abs() < 1e-5, "{brought} {taken}");
}

fn leaking() -> Solid {
    Solid {
        capacitance: Farads(4.7e-6),
        insulation: Ohms(50e6),
        field: Some(Field { at_one_volt: Amperes(0.372e-6), slope: 2.79 }),
        after_rest: None,
        telegraph: None,
        absorption: vec![],
    }
}

#[test]
fn a_divider_with_field_assisted_leakage_ends_where_bisection_says() {
    for (supply, series) in [(9.0, 100e3), (3.0, 1e6), (25.0, 47e3)] {
        let mut circuit = Circuit::new();
        let (rail, node) = (circuit.node("rail"), circuit.node("arm"));
        circuit.voltage("v1", rail, GROUND, Volts(supply));
        let resistor = circuit.resistor("r1", rail, node, Ohms(series));
        let parts = leaking().place(&mut circuit, "c7", node, GROUND);
        let mut transient = Transient::begin(circuit, 1, Start::Given, Accuracy::default()).unwrap();
        transient.advance(Seconds(1000.0)).unwrap();
        let (mut low, mut high) = (0.0, supply);
        for _ in 0..200 {
            let v: f64 = 0.5 * (low + high);
            let leak = v / 50e6 + 0.372e-6 * v * (2.79 * (v.sqrt() - 1.0)).exp();
            if (supply - v) / series > leak { low = v } else { high = v }
        }
        let v = transient.voltage(node).0;
        assert!((v - low).abs() < 1e-5, "{v} for {low}");
        let (through, leak) = (transient.current(resistor).0, transient.current(parts.leakage).0);
        assert!((through / leak - 1.0).abs() < 1e-5);
        assert!(transient.effort().steps < 200, "{:?}", transient.effort());
    }
}

#[test]
fn what_the_dielectric_absorbed_comes_back_after_a_short() {
    let mut circuit = Circuit::new();
    let (rail, node) = (circuit.node("rail"), circuit.node("n"));
    let source = circuit.voltage("v1", rail, GROUND, Volts(10.0));
    let feed = circuit.resistor("r1", rail, node, Ohms(1e3));
    let solid = Solid { field: None, insulation: Ohms(1e15), absorption: vec![(Ratio(0.01), Seconds(10.0))], ..leaking() };
    let parts = solid.place(&mut circuit, "c7", node, GROUND);
    let mut transient = Transient::new(circuit, 1).unwrap();
    transient.advance(Seconds(1000.0)).unwrap();
    transient.wire(feed, Wired::Disconnected);
    transient.set_capacitor_voltage(parts.capacitor, Volts(0.0));
    let charge = transient.charge(source).0;
    transient.advance(Seconds(1000.0)).unwrap();
    assert!(transient.voltage(node).0.abs() < 1e-6, "{}", transient.voltage(node).0);
    transient.advance(Seconds(2000.0)).unwrap();
    // The branch shares its charge with the emptied capacitor.
    assert!((transient.voltage(node).0 - 10.0 * 0.01 / 1.01).abs() < 1e-4, "{}", transient.voltage(node).0);
    assert!((transient.charge(source).0 - charge).abs() < 1e-10);
}

#[test]
fn leakage_is_greater_after_a_rest_and_settles_under_bias() {
    let mut circuit = Circuit::new();
    let node = circuit.node("n");
    let source = circuit.voltage("v1", node, GROUND, Volts(4.0));
    let rest = AfterRest { more: Ratio(0.5), time: Seconds(6.0), settles_in: Seconds(25.0) };
    let parts = Solid { after_rest: Some(rest), insulation: Ohms(1e12), ..leaking() }.place(&mut circuit, "c7", node, GROUND);
    let mut transient = Transient::new(circuit, 1).unwrap();
    let settled = 0.372e-6 * 4.0 * (2.79_f64 * 1.0).exp();
    let share = |transient: &Transient| transient.current(parts.leakage).0 / settled - 1.0;
    for t in [0.0, 10.0, 25.0, 60.0, 200.0] {
        transient.advance(Seconds(t)).unwrap();
        assert!((share(&transient) - 0.5 * (-t / 25.0).exp()).abs() < 1e-4, "{t}: {}", share(&transient));
    }
    // Charge over the settling, from 0 to 200 s, is the integral of that.
    let wanted = settled * (200.0 + 0.5 * 25.0 * (1.0 - (-8.0_f64).exp()));
    assert!((transient.charge(parts.leakage).0 / wanted - 1.0).abs() < 1e-4);
    transient.set_source_voltage(source, Volts(0.0));
    transient.advance(Seconds(206.0)).unwrap();
    transient.set_source_voltage(source, Volts(4.0));
    transient.advance(Seconds(206.0)).unwrap();
    let rested = 1.0 - (1.0 - (-8.0_f64).exp()) * (-1.0_f64).exp();
    assert!((share(&transient) - 0.5 * rested).abs() < 1e-3, "{}", share(&transient));
}

/// Exponential stays have a variance of their mean squared: 4000 of them keep the mean to
/// five per cent with three standard errors.
#[test]
fn telegraph_noise_spends_its_mean_stay_in_either_state() {
    let mut circuit = Circuit::new();
    let node = circuit.node("n");
    circuit.voltage("v1", node, GROUND, Volts(4.0));
    let telegraph = Telegraph { more: Ratio(1.0), stay: Seconds(8.0) };
    let parts = Solid { telegraph: Some(telegraph), insulation: Ohms(1e12), ..leaking() }.place(&mut circuit, "c7", node, GROUND);
    let mut transient = Transient::new(circuit, 7).unwrap();
    let low = 0.372e-6 * 4.0 * 2.79_f64.exp();
    transient.advance(Seconds(32_000.0)).unwrap();
    let moments = f64::from(u32::try_from(transient.effort().moments).unwrap());
    assert!((moments / 4000.0 - 1.0).abs() < 0.05, "{moments} switches");
    // Half of the time in the upper state, to three standard errors of 2000 pairs.
    let mean = transient.charge(parts.leakage).0 / 32_000.0 / low;
    assert!((mean - 1.5).abs() < 3.0 * 0.5 / 2000_f64.sqrt(), "{mean}");
    // One seed, one outcome, whether or not somebody looks.
    let again = |seed: u64, looks: u32| {
        let mut circuit = Circuit::new();
        let node = circuit.node("n");
        circuit.voltage("v1", node, GROUND, Volts(4.0));
        let solid = Solid { telegraph: Some(telegraph), ..leaking() };
        let parts = solid.place(&mut circuit, "c7", node, GROUND);
        let mut transient = Transient::new(circuit, seed).unwrap();
        for look in 0..looks {
            transient.advance(Seconds(f64::from(look) * 100.0 / f64::from(looks))).unwrap();
        }
        transient.advance(Seconds(100.0)).unwrap();
        transient.charge(parts.leakage).0.to_bits()
    };
    assert_eq!(again(3, 1), again(3, 977));
    assert_ne!(again(3, 1), again(4, 1));
}

#[test]
fn changes_count_from_the_moment_at_which_they_are_made() {
    let (circuit, out, _, resistor, capacitor) = rc();
    let mut transient = Transient::begin(circuit, 1, Start::Given, Accuracy::default()).unwrap();
    transient.advance(Seconds(1e-3)).unwrap();
    let before = (transient.voltage(out).0, transient.charge(resistor).0);
    transient.set_resistance(resistor, Ohms(2e3));
    transient.advance(Seconds(1e-3)).unwrap();
    assert!((transient.voltage(out).0 - before.0).abs() < 1e-6);
    assert!((transient.current(resistor).0 - (5.0 - before.0) / 2e3).abs() < 1e-8);
    transient.advance(Seconds(3e-3)).unwrap();
    let wanted = 5.0 - (5.0 - before.0) * (-1.0_f64).exp();
    assert!((transient.voltage(out).0 - wanted).abs() < 2e-5);
    assert!((transient.charge(resistor).0 - 1e-6 * wanted).abs() < 1e-10);
    assert!((transient.charge(capacitor).0 - 1e-6 * wanted).abs() < 1e-10);
    transient.set_capacitor_voltage(capacitor, Volts(0.0));
    transient.wire(resistor, Wired::Disconnected);
    transient.advance(Seconds(1.0)).unwrap();
    assert!(transient.voltage(out).0.abs() < 1e-9);
    assert_eq!(transient.current(resistor).0, 0.0);
    assert!((transient.charge(resistor).0 - 1e-6 * wanted).abs() < 1e-10);
}

#[test]
fn a_node_that_nothing_determines_is_named() {
    let mut circuit = Circuit::new();
    let (a, b) = (circuit.node("a"), circuit.node("b"));
    circuit.voltage("v1", a, GROUND, Volts(1.0));
    circuit.voltage("v2", a, GROUND, Volts(2.0));
    circuit.resistor("r1", a, b, Ohms(1.0));
    let failure = Transient::new(circuit, 1).unwrap_err();
    assert_eq!(failure.why, Why::Undetermined);
    assert!(failure.to_string().contains("i(v"), "{failure}");
}

/// A part whose slopes lie: nothing settles.
#[derive(Debug)]
struct Liar;

impl Device for Liar {
    fn currents(&self, _: f64, volts: &[f64], currents: &mut [f64], slopes: &mut [f64]) {
        currents[0] = if volts[0] > 1.0 { 1.0 } else { -1.0 };
        slopes[0] = -1.0;
    }
}

#[test]
fn a_circuit_that_does_not_settle_is_refused_with_its_node() {
    let mut circuit = Circuit::new();
    let node = circuit.node("stubborn");
    circuit.resistor("r1", node, GROUND, Ohms(10.0));
    circuit.device("x", &[node], Liar);
    let failure = Transient::new(circuit, 1).unwrap_err();
    assert_eq!(failure.why, Why::NoConvergence);
    assert!(failure.to_string().contains("v(stubborn)"), "{failure}");
}

#[test]
fn a_switch_that_acts_on_its_own_control_without_delay_is_named() {
    let mut circuit = Circuit::new();
    let (rail, node) = (circuit.node("rail"), circuit.node("n"));
    circuit.voltage("v1", rail, GROUND, Volts(10.0));
    circuit.resistor("r1", rail, node, Ohms(1e3));
    let model = Switch { threshold: 5.0, hysteresis: 0.1, closed: 1.0, open: 1e9 };
    circuit.add("s1", Kind::Switch(model, Contact::Open), &[node, GROUND, node, GROUND]);
    let failure = Transient::new(circuit, 1).unwrap_err();
    assert_eq!((failure.why, failure.place.as_str()), (Why::Chatter, "s1"));
}

#[test]
fn a_gate_follows_its_input_by_its_familys_levels() {
    let mut circuit = Circuit::new();
    let (rail, input, out) = (circuit.node("vdd"), circuit.node("in"), circuit.node("out"));
    circuit.voltage("v1", rail, GROUND, Volts(5.0));
    let ramp = Drive::Points(vec![(0.0, 0.0), (1.0, 5.0), (2.0, 0.0)]);
    circuit.add("v2", Kind::Voltage(ramp), &[input, GROUND]);
    let kind = GateKind {
        logic: Logic::Inverter,
        family: "4000B".into(),
        trips: Ratio(0.25),
        hysteresis: Ratio(0.1),
        output: Ohms(400.0),
        delay: Seconds(1e-6),
        through: Amperes(1e-3),
    };
    let gate = circuit.device("u1", &[rail, GROUND, out, input], Gate::new(kind, 1).unwrap());
    circuit.resistor("rl", out, GROUND, Ohms(1e5));
    let mut transient = Transient::new(circuit, 1).unwrap();
    // 1.5 V and 3.5 V at a supply of 5 V: a quarter of the way is 2 V, half the hysteresis 0.25 V.
    let high = 5.0 * 1e5 / (1e5 + 400.0);
    for (t, wanted) in [(0.1, high), (0.4499, high), (0.4501, 0.0), (1.0, 0.0), (1.6499, 0.0), (1.6501, high)] {
        transient.advance(Seconds(t)).unwrap();
        assert!((transient.voltage(out).0 - wanted).abs() < 1e-4, "{t}: {}", transient.voltage(out).0);
    }
    // In the middle of the undefined span both transistors carry their full current.
    transient.advance(Seconds(3.0)).unwrap();
    assert!(transient.device::<Gate>(gate).unwrap().is_high());
    assert!(Gate::new(GateKind { family: "none".into(), ..kind_of_test() }, 1).is_err());
}

fn kind_of_test() -> GateKind {
    GateKind {
        logic: Logic::Buffer,
        family: "74HC".into(),
        trips: Ratio(0.5),
        hysteresis: Ratio(0.0),
        output: Ohms(50.0),
        delay: Seconds(1e-8),
        through: Amperes(0.0),
    }
}

#[test]
fn a_load_goes_through_its_states_on_voltage_time_and_chance() {
    let state = |name: &str, draws: Draws, transitions: Vec<Transition>| State {
        name: name.into(),
        draws: vec![draws],
        ripple: None,
        transitions,
    };
    let way = |to: usize, when: Vec<Condition>, chance: f64| Transition { to, when, chance: Ratio(chance) };
    let states = vec![
        state(
            "off",
            Draws::Resistance(Ohms(1e6)),
            vec![way(3, vec![Condition::Above(0, Volts(3.0))], 0.25), way(1, vec![Condition::Above(0, Volts(3.0))], 1.0)],
        ),
        state(
            "asleep",
            Draws::Current(Amperes(20e-6), Volts(0.2)),
            vec![way(2, vec![Condition::After(Seconds(0.5))], 1.0), way(0, vec![Condition::Below(0, Volts(1.0))], 1.0)],
        ),
        state("running", Draws::Power(Watts(0.06), Volts(0.5)), vec![way(0, vec![Condition::Below(0, Volts(1.0))], 1.0)]),
        state(
            "stuck",
            Draws::Points(vec![(Volts(0.0), Amperes(0.0)), (Volts(0.8), Amperes(0.0)), (Volts(1.0), Amperes(0.05))]),
            vec![way(0, vec![Condition::Below(0, Volts(0.4))], 1.0)],
        ),
    ];
    let mut circuit = Circuit::new();
    let (rail, unit) = (circuit.node("rail"), circuit.node("unit"));
    let source = circuit.voltage("v1", rail, GROUND, Volts(0.0));
    circuit.resistor("lead", rail, unit, Ohms(1.0));
    circuit.capacitor("cin", unit, GROUND, Farads(47e-6));
    let load = circuit.device("u", &[unit, GROUND], Load::new(states));
    let mut transient = Transient::new(circuit, 11).unwrap();
    let mut stuck = 0;
    for start in 0..400_u32 {
        let t = f64::from(start) * 2.0;
        transient.set_source_voltage(source, Volts(6.0));
        transient.advance(Seconds(t + 0.4)).unwrap();
        let state = transient.device::<Load>(load).unwrap().state().to_owned();
        let current = transient.current(load).0;
        if state == "stuck" {
            stuck += 1;
            assert!((current - 0.05).abs() < 1e-9);
        } else {
            assert_eq!(state, "asleep");
            assert!((current - 20e-6).abs() < 1e-12);
            transient.advance(Seconds(t + 0.6)).unwrap();
            assert_eq!(transient.device::<Load>(load).unwrap().state(), "running");
            let v = transient.voltage(unit).0;
            assert!((transient.current(load).0 * v - 0.06).abs() < 1e-6);
        }
        transient.set_source_voltage(source, Volts(0.0));
        transient.advance(Seconds(t + 1.9)).unwrap();
        assert_eq!(transient.device::<Load>(load).unwrap().state(), "off", "start {start}");
    }
    // A quarter of 400, to four standard deviations.
    assert!((65..=135).contains(&stuck), "{stuck}");
}

#[test]
fn a_gate_is_read_from_a_table_and_its_mistakes_are_shown() {
    use crate::document::Document;
    let read = |text: &str| Document::new("u.toml", text).read(GateKind::read);
    let kind = read("logic = \"nand\"\nfamily = \"74HC\"\noutput = \"50 ohm\"\n").unwrap();
    assert_eq!((kind.logic, kind.output, kind.trips), (Logic::Nand, Ohms(50.0), Ratio(0.5)));
    for (text, words) in [
        ("logic = \"xx\"\nfamily = \"74HC\"\n", "there is no gate"),
        ("logic = \"and\"\nfamily = \"74XX\"\n", "there is no logic family"),
        ("logic = \"and\"\n", "lacks \"family\""),
        ("logic = \"and\"\nfamily = \"74HC\"\ntrips = \"140 %\"\n", "cannot be this"),
    ] {
        let problems = read(text).unwrap_err();
        assert!(problems.iter().any(|p| p.title.contains(words) && p.line_column().is_some()), "{text}: {problems}");
    }
}
