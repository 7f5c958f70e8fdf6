//! How long a capacitor stays charged, and what it holds.

use super::{Refusal, Working, positive, shown, spoken};
use crate::analysis::energy;
use crate::analysis::shock::{MACHINE_EXEMPT, MACHINE_SECONDS, TOUCHABLE};
use crate::units::{Amperes, Coulombs, Farads, Ohms, Ratio, Seconds, Volts};

/// What empties the capacitor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Drain {
    /// A resistor across it.
    Through(Ohms),
    /// A current that stays the same: a sleeping unit, a constant-current load.
    At(Amperes),
    /// The resistor that does it in this time.
    Within(Seconds),
}

/// The fall of a charged capacitor, from one voltage to another.
///
/// # Errors
/// A value that is not above zero, or a voltage to fall to that is not below the first.
pub fn discharge(capacitance: Farads, from: Volts, to: Option<Volts>, drain: Drain) -> Result<Working, Refusal> {
    let capacitance = positive("capacitance", capacitance)?;
    let from = positive("voltage to fall from", from)?;
    if let Some(to) = to {
        let never = "through a resistor a capacitor never falls to 0 V; without a voltage to fall to, 5 time constants are told";
        positive("voltage to fall to", to).map_err(|r| if matches!(drain, Drain::At(_)) { r } else { r.hint(never) })?;
        if to >= from {
            return Err(Refusal::new(format!("the voltage to fall to: expected less than {from}, found {to}")));
        }
    }
    let stored = energy::stored(capacitance, from);
    let mut working = Working::new("Fall of a charged capacitor")
        .step("stored energy", "E = C V0^2 / 2", format!("{capacitance} × ({from})^2 / 2"), stored)
        .step("stored charge", "Q = C V0", format!("{capacitance} × {from}"), capacitance * from);
    if let Some(words) = energy::caution(stored) {
        working = working.caution(format!("The stored energy is {words}."));
    }
    let (working, answer) = match drain {
        Drain::Through(resistor) => through(working, capacitance, from, to, positive("resistance", resistor)?),
        Drain::At(current) => at(working, capacitance, from, to.unwrap_or(Volts(0.0)), positive("current", current)?),
        Drain::Within(time) => within(working, capacitance, from, to, positive("time", time)?),
    };
    working
        .caution("Discharge through a resistor, never by a short; do not trust a bleeder; measure before touching, and again after 30 s: absorbed charge comes back.")
        .source("closed forms of the discharge of a capacitor")
        .source("thresholds of energy: common practice; 60 V d.c.: IEC 61140; time on a machine: NFPA 79 6.5.1")
        .conclude(answer)
}

fn through(mut working: Working, capacitance: Farads, from: Volts, to: Option<Volts>, resistor: Ohms) -> (Working, String) {
    let tau = resistor * capacitance;
    let peak = from / resistor;
    working = working
        .step("time constant", "tau = R C", format!("{resistor} × {capacitance}"), tau)
        .step("peak current", "I = V0 / R", format!("{from} / {resistor}"), peak)
        .step("peak power", "P = V0^2 / R", format!("({from})^2 / {resistor}"), from * peak);
    let timed = |to: Volts| energy::fall_time(resistor, capacitance, from, to);
    if let Some(time) = timed(TOUCHABLE).filter(|_| to != Some(TOUCHABLE)) {
        working = working.step("time to 60 V", "t = tau ln(V0 / 60 V)", format!("{} × ln({from} / 60 V)", shown(tau)), time);
    }
    if timed(TOUCHABLE).is_some_and(|t| t.0 > MACHINE_SECONDS) && Coulombs(capacitance.0 * from.0) > MACHINE_EXEMPT {
        working = working.caution(format!(
            "More than {MACHINE_SECONDS} s to 60 V: on a machine it would have to fall faster (NFPA 79 6.5.1)."
        ));
    }
    if let Some((to, time)) = to.and_then(|to| Some((to, timed(to)?))) {
        working = working.step("time to fall", "t = tau ln(V0 / V)", format!("{} × ln({from} / {to})", shown(tau)), time);
        return (working, format!("{from} on {capacitance} falls to {to} through {resistor} in {}.", spoken(time)));
    }
    let left = Ratio((-5.0_f64).exp());
    working = working
        .step("time to fall", "t = 5 tau", format!("5 × {}", shown(tau)), tau * 5.0)
        .step("share left after 1 tau", "exp(-1)", "", Ratio((-1.0_f64).exp()))
        .step("share left after 5 tau", "exp(-5)", "", left)
        .step("voltage left after 5 tau", "V = V0 exp(-5)", format!("{from} × {}", shown(left)), from * left.0);
    let answer = format!(
        "{from} on {capacitance} through {resistor} is down to {} ({}) after 5 time constants, {}.",
        shown(left),
        shown(from * left.0),
        spoken(tau * 5.0)
    );
    (working, answer)
}

fn at(working: Working, capacitance: Farads, from: Volts, to: Volts, current: Amperes) -> (Working, String) {
    let time = energy::fall_time_at(current, capacitance, from, to);
    let working =
        working.step("time to fall", "t = C (V0 - V) / I", format!("{capacitance} × ({from} - {to}) / {current}"), time).caution(
            "A real load seldom draws the same at every voltage; where it draws less as the voltage falls, the time is longer.",
        );
    (working, format!("{from} on {capacitance} falls to {to} at {current} in {}.", spoken(time)))
}

fn within(working: Working, capacitance: Farads, from: Volts, to: Option<Volts>, time: Seconds) -> (Working, String) {
    let (formula, put_in, resistor) = match to {
        Some(to) => (
            "R = t / (C ln(V0 / V))",
            format!("{time} / ({capacitance} × ln({from} / {to}))"),
            time / capacitance / (from / to).ln(),
        ),
        None => ("R = t / (5 C)", format!("{time} / (5 × {capacitance})"), time / capacitance / 5.0),
    };
    let peak = from / resistor;
    let working = working
        .step("largest resistor", formula, put_in, resistor)
        .step("peak current", "I = V0 / R", format!("{from} / {}", shown(resistor)), peak)
        .step("peak power", "P = V0^2 / R", format!("({from})^2 / {}", shown(resistor)), from * peak);
    let goal = to.map_or("0.674 % of it".to_owned(), |to| to.to_string());
    let answer = format!(
        "{} or less takes {from} on {capacitance} down to {goal} within {time}; it must stand {} at first.",
        shown(resistor),
        shown(from * peak)
    );
    (working, answer)
}
