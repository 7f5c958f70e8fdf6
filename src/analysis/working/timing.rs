//! How long to wait before a reading means anything, and what readings can miss.

use super::{Refusal, Working, not_negative, positive, proper, shown, spoken};
use crate::analysis::burden::settling_time;
use crate::analysis::finding::Severity;
use crate::analysis::rejection::{longest_unseen, shortest_in_full};
use crate::units::{Amperes, Farads, Ohms, Ratio, Seconds, Volts};

/// Settling of a source with a resistance into a capacitance, to within a share.
///
/// # Errors
/// A value that is not above zero, or a share that is none.
pub fn settle(resistance: Ohms, capacitance: Farads, within: Ratio) -> Result<Working, Refusal> {
    let (resistance, capacitance) = (positive("resistance", resistance)?, positive("capacitance", capacitance)?);
    let within = proper("share to settle to", within)?;
    let (tau, time) = (resistance * capacitance, settling_time(resistance, capacitance, within));
    Working::new("Settling of a source")
        .step("time constant", "tau = R C", format!("{resistance} × {capacitance}"), tau)
        .step("number of time constants", "ln(1 / share)", format!("ln(1 / {within})"), super::Value::Number(-within.0.ln(), ""))
        .step(
            "time to settle",
            "t = tau ln(1 / share)",
            format!("{} × {}", shown(tau), shown(super::Value::Number(-within.0.ln(), ""))),
            time,
        )
        .caution("Automatic delays of meters assume some 200 pF; above 100 kohm, and with more capacitance, wait by this figure.")
        .caution("Absorption in the dielectric settles slower than R C says.")
        .source("first-order settling; handbooks of low-level measurement")
        .conclude(format!("Within {within} of its end after {}.", spoken(time)))
}

/// How many time constants of the series resistor a soak lasts at least (common practice).
pub const TIME_CONSTANTS: f64 = 5.0;

/// The shortest soak of a capacitor through its series resistor, what the resistor
/// lets through into a short, and what it takes from the part.
///
/// # Errors
/// A value that is not above zero.
pub fn soak(
    series: Ohms,
    capacitance: Farads,
    bias: Volts,
    named: Seconds,
    leakage: Option<Amperes>,
) -> Result<Working, Refusal> {
    let (series, capacitance) = (positive("series resistance", series)?, positive("capacitance", capacitance)?);
    let bias = positive("bias", bias)?;
    let named = positive("electrification time", named)?;
    let tau = series * capacitance;
    let floor = tau * TIME_CONSTANTS;
    let time = floor.max(named);
    let fault = bias / series;
    let mut working = Working::new("Soak of a capacitor through a series resistor")
        .step("time constant", "tau = R C", format!("{series} × {capacitance}"), tau)
        .step("floor of the soak", "5 tau", format!("5 × {}", shown(tau)), floor)
        .step("soak", "the longer of the named time and 5 tau", format!("{named} or {}", shown(floor)), time)
        .step(
            "current left of charging",
            "I = V / R exp(-t / tau)",
            format!("{} × exp(-{} / {})", shown(fault), shown(time), shown(tau)),
            fault * (-(time / tau)).exp(),
        )
        .step("current into a short", "I = V / R", format!("{bias} / {series}"), fault)
        .step("power in the resistor then", "P = V^2 / R", format!("({bias})^2 / {series}"), bias * fault);
    if let Some(leakage) = leakage {
        let leakage = not_negative("leakage", leakage)?;
        if leakage > fault {
            return Err(Refusal::new(format!(
                "the leakage: expected {} at most, what a short draws through the resistor, found {leakage}",
                shown(fault)
            )));
        }
        let drop = leakage * series;
        working = working.step("voltage at the part", "V - I R", format!("{bias} - {leakage} × {series}"), bias - drop);
        if drop.0 > 0.05 * bias.0 {
            working = working.caution(format!(
                "At {leakage} the resistor takes {}: the part is not at {bias}; name the voltage at the part beside its leakage.",
                shown(drop)
            ));
        }
    }
    let which = if floor > named { "the time constant asks for it" } else { "as named" };
    working
        .caution("A leakage without its time, voltage and temperature means nothing: film and ceramic 1 min, aluminium 2 min (old: 5 min), tantalum 3 min to 5 min through 1 kohm.")
        .source("common practice: 5 time constants")
        .source("IEC 60384-1 4.5.2: 1 min ± 5 s at 20 degC for film")
        .conclude(format!("Read after {}, {which}; a short draws {} through the resistor.", spoken(time), shown(fault)))
}

/// Which events readings of a window, taken so often, can miss.
///
/// # Errors
/// A value that is not above zero, a window longer than the pause between readings.
pub fn event(every: Seconds, window: Seconds, lasts: Option<Seconds>) -> Result<Working, Refusal> {
    let every = positive("time between readings", every)?;
    let window = positive("window", window)?;
    if window > every {
        return Err(Refusal::new(format!("the window: expected {every}, the time between readings, or less, found {window}")));
    }
    let (unseen, full) = (longest_unseen(every, window), shortest_in_full(every, window));
    let mut working = Working::new("Events that readings can show")
        .step("longest event that can be missed", "every - window", format!("{every} - {window}"), unseen)
        .step("shortest event read in full", "every + window", format!("{every} + {window}"), full);
    let mut answer = format!(
        "An event up to {} can pass unseen; one of {} or more is in one reading at least with its full height; between them it is met, but may read too small.",
        shown(unseen),
        shown(full)
    );
    if let Some(lasts) = lasts {
        let lasts = positive("length of the event", lasts)?;
        let chance = Ratio(((window.0 + lasts.0) / every.0).min(1.0));
        let most = Ratio((lasts / window).min(1.0));
        working = working
            .step(
                "chance that a reading meets it",
                "(window + event) / every, 100 % at most",
                format!("({window} + {lasts}) / {every}"),
                chance,
            )
            .step("most of its height in a reading", "event / window, 100 % at most", format!("{lasts} / {window}"), most);
        let verdict = if lasts <= unseen {
            working = working.weigh(Severity::Undecided);
            "can pass unseen: no reading of it proves nothing"
        } else if lasts < full {
            "is met by a reading, but may be read too small"
        } else {
            "is read in full"
        };
        answer = format!("{answer} An event of {lasts} {verdict}.");
    }
    working
        .caution(
            "The rate is the one that was reached, not the one that was asked for; a supply's read-back may repeat an old value.",
        )
        .source("geometry of the windows; the event may begin at any moment")
        .conclude(answer)
}
