//! Everything that can be known before anything is energised: what cannot work,
//! what should be thought over, how long it takes and what it may cost the unit.
//!
//! Holds always: an error here means exit code 2 and that nothing was energised;
//! a plan without errors is handed on as [`Passed`], which only this module makes.

mod bench;
mod estimate;
mod leakage;
mod lot;
mod meter;
mod stages;
mod supply;
#[cfg(test)]
pub(super) mod tests;

pub use estimate::{Estimate, StageEstimate};

use super::{Bench, Inspection, Lot, Plan};
use crate::document::{Document, Problem, Problems, Span};
use crate::units::{Quantity, engineering};

/// A plan and a bench that have passed the check together.
#[derive(Clone, Debug)]
pub struct Passed {
    plan: Plan,
    bench: Bench,
    /// The lot, and how its parts are inspected.
    lot: Option<(Lot, Inspection)>,
}

impl Passed {
    /// The lot whose parts the plan is carried out for, and how.
    pub fn lot(&self) -> Option<&(Lot, Inspection)> {
        self.lot.as_ref()
    }

    /// The plan.
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The bench.
    pub fn bench(&self) -> &Bench {
        &self.bench
    }
}

/// What the check found.
#[derive(Debug)]
pub struct Checked {
    /// The pair, where nothing forbids the run.
    pub passed: Option<Passed>,
    /// Errors and warnings.
    pub problems: Problems,
    /// What the run will take.
    pub estimate: Estimate,
}

/// Checks a plan against a bench. `today` as 2026-11-25, for the calibration dates.
pub fn check(plan: Plan, bench: Bench, today: &str) -> Checked {
    check_lot(plan, None, bench, today)
}

/// The same of a plan that is carried out for each part of a lot.
pub fn check_lot(plan: Plan, lot: Option<Lot>, bench: Bench, today: &str) -> Checked {
    let mut findings = Findings { problems: Problems::default(), terminals: Vec::new() };
    bench::check(&plan, &bench, today, &mut findings);
    for stage in &plan.stages {
        stages::check(&plan, &bench, stage, &mut findings);
    }
    let inspection = plan.inspection.clone().unwrap_or_else(|| super::inspection::usual(plan.unit.places.clone()));
    lot::check(&plan, &inspection, lot.as_ref(), &bench, today, &mut findings);
    let trials = lot.as_ref().map_or(1, |lot| estimate::trials(lot, &inspection));
    let estimate = estimate::estimate(&plan, &bench, trials);
    estimate::check(&plan, &estimate, &mut findings);
    let problems = findings.problems;
    let lot = lot.map(|lot| (lot, inspection));
    let passed = (!problems.any_errors()).then_some(Passed { plan, bench, lot });
    Checked { passed, problems, estimate }
}

/// Gathers problems.
struct Findings {
    problems: Problems,
    /// The meter's terminals that have been spoken of: one word each is enough.
    terminals: Vec<String>,
}

impl Findings {
    fn error(&mut self, document: &Document, span: Span, title: String, label: &str, hint: &str) {
        self.problems.push(made(document, span, title, label, hint));
    }

    fn warning(&mut self, document: &Document, span: Span, title: String, label: &str, hint: &str) {
        self.problems.push(made(document, span, title, label, hint).warning());
    }
}

fn made(document: &Document, span: Span, title: String, label: &str, hint: &str) -> Problem {
    let problem = Problem::at(document, span, title).label(label);
    if hint.is_empty() { problem } else { problem.hint(hint) }
}

/// A value that was computed, to three digits; what stands in a file is printed as it stands there.
fn rounded<Q: Quantity>(value: Q) -> String {
    engineering(value.value(), Q::UNIT, 3)
}
