//! States that a plan declares, held against what the readings show.

use super::{Found, Place, State};
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

/// Levels that no declared state holds are one within this share of the lower.
const ALIKE: f64 = 0.1;

/// The states found, those put together that the declared bands take for one: a ripple, at
/// whose phase a reading falls by chance, looks like several levels. Within a band levels
/// are one up to a quarter of its width; outside of all, up to a tenth of the current.
pub fn merged(found: &Found, bands: &[Band]) -> Found {
    let band = |state: &State| match state.place {
        Place::At { middle, u, .. } => bands.iter().find(|b| middle.0 + 2.0 * u.0 >= b.low.0 && middle.0 - 2.0 * u.0 <= b.high.0),
        Place::BelowFloor { .. } => None,
    };
    let mut states: Vec<State> = Vec::new();
    // Of what has been put together the lowest level counts: a chain of them is no one level.
    let mut lowest = f64::NAN;
    for state in &found.states {
        let Place::At { middle, .. } = state.place else {
            states.push(*state);
            continue;
        };
        let joined = states.last().filter(|_| !bands.is_empty()).and_then(|before| {
            let room = match (band(before), band(state)) {
                (Some(a), Some(b)) if a == b => FAR * (a.high - a.low).0,
                (None, None) => ALIKE * lowest.abs(),
                _ => return None,
            };
            if middle.0 - lowest <= room { together(before, state) } else { None }
        });
        match joined {
            Some(joined) => {
                states.pop();
                states.push(joined);
            }
            None => {
                lowest = middle.0;
                states.push(*state);
            }
        }
    }
    Found { states, ..found.clone() }
}

/// Two neighbouring levels as one.
fn together(lower: &State, upper: &State) -> Option<State> {
    let (
        Place::At { middle: a, within: wa, u, spread: sa, spread_within: pa, from, .. },
        Place::At { middle: b, within: wb, spread: sb, spread_within: pb, to, .. },
    ) = (lower.place, upper.place)
    else {
        return None;
    };
    let readings = lower.readings + upper.readings;
    let share = |x: f64, y: f64| (x * lower.readings + y * upper.readings) / readings;
    let middle = share(a.0, b.0);
    let spread = share(sa.0.powi(2) + (a.0 - middle).powi(2), sb.0.powi(2) + (b.0 - middle).powi(2)).sqrt();
    let place = Place::At {
        middle: Amperes(middle),
        within: (wa.0, wb.1),
        u,
        spread: Amperes(spread),
        spread_within: (pa.0.min(pb.0), Amperes(spread).max(pa.1).max(pb.1)),
        from,
        to,
    };
    let share_within = (lower.share_within.0.max(upper.share_within.0), (lower.share_within.1 + upper.share_within.1).min(1.0));
    Some(State { place, share: lower.share + upper.share, share_within, readings })
}
