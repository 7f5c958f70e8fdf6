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
