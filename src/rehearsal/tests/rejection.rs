//! Hum at the input of a meter, and what its integration leaves of it. The figures are
//! those of the handbooks of bench meters (line cycles, normal-mode rejection) and of an
//! ideal window, -20 log |sin(pi f T) / (pi f T)|.

use super::desk::Desk;
use std::f64::consts::{PI, TAU};

/// Peak of the hum, in amperes.
const PEAK: f64 = 0.08;

/// Amplitude of a sine of a known frequency in readings at known times, by least squares
/// beside a constant.
fn amplitude(readings: &[(f64, f64)], frequency: f64) -> f64 {
    let mut sums = [[0.0; 4]; 3];
    for (time, value) in readings {
        let angle = TAU * frequency * time;
        let row = [angle.cos(), angle.sin(), 1.0];
        for (i, sum) in sums.iter_mut().enumerate() {
            for j in 0..3 {
                sum[j] += row[i] * row[j];
            }
            sum[3] += row[i] * value;
        }
    }
    for i in 0..3 {
        for j in 0..3 {
            if i != j {
                let share = sums[j][i] / sums[i][i];
                let from = sums[i];
                sums[j].iter_mut().zip(from).for_each(|(a, b)| *a -= share * b);
            }
        }
    }
    (sums[0][3] / sums[0][0]).hypot(sums[1][3] / sums[1][1])
}

/// Rejection in decibels, 20 log(hum at the input / hum in the readings).
fn rejection(cycles: &str, line: &str, frequency: f64, off_by: f64) -> f64 {
    let standin = format!(
        "line = {line:?}, hum = {{ current = \"{PEAK} A\", frequency = \"{frequency} Hz\", off_by = \"{} %\" }}",
        100.0 * off_by
    );
    let mut desk = Desk::new("in series", &standin, 1e9);
    desk.ask("CONF:CURR:DC 0.1");
    desk.ask(&format!("CURR:NPLC {cycles}"));
    let mut readings = Vec::new();
    for i in 0..300 {
        // At all phases.
        desk.pass(1e-3 * (1.0 + f64::from(i * 7 % 41)) + 0.37e-3);
        readings.push((desk.now, desk.read().0));
    }
    20.0 * (PEAK / amplitude(&readings, frequency * (1.0 + off_by))).log10()
}

fn window(frequency: f64, time: f64) -> f64 {
    let x = PI * frequency * time;
    -20.0 * (x.sin() / x).abs().log10()
}

#[test]
fn a_line_cycle_lasts_as_long_as_the_mains_say() {
    for (line, time) in [("60 Hz", 1.0 / 60.0), ("50 Hz", 0.02), ("400 Hz", 0.02)] {
        let mut desk = Desk::new("in series", &format!("line = {line:?}"), 1e9);
        desk.ask("CURR:NPLC 1");
        let (_, took) = desk.read();
        assert!((took - time).abs() < 1e-9, "{line}: {took}");
    }
}

#[test]
fn rejection_follows_from_the_integration() {
    for (cycles, line, frequency, off_by, published) in [
        // An ideal window: 20 ms against 60 Hz, 16.67 ms against 50 Hz, off by 0.1 % and 1 %.
        ("1", "50 Hz", 60.0, 0.0, Some((16.14, 0.01))),
        ("1", "60 Hz", 50.0, 0.0, Some((14.38, 0.01))),
        ("1", "50 Hz", 50.0, 0.001, Some((60.0, 0.05))),
        ("1", "50 Hz", 50.0, -0.001, Some((60.0, 0.05))),
        ("1", "60 Hz", 60.0, 0.001, Some((60.0, 0.05))),
        ("1", "50 Hz", 50.0, 0.01, Some((40.1, 0.05))),
        // The window itself has 39.9 dB where the mains are slower.
        ("1", "50 Hz", 50.0, -0.01, Some((40.1, 0.25))),
        // No whole number of cycles.
        ("1.5", "50 Hz", 50.0, 0.0, None),
        ("0.2", "50 Hz", 50.0, 0.0, None),
        ("0.02", "50 Hz", 50.0, 0.0, None),
        ("10", "50 Hz", 50.0, 0.001, None),
        ("100", "50 Hz", 50.0, 0.001, None),
    ] {
        let what = format!("{cycles} cycles of {line} against {frequency} Hz off by {off_by}");
        let found = rejection(cycles, line, frequency, off_by);
        let cycle = 1.0 / line.trim_end_matches(" Hz").parse::<f64>().unwrap();
        let ideal = window(frequency * (1.0 + off_by), cycles.parse::<f64>().unwrap() * cycle);
        assert!((found - ideal).abs() < 1e-3, "{what}: {found} dB, the window's {ideal} dB");
        if let Some((published, within)) = published {
            assert!((found - published).abs() < within, "{what}: {found} dB, published {published} dB");
        }
    }
}

#[test]
fn whole_line_cycles_take_out_hum_and_parts_of_one_do_not() {
    for cycles in ["1", "2", "10", "100"] {
        assert!(rejection(cycles, "50 Hz", 50.0, 0.0) > 120.0, "{cycles}");
        // As makers state it: 60 dB where the mains are within 0.1 %.
        assert!(rejection(cycles, "50 Hz", 50.0, 0.001) > 59.95, "{cycles}");
    }
    // 100 ms are whole cycles of both.
    for frequency in [50.0, 60.0] {
        assert!(rejection("5", "50 Hz", frequency, 0.0) > 120.0, "{frequency} Hz");
    }
    for cycles in ["0.02", "0.2"] {
        assert!(rejection(cycles, "50 Hz", 50.0, 0.0) < 1.0, "{cycles}");
    }
}

#[test]
fn a_hum_has_the_phase_that_its_seed_gives_it() {
    let first = |seed: u64| {
        let thing = Desk::part(1e9, 1e-9, Vec::new());
        let mut desk = Desk::with("in series", "hum = { current = \"50 mA\" }", thing, seed);
        desk.ask("CONF:CURR:DC 0.1");
        desk.ask("CURR:NPLC 0.02");
        desk.read().0
    };
    assert_eq!(first(3), first(3));
    assert!((first(3) - first(4)).abs() > 1e-4, "{} {}", first(3), first(4));
}
