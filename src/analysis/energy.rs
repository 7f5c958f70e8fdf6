//! Stored energy, and how long it stays.

use crate::units::{Amperes, Farads, Joules, Ohms, Seconds, Volts};

/// E = C V^2 / 2.
pub fn stored(capacitance: Farads, voltage: Volts) -> Joules {
    Joules(0.5 * capacitance.0 * voltage.0 * voltage.0)
}

/// What to say about a stored energy (common practice: above 0.1 J a means of
/// discharge is due, 0.25 J gives a heavy shock, 10 J can kill).
pub fn caution(energy: Joules) -> Option<&'static str> {
    match energy.0 {
        e if e > 10.0 => Some("more than 10 J: can kill"),
        e if e > 0.25 => Some("more than 0.25 J: a heavy shock"),
        e if e > 0.1 => Some("more than 0.1 J: discharge it through a resistor, and measure, before touching"),
        _ => None,
    }
}

/// Time for a capacitor to fall from one voltage to another through a resistor:
/// t = R C ln(V0 / V). `None` where it never does.
pub fn fall_time(resistance: Ohms, capacitance: Farads, from: Volts, to: Volts) -> Option<Seconds> {
    (to.0 > 0.0 && from > to).then(|| (resistance * capacitance) * (from / to).ln())
}

/// Time for a capacitor to fall from one voltage to another at a current that stays
/// the same: t = C (V0 - V) / I.
pub fn fall_time_at(current: Amperes, capacitance: Farads, from: Volts, to: Volts) -> Seconds {
    capacitance * (from - to) / current
}
