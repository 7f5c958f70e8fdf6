//! The courses of starts against the envelope of the other side's good ones: how many leave
//! it, and when first.

use super::ALIKE;
use crate::analysis::numeric::distribution::binomial;
use crate::analysis::rank::median;
use crate::analysis::signature::envelope::{Alignment, Departure, Envelope};
use crate::analysis::start::Look;
use crate::units::Seconds;

/// Of good starts of the same run about one in so many leaves the envelope.
const LEAVES: f64 = 0.1;

/// How starts lie to an envelope.
#[derive(Clone, Debug, PartialEq)]
pub struct Parting {
    /// The envelope.
    pub envelope: Envelope,
    /// How many were compared.
    pub compared: usize,
    /// How many leave it.
    pub left: usize,
    /// The chance of so many, or more, were one in ten to leave it.
    pub chance: f64,
    /// When the middle one of those that leave it does so.
    pub at: Option<Seconds>,
    /// And one that leaves it about then.
    pub typical: Option<Departure>,
}

impl Parting {
    /// Whether they take another course: a third at least leaves the envelope, and more than
    /// by chance.
    pub fn differ(&self) -> bool {
        self.left * 3 >= self.compared && self.chance <= 0.05 && self.left > 0
    }
}

/// Compares starts with the envelope of good ones of another run or of other units; `None`
/// where these are too few for one, or there is no start to compare. Starts that never rise
/// have no course from their first rise on, and are not compared there.
pub fn part(good: &[&[Look]], starts: &[&[Look]], alignment: Alignment) -> Option<Parting> {
    let envelope = Envelope::of(good, alignment)?;
    let starts: Vec<&&[Look]> = starts.iter().filter(|s| alignment == Alignment::SwitchOn || envelope.rises(s)).collect();
    if starts.is_empty() {
        return None;
    }
    let left: Vec<Departure> = starts.iter().filter_map(|looks| envelope.departure_of_another(looks, ALIKE)).collect();
    let at = median(&left.iter().map(|d| d.at.0).collect::<Vec<_>>());
    let far = |d: &Departure| (d.at.0 - at.unwrap_or_default()).abs();
    let typical = left.iter().min_by(|a, b| far(a).total_cmp(&far(b))).copied();
    let chance = match left.len().checked_sub(1) {
        None => 1.0,
        Some(fewer) => binomial(fewer as u64, starts.len() as u64, LEAVES).map_or(1.0, |tails| tails.above),
    };
    Some(Parting { compared: starts.len(), left: left.len(), chance, at: at.map(Seconds), typical, envelope })
}
