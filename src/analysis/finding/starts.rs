//! What many starts say, in sentences.

use super::power::spelled;
use super::{Figure, Finding, Severity};
use crate::analysis::dependence::FEWEST;
use crate::analysis::sequential::Decision;
use crate::analysis::starts::{CONFIDENCE, Summary, starts_for_proof};
use crate::units::{Amperes, Ratio, Unit, with_uncertainty};

/// A proof that takes so many times as many starts as were made is not worth its time.
const MANY: u64 = 5;

/// Of many starts: the failing rate, how the failures look, what they hang on,
/// what a proof of repair takes, and whether the limit is too near.
/// `starting` is the limit while starting, `states` the names of the declared ones.
pub fn starts(summary: &Summary, starting: Amperes, states: &[&str]) -> Vec<Finding> {
    let mut made = Vec::new();
    let counted = summary.good + summary.failed;
    let voids = if summary.void > 0 { format!(" {} void starts do not count.", summary.void) } else { String::new() };
    let Some(rate) = summary.rate else {
        let sentence = format!("No start counts: all {} are void.", summary.void);
        made.push(
            Finding::new("starts-void", Severity::Undecided, sentence)
                .advise("Look at the reasons of the void starts, and at traffic.log."),
        );
        return made;
    };
    made.extend(summary.claim.map(|claim| super::claim::claim(&claim, summary)));
    let observed = summary.failed as f64 / counted as f64;
    // After a refutation what fails is to be found, however wide the interval.
    let refuted = summary.claim.is_some_and(|claim| claim.decide(summary.failed, counted) == Decision::Refuted);
    let figure = Figure::quantity("failing rate", observed, Unit::Percent, None).within(rate.low.0, rate.high.0, CONFIDENCE);
    let counts =
        [Figure::count("failed", summary.failed), Figure::count("counted", counted), Figure::count("void", summary.void)];
    let mut finding = if summary.failed == 0 {
        let bound = summary.bound.unwrap_or(Ratio(1.0));
        let sentence = format!(
            "0 of {counted} {} failed: with 95 % confidence (one-sided) the failing rate is below {}.{voids}",
            if counted == 1 { "start" } else { "starts" },
            spelled(bound.0, Unit::Percent)
        );
        Finding::new("starts-good", Severity::Note, sentence)
            .advise("This proves a repair only against a failing rate that was measured before it, under the same conditions.")
    } else {
        let kinds: Vec<String> = summary
            .outcomes
            .iter()
            .filter(|(o, _)| o.is_failure())
            .map(|(o, n)| {
                let current = summary.failed_current.get(o).copied().flatten();
                let current =
                    current.map_or(String::new(), |(v, u)| format!(" at {}", with_uncertainty(v.0, 2.0 * u.0, Unit::Ampere)));
                let state = summary.failed_state.get(o).and_then(|i| states.get(*i));
                let state = state.map_or(String::new(), |s| format!(" ({s})"));
                format!("{n} × {}{state}{current}", o.name())
            })
            .collect();
        let sentence = format!(
            "{} of {counted} {} failed, {} (two-sided 95 % interval {} to {}): {}.{voids}",
            summary.failed,
            if counted == 1 { "start" } else { "starts" },
            spelled(observed, Unit::Percent),
            spelled(rate.low.0, Unit::Percent),
            spelled(rate.high.0, Unit::Percent),
            kinds.join("; ")
        );
        let mut finding = Finding::new("starts-fail", Severity::Anomaly, sentence);
        if summary.good == 0 && counted >= FEWEST {
            finding = finding.advise("It fails every time: look for it now. More starts will tell no more of the rate.");
        } else if let Some(n) = starts_for_proof(summary).filter(|_| !refuted)
            && n > MANY * counted
        {
            finding = finding.advise(format!(
                "So few failures say little of the rate, and a proof of repair would take {n} starts without one: make more starts first, before anything is repaired."
            ));
        } else if let Some(n) = starts_for_proof(summary).filter(|n| *n <= MANY * counted) {
            finding = finding.advise(format!(
                "After the repair, {n} starts without a failure under the same conditions would show with 95 % confidence that the rate is below {}, the least that it can have been.",
                spelled(rate.low.0, Unit::Percent)
            ));
        }
        finding
    };
    finding = finding.figure(figure);
    for count in counts {
        finding = finding.figure(count);
    }
    if let Some((mean, u)) = summary.good_current {
        finding = finding.figure(Figure::quantity("current of good starts", mean.0, Unit::Ampere, Some(2.0 * u.0)));
    }
    // That none failed, the answer to the claim has said already.
    if summary.claim.is_none() || summary.failed > 0 {
        made.push(finding);
    }
    if summary.void * 5 > counted + summary.void {
        let sentence =
            format!("{} of {} starts are void: the rate rests on the others alone.", summary.void, counted + summary.void);
        made.push(Finding::new("starts-many-void", Severity::Undecided, sentence));
    }
    if summary.failed > 0 {
        made.extend(super::dependence::dependence(&summary.looked, summary.failed, counted));
    }
    if let Some((mean, u)) = summary.good_current
        && (summary.limited > 0 || starting.0 < 2.0 * mean.0)
    {
        let seen = if summary.limited > 0 {
            format!("limiting was seen in {} good starts", summary.limited)
        } else {
            "no limiting was seen".into()
        };
        let sentence = format!(
            "The limit while starting, {starting}, is {:.1} times the running current {}; {seen}.",
            starting.0 / mean.0,
            with_uncertainty(mean.0, 2.0 * u.0, Unit::Ampere)
        );
        if starting.0 < 2.0 * mean.0 {
            made.push(Finding::new("limit-near-running", Severity::Note, sentence).advise(
                "A converter behind a limit below two to three times its running current can stick: the supply may make the fault. Repeat some starts with a larger limit while starting.",
            ));
        } else {
            made.push(Finding::new("limit-reached-at-start", Severity::Note, sentence));
        }
    }
    made
}
