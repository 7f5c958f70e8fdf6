//! How a soak's fit and its wander stand in columns, and come back from them.

use crate::analysis::leakage::decay::{Decay, Told};
use crate::analysis::leakage::reform::Reform;
use crate::analysis::leakage::wander::Wander;
use crate::units::{Amperes, Coulombs, Seconds};

/// A fall that was fitted, as columns: what it tells, leakage, limits, absorption at 1 s, exponent, scatter.
pub(super) type DecayColumns = (Option<&'static str>, [Option<f64>; 6]);

pub(super) fn decay_columns(decay: Option<&Decay>) -> DecayColumns {
    let Some(d) = decay else { return (None, [None; 6]) };
    let values = [d.leakage.0, d.low.0, d.high.0, d.absorbed.0, d.exponent, d.scatter.0];
    (Some(d.told.name()), values.map(Some))
}

pub(super) fn decay_of(told: Option<String>, values: [Option<f64>; 6]) -> Option<Decay> {
    let (_, told) = Told::ALL.into_iter().find(|(name, _)| told.as_deref() == Some(name))?;
    let [Some(leakage), Some(low), Some(high), Some(absorbed), Some(exponent), Some(scatter)] = values else { return None };
    Some(Decay {
        told,
        leakage: Amperes(leakage),
        low: Amperes(low),
        high: Amperes(high),
        absorbed: Amperes(absorbed),
        exponent,
        scatter: Amperes(scatter),
    })
}

/// A wander as columns: kind, size, its uncertainty, mean stay or when, how often.
pub(super) type WanderColumns = (Option<&'static str>, Option<f64>, Option<f64>, Option<f64>, Option<i64>);

pub(super) fn wander_columns(wander: Option<&Wander>) -> WanderColumns {
    let Some(w) = wander else { return (None, None, None, None, None) };
    let count = |n: usize| i64::try_from(n).ok();
    let (u, time, n) = match *w {
        Wander::Quiet { .. } => (None, None, None),
        Wander::Telegraph { u, switches, stay, .. } => (Some(u.0), stay.map(|s| s.0), count(switches)),
        Wander::Jumps { u, at, jumps, .. } => (Some(u.0), Some(at.0), count(jumps)),
        Wander::Rises { u, .. } => (Some(u.0), None, None),
    };
    (Some(w.name()), Some(w.size().0), u, time, n)
}

pub(super) fn reform_of(columns: [Option<f64>; 5]) -> Option<Reform> {
    let [from, at, charge, absorbed, pace] = columns;
    Some(Reform { from: Amperes(from?), at: Seconds(at?), charge: Coulombs(charge?), absorbed: Coulombs(absorbed?), pace: pace? })
}

pub(super) fn wander_of(
    kind: Option<String>,
    size: Option<f64>,
    u: Option<f64>,
    time: Option<f64>,
    n: Option<i64>,
) -> Option<Wander> {
    let (size, u) = (Amperes(size?), u.map(Amperes));
    let count = n.and_then(|n| usize::try_from(n).ok());
    match kind?.as_str() {
        "quiet" => Some(Wander::Quiet { least: size }),
        "telegraph" => Some(Wander::Telegraph { step: size, u: u?, switches: count?, stay: time.map(Seconds) }),
        "jumps" => Some(Wander::Jumps { step: size, u: u?, at: Seconds(time?), jumps: count? }),
        "rises" => Some(Wander::Rises { by: size, u: u? }),
        _ => None,
    }
}
