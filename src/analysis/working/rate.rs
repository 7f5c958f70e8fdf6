//! Failing rates: what has been seen of one, what a repair still has to show, and
//! whether before and after differ.

use super::{Refusal, Value, Working, proper, shown};
use crate::analysis::finding::Severity;
use crate::analysis::proportion::{
    chance_of_missing, clopper_pearson, fisher, starts_after_needed, starts_needed, starts_needed_with, upper_bound, wilson,
};
use crate::analysis::sequential::{Claim, Wald};
use crate::units::Ratio;

/// Failures and all starts that count.
pub type Counted = (u64, u64);

const SAME_CONDITIONS: &str =
    "Starts count only under the same conditions: off-time, limits, voltage, temperature, wiring. Void starts never count.";

fn counted(what: &str, (failures, starts): Counted) -> Result<(), Refusal> {
    if starts == 0 {
        return Err(Refusal::new(format!("the starts{what}: expected 1 or more, found 0")));
    }
    if failures > starts {
        return Err(Refusal::new(format!("the failures{what}: expected {starts}, the starts, or fewer, found {failures}")));
    }
    Ok(())
}

fn beyond(what: &str) -> Refusal {
    Refusal::new(format!("the {what} is more than can be counted")).hint("take a larger rate or a smaller confidence")
}

/// The failing rate behind so many failures of so many starts.
///
/// # Errors
/// No starts, more failures than starts, a confidence that is none.
pub fn rate(seen: Counted, confidence: Ratio) -> Result<Working, Refusal> {
    counted("", seen)?;
    let c = proper("confidence", confidence)?.0;
    let (k, n) = seen;
    let none = || Refusal::new("the interval cannot be computed");
    let exact = clopper_pearson(k, n, c).ok_or_else(none)?;
    let score = wilson(k, n, c).ok_or_else(none)?;
    let upper = upper_bound(k, n, c).ok_or_else(none)?;
    let observed = Ratio(Value::from(k).number() / Value::from(n).number());
    let mut working = Working::new("Failing rate")
        .step("observed rate", "failures / starts", format!("{k} / {n}"), observed)
        .step(
            "exact interval",
            "Clopper and Pearson: P(X >= k; low) = P(X <= k; high) = (1 - C) / 2",
            format!("k = {k}, n = {n}, C = {confidence}"),
            observed,
        )
        .between(exact.low.0, exact.high.0)
        .step(
            "Wilson's interval",
            "(p + z^2/2n ± z sqrt(p(1-p)/n + z^2/4n^2)) / (1 + z^2/n)",
            format!("p = {}, n = {n}", shown(observed)),
            observed,
        )
        .between(score.low.0, score.high.0)
        .step("upper bound alone", "P(X <= k; bound) = 1 - C", format!("k = {k}, n = {n}, C = {confidence}"), upper);
    if k == 0 {
        working =
            working.caution("Wilson's interval is there for comparison: its bound alone claims, without a failure, more than so many starts show.");
    }
    let answer = if k == 0 {
        format!("No failure in {n} starts: with {confidence} confidence the failing rate is below {}.", shown(upper))
    } else {
        format!(
            "{k} of {n} starts failed, {}: with {confidence} confidence the failing rate lies between {} and {}.",
            shown(observed),
            shown(exact.low),
            shown(exact.high)
        )
    };
    working
        .caution(SAME_CONDITIONS)
        .source("NIST/SEMATECH handbook 7.2.4; Clopper and Pearson 1934; Wilson 1927")
        .conclude(answer)
}

/// How many starts show that a failing rate is below a value: a repair's proof.
///
/// # Errors
/// A rate or confidence that is none, or more starts than can be counted.
pub fn proof(below: Ratio, confidence: Ratio, failures: u64) -> Result<Working, Refusal> {
    let (p, c) = (proper("failing rate", below)?, proper("confidence", confidence)?.0);
    let starts = starts_needed(p, c).ok_or_else(|| beyond("number of starts"))?;
    let mut working = Working::new("Starts that prove a repair").step(
        "starts without a failure",
        "n = ln(1 - C) / ln(1 - p), rounded up",
        format!("ln(1 - {confidence}) / ln(1 - {below})"),
        starts,
    );
    let mut needed = starts;
    if failures > 0 {
        needed = starts_needed_with(failures, p, c).ok_or_else(|| beyond("number of starts"))?;
        working = working.step(
            "starts with the failures",
            "the least n with P(X <= failures; n, p) <= 1 - C",
            format!("failures = {failures}, p = {below}, C = {confidence}"),
            needed,
        );
    }
    working = working.step(
        "chance that a fault at that rate stays unseen",
        "(1 - p)^n",
        format!("(1 - {below})^{starts}"),
        Ratio(chance_of_missing(p, starts)),
    );
    let answer = if failures == 0 {
        format!("{starts} starts without a failure show with {confidence} confidence that the failing rate is below {below}.")
    } else {
        format!(
            "{needed} starts with {failures} failures or fewer show with {confidence} confidence that the failing rate is below {below}; without a failure {starts} would."
        )
    };
    working
        .caution("The number of starts and of failures allowed is fixed beforehand; who goes on until it fits proves nothing. `calc claim` is for stopping early.")
        .caution(SAME_CONDITIONS)
        .source("success run, classical form; ASTM E2334 for no failures; the (n + 1) form of some handbooks is not used")
        .conclude(answer)
}

