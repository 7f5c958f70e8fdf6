//! What the documents say is so: examples that are read, tables that match the code.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test that cannot go on stops")]

use rampart::document::Document;
use rampart::instrument::profile::SHIPPED;
use rampart::plan::{Bench, Lot, Plan, check, check_lot};
use rampart::runner::Exit;

const README: &str = include_str!("../README.md");
const PROFILES: &str = include_str!("../profiles/README.md");

/// The README's examples in TOML, in order: a plan without stages, and a bench.
fn examples() -> Vec<&'static str> {
    README.split("```toml\n").skip(1).map(|block| block.split("```").next().unwrap()).collect()
}

#[test]
fn the_readmes_bench_and_plan_are_read_and_fit_each_other() {
    let [head, lot, inspection, bench] = examples()[..] else { panic!("a plan, a lot, how it is inspected, and a bench") };
    let bench = Bench::read(&Document::new("bench.toml", bench)).unwrap_or_else(|p| panic!("{p}"));
    bench.addressed().unwrap_or_else(|p| panic!("{p}"));
    let shipped = include_str!("../scripts/frost-alarm.toml");
    let stages = &shipped[shipped.find("[[stage]]").unwrap()..];
    let plan = Plan::read(&Document::new("plan.toml", format!("{head}{stages}"))).unwrap_or_else(|p| panic!("{p}"));
    let defaults = "[interlock]";
    let without = head.split(defaults).next().unwrap();
    let left_out = Plan::read(&Document::new("plan.toml", format!("{without}{stages}"))).unwrap_or_else(|p| panic!("{p}"));
    assert_eq!(plan.interlock.in_limit, left_out.interlock.in_limit, "the README's values are the defaults");
    assert_eq!(plan.interlock.no_reading, left_out.interlock.no_reading, "the README's values are the defaults");
    let checked = check(plan, bench.clone(), "2026-11-25");
    assert!(checked.problems.is_empty(), "{}", checked.problems);
    let lot = Lot::read(&Document::new("lot.toml", lot)).unwrap_or_else(|p| panic!("{p}"));
    assert_eq!((lot.sampling.numbers.sample, lot.sampling.numbers.accept), (20, 1));
    let tray = include_str!("../scripts/tantalum-tray.toml");
    let (before, after) = (&tray[..tray.find("[inspection]").unwrap()], &tray[tray.find("[[stage]]").unwrap()..]);
    let text = format!("{before}{inspection}{after}");
    let plan = Plan::read(&Document::new("plan.toml", text)).unwrap_or_else(|p| panic!("{p}"));
    let checked = check_lot(plan, Some(lot), bench, "2026-11-25");
    assert!(checked.problems.is_empty(), "{}", checked.problems);
}

#[test]
fn the_readmes_exit_codes_are_those_of_the_code() {
    for exit in Exit::ALL {
        let row = format!("| {} | {} |", exit.code(), exit.meaning());
        assert!(README.contains(&row), "{row}");
    }
    let table = README.split("### Exit codes").nth(1).unwrap().split("\n\n").nth(1).unwrap();
    assert_eq!(table.lines().count(), Exit::ALL.len() + 2, "no row too many");
}

#[test]
fn every_shipped_profile_is_listed() {
    for (name, _) in SHIPPED {
        assert!(PROFILES.contains(&format!("| `{name}` |")), "{name}");
    }
    assert_eq!(PROFILES.matches("| `supply-").count() + PROFILES.matches("| `meter-").count(), SHIPPED.len());
}
