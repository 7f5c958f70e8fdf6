//! The units to rehearse on in `scripts/`: which finding each plan reaches on each
//! unit, and which not on its good twin. What must be found stands in the unit file
//! itself, in `[truth]`; several seeds each.

use crate::support::{Setup, rehearse};
use rampart::document::Document;
use rampart::rehearsal::UnitFile;
use std::path::Path;

/// Plan, unit, and how many seeds.
const UNITS: [(&str, &str, u64); 9] = [
    ("vent-opener", "vent-opener", 3),
    ("vent-opener", "vent-opener-good", 3),
    ("rain-gauge", "rain-gauge", 3),
    ("rain-gauge", "rain-gauge-good", 3),
    ("beehive-scale", "beehive-scale", 2),
    ("old-electrolytic", "old-electrolytic", 2),
    ("old-electrolytic", "old-electrolytic-worn", 2),
    ("old-electrolytic", "old-electrolytic-good", 2),
    ("capacitor-lot", "capacitor-lot", 2),
];

fn text(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

#[test]
fn every_plan_reaches_what_its_unit_says_is_true() {
    for (plan, unit, seeds) in UNITS {
        let (plan_text, unit_text) = (text(&format!("{plan}.toml")), text(&format!("{unit}.unit.toml")));
        let file = UnitFile::read(&Document::new(unit, unit_text.clone())).unwrap_or_else(|p| panic!("{p}"));
        let truth = file.truth.unwrap_or_else(|| panic!("{unit} says nothing of its truth"));
        for seed in 1..=seeds {
            let outcome = rehearse(Setup { plan: &plan_text, unit: unit_text.clone(), seed, ..Setup::default() });
            let found = outcome.run.findings().unwrap();
            let codes: Vec<(Option<u32>, &str)> = found.iter().map(|f| (f.stage, f.code.as_str())).collect();
            let has = |code: &String| codes.iter().any(|(_, found)| found == code);
            assert!(!codes.is_empty(), "{unit}, seed {seed}: {}", outcome.ended.how);
            assert!(
                truth.findings.iter().all(has),
                "{unit}, seed {seed}: {:?} of {codes:?}: {}",
                truth.findings,
                outcome.ended.how
            );
            assert!(!truth.not.iter().any(has), "{unit}, seed {seed}: {:?} in {codes:?}: {}", truth.not, outcome.ended.how);
            if plan == "capacitor-lot" {
                let failed: Vec<u32> = found.iter().filter(|f| f.code == "leakage-fail").filter_map(|f| f.stage).collect();
                assert_eq!(failed, [4], "C4 alone: {codes:?}");
            }
        }
    }
}
