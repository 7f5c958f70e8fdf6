//! Plans for sampling lots: by the tables for a series of lots, by computing for one
//! that stands alone, and the rules that lead from lot to lot.

use super::{Refusal, Value, Working, positive, proper, shown};
use crate::analysis::finding::Severity;
use crate::analysis::sampling::isolated::{bad_parts, both_risks, least_sample};
use crate::analysis::sampling::switching::{Reduction, Series};
use crate::analysis::sampling::table::{AQLS, Aql, Found, Inspection, LEVELS, Letter, Level, plan};
use crate::analysis::sampling::{Plan, Verdict, draw};
use crate::units::Ratio;

/// Where a plan's sample is pulled from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Positions {
    /// Drawn with this seed, and listed.
    Seed(u64),
    /// Not asked for.
    Unasked,
}

const STANDARD: &str = "ISO 2859-1:1999, tables 1 and 2-A to 2-C, from memory, held to rows published elsewhere: look up yours before a contract hangs on it";
const AT_RANDOM: &str =
    "The sample stands for the lot only if it is drawn at random over all of it, not from the top of the box.";

fn lot_of(lot: u64) -> Result<u64, Refusal> {
    if lot >= 2 { Ok(lot) } else { Err(Refusal::new(format!("the lot: expected 2 parts or more, found {lot}"))) }
}

fn aql_of(share: Ratio) -> Result<Aql, Refusal> {
    Aql::of(share).ok_or_else(|| {
        let all: Vec<String> = AQLS.iter().map(|percent| format!("{percent}")).collect();
        Refusal::new(format!("the acceptance quality limit: expected a preferred one, found {share}"))
            .hint(format!("in percent: {}", all.join(", ")))
    })
}

fn name(level: Level) -> &'static str {
    LEVELS.iter().find(|(l, _)| *l == level).map_or("", |(_, name)| name)
}

/// What a plan lets through, in steps: a given share of bad parts, and the shares
/// that are accepted almost always, half the time and seldom.
fn characteristic(mut working: Working, plan: Plan, lot: u64, at: &[Ratio]) -> Result<(Working, String), Refusal> {
    let none = || Refusal::new("the operating characteristic cannot be computed");
    if plan.sample >= lot {
        return Ok((working, format!("All {lot} parts are inspected: nothing is left to chance but the measuring.")));
    }
    let put_in = format!("n = {}, c = {}", plan.sample, plan.accept);
    let mut told = Vec::new();
    for share in at {
        let passes = plan.passes(*share).ok_or_else(none)?;
        working = working.step(
            format!("chance to pass with {share} bad"),
            "P(X <= c; n, p), binomial",
            format!("{put_in}, p = {share}"),
            Ratio(passes),
        );
        told.push(format!("{} of lots with {share} bad", shown(Ratio(passes))));
        let bad = bad_parts(lot, share.0).ok_or_else(none)?;
        let exact = plan.passes_lot(bad, lot).ok_or_else(none)?;
        working = working.step(
            format!("chance to pass with {bad} bad in this lot"),
            "P(X <= c; n, D, N), hypergeometric",
            format!("{put_in}, D = {bad}, N = {lot}"),
            Ratio(exact),
        );
    }
    for chance in [0.95, 0.5, 0.1] {
        let share = plan.accepted_with(chance).ok_or_else(none)?;
        working = working.step(
            format!("share of bad parts that passes with {}", Ratio(chance)),
            "P(X <= c; n, p) = chance",
            format!("{put_in}, chance = {}", Ratio(chance)),
            share,
        );
        if chance < 0.5 {
            told.push(format!("{} of those with {} bad", Ratio(chance), shown(share)));
        }
    }
    let last = told.pop().unwrap_or_default();
    Ok((working, format!("It would pass {} and {last}.", told.join(", "))))
}

fn pulled(lot: u64, sample: u64, positions: Positions) -> String {
    match positions {
        Positions::Unasked => String::new(),
        Positions::Seed(seed) => {
            let list: Vec<String> = draw::positions(lot, sample, seed).iter().map(u64::to_string).collect();
            format!(" Pull the positions (seed {seed}) {}.", list.join(", "))
        }
    }
}

