//! What came of it: the decision on a lot, before and after a repair, or the findings.

use crate::analysis::inspection::{Charted, Outcome, Seen};
use crate::analysis::proportion::{clopper_pearson, fisher, starts_after_needed};
use crate::analysis::uncertainty::{COVERAGE, Limit};
use crate::record::{FindingRow, LotRow, MeasureRow, RecordError, Run, TrialRow};
use crate::units::{Unit, engineering};
use maud::{Markup, html};

/// Findings that the sheet has room for.
const MOST: usize = 6;
/// Nonconforming parts that are named on it.
const NAMED: usize = 40;
/// Notes that belong on it; the others are for whoever looks into the annex.
const NOTES: [&str; 5] = ["ramp-current", "log-current", "starts-good", "claim-proved", "leakage-pass"];
/// Confidence of what is said to be proved.
const CONFIDENCE: f64 = 0.95;

pub(super) fn results(run: &Run, before: Option<&Run>, lot: Option<&LotRow>) -> Result<Markup, RecordError> {
    if let Some(lot) = lot {
        return of_lot(run, lot);
    }
    Ok(html! {
        p.small { "Rule: a leakage is held against its limit with a guard band of its expanded uncertainty (ILAC-G8:09/2019, w = U); failing rates have exact intervals; what else is expected stands in the plan (annex)." }
        @if let Some(before) = before { (repair(before, run)?) }
        (findings(run)?)
    })
}

fn of_lot(run: &Run, lot: &LotRow) -> Result<Markup, RecordError> {
    let (trials, measures, end) = (run.trials()?, run.measures()?, run.lot_end()?);
    let counting = counting(&trials, lot);
    let rows = quantities(&counting, &measures);
    let named = |t: &&TrialRow| counting.contains(&t.number) && t.outcome.is_nonconforming();
    let nonconforming: Vec<&str> = trials.iter().filter(named).map(|t| t.name.as_str()).collect();
    Ok(html! {
        p.outcome {
            @match &end {
                Some(end) => { "Lot " (lot.number) ": " strong.mark { (end.decision.name()) } " – " (end.why) "." }
                None => { "Lot " (lot.number) ": " strong.mark { "not finished" } "." }
            }
        }
        p {
            "Rule: accepted with up to " (lot.accept) " nonconforming of " (lot.sample) ", refused from " (lot.reject)
            " (" (lot.sampled) "); guard band " (lot.rule) "; of a part that was measured again the " (lot.counting) " trial counts."
            @if let Some(why) = &lot.overdue { strong { " An expired calibration was let pass: " (why) "." } }
        }
        @if let Some(count) = end.as_ref().map(|e| e.count) {
            p {
                (count.judged) " judged, " (count.nonconforming) " nonconforming, " (count.not_adequate) " for which the instrument was not adequate, "
                (count.doubtful) " doubtful, " (count.skipped) " left out, " (count.open) " not measured."
            }
        }
        @if !nonconforming.is_empty() {
            p { "Nonconforming: " (nonconforming.iter().take(NAMED).copied().collect::<Vec<_>>().join(", "))
                @if nonconforming.len() > NAMED { " and " (nonconforming.len() - NAMED) " more (annex)" } "." }
        }
        table {
            caption { "Values of the parts (retests in the annex)" }
            thead { tr { th { "quantity" } th.number { "parts" } th.number { "least" } th.number { "middle" } th.number { "most" } th.number { "± at most" } th { "allowed" } } }
            tbody { @for row in rows { tr {
                td { (row.what) } td.number { (row.parts) } td.number { (row.least) } td.number { (row.middle) } td.number { (row.most) }
                td.number { (row.expanded) } td { (row.allowed) }
            } } }
        }
    })
}

struct Quantity {
    what: String,
    parts: usize,
    least: String,
    middle: String,
    most: String,
    expanded: String,
    allowed: String,
}

/// The trial of each part that counts: of those that came to something and are not in
/// doubt the last, or the worst.
fn counting(trials: &[TrialRow], lot: &LotRow) -> Vec<u32> {
    let weight = |t: &TrialRow| match t.outcome {
        Outcome::Judged(standing) => standing.weight(),
        Outcome::Void => 0,
    };
    let mut made: Vec<&TrialRow> = Vec::new();
    for trial in trials.iter().filter(|t| t.kind == "part" && t.doubted.is_none() && t.outcome != Outcome::Void) {
        match made.iter_mut().find(|t| t.name == trial.name) {
            Some(before) if lot.counting == "last" || weight(trial) > weight(before) => *before = trial,
            Some(_) => {}
            None => made.push(trial),
        }
    }
    made.into_iter().map(|t| t.number).collect()
}

