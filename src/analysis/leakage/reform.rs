//! A leakage that itself falls under bias: an oxide that forms again after years without
//! voltage, traps that fill after a rest.
//!
//! It looks like absorption and is told from it by its charge. What a dielectric absorbs
//! is a share of C V, and no published share is above 15 %; a fall that carries more charge
//! than that is the leakage's own.

use super::decay::Value;
use super::wander;
use crate::analysis::absorption::Dielectric;
use crate::analysis::numeric::sums::{line, mean};
use crate::analysis::rank::median;
use crate::units::{Amperes, Coulombs, Farads, Seconds, Volts};

/// What a leakage that falls has come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reform {
    /// The current when the charging current had gone.
    pub from: Amperes,
    /// When that was, since the bias.
    pub at: Seconds,
    /// Charge in the fall: the integral of the current above its last value.
    pub charge: Coulombs,
    /// The most that absorption could have carried.
    pub absorbed: Coulombs,
    /// How fast it falls in the end: −d ln I / dt, 1/s, over the last third; not below zero.
    pub pace: f64,
}

/// Fewest readings that say anything.
const LEAST: usize = 12;
/// Readings at the beginning and at the end, whose median counts.
const ENDS: usize = 3;
/// The fall is this share of the first current, at least ...
const FALLS: f64 = 0.05;
/// ... and so many times the noise of a reading.
const NOISES: f64 = 6.0;
/// It goes on falling where it does so by this share over the last third.
pub const STANDS: f64 = 0.05;
/// A rise counts from this share of the current on, over the last half.
const RISES: f64 = 0.1;

/// Whether the fall is the leakage's own. `values` in order of time, without charging
/// current; `bias` at the part. `None` where absorption could be all of it.
pub fn reform(values: &[Value], bias: Volts, capacitance: Farads) -> Option<Reform> {
    if values.len() < LEAST {
        return None;
    }
    let middle = |part: &[Value]| median(&part.iter().map(|v| v.current).collect::<Vec<_>>());
    let (from, to) = (middle(values.get(..ENDS)?)?, middle(values.get(values.len() - ENDS..)?)?);
    let steps: Vec<f64> = values
        .windows(3)
        .filter_map(|w| if let [a, b, c] = w { Some((a.current - 2.0 * b.current + c.current).abs()) } else { None })
        .collect();
    // A second difference of white noise has six times its variance.
    let noise = median(&steps)? * 1.4826 / 6f64.sqrt();
    if from - to < (FALLS * from).max(NOISES * noise) || to <= 0.0 {
        return None;
    }
    let trapezium = |w: &[Value]| if let [a, b] = w { 0.5 * (a.current + b.current - 2.0 * to) * (b.at - a.at) } else { 0.0 };
    let charge = values.windows(2).map(trapezium).sum::<f64>();
    let (_, share, _) = Dielectric::Electrolytic.published();
    let absorbed = capacitance.0 * bias.0.abs() * share.0;
    if charge <= absorbed || absorbed <= 0.0 {
        return None;
    }
    Some(Reform {
        from: Amperes(from),
        at: Seconds(values.first()?.at),
        charge: Coulombs(charge),
        absorbed: Coulombs(absorbed),
        pace: pace(values).unwrap_or(0.0).max(0.0),
    })
}

/// −d ln I / dt over the last third, by a line.
fn pace(values: &[Value]) -> Option<f64> {
    let end = values.last()?.at;
    let third = values.iter().filter(|v| v.at >= end * 2.0 / 3.0);
    let points: Vec<(f64, f64)> = third.filter(|v| v.current > 0.0).map(|v| (v.at, v.current.ln())).collect();
    line(&points).map(|l| -l.slope)
}

/// How much longer until the current is at `limit`: if it goes on by the same share in the
/// same time, and if it goes on as a power of time. `None` where it does not fall.
pub fn left(reform: &Reform, now: Amperes, after: Seconds, limit: Amperes) -> Option<(Seconds, Seconds)> {
    if !(reform.pace > 0.0 && limit.0 > 0.0 && now > limit) {
        return None;
    }
    let ratio = (now / limit).ln();
    let exponent = reform.pace * after.0;
    Some((Seconds(ratio / reform.pace), Seconds(after.0 * ((ratio / exponent).exp() - 1.0))))
}

