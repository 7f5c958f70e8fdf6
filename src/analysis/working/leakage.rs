//! What a capacitor may leak, and how a measured leakage stands to it; the constants
//! of the conduction laws.

use super::{Refusal, Value, Working, not_negative, positive, shown};
use crate::analysis::finding::Severity;
use crate::analysis::leakage::Dielectric;
use crate::analysis::leakage::limits::{Asked, category_voltage, limit};
use crate::analysis::leakage::physics::{absorption_ratio, field_slope, poole_frenkel_beta, schottky_beta};
use crate::analysis::uncertainty::Standing;
use crate::units::{Amperes, Celsius, Ratio, Seconds, Volts};

/// The customary limit of a part; with a leakage and its expanded uncertainty, the verdict.
///
/// # Errors
/// A value that cannot be, or a series that is none of the kind's.
pub fn leakage(asked: &Asked, measured: Option<(Amperes, Amperes)>) -> Result<Working, Refusal> {
    positive("capacitance", asked.capacitance)?;
    positive("rated voltage", asked.rated)?;
    positive("electrification time", asked.electrify)?;
    if !asked.series.is_for(asked.kind) {
        return Err(Refusal::new(format!("the series {:?} is none of this kind of part", asked.series.name())));
    }
    if asked.temperature.is_some_and(|t| t.0 < -273.15) {
        return Err(Refusal::new("the temperature: expected more than -273.15 degC"));
    }
    if asked.kind == Dielectric::SolidTantalum && asked.temperature.is_some_and(|t| t.0 > 125.0) {
        return Err(Refusal::new("the temperature: no handbook gives solid tantalum a limit above 125 degC"));
    }
    let found = limit(asked);
    let mut working = Working::new("Leakage that a capacitor may have")
        .step("limit", "the customary rule", "", found.limit)
        .remark(found.working.clone())
        .step(
            "insulation resistance at the limit",
            "R = V / I",
            format!("{} / {}", asked.rated, shown(found.limit)),
            asked.rated / found.limit,
        )
        .source(found.source.clone());
    if let (Dielectric::SolidTantalum, Some(hot)) = (asked.kind, asked.temperature.filter(|t| t.0 > 85.0)) {
        let bears = category_voltage(asked.rated, hot);
        working = working
            .step("category voltage", "Vr - (Vr - Vd) (T - 85) / 40, to 125 degC", "", bears)
            .caution(format!("At {hot} the part bears {} only.", shown(bears)));
    }
    if let Some(caution) = found.caution {
        working = working.caution(format!("Mind that {caution}."));
    }
    let (from, to) = found.after;
    let timely = asked.electrify >= from && asked.electrify <= to * 1.05;
    if !timely {
        let span = if from == to { from.to_string() } else { format!("{from} to {to}") };
        working = working.caution(format!("The limit holds after {span} under bias, not after {}.", asked.electrify));
    }
    // Above 85 degC the part bears less than it is rated for, and the limit holds there.
    let at = asked.temperature.filter(|_| asked.kind == Dielectric::SolidTantalum);
    let at = at.map(|hot| category_voltage(asked.rated, hot)).filter(|v| *v < asked.rated);
    let at = at.map_or_else(|| asked.rated.to_string(), shown);
    let mut answer = format!("At most {} at {at}.", shown(found.limit));
    if let Some((leakage, expanded)) = measured {
        let leakage = not_negative("leakage", leakage)?;
        let expanded = not_negative("uncertainty", expanded)?;
        let standing = Standing::of(leakage.0, expanded.0, found.limit.0);
        working = working
            .step(
                "share of the limit",
                "leakage / limit",
                format!("{leakage} / {}", shown(found.limit)),
                Ratio(leakage / found.limit),
            )
            .weigh(match standing {
                Standing::Pass if timely => Severity::Note,
                Standing::Fail => Severity::Anomaly,
                _ => Severity::Undecided,
            })
            .source("verdict: ILAC-G8:09/2019, 4.2.3, guard band U");
        if expanded.0 == 0.0 {
            working = working.caution("The leakage is taken as exact: name its expanded uncertainty for a verdict that holds.");
        }
        let when = if timely { "" } else { ", were it read at the limit's own time, which it was not" };
        answer = format!("{answer} {leakage}: {}{when}.", standing.name());
    }
    working
        .caution("A customary limit: the part's own data sheet comes first. Measured in the circuit it is the node's leakage, not the part's.")
        .conclude(answer)
}

