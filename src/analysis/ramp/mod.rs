//! A ramp: current over voltage. Where current begins, how it goes on, where the unit
//! starts and drops out, what the supply's limiting means, and how it differs from a
//! good unit.
//!
//! A voltage at which something happens lies between two steps; it is given as their
//! middle, with half their distance as limits of error beside the supply's own.

pub mod compare;
mod limiting;
mod region;

pub use limiting::{Behaviour, Limiting};
pub use region::{Beside, Kind, Region};

use super::Level;
use super::uncertainty::{combined, rectangular};
use crate::units::{Amperes, Volts};

/// On the way up, at the end, or on the way down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Leg {
    /// From zero to the end voltage.
    Up,
    /// At the end voltage.
    Hold,
    /// From the end voltage back to zero.
    Down,
}

/// One step of a ramp.
#[derive(Clone, Copy, Debug)]
pub struct Step {
    /// Which way.
    pub leg: Leg,
    /// The voltage that was set.
    pub set: Volts,
    /// Voltage at the supply, as read back.
    pub voltage: Option<Volts>,
    /// Its standard uncertainty.
    pub u_voltage: Volts,
    /// Current.
    pub current: Level,
    /// Whether the supply was limiting; `None` where it cannot be told.
    pub limiting: Option<bool>,
}

impl Step {
    /// Voltage, current and its standard uncertainty, where both are known and the
    /// supply was not limiting.
    fn free(&self) -> Option<(Volts, Amperes, Amperes)> {
        match (self.voltage, self.current, self.limiting) {
            (Some(v), Level::Known { value, u }, limiting) if limiting != Some(true) => Some((v, value, u)),
            _ => None,
        }
    }

    /// Whether a current can be told from zero: above its expanded uncertainty.
    fn conducts(&self) -> Option<bool> {
        match self.current {
            Level::Known { value, u } => Some(value.0 > 2.0 * u.0),
            Level::BelowFloor { .. } => Some(false),
            Level::Overload => Some(true),
            Level::Missing => None,
        }
    }
}

/// A voltage at which something happens, with its expanded uncertainty (k = 2).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The voltage.
    pub volts: Volts,
    /// Its expanded uncertainty.
    pub expanded: Volts,
}

impl Place {
    /// Between two steps.
    fn between(a: &Step, b: &Step) -> Self {
        let (from, to) = (a.voltage.unwrap_or(a.set), b.voltage.unwrap_or(b.set));
        let u = combined(&[rectangular(0.5 * (to - from).0.abs()), a.u_voltage.max(b.u_voltage).0]);
        Self { volts: (from + to) / 2.0, expanded: Volts(2.0 * u) }
    }
}

impl std::fmt::Display for Place {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&crate::units::with_uncertainty(self.volts.0, self.expanded.0, crate::units::Unit::Volt))
    }
}

/// Where current begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Threshold {
    /// Already at the first step above zero.
    FromZero,
    /// From a voltage on.
    At(Place),
}

/// A change of the current from one step to the next that is more than a resistor's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Jump {
    /// Where.
    pub at: Place,
    /// The current before; `None`: it could not be told from zero.
    pub from: Option<Amperes>,
    /// The current after; `None`: it could not be told from zero.
    pub to: Option<Amperes>,
}

impl Jump {
    fn size(&self) -> f64 {
        (self.to.unwrap_or_default() - self.from.unwrap_or_default()).0.abs()
    }
}

/// What a ramp says.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// Where current can first be told from zero, for good; `None`: nowhere.
    pub threshold: Option<Threshold>,
    /// Largest current, and the voltage there.
    pub most: Option<(Amperes, Volts)>,
    /// What the supply's limiting on the way up, or at the end, means.
    pub limiting: Option<Limiting>,
    /// Half the span over which the current swings to and fro while the end voltage is
    /// held: then it goes with time, and there are no regions.
    pub swings: Option<Amperes>,
    /// How the current goes with the voltage on the way up, from the lowest.
    pub regions: Vec<Region>,
    /// Largest rise on the way up, of those that more than double what a resistor would
    /// draw, and are a notable part of the largest current: something starts there.
    pub starts: Option<Jump>,
    /// Largest fall on the way down, to less than half of what a resistor would draw:
    /// something drops out there.
    pub drops_out: Option<Jump>,
    /// Steps without any reading of the current.
    pub missing: usize,
}

/// What a jump must be of the largest current to count.
const NOTABLE: f64 = 0.3;

/// A jump of a third of that counts, too, where it is so many times what the current
/// changes by in as many steps on either side as [`AROUND`] says.
const OUTSTANDING: f64 = 10.0;
const AROUND: usize = 4;