/// With how many bad parts a lot is accepted, in words.
fn accepted(plan: Plan) -> String {
    match plan.accept {
        0 => "accept the lot without a bad one, refuse it with 1 or more".to_owned(),
        most => format!("accept the lot with {most} bad or fewer, refuse it with {} or more", plan.refuse()),
    }
}

fn row(found: Found) -> String {
    if found.by == found.letter {
        format!("letter {}", found.letter.name())
    } else {
        format!("letter {}, by the arrow to {}", found.letter.name(), found.by.name())
    }
}

/// The plan of a lot in a series, by ISO 2859-1.
///
/// # Errors
/// A lot of fewer than two parts, an AQL that is not a preferred one.
pub fn sampling(
    lot: u64,
    level: Level,
    share: Ratio,
    inspection: Inspection,
    bad: &[Ratio],
    positions: Positions,
) -> Result<Working, Refusal> {
    let (lot, aql) = (lot_of(lot)?, aql_of(share)?);
    let none = || Refusal::new("there is no plan for this lot");
    let letter = Letter::of(lot, level).ok_or_else(none)?;
    let found = plan(letter, aql, inspection).ok_or_else(none)?;
    let plan = found.plan.within(lot);
    let mut working = Working::new(format!("Single sampling plan, {} inspection", inspection.name()))
        .step("sample", format!("level {} of {lot} parts", name(level)), "", plan.sample)
        .remark(row(found))
        .step("acceptance number", format!("AQL {share}"), "", plan.accept)
        .step("refusal number", "acceptance number + 1", "", plan.refuse());
    if plan != found.plan {
        working = working.caution(format!(
            "The plan's sample of {} is not smaller than the lot: all of it is inspected (10.3).",
            found.plan.sample
        ));
    }
    let mut at = vec![share];
    for share in bad {
        let share = proper("share of bad parts", *share)?;
        if !at.contains(&share) {
            at.push(share);
        }
    }
    let (working, told) = characteristic(working, plan, lot, &at)?;
    let answer =
        format!("Inspect {} of the {lot} parts; {}. {told}{}", plan.sample, accepted(plan), pulled(lot, plan.sample, positions));
    working
        .caution(
            "The tables are for a series of lots under the switching rules; for a lot that stands alone see `calc isolated`.",
        )
        .caution(AT_RANDOM)
        .source(STANDARD)
        .conclude(answer)
}

/// How many bad parts the plan of a lot that stands alone may allow.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Allowed {
    /// So many; none is zero-accept.
    Bad(u64),
    /// As many as a lot with this share of bad parts takes, to be refused with this chance at most.
    Good(Ratio, Ratio),
}

/// The plan of a lot that stands alone: the least sample with which a lot with the
/// limiting share of bad parts passes with `risk` at most.
///
/// # Errors
/// Shares or chances that are none; a plan that cannot be.
pub fn isolated(lot: u64, limiting: Ratio, risk: Ratio, allowed: Allowed, positions: Positions) -> Result<Working, Refusal> {
    let (lot, limiting) = (lot_of(lot)?, positive("limiting share of bad parts", limiting)?);
    let risk = proper("chance that such a lot passes", risk)?;
    let none = || Refusal::new(format!("the limiting share of bad parts: expected 100 % or less, found {limiting}"));
    let bad = bad_parts(lot, limiting.0).ok_or_else(none)?;
    let mut working = Working::new("Sampling plan of a lot that stands alone").step(
        "bad parts at the limit",
        "D = p N, rounded up",
        format!("{limiting} × {lot}"),
        bad,
    );
    let plan = match allowed {
        Allowed::Bad(accept) => least_sample(lot, bad, accept, risk.0).ok_or_else(|| {
            Refusal::new(format!("the bad parts allowed: expected fewer than {bad}, those of a lot at the limit, found {accept}"))
        })?,
        Allowed::Good(share, refused) => {
            let good = bad_parts(lot, proper("share of bad parts in a good lot", share)?.0).ok_or_else(none)?;
            let refused = proper("chance that a good lot is refused", refused)?;
            working = working.step("bad parts of a good lot", "D = p N, rounded up", format!("{share} × {lot}"), good);
            both_risks(lot, bad, risk.0, good, refused.0).ok_or_else(|| {
                Refusal::new("no sample keeps both chances")
                    .hint("take a larger limiting share, or a smaller one for a good lot, or inspect every part")
            })?
        }
    };
    let none = || Refusal::new("the chance cannot be computed");
    let put_in = format!("n = {}, c = {}, N = {lot}", plan.sample, plan.accept);
    let passes = plan.passes_lot(bad, lot).ok_or_else(none)?;
    working = working
        .step("acceptance number", "bad parts allowed", "", plan.accept)
        .step("sample", "least n with P(X <= c; n, D, N) <= risk", format!("D = {bad}, N = {lot}, risk = {risk}"), plan.sample)
        .step("chance that a lot at the limit passes", "P(X <= c; n, D, N), hypergeometric", put_in.clone(), Ratio(passes));
    if bad > 1 && plan.accept == 0 {
        let one = plan.passes_lot(1, lot).ok_or_else(none)?;
        working = working.step("chance that a lot with one bad part passes", "the same", format!("{put_in}, D = 1"), Ratio(one));
    }
    let answer = format!(
        "Inspect {} of the {lot} parts; {}. A lot with {bad} bad, {limiting}, would pass with a chance of {}.{}",
        plan.sample,
        accepted(plan),
        shown(Ratio(passes)),
        pulled(lot, plan.sample, positions)
    );
    if plan.sample == lot {
        working = working.caution("That is every part of the lot: sampling saves nothing here.");
    }
    working
        .caution(AT_RANDOM)
        .caution("A passing sample does not make the lot free of bad parts; it says how seldom a lot as bad as that would pass.")
        .source("limiting quality after ISO 2859-2, computed for this lot and not from its tables; hypergeometric distribution")
        .conclude(answer)
}

