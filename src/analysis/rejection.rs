//! What an integrating meter leaves of hum, and which events it cannot miss.

use crate::units::{Hertz, Seconds};

/// What an ideal integrating window leaves of a sine wave, as a share of its
/// amplitude at the worst phase: |sin(pi f T) / (pi f T)|. Exactly 0 over whole periods.
pub fn left_of(hum: Hertz, window: Seconds) -> f64 {
    let periods = hum.0 * window.0;
    // The nearest whole number first: sin(pi n) is not 0 in floating point.
    let off = periods - periods.round();
    if off.abs() <= 4.0 * f64::EPSILON * periods && periods.round() >= 1.0 {
        return 0.0;
    }
    let angle = std::f64::consts::PI * periods;
    if angle == 0.0 { 1.0 } else { ((std::f64::consts::PI * off).sin() / angle).abs() }
}

/// The worst within a tolerance of the hum's frequency (0.001 is ± 0.1 %).
pub fn worst_left_of(hum: Hertz, window: Seconds, tolerance: f64) -> f64 {
    let at = |share: f64| left_of(Hertz(hum.0 * (1.0 + share)), window);
    // Near a zero the ends are worst; elsewhere the span is too narrow for a peak between.
    at(-tolerance).max(at(0.0)).max(at(tolerance))
}

/// Normal-mode rejection in dB: -20 log10 of the share that is left. `None` where
/// nothing is left.
pub fn decibels(left: f64) -> Option<f64> {
    (left > 0.0).then(|| -20.0 * left.log10())
}

/// The longest event that can pass unseen between two readings: the pause between
/// the end of one window and the start of the next.
pub fn longest_unseen(every: Seconds, window: Seconds) -> Seconds {
    (every - window).max(Seconds(0.0))
}

/// The shortest event that fills at least one whole window wherever it falls, and
/// so is read with its full height: every + window.
pub fn shortest_in_full(every: Seconds, window: Seconds) -> Seconds {
    every + window
}
