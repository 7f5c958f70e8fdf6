//! What an inspection says of a lot, in sentences.

use super::{Figure, Finding, Severity, three};
use crate::analysis::inspection::decision::{Count, Decision};
use crate::analysis::inspection::spread::{self, Enough, Scale, against};
use crate::analysis::inspection::{Outcome, Seen};
use crate::units::Unit;

/// How a lot is called.
#[derive(Clone, Copy, Debug)]
pub struct Title<'t> {
    /// Its number.
    pub number: &'t str,
    /// What it is.
    pub part: &'t str,
    /// Why an expired calibration was let pass.
    pub overdue: Option<&'t str>,
}

/// A part with the quantity that is compared in the lot.
#[derive(Clone, Debug, PartialEq)]
pub struct PartOf {
    /// Serial, or position.
    pub name: String,
    /// What came of it.
    pub outcome: Outcome,
    /// The quantity.
    pub what: String,
    /// Its unit.
    pub unit: Option<Unit>,
    /// What was read.
    pub seen: Seen,
}

/// An earlier lot of the same part.
#[derive(Clone, Debug, PartialEq)]
pub struct Earlier {
    /// Its number.
    pub number: String,
    /// The same quantity of its parts.
    pub values: Vec<f64>,
}

/// Names that are listed before "and N more".
const LISTED: usize = 12;
/// Lots count as different from this chance on, divided by the number of earlier ones.
const DIFFERENT: f64 = 0.01;