/// Sums up a ramp towards `to` in its order, as far as it came.
pub fn summarise(steps: &[Step], to: Volts) -> Summary {
    let up: Vec<Step> = steps.iter().filter(|s| s.leg == Leg::Up).copied().collect();
    let down: Vec<Step> = steps.iter().filter(|s| s.leg == Leg::Down).copied().collect();
    let most = steps
        .iter()
        .filter_map(|s| Some((s.current.value()?, s.voltage?)))
        .fold(None, |most: Option<(Amperes, Volts)>, now| most.filter(|m| m.0 >= now.0).or(Some(now)));
    let notable = NOTABLE * most.map_or(f64::INFINITY, |m| m.0.0);
    let limiting = limiting::judge(steps, to);
    // While the supply limits, its voltage is not the ramp's: nothing starts there.
    let free = up.iter().take_while(|s| s.limiting != Some(true)).copied().collect::<Vec<_>>();
    // A step into limiting is told as that; what goes on after it has started there.
    let untied: Vec<Step> = up.iter().filter(|s| s.limiting != Some(true)).copied().collect();
    let swings = swings(steps);
    Summary {
        swings,
        threshold: threshold(&up),
        most,
        regions: if swings.is_some() { Vec::new() } else { region::regions(&free) },
        starts: largest(&untied, notable, |before, after, ratio| after > 2.0 * before * ratio),
        drops_out: largest(&down, notable, |before, after, ratio| after < 0.5 * before * ratio),
        limiting,
        missing: steps.iter().filter(|s| s.current == Level::Missing).count(),
    }
}

/// A swing in time is told from this share of the current on, from peak to peak.
const SWING: f64 = 0.15;

/// A start late in the hold is one rise, and a fall from its inrush; a swing turns more
/// often than that: in the hold, or on the way up and in the hold together.
const TURNS: (usize, usize) = (2, 4);

fn swings(steps: &[Step]) -> Option<Amperes> {
    let of = |leg: &[Leg]| -> Vec<f64> {
        steps.iter().filter(|s| leg.contains(&s.leg)).filter_map(Step::free).map(|(_, i, _)| i.0).collect()
    };
    let held = of(&[Leg::Hold]);
    let least = SWING * super::rank::median(&held).filter(|m| *m > 0.0)?;
    let (low, high) = held.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let turns = turns(&held, least) >= TURNS.0 || turns(&of(&[Leg::Up, Leg::Hold]), least) >= TURNS.1;
    (high - low > least && turns).then_some(Amperes((high - low) / 2.0))
}

/// How often values turn round by more than `least`.
fn turns(values: &[f64], least: f64) -> usize {
    let Some(first) = values.first() else { return 0 };
    let (mut low, mut high, mut rising, mut count) = (*first, *first, None, 0);
    for value in values {
        (low, high) = (low.min(*value), high.max(*value));
        let way = match rising {
            Some(true) | None if high - value > least => false,
            Some(false) | None if value - low > least => true,
            _ => continue,
        };
        count += usize::from(rising.is_some());
        (rising, low, high) = (Some(way), *value, *value);
    }
    count
}

fn threshold(up: &[Step]) -> Option<Threshold> {
    let known: Vec<&Step> = up.iter().filter(|s| s.conducts().is_some()).collect();
    // For good: from the last step on that does not conduct.
    let last_without = known.iter().rposition(|s| s.conducts() == Some(false));
    match last_without {
        None => (!known.is_empty()).then_some(Threshold::FromZero),
        Some(at) => {
            let (before, after) = (known.get(at)?, known.get(at + 1)?);
            // At zero volts nothing conducts.
            if before.set.0 <= 0.0 { Some(Threshold::FromZero) } else { Some(Threshold::At(Place::between(before, after))) }
        }
    }
}

/// The largest change between neighbouring steps that `tells` of something: of the
/// current before, after, and the ratio of the voltages.
fn largest(steps: &[Step], notable: f64, tells: impl Fn(f64, f64, f64) -> bool) -> Option<Jump> {
    let mut found: Option<Jump> = None;
    for (index, pair) in steps.windows(2).enumerate() {
        let [a, b] = pair else { continue };
        if matches!(a.current, Level::Missing | Level::Overload) || matches!(b.current, Level::Missing | Level::Overload) {
            continue;
        }
        // By what was set: a voltage that limiting pulls down is no step of the ramp. From
        // zero volts every current comes up; a jump starts from a voltage.
        if a.set.0 <= 0.0 {
            continue;
        }
        // For the size of a jump, what is below the floor counts as nothing.
        let value = |s: &Step| s.current.value().unwrap_or_default().0;
        let u = |s: &Step| if let Level::Known { u, .. } = s.current { u.0 } else { 0.0 };
        let jump = Jump { at: Place::between(a, b), from: a.current.value(), to: b.current.value() };
        let around: Vec<f64> = steps
            .iter()
            .zip(steps.iter().skip(1))
            .enumerate()
            .filter(|(i, _)| *i != index && i.abs_diff(index) <= AROUND)
            .map(|(_, (c, d))| (value(d) - value(c)).abs())
            .collect();
        let stands_out = jump.size() > notable / 3.0 && jump.size() > OUTSTANDING * super::rank::median(&around).unwrap_or(0.0);
        let real = jump.size() > 2.0 * combined(&[u(a), u(b)]) && (jump.size() > notable || stands_out);
        if real && tells(value(a), value(b), b.set.0 / a.set.0) && found.is_none_or(|f| jump.size() > f.size()) {
            found = Some(jump);
        }
    }
    found
}