/// What a part that is being reformed does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Forming {
    /// It is not within its limit yet, or falls on.
    GoesOn,
    /// It is within its limit, and hardly falls any more.
    Done,
    /// It rises at constant voltage, by so much over the last half.
    Rises(Amperes),
}

/// What a part does that is held under bias until it leaks `limit` at most. `values` as
/// for [`reform`]; the last are judged with twice their standard uncertainty.
pub fn forming(values: &[Value], limit: Amperes) -> Forming {
    let late = values.get(values.len() - values.len().min(ENDS)..).unwrap_or(&[]);
    let now = mean(&late.iter().map(|v| v.current).collect::<Vec<_>>()).unwrap_or(f64::INFINITY);
    if let Some(by) = wander::rise(values)
        && by.0.0 > RISES * now
    {
        return Forming::Rises(by.0);
    }
    let u = late.iter().map(|v| v.u).fold(0.0, f64::max);
    let third = values.last().map_or(0.0, |v| v.at) / 3.0;
    let stands = values.len() >= LEAST && pace(values).is_some_and(|pace| pace * third < STANDS);
    if stands && now + 2.0 * u <= limit.0 { Forming::Done } else { Forming::GoesOn }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn falling(of: impl Fn(f64) -> f64) -> Vec<Value> {
        (1..=120).map(|i| f64::from(i) * 10.0).map(|at| Value { at, current: of(at), u: 1e-9 }).collect()
    }

    #[test]
    fn a_fall_that_carries_more_than_absorption_holds_is_the_leakage_s_own() {
        // 100 uF at 20 V: 15 % of C V is 300 uC. 400 uA falling with 20 min carries 100 mC and more.
        let made = falling(|t| 4e-6 + 400e-6 * (-t / 1200.0).exp());
        let found = reform(&made, Volts(20.0), Farads(100e-6)).unwrap();
        assert!((found.absorbed.0 / 300e-6 - 1.0).abs() < 1e-9, "{found:?}");
        let exact = 400e-6 * (1200.0 * ((-1f64 / 120.0).exp() - (-1f64).exp()) - (-1f64).exp() * 1190.0);
        assert!((found.charge.0 / exact - 1.0).abs() < 0.02, "{found:?} {exact}");
        // The truth, 4.69 time constants less one, lies between the two ways to go on.
        let (soon, late) = left(&found, Amperes(made[119].current), Seconds(1200.0), Amperes(7.7e-6)).unwrap();
        let truth = 1200.0 * ((400f64 / 3.7).ln() - 1.0);
        assert!(soon.0 < truth && truth < late.0, "{soon} {truth} {late}");
        // What absorbs 5 % of C V in a power of time does not.
        let made = falling(|t| 1e-6 + 0.05 * 2e-3 / 1000f64.ln() / t);
        assert_eq!(reform(&made, Volts(20.0), Farads(100e-6)), None);
        // Nor what stands still.
        assert_eq!(reform(&falling(|_| 50e-6), Volts(20.0), Farads(100e-6)), None);
    }

    #[test]
    fn forming_goes_on_until_the_limit_and_stops_at_a_rise() {
        let part = falling(|t| 4e-6 + 40e-6 * (-t / 120.0).exp());
        assert_eq!(forming(&part[..40], Amperes(8e-6)), Forming::GoesOn);
        assert_eq!(forming(&part, Amperes(8e-6)), Forming::Done);
        assert_eq!(forming(&part, Amperes(3e-6)), Forming::GoesOn);
        assert_eq!(forming(&part[..3], Amperes(1e-3)), Forming::GoesOn);
        let worse = falling(|t| 20e-6 * (1.0 + t / 1200.0));
        assert!(matches!(forming(&worse, Amperes(8e-6)), Forming::Rises(by) if by.0 > 0.1 * 40e-6), "{worse:?}");
    }
}