/// Whether a unit fails less after a repair than before.
///
/// # Errors
/// No starts on a side, more failures than starts, a confidence that is none.
pub fn compare(before: Counted, after: Counted, confidence: Ratio) -> Result<Working, Refusal> {
    counted(" before", before)?;
    counted(" after", after)?;
    let c = proper("confidence", confidence)?.0;
    let none = || Refusal::new("nothing failed before or after, or nothing was good: there is nothing to compare");
    let test = fisher(before, after).ok_or_else(none)?;
    let ((a, n1), (b, n2)) = (before, after);
    let mut working = Working::new("Before and after a repair")
        .step("rate before", "failures / starts", format!("{a} / {n1}"), Ratio(share(before)))
        .step("rate after", "failures / starts", format!("{b} / {n2}"), Ratio(share(after)))
        .step(
            "chance of so few after had nothing changed",
            "sum over i <= after of C(n2, i) C(n1, k - i) / C(n1 + n2, k)",
            format!("n1 = {n1}, n2 = {n2}, k = {}, after = {b}", a + b),
            Ratio(test.fewer),
        )
        .step("chance of so unlikely a table either way", "sum over tables that are no likelier", "", Ratio(test.two_sided));
    if test.odds_ratio.is_finite() && test.odds_ratio > 0.0 {
        working = working.step(
            "odds of failing before over after",
            "conditional maximum likelihood",
            "",
            Value::Number(test.odds_ratio, ""),
        );
    }
    let chance = shown(Ratio(test.fewer));
    let answer = if test.fewer <= 1.0 - c {
        format!("The unit fails less than before: had nothing changed, so few failures would come with a chance of {chance}.")
    } else {
        working = working.weigh(Severity::Undecided);
        let more = match starts_after_needed(before, b, c) {
            Some(n) if n > n2 => {
                working = working.step(
                    "starts after that would show it",
                    "the least n2 with a chance of 1 - C or less",
                    format!("with {b} failures, C = {confidence}"),
                    n,
                );
                format!(" {n} starts after, with no more failures, would show it with {confidence} confidence.")
            }
            _ => String::new(),
        };
        format!(
            "That it fails less than before is not shown: had nothing changed, so few failures would come with a chance of {chance}.{more}"
        )
    };
    working.caution(SAME_CONDITIONS).source("Fisher's exact test (Fisher 1935)").conclude(answer)
}

fn share((failures, starts): Counted) -> f64 {
    Value::from(failures).number() / Value::from(starts).number()
}

/// Starts beyond which the expected number is not gone through.
const GONE_THROUGH: u64 = 100_000;

