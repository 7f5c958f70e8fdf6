//! States that a plan declares, held against what the readings show.

use super::{Found, Place};
use crate::analysis::start::Band;
use crate::units::Amperes;

/// How the readings contradict the declared bands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Contradiction {
    /// One band holds two distinct levels.
    TwoInOne {
        /// The band's place in the list.
        band: usize,
        /// The levels, the lower first.
        levels: (Amperes, Amperes),
    },
    /// A level lies outside all bands.
    Outside {
        /// Its middle.
        level: Amperes,
        /// Its share of the readings.
        share: f64,
    },
}

/// Two levels of one band are told from this share of its width on: a ripple that the
/// starts end in at random looks like two levels, too, and belongs to one state.
const FAR: f64 = 0.25;

/// Contradictions between the states found and the declared bands. A level belongs to a
/// band if its middle lies in it within the instrument's expanded uncertainty. A band that
/// nothing visits contradicts nothing, and what lies below the floor is judged elsewhere.
pub fn contradictions(found: &Found, bands: &[Band]) -> Vec<Contradiction> {
    let mut made = Vec::new();
    let levels: Vec<(Amperes, Amperes, f64)> = found
        .states
        .iter()
        .filter_map(|s| match s.place {
            Place::At { middle, u, .. } => Some((middle, u, s.share)),
            Place::BelowFloor { .. } => None,
        })
        .collect();
    let holds = |band: &Band, (middle, u, _): &(Amperes, Amperes, f64)| {
        middle.0 + 2.0 * u.0 >= band.low.0 && middle.0 - 2.0 * u.0 <= band.high.0
    };
    for (index, band) in bands.iter().enumerate() {
        let mut inside = levels.iter().filter(|l| holds(band, l));
        if let (Some(first), Some(last)) = (inside.next(), inside.next_back())
            && (last.0 - first.0).0 > FAR * (band.high - band.low).0
        {
            made.push(Contradiction::TwoInOne { band: index, levels: (first.0, last.0) });
        }
    }
    for level in levels.iter().filter(|l| !bands.iter().any(|b| holds(b, l))) {
        made.push(Contradiction::Outside { level: level.0, share: level.2 });
    }
    made
}
