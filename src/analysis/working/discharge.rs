//! How long a capacitor stays charged, and what it holds.

use super::{Refusal, Working, positive};
use crate::analysis::energy;
use crate::units::{Amperes, Farads, Ohms, Ratio, Volts};

/// What empties the capacitor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Drain {
    /// A resistor across it.
    Through(Ohms),
    /// A current that stays the same: a sleeping unit, a constant-current load.
    At(Amperes),
}

/// The fall of a charged capacitor, from one voltage to another.
///
/// # Errors
/// A value that is not above zero, or a voltage to fall to that is not below the first.
pub fn discharge(capacitance: Farads, from: Volts, to: Option<Volts>, drain: Drain) -> Result<Working, Refusal> {
    let capacitance = positive("capacitance", capacitance)?;
    let from = positive("voltage to fall from", from)?;
    if let Some(to) = to {
        positive("voltage to fall to", to).map_err(|r| match drain {
            Drain::Through(_) => r.hint("through a resistor a capacitor never falls to 0 V; 5 time constants leave 0.674 %"),
            Drain::At(_) => r,
        })?;
        if to >= from {
            return Err(Refusal::new(format!("the voltage to fall to: expected less than {from}, found {to}")));
        }
    }
    let stored = energy::stored(capacitance, from);
    let mut working = Working::new("Fall of a charged capacitor")
        .step("stored energy", "E = C V0^2 / 2", format!("{capacitance} × ({from})^2 / 2"), stored)
        .step("stored charge", "Q = C V0", format!("{capacitance} × {from}"), capacitance * from);
    let answer = match drain {
        Drain::Through(resistor) => {
            let resistor = positive("resistance", resistor)?;
            let tau = resistor * capacitance;
            let peak = from / resistor;
            working = working
                .step("time constant", "tau = R C", format!("{resistor} × {capacitance}"), tau)
                .step("peak current", "I = V0 / R", format!("{from} / {resistor}"), peak)
                .step("peak power", "P = V0^2 / R", format!("({from})^2 / {resistor}"), from * peak);
            match to.and_then(|to| Some((to, energy::fall_time(resistor, capacitance, from, to)?))) {
                Some((to, time)) => {
                    working = working.step("time to fall", "t = tau ln(V0 / V)", format!("{} × ln({from} / {to})", tau), time);
                    format!("{from} on {capacitance} falls to {to} through {resistor} in {}.", shown(time))
                }
                None => {
                    let left = Ratio((-5.0_f64).exp());
                    working = working
                        .step("time to fall", "t = 5 tau", format!("5 × {tau}"), tau * 5.0)
                        .step("share left after 5 tau", "exp(-5)", "", left)
                        .step("voltage left after 5 tau", "V = V0 exp(-5)", format!("{from} × 0.006738"), from * left.0);
                    format!(
                        "{from} on {capacitance} through {resistor} is down to 0.674 % ({}) after 5 time constants, {}.",
                        shown(from * left.0),
                        shown(tau * 5.0)
                    )
                }
            }
        }
        Drain::At(current) => {
            let current = positive("current", current)?;
            let to = to.unwrap_or(Volts(0.0));
            let time = energy::fall_time_at(current, capacitance, from, to);
            working = working
                .step("time to fall", "t = C (V0 - V) / I", format!("{capacitance} × ({from} - {to}) / {current}"), time)
                .caution("A real load draws less as the voltage falls: the true time is longer than this where the current falls with it.");
            format!("{from} on {capacitance} falls to {to} at {current} in {}.", shown(time))
        }
    };
    working = cautions(working, stored.0);
    working
        .source("closed forms of the discharge of a capacitor")
        .source("thresholds of energy: common practice")
        .conclude(answer)
}

fn shown(value: impl Into<super::Value>) -> String {
    value.into().to_string()
}

fn cautions(mut working: Working, joules: f64) -> Working {
    if let Some(energy) = energy::caution(crate::units::Joules(joules)) {
        working = working.caution(format!("The stored energy is {energy}."));
    }
    working
        .caution("Discharge through a resistor, never by a short; do not trust a bleeder; measure before touching, and again after 30 s: absorbed charge comes back.")
}
