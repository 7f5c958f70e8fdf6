//! The good units that a plan names: what they have drawn, whether their conditions are the
//! plan's, and whether the unit at hand differs from them.

use super::against::hold;
use super::past::{Past, Seen, What, merged, of_bench, of_kind, of_stage};
use crate::analysis::compare::condition::Condition;
use crate::analysis::compare::say::Sides;
use crate::analysis::finding::{Finding, Severity};
use crate::document::{Problem, Problems};
use crate::plan::{Bench, Plan, Stage, StageKind};
use crate::record::{self, Good, RecordError};
use std::collections::BTreeMap;
use std::path::Path;

/// Fewer units than this say little of how far good units are apart (common practice).
pub const UNITS: usize = 3;
/// Fewer good starts of each than this (common practice).
pub const STARTS: usize = 10;
/// Courses of starts that are kept of a run.
pub const COURSES: usize = 64;

/// A good unit that a stage names, with the same stage of each of its runs.
#[derive(Clone, Debug)]
pub struct Expected {
    /// Its name.
    pub name: String,
    /// What is to be said where its runs are few; or empty.
    pub thin: String,
    /// The stages of its runs.
    pub stages: Vec<Seen>,
    /// Conditions of its runs that are not those of this one.
    pub conditions: Vec<Condition>,
}

/// The runs of a good unit.
///
/// # Errors
/// A record's.
pub fn runs(good: &Good) -> Result<Vec<Past>, RecordError> {
    good.runs.iter().map(|run| Past::read(&run.folder, run.unit.as_deref(), COURSES)).collect()
}

/// What is to be said of few good units; empty where there are enough of them.
pub fn thin(runs: &[Past]) -> String {
    let mut units: Vec<&str> = runs.iter().map(|r| r.unit.as_str()).collect();
    units.sort_unstable();
    units.dedup();
    let good_starts = |run: &Past| -> Option<u64> {
        let starts = run
            .stages
            .iter()
            .filter_map(|s| if let What::Starts(s) = &s.what { Some(s.group.counted - s.group.failed) } else { None });
        starts.reduce(u64::max)
    };
    let few = runs.iter().filter_map(good_starts).filter(|n| (*n as usize) < STARTS).count();
    let mut said = Vec::new();
    if units.len() < UNITS {
        let plural = if units.len() == 1 { "unit" } else { "units" };
        said.push(format!(
            "It rests on {} good {plural}: how far good ones are apart is hardly known below {UNITS}",
            units.len()
        ));
    }
    if few > 0 {
        said.push(format!("{few} of its runs have fewer than {STARTS} good starts"));
    }
    if said.is_empty() { String::new() } else { format!("{}.", said.join("; ")) }
}

/// The good unit that a stage names.
pub(super) fn named(kind: &StageKind) -> Option<&str> {
    match kind {
        StageKind::Ramp(it) => it.good.as_deref(),
        StageKind::Log(it) => it.good.as_deref(),
        StageKind::Start(it) => it.good.as_deref(),
        StageKind::Leakage(it) => it.good.as_deref(),
        StageKind::Ask(_) => None,
    }
}

/// Where good units are looked for, and against what.
#[derive(Clone, Copy, Debug)]
pub struct Where<'w> {
    /// The folder of logs.
    pub logs: &'w Path,
    /// Whether the plan is rehearsed; `None`: nobody knows yet.
    pub rehearsal: Option<bool>,
}

