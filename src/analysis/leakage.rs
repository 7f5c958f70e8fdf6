//! Leakage of a capacitor: the reading at the electrification time, the voltage
//! really at the part, whether it has settled, and the handbook's limit.

use super::Level;
use crate::units::{Amperes, Farads, Ohms, Seconds, Unit, Volts, engineering};

/// Kinds of part with a limit in the handbooks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dielectric {
    /// Solid tantalum.
    SolidTantalum,
    /// Aluminium with wet electrolyte.
    Aluminium,
    /// Ceramic, class 2.
    Ceramic,
    /// Plastic film.
    Film,
}

/// A handbook's limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Largest leakage.
    pub limit: Amperes,
    /// How it comes about, with the numbers.
    pub working: String,
    /// Where it comes from.
    pub source: &'static str,
    /// The electrification time that it holds for.
    pub after: (Seconds, Seconds),
}

/// The handbook's limit at room temperature (20 to 25 degC) for a part of this
/// kind, capacitance and rated voltage.
pub fn handbook(kind: Dielectric, capacitance: Farads, rated: Volts) -> Limit {
    let micro = capacitance.0 * 1e6;
    let volts = rated.0;
    let larger = |share: f64, least: f64, source, after| Limit {
        limit: Amperes((share * micro * volts).max(least) * 1e-6),
        working: format!(
            "the larger of {share} uA/(uF V) × {capacitance} × {rated} = {} and {least} uA",
            engineering(share * micro * volts * 1e-6, Unit::Ampere, 3)
        ),
        source,
        after,
    };
    match kind {
        Dielectric::SolidTantalum => larger(
            0.01,
            0.5,
            "makers' handbooks, solid tantalum, 25 degC, 5 min (chips: 1 min) through 1 kohm",
            (Seconds(60.0), Seconds(300.0)),
        ),
        Dielectric::Aluminium => {
            larger(0.01, 3.0, "makers' handbooks, radial aluminium, 20 degC, 2 min", (Seconds(120.0), Seconds(300.0)))
        }
        Dielectric::Ceramic => {
            let (top, product) = if volts >= 25.0 { (10e9, 500e6) } else { (10e9, 100e6) };
            let resistance = f64::min(top, product / micro);
            Limit {
                limit: Amperes(volts / resistance),
                working: format!(
                    "{rated} over the lesser of {} and {} Mohm uF / {capacitance} = {}",
                    Ohms(top),
                    product / 1e6,
                    engineering(product / micro, Unit::Ohm, 3)
                ),
                source: "makers' handbooks, class 2 ceramic, insulation resistance at the rated voltage, 1 min",
                after: (Seconds(60.0), Seconds(120.0)),
            }
        }
        Dielectric::Film => {
            // 30 000 s is polypropylene's; from memory. Others are lower.
            let resistance = 30_000.0 / capacitance.0;
            Limit {
                limit: Amperes(volts / resistance),
                working: format!("{rated} over 30000 s / {capacitance} = {}", engineering(resistance, Unit::Ohm, 3)),
                source: "IEC 60384-1 4.5.2 gives the method (1 min); time constant of polypropylene from memory",
                after: (Seconds(60.0), Seconds(60.0)),
            }
        }
    }
}

/// One moment of a soak.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// Since the bias was applied.
    pub at: Seconds,
    /// Current through the part.
    pub current: Level,
    /// Voltage at the supply.
    pub supply: Option<Volts>,
}

/// What a soak says.
#[derive(Clone, Debug, PartialEq)]
pub struct Soak {
    /// Leakage at the electrification time: mean of the last readings.
    pub leakage: Level,
    /// Voltage really at the part, V = supply - I R; `None` where the current is not known.
    pub at_part: Option<Volts>,
    /// Relative change over the last third of the soak; `None` where it cannot be told.
    pub change: Option<f64>,
    /// When the value was read, since the bias.
    pub electrified: Seconds,
    /// Current that the supply's own drift makes, C dV/dt.
    pub drift: Option<Amperes>,
}