fn list(names: &[String]) -> String {
    let shown: Vec<&str> = names.iter().take(LISTED).map(String::as_str).collect();
    match names.len().saturating_sub(LISTED) {
        0 => shown.join(", "),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// What came of the lot.
pub fn decided(title: &Title<'_>, decision: Decision, why: &str, count: &Count) -> Finding {
    let (code, severity) = match decision {
        Decision::Accepted => ("lot-accepted", Severity::Note),
        Decision::Refused => ("lot-refused", Severity::Anomaly),
        Decision::OnHold => ("lot-on-hold", Severity::Undecided),
    };
    let papers = title
        .overdue
        .map_or(String::new(), |why| format!(" It rests on a calibration that has expired, and was let pass: {why}."));
    let sentence = format!("Lot {} ({}) is {}: {why}.{papers}", title.number, title.part, decision.name());
    let finding = Finding::new(code, severity, sentence)
        .figure(Figure::count("parts judged", count.judged.into()))
        .figure(Figure::count("nonconforming", count.nonconforming.into()));
    match decision {
        Decision::Accepted => finding,
        Decision::Refused => finding.advise("Keep it apart, marked, until somebody has decided what becomes of it. Parts that passed are good by these limits; the report names those that did not."),
        Decision::OnHold => finding.advise("Keep it apart until it is decided. `rampart resume` goes on with the parts that are left or in doubt."),
    }
}

/// A control part that is out of control.
pub fn out_of_control(what: &str, signals: &str, read: &str, doubted: &[String]) -> Finding {
    let doubt = match doubted.len() {
        0 => "No part was measured since it was last good.".to_owned(),
        1 => format!("Part {}, measured since it was last good, is in doubt.", list(doubted)),
        n => format!("{n} parts measured since it was last good are in doubt: {}.", list(doubted)),
    };
    Finding::new("control-out", Severity::Anomaly, format!("The {what} is out of control: {signals} ({read}). {doubt}"))
        .advise("A fixture that leaks or makes poor contact, a lead, a setting, a temperature: find it before the next part, and measure again what is in doubt. Rules by Shewhart's chart of single values (ISO 7870-2; NIST/SEMATECH handbook 6.3.2).")
        .figure(Figure::count("parts in doubt", doubted.len() as u64))
}

/// How the parts of a lot are distributed: parts that stand out, groups. Nothing where the
/// quantity has no unit or hardly any values.
pub fn spread(parts: &[PartOf]) -> Vec<Finding> {
    let known: Vec<(&PartOf, (f64, f64))> = parts
        .iter()
        .filter_map(|p| match p.seen {
            Seen::Value { value, u } => Some((p, (value, u))),
            _ => None,
        })
        .collect();
    let values: Vec<(f64, f64)> = known.iter().map(|k| k.1).collect();
    let (Some((first, _)), Some(found)) = (known.first(), spread::spread(&values)) else { return Vec::new() };
    let Some(unit) = first.unit else { return Vec::new() };
    let what = &first.what;
    let n = found.parts;
    let mut made = Vec::new();
    let wide = match found.scale {
        Scale::Ratio => format!("{:.0} %", 100.0 * found.deviation),
        Scale::Difference => three(found.deviation, unit),
    };
    let lot = format!(
        "median {}, spread {wide} (robust), {} to {}",
        three(found.median, unit),
        three(found.ends.0, unit),
        three(found.ends.1, unit)
    );
    let name = |index: usize| known.get(index).map_or(String::new(), |(p, _)| p.name.clone());
    if found.outliers.is_empty() {
        let honest = match found.told {
            Enough::Yes => "none stands out",
            Enough::Few => "none stands out above; with so few parts only gross ones would",
            Enough::No => "too few to tell whether one stands out",
        };
        made.push(Finding::new("lot-spread", Severity::Note, format!("{what} of {n} parts: {lot}; {honest}.")));
    } else {
        let names: Vec<String> = found.outliers.iter().map(|o| name(o.index)).collect();
        let worst = found.outliers.first().map_or(1.0, |o| o.ratio);
        let (noun, verb) = if names.len() == 1 { ("Part", "stands") } else { ("Parts", "stand") };
        let passing =
            found.outliers.iter().filter(|o| known.get(o.index).is_some_and(|(p, _)| p.outcome.is_conforming())).count();
        let within = match passing {
            0 => String::new(),
            n if n == names.len() => " They keep their limits all the same.".to_owned(),
            n => format!(" {n} of them keep their limits all the same."),
        };
        made.push(
            Finding::new(
                "lot-outliers-found",
                Severity::Anomaly,
                format!("{noun} {} {verb} out of {n} in {what}: the farthest {worst:.1} times the median; {lot}.{within}", list(&names)),
            )
            .advise(format!(
                "Do not build in what stands out, also where it keeps its limit. By the generalised extreme Studentized deviate test (Rosner 1983) {}and a modified z-score above 3.5 (Iglewicz and Hoaglin 1993); in a lot without outliers one is told in at most {:.0} % of lots.",
                if found.scale == Scale::Ratio { "of the logarithm " } else { "" },
                100.0 * spread::FALSE_ALARM
            ))
            .figure(Figure::count("parts that stand out", names.len() as u64)),
        );
    }
    if !found.groups.is_empty() {
        let groups: Vec<String> =
            found.groups.iter().map(|g| format!("{:.0} % around {}", 100.0 * g.share, three(g.middle, unit))).collect();
        made.push(
            Finding::new(
                "lot-groups",
                Severity::Anomaly,
                format!("The lot falls into {} groups in {what}: {}.", groups.len(), groups.join(", ")),
            )
            .advise("Parts of two makings, of two ages, or of two makers under one mark: look at their markings before they are taken as one lot."),
        );
    }
    made
}

/// Against earlier lots of the same part.
pub fn unlike(parts: &[PartOf], earlier: &[Earlier]) -> Option<Finding> {
    let own: Vec<f64> = parts.iter().filter_map(|p| p.seen.value()).collect();
    let what = parts.first().map(|p| p.what.clone())?;
    let compared: Vec<(&Earlier, spread::Against)> =
        earlier.iter().filter_map(|e| Some((e, against(&own, &e.values)?))).collect();
    let level = DIFFERENT / compared.len().max(1) as f64;
    let word =
        |(e, a): &(&Earlier, spread::Against)| format!("{} ({:.2} times its median, p = {:.2})", e.number, a.ratio, a.chance);
    let other: Vec<String> = compared.iter().filter(|(_, a)| a.chance < level).map(word).collect();
    if compared.is_empty() {
        return None;
    }
    let n = compared.len();
    let lots = if n == 1 { "the earlier lot".to_owned() } else { format!("{n} earlier lots") };
    let sentence = if other.is_empty() {
        let all: Vec<String> = compared.iter().map(word).collect();
        format!("{what} is not told apart from {lots} of this part: {}.", list(&all))
    } else {
        format!("{what} differs from {} of {lots} of this part: {}.", other.len(), list(&other))
    };
    Some(Finding::new("lot-earlier", Severity::Note, sentence).advise(format!(
        "By the sums of ranks (Wilcoxon; Mann and Whitney), at {:.0} % for all comparisons together. Another temperature or another fixture does the same as another making: compare the controls first.",
        100.0 * DIFFERENT
    )))
}
