//! A capacitor at the bench: what its droop, its supply's drift, its absorption and
//! its insulation amount to.

use super::{Refusal, Value, Working, positive, shown};
use crate::analysis::absorption::{Dielectric, recovered};
use crate::analysis::shock::TOUCHABLE;
use crate::units::{Amperes, Farads, Ohms, Ratio, Seconds, Unit, Volts, VoltsPerSecond};

/// The current that empties a known capacitor, from the fall of its voltage: tells
/// asleep from dead where the supply's read-back cannot.
///
/// # Errors
/// A value that is not above zero, or a voltage that did not fall.
pub fn droop(capacitance: Farads, from: Volts, to: Volts, time: Seconds, input: Option<Ohms>) -> Result<Working, Refusal> {
    let (capacitance, from) = (positive("capacitance", capacitance)?, positive("voltage at the start", from)?);
    let (to, time) = (positive("voltage at the end", to)?, positive("time", time)?);
    if to >= from {
        return Err(Refusal::new(format!("the voltage at the end: expected less than {from}, found {to}")));
    }
    let current = capacitance * (from - to) / time;
    let mut working = Working::new("Current from the droop of a capacitor").step(
        "mean current",
        "I = C (V0 - V) / t",
        format!("{capacitance} × ({from} - {to}) / {time}"),
        current,
    );
    let mut answer = format!("The capacitor is emptied by {} on average.", shown(current));
    if let Some(input) = input {
        let meter = (from + to) * 0.5 / positive("meter's resistance", input)?;
        let unit = current - meter;
        working = working
            .step("current of the meter", "Im = (V0 + V) / 2 / Ri", format!("({from} + {to}) / 2 / {input}"), meter)
            .step("current of the unit", "I - Im", format!("{} - {}", shown(current), shown(meter)), unit);
        answer = if meter > current * 2.0 {
            working = working.weigh(crate::analysis::finding::Severity::Undecided);
            format!(
                "{answer} The meter alone would have drawn {}: the values contradict each other, or a source holds the node up.",
                shown(meter)
            )
        } else if unit.0 <= 0.0 {
            working = working.weigh(crate::analysis::finding::Severity::Undecided);
            format!("{answer} The meter alone accounts for it: nothing is left that the unit draws for certain.")
        } else {
            format!("{answer} Less the meter's, the unit draws {}.", shown(unit))
        };
    } else {
        working = working.caution(
            "A voltmeter of 10 Mohm draws 0.1 uA per volt, too: name its resistance, or connect it for the two readings only.",
        );
    }
    working
        .caution("The capacitor's own leakage counts in: measure the droop once without the unit. The capacitor's tolerance goes straight into the current.")
        .source("I = C dV/dt")
        .conclude(answer)
}

/// The current that a drifting supply drives into a capacitor.
///
/// # Errors
/// A capacitance that is not above zero, or a drift that is none.
pub fn drift(capacitance: Farads, rate: VoltsPerSecond, leakage: Option<Amperes>) -> Result<Working, Refusal> {
    let capacitance = positive("capacitance", capacitance)?;
    let current = Amperes(capacitance.0 * rate.0);
    let mut working = Working::new("Drift of the supply as a false leakage").step(
        "current of the drift",
        "I = C dV/dt",
        format!("{capacitance} × {rate}"),
        current,
    );
    let mut answer = format!("A supply that drifts by {rate} makes {} that is no leakage.", shown(current));
    if let Some(leakage) = leakage {
        let share = Ratio((current / positive("leakage", leakage)?).abs());
        working = working.step("share of the leakage", "I / leakage", format!("{} / {leakage}", shown(current)), share);
        answer = format!("{answer} That is {} of {leakage}.", shown(share));
    }
    working
        .caution("One step of the supply's setting does the same: leave the set-point alone while reading.")
        .source("I = C dV/dt")
        .conclude(answer)
}

/// The share of the voltage that comes back after a discharge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Absorption {
    /// As measured, or as the maker says.
    Share(Ratio),
    /// By published tables.
    Of(Dielectric),
}

/// The voltage that comes back after a discharge.
///
/// # Errors
/// A voltage that is not above zero, or a share above 100 %.
pub fn recovery(charged_to: Volts, absorption: Absorption) -> Result<Working, Refusal> {
    let charged_to = positive("voltage before the discharge", charged_to)?;
    let (low, high, source) = match absorption {
        Absorption::Share(share) => (super::proper("absorption", share)?, share, "the share as given"),
        Absorption::Of(dielectric) => dielectric.published(),
    };
    let (least, most) = (recovered(charged_to, low), recovered(charged_to, high));
    let mut working = Working::new("Voltage that comes back by dielectric absorption");
    if low < high {
        working = working.step("least that comes back", "V = DA V0", format!("{low} × {charged_to}"), least);
    }
    working = working.step("most that comes back", "V = DA V0", format!("{high} × {charged_to}"), most);
    if most > TOUCHABLE {
        working = working.caution(format!("More than {TOUCHABLE} may come back: leave the part shorted through a resistor."));
    }
    let answer = if low < high {
        format!("Between {} and {} may come back.", shown(least), shown(most))
    } else {
        format!("{} may come back.", shown(most))
    };
    working
        .caution("After a short discharge more comes back than by the method; look again after 30 s and after minutes, and store parts shorted.")
        .source("MIL-C-19978: charged 15 min, discharged 10 s, read after 15 min, DA = U1 / U2")
        .source(source)
        .conclude(answer)
}

/// Insulation resistance from a leakage, and its product with the capacitance.
///
/// # Errors
/// A value that is not above zero.
pub fn insulation(voltage: Volts, leakage: Amperes, capacitance: Option<Farads>) -> Result<Working, Refusal> {
    let (voltage, leakage) = (positive("voltage", voltage)?, positive("leakage", leakage)?);
    let resistance: Ohms = voltage / leakage;
    let mut working = Working::new("Insulation resistance").step(
        "insulation resistance",
        "R = V / I",
        format!("{voltage} / {leakage}"),
        resistance,
    );
    let mut answer = format!("{} at {voltage}", shown(resistance));
    if let Some(capacitance) = capacitance {
        let tau = resistance * positive("capacitance", capacitance)?;
        working = working
            .step("time constant", "tau = R C (1 Mohm uF = 1 s)", format!("{} × {capacitance}", shown(resistance)), tau)
            .step("power lost", "P = V I", format!("{voltage} × {leakage}"), Value::Quantity(voltage.0 * leakage.0, Unit::Watt));
        answer.push_str(&format!(", a time constant of {}", shown(tau)));
    }
    working
        .caution("It holds for this voltage, temperature and electrification time only; leakage rises faster than the voltage.")
        .source("IEC 60384-1 4.5.2: 1 min ± 5 s, 20 degC; above 0.33 uF as a time constant")
        .conclude(format!("{answer}."))
}
