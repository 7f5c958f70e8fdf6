//! What it means that the supply limits the current during a ramp.
//!
//! A short takes the limit from the lowest voltage on, and before that a current in
//! proportion to the voltage. A converter draws little until it starts, then all that
//! it is given, and the voltage falls back under it: its input has a negative slope.
//! A latch-up falls to about a volt. A junction holds its own voltage. Where these signs do not agree, nothing is said.

use super::{Leg, Place, Step};
use crate::analysis::numeric::sums;
use crate::analysis::rank::median;
use crate::analysis::uncertainty::combined;
use crate::units::{Amperes, Ohms, Volts, Watts};

/// What a load under limiting behaves like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Behaviour {
    /// Ohmic from zero volts on; the resistance with its expanded uncertainty, which may
    /// be as large as itself.
    Short {
        /// Voltage over current under limiting.
        resistance: Ohms,
        /// Expanded uncertainty (k = 2).
        expanded: Ohms,
    },
    /// Holds a few tenths of a volt: a silicon junction that conducts.
    Junction,
    /// Nothing or little before, then the limit, and the voltage falls back under it.
    Converter {
        /// What it gets under limiting.
        power: Watts,
    },
    /// Nothing or little before, then the limit, and the voltage falls to less than any
    /// converter runs from: a latch-up, or something that breaks through.
    Latched,
    /// Nothing or little before, then the limit, and the voltage stays: a part that
    /// clamps, or a load that is switched on and wants more than the limit.
    Clamp,
    /// The current grew up to the limit and would go on growing.
    Grown,
    /// The signs do not agree, or too little was read.
    Unclear,
}

/// Limiting, on the way up or at the end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limiting {
    /// From this voltage on.
    pub from: Place,
    /// The voltage at which it then hangs, with its expanded uncertainty; `None` where it
    /// was not read.
    pub hangs: Option<Place>,
    /// Current under limiting; `None` where it was not read.
    pub current: Option<Amperes>,
    /// Whether the supply limited until the end of the ramp's upper end.
    pub lasting: bool,
    /// What it behaves like.
    pub behaviour: Behaviour,
}

/// Forward voltages of silicon junctions, Schottky diodes included, at a bench's currents
/// (common practice).
const JUNCTION: (f64, f64) = (0.15, 1.2);

/// What a converter for more than a single cell needs at its input at least (common
/// practice); a latch-up holds about a volt.
const LEAST_INPUT: f64 = 1.8;

/// How far a current under way may be off a resistor's.
const OHMIC: f64 = 0.3;

pub(super) fn judge(steps: &[Step], to: Volts) -> Option<Limiting> {
    let rising: Vec<&Step> = steps.iter().filter(|s| s.leg != Leg::Down).collect();
    let at = rising.iter().position(|s| s.limiting == Some(true))?;
    let first = rising.get(at)?;
    let before: Vec<&Step> = rising.iter().take(at).copied().collect();
    let inside: Vec<&Step> = rising.iter().skip(at).filter(|s| s.limiting == Some(true)).copied().collect();
    let from = match before.last() {
        Some(last) => between_set(last, first),
        None => Place { volts: first.set, expanded: Volts(2.0 * first.u_voltage.0) },
    };
    let volts: Vec<f64> = inside.iter().filter_map(|s| s.voltage).map(|v| v.0).collect();
    let u = inside.iter().map(|s| s.u_voltage.0).fold(0.0, f64::max);
    let hangs = median(&volts).map(|middle| {
        let spread = sums::deviation(&volts).unwrap_or(0.0);
        Place { volts: Volts(middle), expanded: Volts(2.0 * combined(&[u, spread])) }
    });
    let drawn: Vec<f64> = inside.iter().filter_map(|s| s.current.value()).map(|i| i.0).collect();
    let current = median(&drawn).filter(|i| *i > 0.0).map(Amperes);
    let behaviour = match (hangs, current) {
        (Some(hangs), Some(current)) => behaviour(&before, first, hangs, current, to),
        _ => Behaviour::Unclear,
    };
    let lasting = rising.last().is_some_and(|s| s.limiting == Some(true));
    Some(Limiting { from, hangs, current, lasting, behaviour })
}

/// Between two settings: what is read back is pulled down already.
fn between_set(a: &Step, b: &Step) -> Place {
    let set = |s: &Step| Step { voltage: None, ..*s };
    Place::between(&set(a), &set(b))
}

/// A current that rises with a higher power of the voltage than this over one step has
/// passed a knee: diodes and clamps, and loads that are switched on.
const KNEE: f64 = 8.0;

fn behaviour(before: &[&Step], first: &Step, hangs: Place, current: Amperes, to: Volts) -> Behaviour {
    let known: Vec<(f64, f64)> = before
        .iter()
        .filter(|s| s.conducts() == Some(true))
        .filter_map(|s| s.free())
        .filter(|(v, _, _)| v.0 > 0.0)
        .map(|(v, i, _)| (v.0, i.0))
        .collect();
    let silent = before.iter().filter(|s| s.set.0 > 0.0 && s.conducts() == Some(false)).count();
    let resistance = hangs.volts.0 / current.0;
    let collapsed = hangs.volts.0 < 0.8 * first.set.0 - hangs.expanded.0;
    let short = || Behaviour::Short {
        resistance: Ohms(resistance.max(0.0)),
        expanded: Ohms(hangs.expanded.0 / current.0 + 0.02 * resistance.abs()),
    };
    let ohmic = known.iter().filter(|(v, i)| (i * resistance / v - 1.0).abs() < OHMIC).count();
    let last = known.last().map_or(0.0, |(_, i)| *i);
    let is_junction = (JUNCTION.0..=JUNCTION.1).contains(&hangs.volts.0);
    let enough = known.len() >= 2 || (known.len() == 1 && silent == 0);
    if enough && ohmic * 4 >= known.len() * 3 {
        // The resistance under limiting is the one that was there all the way up. One that
        // takes the limit only near the end is a load, and the limit is too near it.
        return if hangs.volts.0 < 0.5 * to.0 { short() } else { Behaviour::Grown };
    }
    if known.is_empty() && silent == 0 {
        // The limit from the first step above zero on.
        return if is_junction && hangs.volts.0 > 2.0 * hangs.expanded.0 && first.set.0 > 2.0 * hangs.volts.0 {
            Behaviour::Unclear
        } else {
            short()
        };
    }
    if is_junction && !collapsed && last < 0.8 * current.0 {
        return Behaviour::Junction;
    }
    if collapsed && last < 0.5 * current.0 {
        if hangs.volts.0 - hangs.expanded.0 < LEAST_INPUT {
            return Behaviour::Latched;
        }
        return Behaviour::Converter { power: Watts(hangs.volts.0 * current.0) };
    }
    // A knee within the last step before the limit is no growth up to it.
    let knee = matches!(known.as_slice(), [.., (v0, i0), (v1, i1)] if v1 > v0 && (i1 / i0).ln() > KNEE * (v1 / v0).ln());
    if !collapsed && last >= 0.5 * current.0 && !knee {
        return Behaviour::Grown;
    }
    if !collapsed && (last < 0.5 * current.0 || knee) {
        return Behaviour::Clamp;
    }
    Behaviour::Unclear
}
