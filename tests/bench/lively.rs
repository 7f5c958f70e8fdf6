//! A supply that is further from ideal, `scripts/bench-lively.toml`: what it does of its
//! own must neither hide a finding nor make one.

use crate::support::{BENCH, Setup, rehearse};
use rampart::runner::Exit;
use std::collections::BTreeSet;

const LIVELY: &str = include_str!("../../scripts/bench-lively.toml");

/// How a run ends, and the anomalies that it finds, with their stages.
fn found(plan: &str, unit: &str, bench: &str) -> (Exit, BTreeSet<(Option<u32>, String)>) {
    let outcome = rehearse(Setup { plan, bench, unit: unit.to_owned(), ..Setup::default() });
    let found = outcome.run.findings().unwrap().into_iter();
    (outcome.ended.exit, found.filter(|f| f.severity == "anomaly").map(|f| (f.stage, f.code)).collect())
}

#[test]
fn a_supply_that_overshoots_and_hisses_changes_no_finding() {
    let frost_alarm = include_str!("../../scripts/frost-alarm.toml")
        .replace("times     = 300", "times     = 60")
        .replace("electrify = \"3 min\"", "electrify = \"1 min\"");
    for (plan, unit, anomalies) in [
        (frost_alarm.as_str(), include_str!("../../scripts/frost-alarm.unit.toml"), true),
        (&frost_alarm, include_str!("../../scripts/frost-alarm-repaired.unit.toml"), false),
        (include_str!("../../scripts/vent-opener.toml"), include_str!("../../scripts/vent-opener-good.unit.toml"), false),
        (include_str!("../../scripts/rain-gauge.toml"), include_str!("../../scripts/rain-gauge-good.unit.toml"), false),
    ] {
        let (ideal, lively) = (found(plan, unit, BENCH), found(plan, unit, LIVELY));
        let title = plan.lines().next().unwrap_or_default();
        assert_eq!(ideal, lively, "{title}");
        assert_eq!(!lively.1.is_empty(), anomalies, "{title}: {lively:?}");
    }
}
