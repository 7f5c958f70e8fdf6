//! One start: how it ended, told from current, limiting, time and what was left
//! at the unit before it.
//!
//! Holds always: a start of which too little was seen is void, never good and
//! never "no current"; a current below the floor is called that and not zero.

use super::Level;
use crate::units::{Amperes, Seconds, Volts};

/// One look at the unit while it starts.
#[derive(Clone, Copy, Debug)]
pub struct Look {
    /// Since the output was switched on.
    pub at: Seconds,
    /// Voltage at the supply, at most: its floor, where it cannot be told from zero.
    pub voltage: Option<Volts>,
    /// Current by the best instrument.
    pub current: Level,
    /// Whether the supply was limiting; `None` where it cannot be told.
    pub limiting: Option<bool>,
}

/// A declared state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Least current.
    pub low: Amperes,
    /// Most current.
    pub high: Amperes,
}

/// How a start ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Outcome {
    /// In the good state, in time, and stayed.
    Started,
    /// In the good state, but later than the plan allows.
    Slow,
    /// No current that can be told from zero.
    BelowFloor,
    /// In a declared state that is not the good one.
    OtherState,
    /// Held in current limiting.
    InLimit,
    /// Reached the good state and left it.
    Dropped,
    /// In and out of the good state, again and again.
    Looping,
    /// More current than the good state has, without limiting.
    HighCurrent,
    /// A current that belongs to no declared state.
    NoState,
    /// An interlock tripped.
    Tripped,
    /// Not seen well enough, or cut short: does not count.
    Void,
}

impl Outcome {
    /// All.
    pub const ALL: [Outcome; 11] = [
        Outcome::Started,
        Outcome::Slow,
        Outcome::BelowFloor,
        Outcome::OtherState,
        Outcome::InLimit,
        Outcome::Dropped,
        Outcome::Looping,
        Outcome::HighCurrent,
        Outcome::NoState,
        Outcome::Tripped,
        Outcome::Void,
    ];

    /// As record and report name it.
    pub fn name(self) -> &'static str {
        match self {
            Outcome::Started => "started",
            Outcome::Slow => "slow start",
            Outcome::BelowFloor => "no start: below floor",
            Outcome::OtherState => "no start: another state",
            Outcome::InLimit => "no start: stuck in current limit",
            Outcome::Dropped => "started, then dropped",
            Outcome::Looping => "looping",
            Outcome::HighCurrent => "high current",
            Outcome::NoState => "no start: current of no known state",
            Outcome::Tripped => "tripped",
            Outcome::Void => "void",
        }
    }

    /// Whether it counts as good.
    pub fn is_good(self) -> bool {
        self == Outcome::Started
    }

    /// Whether it counts as failed. What is neither good nor failed is void.
    pub fn is_failure(self) -> bool {
        !matches!(self, Outcome::Started | Outcome::Void)
    }
}

/// A judged start.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// How it ended.
    pub outcome: Outcome,
    /// The declared state at its end, by its place in the list.
    pub state: Option<usize>,
    /// When the good state was first reached.
    pub reached: Option<Seconds>,
    /// Current at its end: the median of the last quarter.
    pub plateau: Level,
    /// Largest current that was seen as a value.
    pub peak: Option<Amperes>,
    /// Whether limiting was seen at all.
    pub limited: bool,
    /// Where it ended in limiting: the voltage when its last quarter began, and at its end.
    pub held: Option<(Volts, Volts)>,
    /// One clause that says why.
    pub reason: String,
}

/// Most of the looks that may be missing.
const MOST_MISSING: f64 = 0.3;
/// A supply that is not limiting and stays below this share of what was set has not
/// powered the unit.
const POWERED: f64 = 0.9;
/// Share of the looks at the end that must agree.
const MAJORITY: f64 = 0.6;
/// Looks in a row that make a visit to a state.
const VISIT: usize = 3;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Place {
    State(usize),
    BelowFloor,
    Above,
    Between,
    Unknown,
}

