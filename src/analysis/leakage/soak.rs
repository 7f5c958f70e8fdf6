//! One voltage of a sweep: the value at the named time, the voltage at the part, how it
//! falls, whether it wanders, and what the supply's own drift makes.

use super::decay::{Decay, Value, decay};
use super::reform::{Reform, reform};
use super::wander::{Wander, wander};
use crate::analysis::Level;
use crate::analysis::numeric::sums::{line, mean};
use crate::units::{Amperes, Farads, Ohms, Seconds, Volts};

/// One moment of a soak.
#[derive(Clone, Copy, Debug)]
pub struct Moment {
    /// Since the bias was applied.
    pub at: Seconds,
    /// Current through the part.
    pub current: Level,
    /// Voltage at the supply, and its standard uncertainty.
    pub supply: Option<(Volts, Volts)>,
}

/// How a soak was made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// When the value is read, since the bias.
    pub electrify: Seconds,
    /// All that is in series: the resistor, the meter's shunt, the leads.
    pub series: Ohms,
    /// The part's capacitance.
    pub capacitance: Farads,
    /// What the meter shows with nothing connected, to be subtracted; zero where not known.
    pub null: Amperes,
}

/// What a soak says.
#[derive(Clone, Debug, PartialEq)]
pub struct Soak {
    /// The current at the electrification time: mean of the last readings.
    pub leakage: Level,
    /// Voltage really at the part, V = supply − I R; `None` where the current is not known.
    pub at_part: Option<Volts>,
    /// Standard uncertainty of that.
    pub at_part_u: Option<Volts>,
    /// Relative change over the last third of the soak; `None` where it cannot be told.
    pub change: Option<f64>,
    /// When the value was read, since the bias.
    pub electrified: Seconds,
    /// Current that the supply's own drift makes.
    pub drift: Option<Drift>,
    /// The fall, told apart into leakage and absorption; `None` with too few readings.
    pub decay: Option<Decay>,
    /// Whether it wanders; `None` with too few readings.
    pub wander: Option<Wander>,
    /// A fall that is the leakage's own; `None` where absorption could be all of it.
    pub reform: Option<Reform>,
}

/// The current into a capacitance by the supply's drift, C dV/dt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drift {
    /// The current.
    pub current: Amperes,
    /// Its standard uncertainty, by the scatter of the supply's readings.
    pub u: Amperes,
}

/// Share of the soak, at its end, whose readings make the value.
const WINDOW: f64 = 0.05;
/// A soak counts as settled when it changes less than this over its last third.
pub const SETTLED: f64 = 0.05;
/// Time constants after which charging current is left out at the least.
const TIME_CONSTANTS: f64 = 5.0;
/// The charging current has gone where it is below this share of the last reading.
const GONE: f64 = 0.01;

/// From when on the charging current through the series resistance, V / R exp(−t / RC),
/// is less than a hundredth of `last`; five time constants at least.
pub fn charged(setting: &Setting, bias: Volts, last: Amperes) -> Seconds {
    let tau = setting.series * setting.capacitance;
    let first = (bias / setting.series).0.abs();
    let constants = if last.0.abs() > 0.0 { (first / (GONE * last.0.abs())).ln() } else { 0.0 };
    tau * constants.clamp(TIME_CONSTANTS, 30.0)
}

/// Sums up a soak. The value is the mean over the last twentieth before the
/// electrification time (three readings at least), less the null; its uncertainty is
/// the instrument's, combined with that of the mean and with what the fall makes of
/// the window's width (JCGM 100:2008, 4.2.3 and 4.3.7), and, where it wanders, with what
/// that makes of any one value ([`Wander::of_a_value`]).
pub fn summarise(moments: &[Moment], setting: &Setting) -> Option<Soak> {
    let electrify = setting.electrify;
    let upto: Vec<&Moment> = moments.iter().filter(|m| m.at.0 <= electrify.0 * 1.02 + 1.0).collect();
    let from = electrify * (1.0 - WINDOW);
    let mut window: Vec<&Moment> = upto.iter().copied().filter(|m| m.at >= from).collect();
    if window.len() < 3 {
        window = upto.iter().copied().skip(upto.len().saturating_sub(3)).collect();
    }
    let electrified = window.last()?.at;
    let read = value(&window, setting);
    let supply: Vec<f64> = window.iter().filter_map(|m| m.supply.map(|v| v.0.0)).collect();
    let supply_u = window.iter().filter_map(|m| m.supply.map(|v| v.1.0)).fold(0.0, f64::max);
    let supply = mean(&supply);
    let values = settled_values(&upto, setting, supply.map_or(Volts(0.0), Volts), read);
    let wander = wander(&values);
    let leakage = match read {
        Level::Known { value, u } => Level::Known { value, u: Amperes(u.0.hypot(wander.map_or(0.0, |w| w.of_a_value().0))) },
        other => other,
    };
    let (at_part, at_part_u) = match leakage {
        Level::Known { value, u } => {
            (supply.map(|v| Volts(v) - value * setting.series), Some(Volts(supply_u.hypot(u.0 * setting.series.0))))
        }
        // Below the floor the drop is smaller than the floor's, which is nothing here.
        Level::BelowFloor { floor } => (supply.map(Volts), Some(Volts(supply_u.hypot(floor.0 * setting.series.0)))),
        _ => (None, None),
    };
    Some(Soak {
        leakage,
        at_part,
        at_part_u: at_part.and(at_part_u),
        change: change(&upto, electrify),
        electrified,
        drift: drift(&upto, setting),
        decay: decay(&values),
        wander,
        reform: at_part.and_then(|bias| reform(&values, bias, setting.capacitance)),
    })
}