/// The good unit of a stage, out of the records in the folder of logs.
fn of_stage_named(plan: &Plan, bench: &Bench, stage: &Stage, name: &str, place: Where<'_>) -> Result<Expected, RecordError> {
    let runs = runs(&record::good(place.logs, name)?)?;
    let before = plan.stages.iter().filter(|s| s.number < stage.number && s.kind.word() == stage.kind.word()).count();
    let stages: Vec<(&Past, &Seen)> = runs.iter().filter_map(|run| Some((run, run.partner(&stage.kind, before)?))).collect();
    if stages.is_empty() {
        let word = stage.kind.word();
        return Err(RecordError::NoRun(format!("the good unit {name:?}, which the plan names, has no {word} stage")));
    }
    let conditions = merged(stages.iter().map(|(run, seen)| {
        let kind = place.rehearsal.and_then(|rehearsal| of_kind(rehearsal, run.is_rehearsal));
        let bench = of_bench(&bench.document.text, run.text("bench").unwrap_or_default());
        [kind.into_iter().collect(), bench, of_stage(&stage.kind, &seen.kind)].concat()
    }));
    Ok(Expected {
        name: name.to_owned(),
        thin: thin(&runs),
        stages: stages.into_iter().map(|(_, s)| s.clone()).collect(),
        conditions,
    })
}

/// The good units that the plan's stages name, by number of stage.
///
/// # Errors
/// There is none of a name, or it has no such stage.
pub(super) fn expected(plan: &Plan, bench: &Bench, place: Where<'_>) -> Result<BTreeMap<u32, Expected>, RecordError> {
    let named = plan.stages.iter().filter_map(|stage| Some((stage, named(&stage.kind)?)));
    named.map(|(stage, name)| Ok((stage.number, of_stage_named(plan, bench, stage, name, place)?))).collect()
}

/// What is to be said of the good units that a plan names, before power: one that is not
/// there is an error, conditions that are not the plan's are a warning, and so are few units.
pub fn look(plan: &Plan, bench: &Bench, place: Where<'_>) -> Problems {
    let mut problems = Problems::default();
    let mut told: Vec<String> = Vec::new();
    for (stage, name) in plan.stages.iter().filter_map(|stage| Some((stage, named(&stage.kind)?))) {
        let at = |title: String| Problem::at(&plan.document, stage.places.of("good").clone(), title);
        match of_stage_named(plan, bench, stage, name, place) {
            Err(error) => {
                problems.push(at(error.to_string()).label("not to be had").hint(
                    "`rampart good NAME RUN` stores one; its name, or that of a run in the folder of logs, is written here",
                ))
            }
            Ok(expected) => {
                for c in &expected.conditions {
                    let what = format!("stage {}: {}: {} here, {} with the good unit {name}", stage.number, c.what, c.a, c.b);
                    if c.forbids.is_empty() {
                        continue;
                    }
                    problems.push(at(what).label("made under another condition").hint(c.means()).warning());
                }
                if !expected.thin.is_empty() && !told.contains(&expected.name) {
                    told.push(expected.name.clone());
                    let hint = format!("add runs of other good units, {UNITS} at least, with {STARTS} good starts each");
                    problems
                        .push(at(format!("the good unit {name}: {}", lower(&expected.thin))).label("few").hint(hint).warning());
                }
            }
        }
    }
    problems
}

fn lower(text: &str) -> String {
    let mut chars = text.trim_end_matches('.').chars();
    chars.next().map_or(String::new(), |c| c.to_lowercase().collect::<String>() + chars.as_str())
}

/// How the stage in hand compares with the good unit that it names. Its failing rate is
/// left to what is said of failing starts; only that it is shown to be higher is told.
pub(super) fn judge(subject: &Seen, expected: &Expected) -> Vec<Finding> {
    let sides = Sides::good(expected.thin.clone());
    let reference: Vec<&Seen> = expected.stages.iter().collect();
    let held = hold(subject, &reference, &expected.conditions, &sides, 0.95);
    let rate =
        |f: &Finding| ["compare-not-proved", "compare-none-failed", "compare-all-failed", "compare-one-side"].contains(&&*f.code);
    // A failing start is an anomaly by itself, and is not made less of one here.
    let kept = held.findings.into_iter().filter(|f| !(rate(f) || (f.code == "compare-better" && f.severity == Severity::Note)));
    kept.map(|f| Finding { sentence: format!("{} Compared with the good unit {}.", f.sentence, expected.name), ..f }).collect()
}
