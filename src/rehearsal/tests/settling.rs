//! What a meter does to the circuit that it is in: burden, loading, the time that its
//! input takes to settle. Figures of handbooks and closed forms.

use super::desk::{Desk, INSIDE};
use crate::units::{Ratio, Seconds};

#[test]
fn a_shunt_takes_its_share_of_the_voltage() {
    // Handbook: error % = -100 Vb / Vs; 10 V, 10 ohm, 0.5 ohm: 0.952381 A, -4.7619 %.
    let mut desk = Desk::new("in series", "", 10.0);
    desk.ask("CONF:CURR:DC 1");
    desk.on(10.0);
    desk.pass(0.1);
    let (current, _) = desk.read();
    assert!((current - 0.952381).abs() < 2e-6, "{current}");
    let error = 100.0 * (current - 1.0);
    assert!((error + 4.7619).abs() < 2e-4, "{error} %");
    // The burden is what the unit lacks.
    let burden = 10.0 - INSIDE * current - desk.world.see().unit;
    assert!((burden - 0.476190).abs() < 2e-5 && (error + 100.0 * burden / 10.0).abs() < 2e-4, "{burden}");
}

#[test]
fn an_input_loads_what_it_measures() {
    // Handbook: error % = -100 Rs / (Rs + Ri); 100 kohm into 10 Mohm 0.9901 %, 1 Mohm 9.0909 %.
    for (source, error) in [(100e3, 0.9901), (1e6, 9.0909)] {
        let mut desk = Desk::with("across", "", Desk::part(source, 1e-12, Vec::new()), 7);
        desk.ask("CONF:VOLT:DC 10");
        desk.on(10.0);
        desk.pass(0.1);
        let (volts, _) = desk.read();
        let found = 100.0 * (1.0 - volts / 10.0);
        assert!((found - error).abs() < 1e-4, "{source}: {found} %");
    }
}

/// Share that is still missing in a reading that begins `delay` after a step of 0.9 V.
fn missing(source: f64, capacitance: f64, input: &str, delay: f64) -> f64 {
    let mut desk = Desk::with("across", input, Desk::part(source, capacitance, Vec::new()), 7);
    desk.ask("CONF:VOLT:DC 1");
    desk.ask("VOLT:NPLC 0.02");
    desk.ask(&format!("TRIG:DEL {delay:e}"));
    desk.pass(0.01);
    desk.on(0.9);
    let (volts, took) = desk.read();
    assert!((took - delay - 0.4e-3).abs() < 1e-9, "{took}");
    // 10 Gohm load a source of 1 Mohm by 100 ppm, for ever.
    1.0 - volts / (0.9 / (1.0 + source / 10e9))
}

/// What is missing of an exponential in the mean over 400 us from `delay` on.
fn mean_left(tau: f64, delay: f64) -> f64 {
    let share = 0.4e-3 / tau;
    (-delay / tau).exp() * (1.0 - (-share).exp()) / share
}

#[test]
fn settling_takes_the_tabled_number_of_time_constants() {
    // 1 Mohm and 0.1 uF: 0.1 s, so that 400 us are a moment.
    let tau = 0.1 / (1.0 + 1e6 / 10e9);
    for (constants, left) in [(4.605, 1e-2), (6.908, 1e-3), (9.210, 1e-4), (13.816, 1e-6)] {
        let found = missing(1e6, 0.1e-6, "", constants * tau);
        assert!((found - mean_left(tau, constants * tau)).abs() < 2e-7 + 1e-4 * left, "{constants}: {found}");
        assert!((found / left - 1.0).abs() < 0.25, "{constants}: {found}");
    }
}

#[test]
fn a_delay_that_suits_a_cable_suits_no_large_source() {
    // Handbook: automatic delays assume no more than 200 pF; it matters above 100 kohm, and
    // sources with 1 nF to 0.1 uF are much slower. The delay, 1.5 ms: common practice.
    let cable = "input = { capacitance = \"200 pF\" }";
    for (source, capacitance, settles) in
        [(10e3, 1e-15, true), (100e3, 1e-15, true), (10e6, 1e-15, false), (1e6, 1e-9, false), (100e3, 0.1e-6, false)]
    {
        let tau = (1.0 / (1.0 / source + 1.0 / 10e9)) * (200e-12 + capacitance);
        let found = missing(source, capacitance, cable, 1.5e-3);
        assert!((found - mean_left(tau, 1.5e-3)).abs() < 1e-6, "{source} {capacitance}: {found} {}", mean_left(tau, 1.5e-3));
        assert_eq!(found < 1e-5, settles, "{source} ohm with {capacitance} F: {found}");
    }
}

#[test]
fn a_dielectric_settles_more_slowly_than_its_time_constant_says() {
    let read = |absorption: Vec<(Ratio, Seconds)>| {
        let mut desk = Desk::with("in series", "", Desk::part(1e4, 1e-6, absorption), 7);
        desk.ask("CONF:CURR:DC 0.0001");
        desk.on(1.0);
        // Fourteen time constants of 10 ms: 1 ppm.
        desk.ask("TRIG:DEL 0.14");
        desk.read().0
    };
    let absorbing = read(vec![(Ratio(0.01), Seconds(1.0))]);
    // C k / tau exp(-t / tau) flows into the branch; the step itself is 100 uA.
    let closed = 1e-6 * 0.01 * (-0.1402_f64).exp();
    assert!((absorbing - closed).abs() < 0.05 * closed, "{absorbing} {closed}");
    assert!(read(Vec::new()) < 0.02 * absorbing, "{}", read(Vec::new()));
}