/// The value at the end of the window.
fn value(window: &[&Moment], setting: &Setting) -> Level {
    let known: Vec<(f64, f64, f64)> = window
        .iter()
        .filter_map(|m| match m.current {
            Level::Known { value, u } => Some((m.at.0, value.0 - setting.null.0, u.0)),
            _ => None,
        })
        .collect();
    let Some(middle) = mean(&known.iter().map(|k| k.1).collect::<Vec<_>>()) else {
        return window.last().map_or(Level::Missing, |m| m.current);
    };
    // Half of the window must be values: a stray one does not speak for it.
    if known.len() * 2 < window.len() {
        return window.last().map_or(Level::Missing, |m| m.current);
    }
    let n = known.len() as f64;
    let instrument = known.iter().map(|k| k.2).fold(0.0, f64::max);
    let trend = line(&known.iter().map(|(t, v, _)| (*t, *v)).collect::<Vec<_>>());
    let span = known.last().map_or(0.0, |k| k.0) - known.first().map_or(0.0, |k| k.0);
    let scatter = trend.as_ref().and_then(|t| t.residual).unwrap_or(0.0) / n.sqrt();
    let width = trend.map_or(0.0, |t| t.slope.abs() * span / 2.0 / 3f64.sqrt());
    Level::Known { value: Amperes(middle), u: Amperes(instrument.hypot(scatter).hypot(width)) }
}

/// The values of a soak so far, after its charging current has gone.
pub fn charged_values(moments: &[Moment], setting: &Setting) -> Vec<Value> {
    let upto: Vec<&Moment> = moments.iter().collect();
    let bias = moments.iter().rev().find_map(|m| m.supply).map_or(Volts(0.0), |v| v.0);
    settled_values(&upto, setting, bias, moments.last().map_or(Level::Missing, |m| m.current))
}

/// The values after the charging current has gone.
fn settled_values(upto: &[&Moment], setting: &Setting, bias: Volts, last: Level) -> Vec<Value> {
    let from = charged(setting, bias, last.value().unwrap_or_default());
    upto.iter()
        .filter(|m| m.at > from)
        .filter_map(|m| match m.current {
            Level::Known { value, u } => Some(Value { at: m.at.0, current: value.0 - setting.null.0, u: u.0 }),
            _ => None,
        })
        .collect()
}

/// Relative change from the start to the end of the last third, each the median of a few readings.
fn change(moments: &[&Moment], electrify: Seconds) -> Option<f64> {
    let third: Vec<f64> =
        moments.iter().filter(|m| m.at >= electrify * (2.0 / 3.0)).filter_map(|m| m.current.value()).map(|v| v.0).collect();
    let few = (third.len() / 4).max(1);
    let early = crate::analysis::rank::median(third.get(..few)?)?;
    let late = crate::analysis::rank::median(third.get(third.len().checked_sub(few)?..)?)?;
    (early.abs() > 0.0).then(|| (late - early) / early.abs())
}

/// C dV/dt from the supply's own readings over the last third, by a line through them.
fn drift(moments: &[&Moment], setting: &Setting) -> Option<Drift> {
    let third: Vec<(f64, f64)> = moments
        .iter()
        .filter(|m| m.at >= setting.electrify * (2.0 / 3.0))
        .filter_map(|m| m.supply.map(|v| (m.at.0, v.0.0)))
        .collect();
    let fit = line(&third)?;
    let of = |slope: f64| Amperes(setting.capacitance.0 * slope);
    Some(Drift { current: of(fit.slope), u: of(fit.u_slope.unwrap_or(0.0)) })
}