/// What a series of lots makes of the next one: the switching rules.
///
/// # Errors
/// No lots, a lot of fewer than two parts, more bad parts than were inspected, an AQL
/// that is not a preferred one, a lot after acceptance was stopped.
pub fn switching(level: Level, share: Ratio, lots: &[(u64, u64)], reduction: Reduction) -> Result<Working, Refusal> {
    let aql = aql_of(share)?;
    if lots.is_empty() {
        return Err(Refusal::new("the lots: expected one or more, found none"));
    }
    let mut series = Series::new(aql, reduction);
    let mut working = Working::new("Switching rules over a series of lots");
    for (number, (bad, size)) in (1_u64..).zip(lots) {
        let size = lot_of(*size)?;
        let letter = Letter::of(size, level).ok_or_else(|| Refusal::new("there is no plan for this lot"))?;
        let Some(judged) = series.lot(letter, size, *bad) else {
            return Err(Refusal::new(format!(
                "lot {number}: acceptance was stopped before it, after five lots refused on tightened inspection"
            ))
            .hint("when the supplier has done something about it, a new series begins with tightened inspection"));
        };
        if *bad > judged.plan.sample {
            return Err(Refusal::new(format!(
                "lot {number}: expected {} bad parts, the sample, or fewer, found {bad}",
                judged.plan.sample
            )));
        }
        let verdict = match judged.verdict {
            Verdict::Accepted => "accepted",
            Verdict::Refused => "refused",
        };
        let score = judged.score.map_or(String::new(), |s| format!(", switching score {s}"));
        working = working
            .step(format!("bad in lot {number}"), format!("of a sample of {}", judged.plan.sample), "", *bad)
            .remark(format!(
                "{verdict} on {} inspection (accept {}, refuse {}){score}",
                judged.inspection.name(),
                judged.plan.accept,
                judged.plan.refuse()
            ));
    }
    let count = |n: usize| Value::from(n as u64).to_string();
    let answer = match series.next() {
        Some(inspection) => {
            format!("After {} lots the next one is inspected by the {} plan.", count(lots.len()), inspection.name())
        }
        None => {
            working = working.weigh(Severity::Anomaly);
            "Acceptance stops here: five lots were refused on tightened inspection. It begins again, tightened, when the supplier has done something about it.".to_owned()
        }
    };
    working
        .caution("Only lots of one part from one supplier, in their order, at their first inspection; lots offered again do not count.")
        .caution("Reduced inspection also asks for a steady production and for the consent of whoever is responsible.")
        .source("ISO 2859-1:1999, 9.3 and 9.4, from memory")
        .conclude(answer)
}
