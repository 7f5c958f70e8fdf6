//! The annex: every part, every finding, what was done and set, and the texts that were followed.

use crate::record::{RecordError, Run};
use crate::units::{Unit, engineering};
use maud::{Markup, html};

pub(super) fn annex(runs: &[&Run]) -> Result<Markup, RecordError> {
    let mut made = Vec::new();
    for run in runs {
        made.push(of(run)?);
    }
    Ok(html! { section.annex { h1 { "Annex" } @for one in &made { (one) } } })
}

fn of(run: &Run) -> Result<Markup, RecordError> {
    let name = run.folder().file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    Ok(html! {
        h2 { "Record " (name) ": " (run.unit) ", " (run.title) }
        p { "Began " (run.began) " (UTC); ended: " (run.how.as_deref().unwrap_or("cut off")) ". " (run.tool) "." }
        (parts(run)?)
        (findings(run)?)
        (stages(run)?)
        (settings(run)?)
        @for file in run.files()?.iter().filter(|f| f.kind != "unit") {
            h3 { (file.kind) ": " (file.name) }
            pre { (file.text) }
        }
    })
}

fn parts(run: &Run) -> Result<Markup, RecordError> {
    let (trials, measures, skips) = (run.trials()?, run.measures()?, run.skips()?);
    let told = |trial: u32| -> Vec<String> { measures.iter().filter(|m| m.trial == trial).map(|m| m.told()).collect() };
    Ok(html! {
        @if !trials.is_empty() {
            h3 { "Every trial, in its order" }
            table {
                thead { tr { th.number { "trial" } th { "of" } th.plain { "outcome" } th { "measured" } } }
                tbody { @for t in &trials { tr {
                    td.number { (t.number) }
                    td.plain { (t.kind) " " (t.name) }
                    td.plain { (t.outcome.word()) }
                    td {
                        @for line in told(t.number) { div { (line) } } @if told(t.number).is_empty() { (t.why) }
                        @if let Some(first) = t.retest_of { div.small { "again after trial " (first) @if let Some(why) = &t.retest_why { ": " (why) } } }
                        @if let Some(control) = t.doubted { div.small { strong { "doubtful" } " by the control in trial " (control) } }
                    }
                } } }
            }
        }
        @if !skips.is_empty() {
            h3 { "Left out" }
            ul { @for skip in &skips { li { "Part " (skip.name) ": " (skip.why) } } }
        }
    })
}

fn findings(run: &Run) -> Result<Markup, RecordError> {
    let all = run.findings()?;
    Ok(html! {
        h3 { "Findings" }
        @if all.is_empty() { p { "None." } }
        table { tbody { @for f in &all { tr {
            td.plain { (f.severity) } td.plain { @match f.stage { Some(stage) => { "stage " (stage) } None => { "run" } } }
            td {
                (f.sentence)
                @if !f.figures.is_empty() { div.small { @for (i, (name, value)) in f.figures.iter().enumerate() { @if i > 0 { "; " } (name) ": " (value) } "." } }
            }
        } } } }
    })
}

fn stages(run: &Run) -> Result<Markup, RecordError> {
    let all = run.stages()?;
    Ok(html! {
        h3 { "What was done" }
        table { tbody { @for s in &all { tr {
            td.number { (s.number) } td { (s.kind) } td { (s.what) } td { (s.how.as_deref().unwrap_or("cut off")) }
        } } } }
    })
}

/// Each setting as read back, once for all stages that had it.
fn settings(run: &Run) -> Result<Markup, RecordError> {
    let mut told: Vec<(Vec<u32>, String, String, String)> = Vec::new();
    for s in run.settings()? {
        let unit = Unit::from_symbol(&s.unit).unwrap_or(Unit::Volt);
        let back = s.read_back.map_or_else(|| "cannot be asked".to_owned(), |v| engineering(v, unit, 4));
        let (what, set) = (s.what, engineering(s.wanted, unit, 4));
        match told.iter_mut().find(|t| t.1 == what && t.2 == set && t.3 == back) {
            Some(t) if t.0.contains(&s.stage) => {}
            Some(t) => t.0.push(s.stage),
            None => told.push((vec![s.stage], what, set, back)),
        }
    }
    Ok(html! {
        h3 { "Settings, as read back" }
        table {
            thead { tr { th { "what" } th.number { "set" } th.number { "read back" } th { "stages" } } }
            tbody { @for (stages, what, set, back) in &told { tr {
                td { (what) } td.number { (set) } td.number { (back) } td { (ranges(stages)) }
            } } }
        }
    })
}

/// `1 to 3, 7`.
fn ranges(numbers: &[u32]) -> String {
    let mut made: Vec<(u32, u32)> = Vec::new();
    for number in numbers {
        match made.last_mut() {
            Some((_, last)) if *last + 1 == *number => *last = *number,
            _ => made.push((*number, *number)),
        }
    }
    let words = made.iter().map(|(a, b)| if a == b { a.to_string() } else { format!("{a} to {b}") });
    words.collect::<Vec<_>>().join(", ")
}
