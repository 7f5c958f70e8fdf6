//! Which part comes next: controls when they are due, retests, parts in doubt, and then
//! the next of the lot.
//!
//! Holds always: it is a function of what has been recorded, so that a lot that was cut
//! goes on where it stood.

use crate::analysis::inspection::Outcome;
use crate::analysis::inspection::Seen;
use crate::analysis::inspection::decision::{Count, Sampling};
use crate::analysis::inspection::lot::{self, Part, Tried};
use crate::analysis::uncertainty::Limit;
use crate::plan::{Inspection, Lot, OnDrift};
use crate::units::Unit;
use std::collections::{BTreeMap, VecDeque};

/// A trial of a control part.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::runner) struct Checked {
    pub(in crate::runner) number: u32,
    pub(in crate::runner) name: String,
    /// Its value, where it was read.
    pub(in crate::runner) value: Option<f64>,
    pub(in crate::runner) in_control: bool,
}

/// A quantity that is compared in the lot.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::runner) struct Charted {
    pub(in crate::runner) what: String,
    pub(in crate::runner) unit: Option<Unit>,
    pub(in crate::runner) seen: Seen,
    pub(in crate::runner) limit: Limit,
}

/// What is known of a lot so far: what its record holds.
#[derive(Clone, Debug, Default)]
pub(in crate::runner) struct Known {
    pub(in crate::runner) tried: Vec<Tried>,
    pub(in crate::runner) checked: Vec<Checked>,
    pub(in crate::runner) skipped: Vec<u32>,
    /// The charted quantity of each trial.
    pub(in crate::runner) charted: BTreeMap<u32, Charted>,
    /// How the lot was sampled when it was begun; none before that.
    pub(in crate::runner) sampling: Option<Sampling>,
    /// How many trials have begun.
    pub(in crate::runner) begun: u32,
    /// Parts that the operator wants again, and why.
    pub(in crate::runner) wanted: VecDeque<(u32, String)>,
    /// Why no further part is taken.
    pub(in crate::runner) held: Option<String>,
}

/// What comes next.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::runner) enum Next {
    /// A control part, by its place among the plan's.
    Control(usize),
    /// A part of the lot, again where there is a reason.
    Part { position: u32, why: Option<String> },
    /// Everything has been done, or may not be.
    Over,
}

/// The order of a lot.
pub(in crate::runner) struct Turns<'p> {
    pub(in crate::runner) inspection: &'p Inspection,
    pub(in crate::runner) sampling: Sampling,
    pub(in crate::runner) order: Vec<u32>,
}

impl<'p> Turns<'p> {
    pub(in crate::runner) fn new(lot: &Lot, inspection: &'p Inspection, seed: u64) -> Self {
        Self { inspection, sampling: lot.sampling.numbers, order: lot.order(seed) }
    }

    /// The parts counted.
    pub(in crate::runner) fn count(&self, known: &Known) -> Count {
        lot::count(&self.order, &known.skipped, &known.tried, self.inspection.counting, &self.sampling)
    }

    /// The first trial of a part, where it has had one.
    pub(in crate::runner) fn first(known: &Known, position: u32) -> Option<u32> {
        known.tried.iter().find(|t| t.position == position).map(|t| t.number)
    }

    /// Whether the latest trial of some control is out of control.
    pub(in crate::runner) fn failed(&self, known: &Known) -> Option<usize> {
        let controls = self.inspection.controls.as_ref()?;
        let latest = |name: &str| known.checked.iter().rfind(|c| c.name == name);
        controls.all().position(|(control, _)| latest(&control.name).is_some_and(|c| !c.in_control))
    }

    pub(in crate::runner) fn next(&self, known: &Known) -> Next {
        if known.held.is_some() {
            return Next::Over;
        }
        if let Some(control) = self.control(known, |since, every| since >= every) {
            return Next::Control(control);
        }
        if let Some((position, why)) = known.wanted.front() {
            return Next::Part { position: *position, why: Some(why.clone()) };
        }
        if let Some((position, why)) = self.again(known) {
            return Next::Part { position, why: Some(why) };
        }
        let over = self.sampling.is_over(&self.count(known));
        if let Some(position) = self.fresh(known).filter(|_| !over) {
            return Next::Part { position, why: None };
        }
        self.control(known, |since, _| since > 0).map_or(Next::Over, Next::Control)
    }

    /// The control that is due: one that was never measured, or by the parts since.
    fn control(&self, known: &Known, due: impl Fn(u32, u32) -> bool) -> Option<usize> {
        let controls = self.inspection.controls.as_ref()?;
        controls.all().position(|(control, _)| {
            let last = known.checked.iter().rfind(|c| c.name == control.name);
            let since = |number: u32| known.tried.iter().filter(|t| t.number > number && t.outcome != Outcome::Void).count();
            last.is_none_or(|c| due(u32::try_from(since(c.number)).unwrap_or(u32::MAX), controls.every))
        })
    }

    /// A part that has to be measured again, and why.
    fn again(&self, known: &Known) -> Option<(u32, String)> {
        let mut seen = Vec::new();
        for trial in &known.tried {
            if seen.contains(&trial.position) || known.skipped.contains(&trial.position) {
                continue;
            }
            seen.push(trial.position);
            let own = || known.tried.iter().filter(|t| t.position == trial.position);
            let counted = u32::try_from(own().filter(|t| t.counts()).count()).unwrap_or(u32::MAX);
            match lot::part(&known.tried, trial.position, self.inspection.counting) {
                Part::Open => return Some((trial.position, "the trial before was cut short".into())),
                Part::Doubtful if self.inspection.on_drift != OnDrift::GoOn && self.failed(known).is_none() => {
                    return Some((trial.position, "measured since the last good control before one that failed".into()));
                }
                Part::Judged(outcome, _) if !outcome.is_conforming() && counted <= self.inspection.retests => {
                    return Some((trial.position, format!("{}: it is taken out and put in again", outcome.word())));
                }
                _ => {}
            }
        }
        None
    }

    /// The next part that was not yet taken.
    fn fresh(&self, known: &Known) -> Option<u32> {
        let taken = |p: &u32| known.tried.iter().any(|t| t.position == *p);
        let there = self.order.iter().filter(|p| taken(p) && !known.skipped.contains(p)).count();
        if u32::try_from(there).is_ok_and(|there| there >= self.sampling.sample) {
            return None;
        }
        self.order.iter().find(|p| !taken(p) && !known.skipped.contains(p)).copied()
    }
}
