//! What the failing rates of both sides prove, and what they do not.

use super::{Question, Sides, other_conditions, ratio_of, share};
use crate::analysis::compare::rate::{Group, Rates, Shown};
use crate::analysis::finding::{Figure, Finding, Severity};

/// Confidences that are tried, from the highest.
const TRIED: [f64; 4] = [0.999, 0.99, 0.95, 0.90];

fn counted(group: &Group, starts: &str) -> String {
    let void = if group.void > 0 { format!(" ({} void ones left out)", group.void) } else { String::new() };
    format!("{} of {}{starts}{void}", group.failed, group.counted)
}

/// `4 of 60 starts failed before, 0 of 60 starts after`.
fn both(rates: &Rates, sides: &Sides) -> String {
    let (a, b) = match sides.question {
        Question::Repair => (&sides.reference, &sides.subject),
        Question::Good => (&sides.subject, &sides.reference),
    };
    format!("{} failed {a}, {} {b}", counted(&rates.a, " starts"), counted(&rates.b, ""))
}

fn chance(rates: &Rates, fewer: bool) -> Option<f64> {
    rates.test.map(|t| if fewer { t.fewer } else { t.more })
}

/// What is allowed, and how it was tested.
fn by_chance(rates: &Rates, fewer: bool, question: Question) -> String {
    match chance(rates, fewer) {
        Some(chance) => {
            let alike = if question == Question::Repair { "had nothing changed" } else { "were they alike" };
            format!("{alike}, so unequal counts would come with a chance of {}", ratio_of(chance))
        }
        None => "by bounds that hold whenever one stops, since starts went on until something was decided".into(),
    }
}

/// The highest of the usual confidences at which it is shown.
fn reached(rates: &Rates, fewer: bool) -> f64 {
    let chance = chance(rates, fewer);
    TRIED.into_iter().find(|c| chance.is_some_and(|p| p <= 1.0 - c)).unwrap_or(rates.confidence).max(rates.confidence)
}

/// The failing rates of both sides in a sentence that says what has been proved. Of a
/// repair `a` is before it and `b` after; else `a` is this unit and `b` the good ones.
pub fn rates(rates: &Rates, sides: &Sides, forbidden: &[&str]) -> Finding {
    let both = both(rates, sides);
    if !forbidden.is_empty() {
        let sentence = format!("Nothing is proved about failing starts: {}. {both}.", other_conditions(forbidden));
        return figures(Finding::new("compare-conditions", Severity::Undecided, sentence), rates).advise(
            "Make the starts again under the conditions of the other side: the same off-times, limits, voltage, wiring and instruments, at the same temperature.",
        );
    }
    let finding = match sides.question {
        Question::Repair => repair(rates, &both),
        Question::Good => good(rates, &both, sides),
    };
    figures(finding, rates)
}

fn figures(mut finding: Finding, rates: &Rates) -> Finding {
    for (name, group) in [("failing rate of the first", &rates.a), ("failing rate of the second", &rates.b)] {
        if let Some(i) = group.interval(0.95) {
            let rate = group.failed as f64 / group.counted as f64;
            let figure = Figure { name: name.into(), value: rate, unit: None, expanded: None, interval: None };
            finding = finding.figure(figure.within(i.low.0, i.high.0, i.confidence));
        }
    }
    if let Some(test) = rates.test {
        let figure = |name: &str, value| Figure { name: name.into(), value, unit: None, expanded: None, interval: None };
        finding = finding
            .figure(figure("chance of so few failures in the second (Fisher, one-sided)", test.fewer))
            .figure(figure("two-sided", test.two_sided));
    }
    if let Some(needed) = rates.needed {
        finding = finding
            .figure(Figure::count("starts of the second that would be proof", needed.all))
            .figure(Figure::count("of them further ones", needed.further));
    }
    finding
}

fn percent(confidence: f64) -> String {
    let text = format!("{:.2}", confidence * 100.0);
    format!("{} %", text.trim_end_matches('0').trim_end_matches('.'))
}

