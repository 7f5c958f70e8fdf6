//! What a meter takes away from the unit or from the reading.

use super::{Refusal, Working, positive, shown};
use crate::analysis::burden::{burden_error, loading_error, with_shunt};
use crate::analysis::finding::Severity;
use crate::units::{Amperes, Ohms, Ratio, Volts};

/// What draws the current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Load {
    /// A resistance.
    Resistance(Ohms),
    /// A unit that draws this current whatever its voltage.
    Current(Amperes),
}

/// The burden of an ammeter in series, and what is left for the unit; with the least
/// voltage that the unit works at, whether it is enough.
///
/// # Errors
/// A value that is not above zero, or a burden that is larger than the supply.
pub fn burden(supply: Volts, shunt: Ohms, load: Load, least: Option<Volts>) -> Result<Working, Refusal> {
    let supply = positive("supply voltage", supply)?;
    let shunt = positive("shunt's resistance", shunt)?;
    let mut working = Working::new("Burden of an ammeter in series");
    let (current, error) =
        match load {
            Load::Resistance(load) => {
                let load = positive("load's resistance", load)?;
                let current = with_shunt(supply, load, shunt);
                working = working
                    .step("current without the meter", "I0 = V / R", format!("{supply} / {load}"), supply / load)
                    .step("current with the meter", "I = V / (R + Rs)", format!("{supply} / ({load} + {shunt})"), current);
                (current, Some(burden_error(current * shunt, supply)))
            }
            Load::Current(current) => (positive("current", current)?, None),
        };
    let drop = current * shunt;
    if drop >= supply {
        return Err(Refusal::new(format!("the burden, {}, is not less than the supply's {supply}", shown(drop)))
            .hint("take a range with a smaller shunt"));
    }
    let left = supply - drop;
    working = working
        .step("burden voltage", "Vb = I Rs", format!("{} × {shunt}", shown(current)), drop)
        .step("voltage at the unit", "V - Vb", format!("{supply} - {}", shown(drop)), left)
        .step("power in the shunt", "P = I Vb", format!("{} × {}", shown(current), shown(drop)), drop * current);
    if let Some(error) = error {
        working = working.step("error of the current", "-Vb / V", format!("-{} / {supply}", shown(drop)), error);
    }
    let mut answer = match error {
        Some(error) => format!("The meter drops {} and reads {} too little.", shown(drop), shown(Ratio(error.0.abs()))),
        None => format!("The meter drops {} of {supply} and leaves {} for the unit.", shown(drop), shown(left)),
    };
    if let Some(least) = least {
        positive("least voltage of the unit", least)?;
        if left < least {
            answer.push_str(&format!(" That is less than the {least} that the unit needs: it may fail because of the meter."));
            working = working.weigh(Severity::Anomaly);
        } else {
            answer.push_str(&format!(" That is enough for a unit that needs {least}."));
        }
    }
    working
        .caution("Take the current of the start, not that of the running unit; leads and fuse add to the shunt.")
        .source("handbooks of low-level measurement: error of burden -Vb / Vs")
        .conclude(answer)
}

/// The loading of a source by a voltmeter.
///
/// # Errors
/// A resistance that is not above zero.
pub fn loading(source: Ohms, input: Ohms, reading: Option<Volts>) -> Result<Working, Refusal> {
    let source = positive("source's resistance", source)?;
    let input = positive("input's resistance", input)?;
    let error = loading_error(source, input);
    let mut working = Working::new("Loading of a source by a voltmeter").step(
        "error of the reading",
        "-Rs / (Rs + Ri)",
        format!("-{source} / ({source} + {input})"),
        error,
    );
    let mut answer = format!("The meter reads {} too little.", shown(Ratio(error.0.abs())));
    if let Some(reading) = reading {
        let without = reading * ((source.0 + input.0) / input.0);
        working = working.step(
            "voltage without the meter",
            "V0 = V (Rs + Ri) / Ri",
            format!("{reading} × ({source} + {input}) / {input}"),
            without,
        );
        answer = format!("{answer} Without it {} stand there.", shown(without));
    }
    working
        .caution("An input that is 10 Mohm on one range may be above 10 Gohm on another: look it up for the range in use.")
        .source("handbooks of low-level measurement: error of loading -Rs / (Rs + Ri)")
        .conclude(answer)
}