/// The test by which a `start` stage stops as soon as a claim is decided.
///
/// # Errors
/// A rate or confidence that is none, or more starts than can be counted.
pub fn claim(below: Ratio, confidence: Ratio) -> Result<Working, Refusal> {
    proper("failing rate", below)?;
    let c = proper("confidence", confidence)?.0;
    let claim = Claim::new(below, c).ok_or_else(|| beyond("number of starts"))?;
    let many = || beyond("number of starts");
    let (clean, one) = (claim.proved_after(0).ok_or_else(many)?, claim.proved_after(1).ok_or_else(many)?);
    let (run, most) = (claim.success_run().ok_or_else(many)?, claim.most().ok_or_else(many)?);
    let mut working = Working::new("A claim that ends a stage as soon as it is decided")
        .step(
            "starts without a failure",
            "ln(1 / (1 - C)) / ln((1 - p/10) / (1 - p)), rounded up",
            format!("p = {below}, C = {confidence}"),
            clean,
        )
        .step("starts with one failure", "ln 10 more in the numerator", "", one)
        .step("starts of a fixed number without a failure", "ln(1 - C) / ln(1 - p), rounded up", "", run)
        .step("most starts", "5 × starts without a failure, where the plan does not say", format!("5 × {clean}"), most);
    let mut answer = format!("{clean} starts prove it where none fails, {one} where one does.");
    if most <= GONE_THROUGH {
        for (name, rate) in [
            ("a tenth of the claim", Ratio(below.0 / 10.0)),
            ("the claim itself", below),
            ("three times the claim", Ratio((3.0 * below.0).min(1.0))),
        ] {
            let seen = claim.prospect(rate, most);
            working = working
                .step(
                    format!("expected starts at {name}"),
                    "over all that can happen, start by start",
                    format!("rate {}", shown(rate)),
                    Value::Number(seen.starts, ""),
                )
                .remark(format!("proved {}, refuted {}", shown(Ratio(seen.proved)), shown(Ratio(seen.refuted))));
        }
        let at_tenth = claim.prospect(Ratio(below.0 / 10.0), most).starts;
        answer.push_str(&format!(
            " A unit that fails at a tenth of the claim takes {} on average.",
            shown(Value::Number(at_tenth, ""))
        ));
    } else {
        working = working.caution(format!("The expected number is not gone through beyond {GONE_THROUGH} starts."));
    }
    working
        .caution("Proved wrongly, or refuted wrongly, at most as often as the confidence says, however often one looks.")
        .caution(SAME_CONDITIONS)
        .source("likelihood ratios in sequence: Wald 1945; Ville 1939 for the bound")
        .conclude(answer)
}

/// Wald's test between two rates.
///
/// # Errors
/// Rates or errors that make no test.
pub fn sequential(good: Ratio, bad: Ratio, alpha: Ratio, beta: Ratio) -> Result<Working, Refusal> {
    proper("good rate", good)?;
    proper("bad rate", bad)?;
    proper("chance of rejecting at the good rate", alpha)?;
    proper("chance of accepting at the bad rate", beta)?;
    if good >= bad {
        return Err(Refusal::new(format!("the bad rate: expected more than {good}, the good one, found {bad}")));
    }
    let test = Wald { good, bad, alpha: alpha.0, beta: beta.0 };
    let lines = test.lines().ok_or_else(|| Refusal::new("the two chances of being wrong: expected less than 100 % together"))?;
    let scale = "k = ln(p1 / p0) + ln((1 - p0) / (1 - p1))";
    let first = (lines.accept / lines.slope).ceil();
    let mut working = Working::new("Wald's sequential test between two failing rates")
        .step(
            "slope",
            format!("s = ln((1 - p0) / (1 - p1)) / k, {scale}"),
            format!("p0 = {good}, p1 = {bad}"),
            Value::Number(lines.slope, ""),
        )
        .step(
            "intercept of acceptance",
            "h1 = ln((1 - alpha) / beta) / k",
            format!("alpha = {alpha}, beta = {beta}"),
            Value::Number(lines.accept, ""),
        )
        .step(
            "intercept of rejection",
            "h2 = ln((1 - beta) / alpha) / k",
            format!("alpha = {alpha}, beta = {beta}"),
            Value::Number(lines.reject, ""),
        )
        .step(
            "first acceptance without a failure",
            "n = h1 / s, rounded up",
            format!("{} / {}", shown(Value::Number(lines.accept, "")), shown(Value::Number(lines.slope, ""))),
            Value::Number(first, "starts"),
        );
    for (name, rate) in [("good", good), ("bad", bad)] {
        if let Some((starts, accepted)) = test.expected(rate) {
            working = working
                .step(format!("expected starts at the {name} rate"), "Wald's approximation", "", Value::Number(starts, ""))
                .remark(format!("accepted with a chance of {}", shown(Ratio(accepted))));
        }
    }
    let answer = format!(
        "After n starts: accept at {s} n - {h1} failures or fewer, reject at {s} n + {h2} or more; go on between. Without a failure it accepts after {first} starts.",
        s = shown(Value::Number(lines.slope, "")),
        h1 = shown(Value::Number(lines.accept, "")),
        h2 = shown(Value::Number(lines.reject, ""))
    );
    working
        .caution(SAME_CONDITIONS)
        .source("Wald 1945, Annals of Mathematical Statistics 16:117; NIST/SEMATECH handbook 6.2.6")
        .conclude(answer)
}
