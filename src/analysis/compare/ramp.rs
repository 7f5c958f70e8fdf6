//! Two ramps: where current begins, where the unit starts and drops out, on both sides.

use crate::analysis::ramp::{Jump, Leg, Place, Step, Summary, Threshold};
use crate::units::Volts;

/// A voltage at which something happens, on both sides.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// What happens.
    pub name: &'static str,
    /// On the first side; `None`: it does not happen.
    pub a: Option<Place>,
    /// On the other, run by run; those in which it does not happen are left out.
    pub b: Vec<Place>,
    /// How many runs the other side has.
    pub runs: usize,
}

impl Event {
    /// How far the first side lies outside of what the other has, with the expanded
    /// uncertainty, where it happens on both: that of steps, whose ends are added up, since
    /// a place may lie anywhere within its own.
    pub fn difference(&self) -> Option<(Volts, Volts)> {
        let a = self.a?;
        let apart = |b: &Place| (a.volts - b.volts, a.expanded + b.expanded);
        let nearest = self.b.iter().map(apart).min_by(|x, y| x.0.0.abs().total_cmp(&y.0.0.abs()))?;
        let (least, most) =
            self.b.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), p| (l.min(p.volts.0), m.max(p.volts.0)));
        // Between two good units is as good as either.
        Some(if (least..=most).contains(&a.volts.0) { (Volts(0.0), nearest.1) } else { nearest })
    }

    /// Whether the sides differ: it happens on one alone, or at voltages that can be told
    /// apart.
    pub fn differs(&self) -> bool {
        match (self.a, self.b.len()) {
            (None, n) => n == self.runs && self.runs > 0,
            (Some(_), 0) => true,
            (Some(_), _) => self.difference().is_some_and(|(by, expanded)| by.0.abs() > expanded.0),
        }
    }
}

/// How far ramps came, of the voltage that each was to reach.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reach {
    /// The highest voltage that was set on the way up.
    pub highest: Volts,
    /// It was the ramp's end.
    pub whole: bool,
}

impl Reach {
    /// Of the steps of a ramp to `to`.
    pub fn of(steps: &[Step], to: Volts) -> Self {
        let up = steps.iter().filter(|s| s.leg == Leg::Up);
        let highest = up.map(|s| s.set).fold(Volts(0.0), Volts::max);
        Self { highest, whole: highest.0 >= to.0 * (1.0 - 1e-6) }
    }
}

/// What happens on either side, in the order of a ramp.
pub fn events(a: &Summary, b: &[&Summary]) -> Vec<Event> {
    let threshold = |s: &Summary| match s.threshold {
        Some(Threshold::At(place)) => Some(place),
        Some(Threshold::FromZero) => Some(Place { volts: Volts(0.0), expanded: Volts(0.0) }),
        None => None,
    };
    let jump = |jump: Option<Jump>| jump.map(|j| j.at);
    let event = |name, of: &dyn Fn(&Summary) -> Option<Place>| Event {
        name,
        a: of(a),
        b: b.iter().filter_map(|s| of(s)).collect(),
        runs: b.len(),
    };
    [
        event("a current that can be told from zero begins", &threshold),
        event("it starts", &|s| jump(s.starts)),
        event("the supply begins to limit", &|s| s.limiting.as_ref().map(|l| l.from)),
        event("it drops out, on the way down", &|s| jump(s.drops_out)),
    ]
    .into_iter()
    .filter(|e| e.a.is_some() || !e.b.is_empty())
    .collect()
}