/// Each quantity by which parts are compared, over the trials that count.
fn quantities(counting: &[u32], measures: &[MeasureRow]) -> Vec<Quantity> {
    let counts = |m: &&MeasureRow| m.charted == Charted::Yes && counting.contains(&m.trial);
    let mut names: Vec<(&str, Option<Unit>)> = Vec::new();
    for m in measures.iter().filter(counts) {
        if !names.contains(&(m.what.as_str(), m.unit)) {
            names.push((&m.what, m.unit));
        }
    }
    let of = |(what, unit): (&str, Option<Unit>)| {
        let own: Vec<&MeasureRow> = measures.iter().filter(counts).filter(|m| m.what == what && m.unit == unit).collect();
        let mut values: Vec<f64> = own.iter().filter_map(|m| m.seen.value()).collect();
        values.sort_by(f64::total_cmp);
        let one = |v: f64| unit.map_or_else(|| format!("{v:.0}"), |unit| engineering(v, unit, 3));
        let at = |place: usize| values.get(place).map_or_else(|| "–".to_owned(), |v| one(*v));
        let without = own.len() - values.len();
        let expanded = own.iter().filter_map(|m| match m.seen {
            Seen::Value { u, .. } => Some(COVERAGE * u),
            _ => None,
        });
        let expanded = expanded.fold(None, |most: Option<f64>, u| Some(most.map_or(u, |m| m.max(u))));
        let mut allowed: Vec<String> = own
            .iter()
            .map(|m| match m.limit {
                Limit::Upper(high) => format!("at most {}", one(high)),
                Limit::Lower(low) => format!("at least {}", one(low)),
                Limit::Between(low, high) => format!("{} to {}", one(low), one(high)),
            })
            .collect();
        allowed.dedup();
        Quantity {
            what: if without > 0 { format!("{what} ({without} without a value)") } else { what.to_owned() },
            parts: own.len(),
            least: at(0),
            middle: at(values.len().saturating_sub(1) / 2),
            most: at(values.len().saturating_sub(1)),
            expanded: expanded.filter(|u| *u > 0.0).map_or_else(|| "–".into(), one),
            allowed: allowed.join("; "),
        }
    };
    names.into_iter().map(of).collect()
}

/// Starts that failed, and starts that count.
fn starts(run: &Run) -> Result<(u64, u64), RecordError> {
    let mut made = (0, 0);
    for stage in run.stages()? {
        for start in run.starts(stage.number)? {
            made.0 += u64::from(start.counts == "failed");
            made.1 += u64::from(start.counts != "void");
        }
    }
    Ok(made)
}

fn repair(before: &Run, after: &Run) -> Result<Markup, RecordError> {
    let (was, is) = (starts(before)?, starts(after)?);
    let told = |(failed, of): (u64, u64)| match clopper_pearson(failed, of, CONFIDENCE) {
        Some(i) => {
            let percent = |share: f64| engineering(share, Unit::Percent, 3);
            format!("{failed} of {of} starts failed ({} to {} with 95 %)", percent(i.low.0), percent(i.high.0))
        }
        None => "no starts that count".to_owned(),
    };
    let sentence = fisher(was, is).map(|test| {
        let figure = if test.fewer < 1e-4 { "less than 0.01 %".into() } else { engineering(test.fewer, Unit::Percent, 2) };
        let chance = format!("Had nothing changed, so few failures after would have a chance of {figure}");
        if test.fewer <= 1.0 - CONFIDENCE {
            return format!(
                "{chance}: the unit fails less often than before, with 95 % confidence (Fisher's exact test, one-sided)."
            );
        }
        let more = starts_after_needed(was, is.0, CONFIDENCE)
            .map_or(String::new(), |n| format!(" {n} starts after it, with no more failures than now, would be."));
        format!("{chance}: this is not yet proof of the repair (Fisher's exact test, one-sided).{more}")
    });
    let plan = |run: &Run| -> Result<Option<String>, RecordError> {
        Ok(run.files()?.into_iter().rfind(|f| f.kind == "plan").map(|f| f.text))
    };
    let same = plan(before)? == plan(after)? && before.unit == after.unit;
    Ok(html! {
        table { caption { "Before and after" } tbody {
            tr { th { "before" } td { (told(was)) } }
            tr { th { "after" } td { (told(is)) } }
        } }
        @if let Some(sentence) = &sentence { p.outcome { (sentence) } }
        @if same { p { "Plan and unit were the same." } }
        @else { p { strong { "Plan or unit were not the same: `rampart compare` says what differs, and the figures above may compare what cannot be compared." } } }
    })
}

fn findings(run: &Run) -> Result<Markup, RecordError> {
    let all = run.findings()?;
    let belongs = |f: &&FindingRow| f.severity != "note" || NOTES.contains(&f.code.as_str());
    let shown: Vec<&FindingRow> = all.iter().filter(belongs).take(MOST).collect();
    let word = |f: &FindingRow| match f.severity.as_str() {
        "anomaly" => "Anomaly",
        "undecided" => "Undecided",
        _ => "Note",
    };
    Ok(html! {
        table {
            caption { "Findings" @if all.len() > shown.len() { " (" (shown.len()) " of " (all.len()) "; all in the annex)" } }
            tbody { @for f in shown { tr { td { strong.mark { (word(f)) } } td { (f.sentence) } } } }
        }
    })
}