/// Judges a start at the set voltage. `bands[0]` is the state that a good start ends
/// in; `within` the time that it may take.
pub fn judge(looks: &[Look], bands: &[Band], set: Volts, within: Seconds) -> Verdict {
    let places: Vec<Place> = looks.iter().map(|l| place(l.current, bands)).collect();
    let tail = looks.len() - looks.len().div_ceil(4);
    let (end, end_places) = (looks.get(tail..).unwrap_or(&[]), places.get(tail..).unwrap_or(&[]));
    let mut made = Verdict {
        outcome: Outcome::Void,
        state: None,
        reached: None,
        plateau: plateau(end),
        peak: looks.iter().filter_map(|l| l.current.value()).reduce(Amperes::max),
        limited: looks.iter().any(|l| l.limiting == Some(true)),
        held: None,
        reason: String::new(),
    };
    let missing = places.iter().filter(|p| **p == Place::Unknown).count();
    let end_missing = end_places.iter().filter(|p| **p == Place::Unknown).count();
    if looks.len() < 4 || missing as f64 > MOST_MISSING * looks.len() as f64 || end_missing * 2 > end_places.len() {
        made.reason = format!("{missing} of {} readings are missing: too little was seen", looks.len());
        return made;
    }
    let visits = visits(&places);
    made.reached = looks.iter().zip(&places).find(|(_, p)| **p == Place::State(0)).map(|(l, _)| l.at);
    let share = |is: &dyn Fn(&Look, Place) -> bool| {
        let known = end_places.iter().filter(|p| **p != Place::Unknown).count().max(1);
        end.iter().zip(end_places).filter(|(l, p)| **p != Place::Unknown && is(l, **p)).count() as f64 / known as f64
    };
    // A start that came just before the end of the watch is late, not dropped.
    let last: Vec<&Place> = places.iter().rev().filter(|p| **p != Place::Unknown).take(VISIT).collect();
    let just_started = visits == 1 && last.iter().all(|p| **p == Place::State(0));
    let in_state = (0..bands.len()).find(|i| share(&|_, p| p == Place::State(*i)) >= MAJORITY);
    let in_state = if just_started { Some(0) } else { in_state };
    if just_started {
        made.plateau = plateau(looks.get(looks.len().saturating_sub(VISIT)..).unwrap_or(&[]));
    }
    made.state = in_state;
    let limiting = share(&|l, _| l.limiting == Some(true)) >= MAJORITY;
    let seen = end.iter().rev().find_map(|l| l.voltage);
    made.held = end.iter().find_map(|l| l.voltage).zip(seen).filter(|_| limiting);
    let unpowered = share(&|l, _| l.limiting == Some(false) && l.voltage.is_some_and(|v| v < set * POWERED)) >= MAJORITY;
    let (outcome, reason) = if let (true, Some(seen)) = (unpowered, seen) {
        (Outcome::Void, format!("the supply was not limiting, but only {} of {set} stood at its output", volts(seen)))
    } else if visits >= 3 {
        (Outcome::Looping, format!("in and out of the good state {visits} times"))
    } else if in_state == Some(0) && !limiting {
        match made.reached {
            Some(at) if at > within => {
                (Outcome::Slow, format!("reached the good state after {}, later than {within}", brief(at)))
            }
            Some(at) => (Outcome::Started, format!("in the good state after {}", brief(at))),
            None => (Outcome::Started, "in the good state".into()),
        }
    } else if limiting {
        let at = seen.map_or(String::new(), |v| format!(", at {}", volts(v)));
        (Outcome::InLimit, format!("held in current limiting with {}{at}", made.plateau))
    } else if visits >= 1 && share(&|_, p| p == Place::Above) >= MAJORITY {
        (Outcome::HighCurrent, format!("in the good state at first, then {}, more than it has", made.plateau))
    } else if visits >= 1 {
        (Outcome::Dropped, format!("left the good state; at the end {}", made.plateau))
    } else if share(&|_, p| p == Place::BelowFloor) >= MAJORITY {
        (Outcome::BelowFloor, made.plateau.to_string())
    } else if let Some(state) = in_state {
        (Outcome::OtherState, format!("stayed in state {} at {}", state + 1, made.plateau))
    } else if share(&|_, p| p == Place::Above) >= MAJORITY {
        (Outcome::HighCurrent, format!("{}, more than the good state has", made.plateau))
    } else {
        (Outcome::NoState, format!("{}: in none of the declared states", made.plateau))
    };
    made.outcome = outcome;
    made.reason = reason;
    made
}

fn volts(value: Volts) -> String {
    crate::units::engineering(value.0, crate::units::Unit::Volt, 3)
}

fn place(current: Level, bands: &[Band]) -> Place {
    match current {
        Level::Missing => Place::Unknown,
        Level::BelowFloor { .. } => Place::BelowFloor,
        Level::Overload => Place::Above,
        Level::Known { value, u } => {
            // A value on a band's edge belongs to it as long as its uncertainty reaches in.
            let inside = |b: &Band| value.0 + 2.0 * u.0 >= b.low.0 && value.0 - 2.0 * u.0 <= b.high.0;
            match bands.iter().position(inside) {
                Some(index) => Place::State(index),
                None if bands.first().is_some_and(|good| value > good.high) => Place::Above,
                None => Place::Between,
            }
        }
    }
}

/// How often the good state was entered and kept for a few looks.
///
/// What is not known ends no visit.
fn visits(places: &[Place]) -> usize {
    let good: Vec<bool> = places.iter().filter(|p| **p != Place::Unknown).map(|p| *p == Place::State(0)).collect();
    good.chunk_by(|a, b| a == b).filter(|run| run.first() == Some(&true) && run.len() >= VISIT).count()
}

/// The median of the values at the end, or what most of the end is instead.
fn plateau(end: &[Look]) -> Level {
    let mut values: Vec<(Amperes, Amperes)> = end
        .iter()
        .filter_map(|l| match l.current {
            Level::Known { value, u } => Some((value, u)),
            _ => None,
        })
        .collect();
    if values.len() * 2 >= end.len().max(1) {
        values.sort_by(|a, b| a.0.0.total_cmp(&b.0.0));
        if let Some((value, u)) = values.get(values.len() / 2) {
            return Level::Known { value: *value, u: *u };
        }
    }
    end.iter().rev().map(|l| l.current).find(|c| !matches!(c, Level::Known { .. } | Level::Missing)).unwrap_or(Level::Missing)
}

pub(super) fn brief(time: Seconds) -> String {
    crate::units::engineering(time.0, crate::units::Unit::Second, 3)
}
