//! The page of a comparison: what stands where.

use super::{Compared, Pair, Side, plots};
use crate::analysis::Level;
use crate::analysis::compare::condition::Condition;
use crate::analysis::compare::rate::Group;
use crate::analysis::compare::say::Question;
use crate::analysis::compare::text::Line;
use crate::analysis::finding::{Figure, Finding, Severity};
use crate::report::STYLE;
use crate::runner::past::Past;
use crate::units::{Ratio, engineering, with_uncertainty};
use maud::{DOCTYPE, Markup, PreEscaped, html};

pub(super) fn page(it: &Compared) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "Comparison: " (it.a.name) " and " (it.b.name) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (head(it))
                h2 { "Conditions that differ" }
                (conditions(it))
                h2 { "What has been proved" }
                div.proved { @for sentence in &it.conclusion { p { (sentence) } } }
                @for pair in &it.pairs { (self::pair(it, pair)) }
                @for alone in &it.alone { p.small { (alone) "." } }
                (cautions())
                (working(it))
            }
        }
    }
}

fn head(it: &Compared) -> Markup {
    let rehearsed = it.a.runs.iter().chain(&it.b.runs).any(|r| r.is_rehearsal);
    html! {
        header {
            @if rehearsed { p.rehearsal { "REHEARSAL on stand-in instruments and made-up units. Nothing real was measured." } }
            h1 { @if it.question == Question::Repair { "Before and after" } @else { "Against a good unit" } }
            (side(it.letter(true), &it.a))
            (side(it.letter(false), &it.b))
        }
    }
}

fn side(letter: &str, side: &Side) -> Markup {
    html! {
        p { strong { (letter) ": " (side.name) } @if side.is_good { ", a good unit of " (side.runs.len()) " run" @if side.runs.len() != 1 { "s" } } }
        ul.small { @for run in &side.runs { li { (run.unit) ": " (run.title) " " (began(run)) "; record " (run.name) "; fingerprint " (run.fingerprint) } } }
    }
}

fn began(run: &Past) -> String {
    if run.is_rehearsal { format!("(rehearsal, seed {})", run.seed) } else { format!("(began {})", run.began) }
}

fn conditions(it: &Compared) -> Markup {
    let (matter, told) = it.weighed();
    html! {
        @if matter.is_empty() {
            p { strong { "None that matters for what follows" } ", as far as it was recorded. Temperature is not measured: see to it that it was the same." }
        } @else {
            p { strong { (matter.len()) " that matter" @if matter.len() == 1 { "s" } } ": what they are named with is not compared, or proves nothing." }
            (table(&matter, true))
        }
        @if !told.is_empty() {
            p.small { "Others that differ, and do not stand in the way:" }
            (table(&told, false))
        }
        @for pair in &it.pairs { @if let Some(told) = &pair.held.off_times { p.small { "Stage " (pair.subject.number) ". " (told) } } }
        (plans(it))
    }
}

fn table(rows: &[(String, &Condition)], marked: bool) -> Markup {
    html! {
        div.cards { @for (stage, c) in rows {
            div.card {
                p { @if marked { strong.mark { "matters" } " " } strong { (stage) (c.what) } }
                p.small { "A: " (c.a) br; "B: " (c.b) }
                p.small { (c.means()) "." }
            }
        } }
    }
}

fn plans(it: &Compared) -> Markup {
    let lines = it.plan_lines();
    let changed = lines.iter().filter(|l| !matches!(l, Line::Both(_))).count();
    html! {
        @if lines.is_empty() { p.small { "The plans have the same text." } }
        @else {
            details open[changed <= 24] {
                summary { "The plans differ in " (changed) " lines (− in A alone, + in B alone)" }
                pre { @for line in &lines { @match line {
                    Line::A(text) => del { "− " (text) },
                    Line::B(text) => ins { "+ " (text) },
                    Line::Both(_) => {}
                } } }
            }
        }
    }
}

fn pair(it: &Compared, pair: &Pair) -> Markup {
    html! {
        section.stage {
            h2 { (it.heading(pair)) }
            @for f in &pair.held.findings { (finding(f)) }
            (plots::plots(it, pair))
            (tables(it, pair))
        }
    }
}

fn finding(finding: &Finding) -> Markup {
    let word = match finding.severity {
        Severity::Anomaly => "Differs",
        Severity::Undecided => "Undecided",
        Severity::Note => "Note",
    };
    html! {
        article class=(finding.severity.name()) {
            p { strong.mark { (word) } " " (finding.sentence) }
            @if let Some(advice) = &finding.advice { p.advice { "→ " (advice) } }
            @if !finding.figures.is_empty() {
                p.small { @for (i, f) in finding.figures.iter().enumerate() { @if i > 0 { "; " } (f.name) ": " (figure(f)) } "." }
            }
        }
    }
}