fn repair(rates: &Rates, both: &str) -> Finding {
    let asked = percent(rates.confidence);
    match rates.shown {
        Shown::Fewer => {
            let bound = rates.b.bound(rates.confidence).map_or("some".into(), share);
            let at = percent(reached(rates, true));
            Finding::new(
                "compare-proved",
                Severity::Note,
                format!(
                    "Proved at {at} confidence: it fails less often after than before. {both}; {}. How often it still fails is another question: with {asked} confidence less than {bound}.",
                    by_chance(rates, true, Question::Repair)
                ),
            )
        }
        Shown::More => Finding::new(
            "compare-worse",
            Severity::Anomaly,
            format!(
                "It fails MORE often after than before, shown at {} confidence: {both}; {}.",
                percent(reached(rates, false)),
                by_chance(rates, false, Question::Repair)
            ),
        )
        .advise("Compare what else differs below: the repair, or taking it apart, may have made another fault."),
        Shown::NoneFailed => {
            let bound = |g: &Group| g.bound(rates.confidence).map_or("some".into(), share);
            Finding::new(
                "compare-none-failed",
                Severity::Note,
                format!(
                    "No start failed on either side ({} and {} that count): no change can be shown. With {asked} confidence less than {} failed before, and less than {} after.",
                    rates.a.counted,
                    rates.b.counted,
                    bound(&rates.a),
                    bound(&rates.b)
                ),
            )
        }
        Shown::AllFailed => {
            Finding::new("compare-all-failed", Severity::Undecided, format!("Every start failed on both sides: {both}."))
        }
        Shown::Neither if rates.b.failed * rates.a.counted > rates.a.failed * rates.b.counted => Finding::new(
            "compare-not-proved",
            Severity::Undecided,
            format!(
                "Not proved: {both}, a larger share after than before, and {}, more than the {} that {asked} confidence allows.",
                by_chance(rates, false, Question::Repair),
                ratio_of(1.0 - rates.confidence)
            ),
        ),
        Shown::Neither => {
            let why = match chance(rates, true) {
                Some(_) => format!(
                    "{}, more than the {} that {asked} confidence allows",
                    by_chance(rates, true, Question::Repair),
                    ratio_of(1.0 - rates.confidence)
                ),
                None => format!(
                    "that it fails less often is not shown at {asked} confidence, {}",
                    by_chance(rates, true, Question::Repair)
                ),
            };
            let finding = Finding::new(
                "compare-not-proved",
                Severity::Undecided,
                format!("Not yet proof: {both}, but {why}.{}", needed(rates, &asked)),
            );
            match rates.needed {
                Some(n) => finding.advise(format!(
                    "Make {} further starts under the very same conditions, and fix that number before you begin: who goes on until it fits proves nothing. Their run is named with --and, and counts together with this one.",
                    n.further
                )),
                None => finding,
            }
        }
    }
}

/// How many more it takes.
fn needed(rates: &Rates, asked: &str) -> String {
    let Some(n) = rates.needed else {
        return " No number of starts after would show it: make more under the conditions before the repair, where the fault is still there.".into();
    };
    let no_more = if rates.b.failed == 0 { "without a failure" } else { "without a further failure" };
    let plural = if n.further == 1 { "start" } else { "starts" };
    let mut text = format!(
        " {} further {plural} {no_more} under the same conditions, {} in all, would be proof at {asked} confidence",
        n.further, n.all
    );
    if let Some(all) = n.at_99 {
        text.push_str(&format!("; at 99 % it takes {all} in all"));
    }
    if let Some(all) = n.with_one {
        text.push_str(&format!("; with one failure more, {all}"));
    }
    text.push('.');
    text
}

fn good(rates: &Rates, both: &str, sides: &Sides) -> Finding {
    let asked = percent(rates.confidence);
    match rates.shown {
        Shown::Fewer => Finding::new(
            "compare-worse",
            Severity::Anomaly,
            format!(
                "It fails more often than good ones, shown at {} confidence: {both}; {}.{}",
                percent(reached(rates, true)),
                by_chance(rates, true, Question::Good),
                sides.thinly()
            ),
        ),
        Shown::More => {
            Finding::new("compare-better", Severity::Note, format!("It fails less often than the good ones did: {both}."))
        }
        Shown::NoneFailed => {
            let bound = rates.a.bound(rates.confidence).map_or("some".into(), share);
            Finding::new(
                "compare-none-failed",
                Severity::Note,
                format!("{both}: no difference. With {asked} confidence this unit fails in less than {bound} of its starts."),
            )
        }
        Shown::AllFailed => {
            Finding::new("compare-all-failed", Severity::Undecided, format!("Every start failed on both sides: {both}."))
        }
        Shown::Neither => Finding::new(
            "compare-not-proved",
            if rates.a.failed > 0 { Severity::Undecided } else { Severity::Note },
            format!(
                "{both}: that it fails more often than good ones is not shown at {asked} confidence; {}.",
                by_chance(rates, true, Question::Good)
            ),
        ),
    }
}

/// What one side alone has shown, where the other has no starts.
pub fn bounds(group: &Group, which: &str) -> Finding {
    let bound = group.bound(0.95).map_or("some".into(), share);
    Finding::new(
        "compare-one-side",
        Severity::Undecided,
        format!(
            "Only {which} has starts that count: {} failed, with 95 % confidence less than {bound}; there is nothing to compare.",
            counted(group, " starts")
        ),
    )
}
