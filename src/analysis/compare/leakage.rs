//! Leakage of a part over voltage, one side against the other, voltage by voltage.

use super::current::{Difference, Reference, difference};
use crate::analysis::finding::LeakageStep;
use crate::units::{Seconds, Volts};

/// Electrification times that differ by no more than this share are the same.
const SAME_TIME: f64 = 0.02;
/// Voltages that differ by no more than this share are the same.
const SAME_VOLTAGE: f64 = 0.005;

/// One voltage of both sides.
#[derive(Clone, Debug, PartialEq)]
pub struct AtVoltage {
    /// Set at the supply.
    pub set: Volts,
    /// The first side's step.
    pub a: LeakageStep,
    /// What the other side has there.
    pub b: Reference,
    /// The difference; `None` where it cannot be compared.
    pub difference: Option<Difference>,
    /// The electrification times, where they are not the same: then nothing is compared.
    pub times: Option<(Seconds, Seconds)>,
}

/// Compares sweeps: the first time that each voltage comes on either side.
pub fn compare(a: &[LeakageStep], b: &[&[LeakageStep]]) -> Vec<AtVoltage> {
    let same = |x: Volts, y: Volts| (x.0 - y.0).abs() <= SAME_VOLTAGE * x.0.abs();
    let mut made: Vec<AtVoltage> = Vec::new();
    for step in a {
        if made.iter().any(|m| same(m.set, step.set)) {
            continue;
        }
        let there: Vec<&LeakageStep> = b.iter().filter_map(|run| run.iter().find(|s| same(s.set, step.set))).collect();
        let levels: Vec<_> = there.iter().map(|s| s.soak.leakage).collect();
        let Some(reference) = Reference::of(&levels) else { continue };
        let own = step.soak.electrified;
        let other = there.iter().map(|s| s.soak.electrified).find(|t| (t.0 - own.0).abs() > SAME_TIME * own.0.abs());
        made.push(AtVoltage {
            set: step.set,
            difference: if other.is_some() { None } else { difference(step.soak.leakage, &reference) },
            times: other.map(|t| (own, t)),
            a: step.clone(),
            b: reference,
        });
    }
    made
}