fn figure(f: &Figure) -> String {
    let shown = |v: f64| match f.unit {
        Some(unit) => engineering(v, unit, 3),
        None if v.fract() == 0.0 && v.abs() < 1e15 && f.interval.is_none() => format!("{v:.0}"),
        None => share(v),
    };
    let value = match (f.unit, f.expanded) {
        (Some(unit), Some(expanded)) => with_uncertainty(f.value, expanded, unit),
        _ => shown(f.value),
    };
    match f.interval {
        Some((low, high, c)) => format!("{value} ({:.0} % interval {} to {})", c * 100.0, shown(low), shown(high)),
        None => value,
    }
}

fn share(value: f64) -> String {
    if value > 0.0 && value < 1e-6 { "less than 0.0001 %".into() } else { format!("{} %", trimmed(value * 100.0)) }
}

/// Three digits, without noughts at the end.
fn trimmed(value: f64) -> String {
    if value == 0.0 {
        return "0".into();
    }
    let decimals = (2 - value.abs().log10().floor() as i32).clamp(0, 6);
    let text = format!("{value:.*}", decimals as usize);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

fn tables(it: &Compared, pair: &Pair) -> Markup {
    let held = &pair.held;
    html! {
        @if let Some(rates) = &held.rates {
            div.wide { table {
                caption { "Starts that count" }
                thead { tr { th { "side" } th.number { "failed" } th.number { "of" } th.number { "rate" } th.number { "95 % interval" } th.number { "void" } } }
                tbody { (row(&rates.a, if it.question == Question::Repair { "before" } else { "this unit" })) (row(&rates.b, if it.question == Question::Repair { "after" } else { "good" })) }
            } }
        }
        @if !held.features.is_empty() {
            div.wide { table {
                caption { "Good starts in figures (medians)" }
                thead { tr { th { "figure" } @for side in it.in_order(&it.sides.subject, &it.sides.reference) { th.number { (side) } } } }
                tbody { @for (a, b) in &held.features { tr {
                    td { (a.name) }
                    @for f in it.in_order(a, b) { td.number { (with_uncertainty(f.value, f.expanded, f.unit)) } }
                } } }
            } }
        }
        @if !held.sweep.is_empty() {
            div.wide { table {
                caption { "Leakage, voltage by voltage" }
                thead { tr { th.number { "set" } @for side in it.in_order(&it.sides.subject, &it.sides.reference) { th.number { (side) } } th.number { "difference" } } }
                tbody { @for s in &held.sweep { tr {
                    td.number { (s.set) }
                    @for read in it.in_order(read(s.a.soak.leakage), s.b.to_string()) { td.number { (read) } }
                    td.number { (s.difference.map_or("not comparable".to_owned(), |d| d.to_string())) }
                } } }
            } }
        }
    }
}

fn read(level: Level) -> String {
    match level {
        Level::BelowFloor { floor } => format!("below {floor}"),
        level => level.to_string(),
    }
}

fn row(group: &Group, name: &str) -> Markup {
    let interval = group.interval(0.95);
    let rate = Ratio(group.failed as f64 / group.counted.max(1) as f64);
    html! { tr {
        td { (name) }
        td.number { (group.failed) }
        td.number { (group.counted) }
        td.number { (share(rate.0)) }
        td.number { (interval.map_or("–".to_owned(), |i| format!("{} to {}", share(i.low.0), share(i.high.0)))) }
        td.number { (group.void) }
    } }
}

fn cautions() -> Markup {
    html! {
        section.cautions {
            h2 { "Cautions" }
            ul {
                li { "What was measured under other conditions proves nothing. What nobody records, temperature above all, may differ all the same." }
                li { "That a failing rate has fallen does not say that the unit never fails." }
                li { "Before a unit is taken apart again: output off does not mean without charge. Discharge through a resistor, never by a short, and measure before touching." }
            }
        }
    }
}

fn working(it: &Compared) -> Markup {
    let confidence = share(it.confidence);
    html! {
        h2 { "How it was computed" }
        ul.small {
            li { "Failing rates: Fisher's exact test, one-sided, at " (confidence) "; intervals of Clopper and Pearson at 95 %. Where starts went on until something was decided, bounds that hold whenever one stops, each with half of the error. Void starts do not count. Further starts: the least number, without a further failure, for which the same test is met." }
            li { "Off-times as they were: Smirnov's test of two distributions, exact; they are other ones at a chance of 1 % or less." }
            li { "Currents and leakage: the difference with its expanded uncertainty (k = 2), as if the errors of both instruments had nothing in common; it counts where it is also more than 10 % (common practice for how far good units are apart)." }
            li { "Courses: the envelope of good starts (with how far each strays from the others, left out in its turn), widened by twice the instruments' standard uncertainties on both sides and by 10 %; each moment takes readings from one gap before to one after. Other than the others where a third of starts leave it, and more than one in ten by chance (5 %)." }
            li { "Ramps: step by step, within one and a half steps of either, within the uncertainties of both and 10 %, and for three steps in a row." }
        }
    }
}
