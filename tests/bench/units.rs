//! Units and their plans: what is really wrong stands in each unit file, and so do the
//! findings that its plan must reach, those that it must not, and words that must stand in
//! them (`[truth]`). Those in `scripts/` are for everybody to rehearse on; those in
//! `tests/data/units` have other causes, on which the same plans are tried unchanged.

use crate::support::{Outcome, Setup, rehearse};
use rampart::document::Document;
use rampart::rehearsal::UnitFile;
use std::path::{Path, PathBuf};

/// A plan, a unit of `scripts/`, how many seeds, and with how many starts the plan reaches
/// its findings.
struct Row {
    plan: &'static str,
    unit: &'static str,
    seeds: u64,
    starts: u64,
}

const fn row(plan: &'static str, unit: &'static str, seeds: u64, starts: u64) -> Row {
    Row { plan, unit, seeds, starts }
}

const UNITS: [Row; 11] = [
    // A leaking capacitor in the arming delay; the same repaired.
    row("frost-alarm", "frost-alarm", 2, 300),
    row("frost-alarm", "frost-alarm-repaired", 1, 300),
    // A converter that sticks near the limit; one with a soft start.
    row("vent-opener", "vent-opener", 3, 60),
    row("vent-opener", "vent-opener-good", 3, 60),
    // A short that appears above a voltage; the right clamp.
    row("rain-gauge", "rain-gauge", 3, 0),
    row("rain-gauge", "rain-gauge-good", 3, 0),
    // Asleep at microamperes, with wake pulses.
    row("beehive-scale", "beehive-scale", 3, 0),
    // Electrolytics: one that reforms, one that cannot any more, a fresh one.
    row("old-electrolytic", "old-electrolytic", 2, 0),
    row("old-electrolytic", "old-electrolytic-worn", 2, 0),
    row("old-electrolytic", "old-electrolytic-good", 2, 0),
    // A lot with an outlier.
    row("capacitor-lot", "capacitor-lot", 3, 0),
];

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

fn text(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// One rehearsal, scored against what the unit file says is true. What is wrong, in words.
fn scored(plan: &str, name: &str, unit: &str, seed: u64) -> (Outcome, Vec<String>) {
    let file = UnitFile::read(&Document::new(name, unit.to_owned())).unwrap_or_else(|p| panic!("{p}"));
    let truth = file.truth.unwrap_or_else(|| panic!("{name} says nothing of its truth"));
    let outcome = rehearse(Setup { plan, unit: unit.to_owned(), seed, ..Setup::default() });
    let found = outcome.run.findings().unwrap();
    let has = |code: &String| found.iter().any(|f| f.code == *code);
    let mut wrong: Vec<String> = Vec::new();
    wrong.extend(truth.findings.iter().filter(|code| !has(code)).map(|code| format!("{code} is missing")));
    wrong.extend(truth.not.iter().filter(|code| has(code)).map(|code| format!("{code} must not be")));
    let told = |f: &rampart::record::FindingRow| format!("{} {}", f.sentence, f.advice.clone().unwrap_or_default());
    let all: Vec<String> = found.iter().map(told).collect();
    wrong.extend(
        truth.says.iter().filter(|says| !all.iter().any(|t| t.contains(*says))).map(|says| format!("nothing says {says:?}")),
    );
    // A part that is good is nowhere to be replaced, and the one at fault is the one that is.
    for (finding, told) in found.iter().zip(&all).filter(|(f, _)| f.code == "leakage-fail" || f.code == "lot-outlier") {
        let named = truth.part.as_deref().is_some_and(|part| told.contains(part));
        if !named {
            wrong.push(format!("{} names another part than {:?}: {}", finding.code, truth.part, finding.sentence));
        }
    }
    let wrong = wrong.into_iter().map(|w| format!("{name}, seed {seed}: {w}\n    {}", all.join("\n    "))).collect();
    (outcome, wrong)
}

#[test]
fn every_plan_reaches_what_its_unit_says_is_true() {
    let mut wrong = Vec::new();
    for Row { plan, unit, seeds, starts } in UNITS {
        let scripts = folder("scripts");
        let (plan_text, unit_text) =
            (text(&scripts.join(format!("{plan}.toml"))), text(&scripts.join(format!("{unit}.unit.toml"))));
        for seed in 1..=seeds {
            let (outcome, more) = scored(&plan_text, unit, &unit_text, seed);
            wrong.extend(more);
            let made: usize = (1..=9).map(|stage| outcome.run.starts(stage).unwrap().len()).sum();
            if made as u64 != starts {
                wrong.push(format!("{unit}, seed {seed}: {made} starts, not {starts}: {}", outcome.ended.how));
            }
        }
    }
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

/// Every unit in `tests/data/units`; its plan is what stands before `--` in its name.
fn others(which: impl Fn(&str) -> bool, seeds: u64) {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder("tests/data/units")).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    let mut wrong = Vec::new();
    let mut tried = 0;
    for path in files {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let plan = name.split("--").next().unwrap().to_owned();
        if !which(&plan) {
            continue;
        }
        tried += 1;
        let plan = text(&folder("scripts").join(format!("{plan}.toml")));
        for seed in 1..=seeds {
            wrong.extend(scored(&plan, &name, &text(&path), seed).1);
        }
    }
    assert!(tried > 0 && wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn the_shipped_plans_find_other_causes_without_change() {
    others(|plan| plan != "frost-alarm", 3);
}

#[test]
fn the_frost_alarms_plan_finds_other_causes_without_change() {
    // 300 starts each: one seed.
    others(|plan| plan == "frost-alarm", 1);
}
