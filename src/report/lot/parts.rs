//! Every part with all of its results, the worst first.

use super::Lot;
use crate::analysis::inspection::lot::Part;
use crate::analysis::inspection::{Outcome, Seen};
use crate::analysis::uncertainty::{COVERAGE, Limit, Standing};
use crate::record::{MeasureRow, PartRow, TrialRow};
use crate::units::{engineering, with_uncertainty};
use maud::{Markup, html};

/// A part's line.
struct Line<'l> {
    position: u32,
    name: &'l str,
    part: Part,
    /// By how much of its limit the charted quantity is used up.
    used: f64,
}

pub(super) fn table(lot: &Lot) -> Markup {
    let mut lines: Vec<Line<'_>> = lot
        .parts
        .iter()
        .map(|row| {
            let PartRow { position, name, stands: part } = row;
            let (position, part) = (*position, *part);
            let trial = match part {
                Part::Judged(_, number) => Some(number),
                Part::Open | Part::Doubtful => lot.trials_of(position).last().map(|t| t.number),
            };
            Line { position, name, part, used: trial.and_then(|n| lot.charted(n)).map_or(0.0, used) }
        })
        .collect();
    lines.sort_by(|a, b| weight(b.part).cmp(&weight(a.part)).then(b.used.total_cmp(&a.used)).then(a.position.cmp(&b.position)));
    if lines.is_empty() {
        return html! {};
    }
    let serials = lines.iter().any(|l| l.name != l.position.to_string());
    html! {
        div.wide { table {
            caption { "Every part, the worst first" }
            thead { tr { th { "part" } @if serials { th.number { "position" } } th { "outcome" } th.number { "of its limit" } th { "results, in their order" } } }
            tbody { @for line in &lines { tr {
                td { (line.name) }
                @if serials { td.number { (line.position) } }
                td { @match line.part {
                    Part::Judged(outcome, _) if outcome.is_conforming() => (outcome.word()),
                    Part::Judged(outcome, _) => strong { (outcome.word()) },
                    Part::Doubtful => strong { "in doubt" },
                    Part::Open => "not measured",
                } }
                td.number { @if line.used.is_finite() && line.used > 0.0 { (format!("{:.1} %", 100.0 * line.used)) } @else { "–" } }
                td { @for (i, trial) in lot.trials_of(line.position).enumerate() { @if i > 0 { br; } (result(lot, trial, i)) } }
            } } }
        } }
        p.small { "A retest stands beside the first result and never over it. In brackets the number of the trial in the record. Expanded uncertainties with k = 2." }
    }
}

/// The heaviest first.
fn weight(part: Part) -> u8 {
    match part {
        Part::Judged(Outcome::Judged(standing), _) => 2 * standing.weight(),
        Part::Doubtful => 2 * Standing::NotAdequate.weight() + 1,
        Part::Open | Part::Judged(Outcome::Void, _) => 3,
    }
}

fn used(measure: &MeasureRow) -> f64 {
    match (measure.seen, measure.limit) {
        (Seen::Value { value, .. }, Limit::Upper(high)) => value / high,
        (Seen::Value { value, .. }, Limit::Lower(low)) => low / value,
        (Seen::Value { value, .. }, Limit::Between(low, high)) => (value - f64::midpoint(low, high)).abs() / (0.5 * (high - low)),
        (Seen::Overload, _) => f64::INFINITY,
        (Seen::BelowFloor { .. } | Seen::Missing, _) => 0.0,
    }
}

/// One result in a few words.
fn result(lot: &Lot, trial: &TrialRow, index: usize) -> String {
    let read = match lot.charted(trial.number) {
        Some(m) => match (m.seen, m.unit) {
            (Seen::Value { value, u }, Some(unit)) => with_uncertainty(value, COVERAGE * u, unit),
            (Seen::BelowFloor { floor }, Some(unit)) => format!("below {}", engineering(floor, unit, 2)),
            (seen, _) => seen.word().to_owned(),
        },
        None => trial.why.clone(),
    };
    let again = if index > 0 { "again: " } else { "" };
    let why = trial.retest_why.as_ref().map_or(String::new(), |why| format!("; {why}"));
    let doubt = if trial.doubted.is_some() { ", in doubt" } else { "" };
    format!("{again}{}, {read}{doubt} ({}{why})", trial.outcome.word(), trial.number)
}
