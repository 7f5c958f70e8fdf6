//! What many starts say, in sentences.

use super::power::spelled;
use super::{Figure, Finding, Severity};
use crate::analysis::dependence::FEWEST;
use crate::analysis::sequential::Decision;
use crate::analysis::start::Outcome;
use crate::analysis::starts::{CONFIDENCE, Summary, starts_for_proof};
use crate::units::{Amperes, Ratio, Unit, Volts, with_uncertainty};

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
                let volts = summary.held.filter(|_| *o == Outcome::InLimit);
                let volts = volts.map_or(String::new(), |(_, v)| format!(" and {}", spelled(v.0, Unit::Volt)));
                format!("{n} × {}{state}{current}{volts}", o.name())
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
    made.extend(stuck(summary, starting));
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

/// No converter works from less, and a latched-up path holds less; but below where it works a
/// converter may draw as a resistor does.
const LEAST_INPUT: Volts = Volts(2.0);
/// A voltage that grows by this share over the last quarter is still rising.
const RISING: f64 = 0.03;

/// Of starts that ended in limiting, what the voltage under the limit says of the load.
fn stuck(summary: &Summary, starting: Amperes) -> Option<Finding> {
    let (from, to) = summary.held?;
    let count = summary.outcomes.get(&Outcome::InLimit).copied()?;
    let volts = spelled(to.0, Unit::Volt);
    let (code, says, advice) = if to.0 > from.0 * (1.0 + RISING) && to > LEAST_INPUT {
        (
            "starts-still-charging",
            format!(
                "which is still rising ({} a quarter of the watch before): they charge a capacitance, or start, more slowly than they are watched",
                spelled(from.0, Unit::Volt)
            ),
            "Watch for longer, or raise the limit while starting, before they count as failed.",
        )
    } else if to < LEAST_INPUT {
        (
            "starts-held-low",
            "leads and meter included: so behaves a latch-up, a junction or a part that breaks through, and as well a load that wants more than the limit before it works"
                .to_owned(),
            "Which of the two, a few starts with a limit while starting of two to three times the running current tell, watched for heat: if they start, the limit made the fault; if the larger limit is taken too, at hardly more voltage, it is a path that has opened. A latch-up goes with the power and wants a wait.",
        )
    } else {
        (
            "starts-starved",
            format!(
                "{} in all: so behaves a converter, or another load, that wants more than the limit gives it there",
                spelled((to * starting).0, Unit::Watt)
            ),
            "Repeat some starts with a limit while starting of two to three times the running current: if they start, the limit made the fault.",
        )
    };
    let starts = if count == 1 { "One start ends" } else { "Starts that end" };
    let stands = if count == 1 { "stands" } else { "stand" };
    let sentence = format!("{starts} in the current limit {stands} at {volts} there, {says}.");
    Some(Finding::new(code, Severity::Note, sentence).advise(advice).figure(Figure::quantity(
        "voltage under the limit",
        to.0,
        Unit::Volt,
        None,
    )))
}