/// Share of the soak, at its end, whose readings make the value.
const WINDOW: f64 = 0.05;
/// A soak counts as settled when it changes less than this over its last third.
pub const SETTLED: f64 = 0.05;

/// Sums up a soak: the value is the mean over the last twentieth before the
/// electrification time (three readings at least), its uncertainty the
/// instrument's combined with the spread of the mean (JCGM 100:2008, 4.2.3).
pub fn summarise(moments: &[Moment], electrify: Seconds, series: Ohms, capacitance: Farads) -> Option<Soak> {
    let upto: Vec<&Moment> = moments.iter().filter(|m| m.at.0 <= electrify.0 * 1.02 + 1.0).collect();
    let from = electrify * (1.0 - WINDOW);
    let mut window: Vec<&&Moment> = upto.iter().filter(|m| m.at >= from).collect();
    if window.len() < 3 {
        window = upto.iter().rev().take(3).rev().collect();
    }
    let end = window.last()?.at;
    let known: Vec<(f64, f64)> = window
        .iter()
        .filter_map(|m| match m.current {
            Level::Known { value, u } => Some((value.0, u.0)),
            _ => None,
        })
        .collect();
    let values: Vec<f64> = known.iter().map(|(v, _)| *v).collect();
    let moments_of = super::series::mean_and_deviation(&values);
    let leakage = match moments_of {
        // Half of the window must be values: a stray one does not speak for it.
        Some((mean, sd)) if known.len() * 2 >= window.len() => {
            let u = known.iter().map(|(_, u)| *u).fold(0.0, f64::max);
            let of_mean = sd.map_or(0.0, |sd| sd / (known.len() as f64).sqrt());
            Level::Known { value: Amperes(mean), u: Amperes(u.hypot(of_mean)) }
        }
        _ => window.last().map_or(Level::Missing, |m| m.current),
    };
    let supply: Vec<f64> = window.iter().filter_map(|m| m.supply.map(|v| v.0)).collect();
    let supply = super::series::mean_and_deviation(&supply).map(|(mean, _)| mean);
    let at_part = match leakage {
        Level::Known { value, .. } => supply.map(|v| Volts(v) - value * series),
        // Below the floor the drop is smaller than the floor's, which is nothing here.
        Level::BelowFloor { .. } => supply.map(Volts),
        _ => None,
    };
    Some(Soak {
        leakage,
        at_part,
        change: change(&upto, electrify),
        electrified: end,
        drift: drift(&upto, electrify, capacitance),
    })
}

/// Relative change from the start to the end of the last third, each the median of a few readings.
fn change(moments: &[&Moment], electrify: Seconds) -> Option<f64> {
    let third: Vec<f64> =
        moments.iter().filter(|m| m.at >= electrify * (2.0 / 3.0)).filter_map(|m| m.current.value()).map(|v| v.0).collect();
    let few = (third.len() / 4).max(1);
    let early = super::rank::median(third.get(..few)?)?;
    let late = super::rank::median(third.get(third.len().checked_sub(few)?..)?)?;
    (early.abs() > 0.0).then(|| (late - early) / early.abs())
}

/// C dV/dt from the supply's own readings over the last third.
fn drift(moments: &[&Moment], electrify: Seconds, capacitance: Farads) -> Option<Amperes> {
    let third: Vec<(f64, f64)> =
        moments.iter().filter(|m| m.at >= electrify * (2.0 / 3.0)).filter_map(|m| m.supply.map(|v| (m.at.0, v.0))).collect();
    let (first, last) = (third.first()?, third.last()?);
    let span = last.0 - first.0;
    (span > 0.0).then(|| Amperes(capacitance.0 * (last.1 - first.1) / span))
}

/// Whether the leakage rises between two steps faster than practice allows: more
/// than threefold for a fifth more voltage (common practice), in proportion
/// ln(ratio) / ln(V2 / V1) above ln 3 / ln 1.2.
pub fn runs_away(lower: (Volts, Amperes), upper: (Volts, Amperes)) -> bool {
    let (dv, di) = ((upper.0 / lower.0).ln(), (upper.1 / lower.1).ln());
    dv > 0.0 && di / dv > 3f64.ln() / 1.2f64.ln()
}