/// The constants of field-assisted conduction for a permittivity: what the slope of a
/// plot of ln I over sqrt V should be.
///
/// # Errors
/// A value that is not above zero.
pub fn conduction(
    permittivity: f64,
    temperature: Celsius,
    thickness: Option<f64>,
    voltage: Option<Volts>,
) -> Result<Working, Refusal> {
    if !(permittivity >= 1.0 && permittivity.is_finite()) {
        return Err(Refusal::new(format!("the relative permittivity: expected 1 or more, found {permittivity}")));
    }
    let kelvin = temperature.0 + 273.15;
    if !(kelvin > 0.0 && kelvin.is_finite()) {
        return Err(Refusal::new(format!("the temperature: expected more than -273.15 degC, found {temperature}")));
    }
    let (pf, s) = (poole_frenkel_beta(permittivity), schottky_beta(permittivity));
    let root = "eV (m/V)^1/2";
    let slope = "(m/V)^1/2";
    let mut working = Working::new("Constants of field-assisted conduction")
        .step(
            "Poole-Frenkel constant",
            "beta = sqrt(e / (pi eps0 eps))",
            format!("eps = {permittivity}"),
            Value::Number(pf, root),
        )
        .step("Schottky constant", "beta / 2", "", Value::Number(s, root))
        .step(
            "Poole-Frenkel slope of ln J over sqrt E",
            "beta / kT",
            format!("T = {kelvin:.2} K"),
            Value::Number(field_slope(pf, kelvin), slope),
        )
        .step("Schottky slope of ln J over sqrt E", "beta / 2 kT", "", Value::Number(field_slope(s, kelvin), slope));
    let mut answer = format!(
        "The slope is {} by Poole and Frenkel, {} by Schottky.",
        shown(Value::Number(field_slope(pf, kelvin), slope)),
        shown(Value::Number(field_slope(s, kelvin), slope))
    );
    if let Some(d) = thickness {
        if !(d > 0.0 && d.is_finite()) {
            return Err(Refusal::new(format!("the thickness: expected more than 0 nm, found {} nm", d * 1e9)));
        }
        let over_volts = 1.0 / d.sqrt();
        working = working
            .step(
                "Poole-Frenkel slope of ln I over sqrt V",
                "slope / sqrt d",
                format!("d = {} nm", super::plain(d * 1e9)),
                Value::Number(field_slope(pf, kelvin) * over_volts, "V^-1/2"),
            )
            .step(
                "Schottky slope of ln I over sqrt V",
                "slope / sqrt d",
                "",
                Value::Number(field_slope(s, kelvin) * over_volts, "V^-1/2"),
            );
        if let Some(voltage) = voltage {
            let field = positive("voltage", voltage)?.0 / d;
            let regime = match field / 1e6 {
                f if f < 100.0 => "below 100 MV/m: ohmic in Ta2O5",
                f if f <= 200.0 => "100 MV/m to 200 MV/m: Poole-Frenkel in Ta2O5",
                _ => "above 200 MV/m: tunnelling in Ta2O5",
            };
            working = working
                .step(
                    "field",
                    "E = V / d",
                    format!("{voltage} / {} nm", super::plain(d * 1e9)),
                    Value::Number(field / 1e6, "MV/m"),
                )
                .remark(regime);
            answer.push_str(&format!(" The field is {} MV/m ({regime}).", super::plain(field / 1e6)));
        }
    }
    working
        .caution("A straight line in such a plot proves little: it does not tell Schottky from Poole-Frenkel, the permittivity drawn from it may come out below 1, and a straight I over V does not prove an ohmic part.")
        .source("constants of CODATA 2018; regimes: literature on Ta2O5 films")
        .conclude(answer)
}

/// What the absorption current falls to from one time to another, by Curie and von
/// Schweidler.
///
/// # Errors
/// A value that is not above zero, or a time that is not the later one.
pub fn absorption(exponent: f64, from: Seconds, to: Seconds, current: Option<Amperes>) -> Result<Working, Refusal> {
    let (from, to) = (positive("first time", from)?, positive("second time", to)?);
    if !(exponent > 0.0 && exponent.is_finite()) {
        return Err(Refusal::new(format!("the exponent: expected more than 0, found {exponent}")));
    }
    if to <= from {
        return Err(Refusal::new(format!("the second time: expected more than {from}, found {to}")));
    }
    let ratio = Ratio(absorption_ratio(exponent, from.0, to.0));
    let mut working = Working::new("Fall of the absorption current").step(
        "share left",
        "(t2 / t1)^-m",
        format!("({to} / {from})^-{exponent}"),
        ratio,
    );
    let mut answer = format!("{} of it are left after {to}.", shown(ratio));
    if let Some(current) = current {
        let left = positive("current", current)? * ratio.0;
        working = working.step("current left", "I (t2 / t1)^-m", format!("{current} × {}", shown(ratio)), left);
        answer = format!("{answer} Of {current} that is {}.", shown(left));
    }
    working
        .caution("What stays beyond this is leakage: a reading without its time means nothing.")
        .source("Curie and von Schweidler; solid tantalum m = 0.8 to 1.1 (NASA NTRS 20060026218)")
        .conclude(answer)
}
