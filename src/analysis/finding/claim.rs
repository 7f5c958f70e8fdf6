//! What starts that went on until a claim was decided have shown, in a sentence.

use super::power::spelled;
use super::{Figure, Finding, Severity};
use crate::analysis::sequential::{Claim, Decision};
use crate::analysis::starts::Summary;
use crate::units::{Ratio, Unit};

/// Proved, refuted, or neither: with how many starts, and what is left open.
pub(super) fn claim(claim: &Claim, summary: &Summary) -> Finding {
    let (failed, counted) = (summary.failed, summary.good + summary.failed);
    let below = claim.below();
    let sure = Ratio(claim.confidence());
    let of = match (failed, counted) {
        (0, 1) => "the one start that counts did not fail".to_owned(),
        (0, _) => format!("none of {counted} starts failed"),
        (1, 1) => "the one start that counts failed".to_owned(),
        (_, _) => format!("{failed} of {counted} starts failed"),
    };
    let made = match claim.decide(failed, counted) {
        Decision::Proved => Finding::new(
            "claim-proved",
            Severity::Note,
            format!("Proved with {sure} confidence (one-sided): the failing rate is below {below}; {of}."),
        )
        .advise(if failed == 0 {
            "It holds for starts under these conditions. It proves a repair only against a failing rate that was measured before it, under the same conditions."
        } else {
            "It is lower than the claim, and it is not nought: the failed starts are there to be looked at. It holds for starts under these conditions."
        }),
        Decision::Refuted => Finding::new(
            "claim-refuted",
            Severity::Anomaly,
            format!("Refuted with {sure} confidence (one-sided): the failing rate is not below {below}; {of}."),
        )
        .advise("More starts will not prove it. Find what fails first, and begin a new run after that."),
        Decision::Open => open(claim, summary, &of),
    };
    let made = match summary.rate {
        Some(rate) => {
            let observed = failed as f64 / counted.max(1) as f64;
            let figure = Figure::quantity("failing rate", observed, Unit::Percent, None);
            made.figure(figure.within(rate.low.0, rate.high.0, rate.confidence))
        }
        None => made,
    };
    [("failed", failed), ("counted", counted), ("void", summary.void)]
        .into_iter()
        .fold(made, |made, (name, count)| made.figure(Figure::count(name, count)))
}

fn open(claim: &Claim, summary: &Summary, of: &str) -> Finding {
    let (failed, counted) = (summary.failed, summary.good + summary.failed);
    let sure = Ratio(claim.confidence());
    let shown = Claim::upper(failed, counted, claim.confidence()).filter(|bound| bound.0 < 1.0).map_or(String::new(), |bound| {
        format!("; with {sure} confidence (one-sided) that shows a rate below {}, and no less", spelled(bound.0, Unit::Percent))
    });
    let sentence = format!("Not decided whether the failing rate is below {}: {of}{shown}.", claim.below());
    let made = Finding::new("claim-open", Severity::Undecided, sentence);
    match claim.proved_after(failed).and_then(|n| n.checked_sub(counted)).filter(|n| *n > 0) {
        Some(more) => made.advise(format!(
            "{more} more {} without a failure would prove it. The starts of another run do not add to these.",
            if more == 1 { "start" } else { "starts" }
        )),
        None => made,
    }
}
