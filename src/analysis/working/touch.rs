//! Whether a direct voltage, or what a capacitor holds, is above a published limit.

use super::{Refusal, Working, positive};
use crate::analysis::energy;
use crate::analysis::finding::Severity;
use crate::analysis::shock::{DIRECT, Hazard, Held, MACHINE_EXEMPT, MACHINE_SECONDS, TOUCHABLE, hazard, held_at};
use crate::units::{Farads, Joules, Volts};

/// A direct voltage, and what a capacitor holds at it, against published limits.
///
/// # Errors
/// A value that is not above zero.
pub fn touch(voltage: Volts, capacitance: Option<Farads>) -> Result<Working, Refusal> {
    let voltage = positive("voltage", voltage)?;
    let mut working = Working::new("A direct voltage against published limits");
    for (number, row) in (1..).zip(DIRECT) {
        let share = crate::units::Ratio(voltage / row.limit);
        working = working.step(format!("share of limit {number}"), row.name, format!("{voltage} / {}", row.limit), share);
    }
    let above: Vec<String> = DIRECT.iter().filter(|r| voltage > r.limit).map(|r| r.limit.to_string()).collect();
    let mut told = vec![if above.is_empty() {
        format!("{voltage} d.c. is above none of the limits.")
    } else {
        format!("{voltage} d.c. is above the limits of {}.", above.join(", "))
    }];
    let mut outside = voltage > TOUCHABLE;
    if let Some(capacitance) = capacitance {
        let capacitance = positive("capacitance", capacitance)?;
        let stored = energy::stored(capacitance, voltage);
        let charge = capacitance * voltage;
        working = working.step("stored energy", "E = C V^2 / 2", format!("{capacitance} × ({voltage})^2 / 2"), stored).step(
            "stored charge",
            "Q = C V",
            format!("{capacitance} × {voltage}"),
            charge,
        );
        let (what, beyond) = match held_at(voltage) {
            Held::Free => ("no limit below 42.4 V".to_owned(), false),
            Held::Capacitance(most) => (format!("C up to {most} from 42.4 V to 450 V"), capacitance > most),
            Held::Charge(most) => (format!("Q up to {most} from 450 V to 15 kV"), charge > most),
            Held::Energy(most) => (format!("E up to {most} above 15 kV"), stored > most),
        };
        told.push(format!(
            "IEC 60335-1 8.1.4 for what a touched capacitor holds: {what}; this one is {}.",
            if beyond { "beyond it" } else { "within it" }
        ));
        outside |= beyond;
        match hazard(voltage, stored) {
            Hazard::Shock => told.push("By laboratory practice it is a shock hazard: 100 V or more and 10 J or more.".into()),
            Hazard::Thermal => told.push("By laboratory practice it is a thermal hazard: more than 100 J below 100 V.".into()),
            Hazard::None => {}
        }
        if voltage > TOUCHABLE && charge > MACHINE_EXEMPT {
            told.push(format!("On a machine it must fall to {TOUCHABLE} within {MACHINE_SECONDS} s (NFPA 79 6.5.1)."));
        }
        if let Some(words) = energy::caution(Joules(stored.0)) {
            working = working.caution(format!("The stored energy is {words}."));
        }
    }
    if outside {
        working = working.weigh(Severity::Anomaly);
    }
    working
        .caution("Limits of touching hold for dry skin and a healthy adult; with wet skin, or held for longer, less can hurt.")
        .caution("Above 60 V d.c. work is for licensed or competent persons. Local codes and the instruments' manuals come before anything written here.")
        .source("IEC 61140, IEC 61558-1, IEC 60335-1, IEC 60598-1, IEC 61010-1, NFPA 79; editions beside each limit")
        .conclude(told.join(" "))
}
