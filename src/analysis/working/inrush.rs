//! What switching on asks of the supply.

use super::{Refusal, Working, positive, shown, spoken};
use crate::analysis::energy;
use crate::units::{Amperes, Farads, Ohms, Volts, Watts};

/// The inrush into a discharged capacitor, through the resistance of the path or at
/// the supply's limit; and, with the power that a converter draws, the limit below
/// which it may stick.
///
/// # Errors
/// A value that is not above zero, or neither a resistance nor a limit.
pub fn inrush(
    voltage: Volts,
    capacitance: Farads,
    resistance: Option<Ohms>,
    limit: Option<Amperes>,
    converter: Option<(Watts, Volts)>,
) -> Result<Working, Refusal> {
    let (voltage, capacitance) = (positive("voltage", voltage)?, positive("capacitance", capacitance)?);
    let mut working = Working::new("Inrush at switching on").step(
        "energy stored and lost",
        "E = C V^2 / 2, as much again in the path",
        format!("{capacitance} × ({voltage})^2 / 2"),
        energy::stored(capacitance, voltage),
    );
    let mut told = Vec::new();
    if let Some(path) = resistance {
        let path = positive("resistance of the path", path)?;
        let peak = voltage / path;
        let squares = super::Value::Number(peak.0 * peak.0 * path.0 * capacitance.0 / 2.0, "A^2 s");
        working = working
            .step("peak current without a limit", "I = V / R", format!("{voltage} / {path}"), peak)
            .step(
                "square of the current over time",
                "V^2 C / (2 R)",
                format!("({voltage})^2 × {capacitance} / (2 × {path})"),
                squares,
            )
            .step("time to 0.7 % of the peak", "5 R C", format!("5 × {path} × {capacitance}"), path * capacitance * 5.0);
        told.push(format!("Without a limit the peak is {} and over after {}.", shown(peak), shown(path * capacitance * 5.0)));
    }
    if let Some(limit) = limit {
        let limit = positive("limit", limit)?;
        let time = capacitance * voltage / limit;
        working = working.step("time in limiting", "t = C V / I", format!("{capacitance} × {voltage} / {limit}"), time);
        told.push(format!("At a limit of {limit} the capacitor alone takes {} in limiting.", spoken(time)));
    }
    if let Some((power, least)) = converter {
        let (power, least) = (positive("power", power)?, positive("voltage at which the converter starts", least)?);
        if least > voltage {
            return Err(Refusal::new(format!(
                "the voltage at which the converter starts: expected {voltage} or less, found {least}"
            )));
        }
        let needed = power / least;
        working = working.step("limit below which it may stick", "I = P / Vstart", format!("{power} / {least}"), needed);
        told.push(format!(
            "Below a limit of {} a converter of {power} that starts at {least} may stick: it draws more as the voltage falls.",
            shown(needed)
        ));
        if limit.is_some_and(|l| l <= needed) {
            working = working.weigh(crate::analysis::finding::Severity::Anomaly);
            told.push("The limit that was given is not above it.".into());
        }
    }
    if told.is_empty() {
        return Err(Refusal::new("neither the resistance of the path nor a limit is given"));
    }
    working
        .caution("A supply's limit does not act at once: its output capacitor empties into the unit first, and the loop takes from 100 us to 100 ms.")
        .source("closed forms; common practice")
        .conclude(told.join(" "))
}
