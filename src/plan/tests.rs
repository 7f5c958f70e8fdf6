//! What holds where a plan leaves something out, what a stage takes over from
//! the one before, and which range and rate a meter is set to.

use super::check::tests::BENCH;
use super::{Bench, Limits, OffTimes, OnFault, Order, Plan, Spacing, Stage, StageKind, check, meter_setup};
use crate::document::{Document, Problems};
use crate::instrument::profile::{self, MeterProfile};
use crate::units::{Amperes, Seconds, Volts};

const HEAD: &str = "title = \"t\"\n[unit]\nname = \"u\"\nceiling = { voltage = \"10 V\", current = \"120 mA\" }\n";
const RAMP: &str = "[[stage]]\ndo = \"ramp\"\nto = \"9 V\"\nrate = \"0.5 V/s\"\nlimit = \"60 mA\"\n";
const LOG: &str = "[[stage]]\ndo = \"log\"\nfor = \"1 min\"\nevery = \"100 ms\"\n";
const LEAKAGE: &str = "[[stage]]\ndo = \"leakage\"\nseries = \"1 kohm\"\nelectrify = \"3 min\"\nvoltages = [\"2 V\"]\n\
    part = { name = \"C7\", kind = \"solid tantalum\", capacitance = \"4.7 uF\", rated = \"16 V\" }\n";
const START: &str = "[[stage]]\ndo = \"start\"\nvoltage = \"9 V\"\nlimit = \"100 mA\"\ntimes = 3\noff = \"2 s\"\nwatch = \"1 s\"\n\
    states = { asleep = [\"1 mA\", \"2 mA\"], running = [\"8 mA\", \"20 mA\"] }\n";

fn read(parts: &[&str]) -> Result<Plan, Problems> {
    Plan::read(&Document::new("plan.toml", format!("{HEAD}{}", parts.concat())))
}

fn stages(parts: &[&str]) -> Vec<Stage> {
    read(parts).unwrap().stages
}

fn shipped_meter(name: &str) -> MeterProfile {
    profile::find(name, std::path::Path::new("")).unwrap().meter().unwrap().clone()
}

#[test]
fn what_is_left_out_has_the_documented_value() {
    let plan = read(&[RAMP, START, LEAKAGE, "[[stage]]\ndo = \"ask\"\nsay = \"Ready?\"\n"]).unwrap();
    assert_eq!((plan.interlock.in_limit, plan.interlock.no_reading), (Seconds(0.3), Seconds(2.0)));
    assert!(plan.interlock.energy.is_none());
    assert!((plan.unit.ceiling.power.0 - 1.2).abs() < 1e-12);
    let [StageKind::Ramp(ramp), StageKind::Start(start), StageKind::Leakage(sweep), StageKind::Ask(ask)] =
        &plan.stages.iter().map(|s| s.kind.clone()).collect::<Vec<_>>()[..]
    else {
        panic!("another order")
    };
    assert_eq!((ramp.step, ramp.hold), (Volts(0.1), Seconds(1.0)));
    assert_eq!(start.limit, Limits::same(Amperes(0.1)));
    assert_eq!(start.off, OffTimes { from: Seconds(2.0), to: Seconds(2.0), spacing: Spacing::Linear, order: Order::Rising });
    assert_eq!((start.off_patience, start.within, start.on_fault), (Seconds(60.0), Seconds(1.0), OnFault::GoOn));
    // The first written is the good one, whatever the names.
    assert_eq!(start.states[0].name, "asleep");
    assert_eq!(
        (sweep.limit, sweep.every),
        (super::LeakageLimit::Table(crate::analysis::leakage::limits::Series::Handbook), Seconds(3.0))
    );
    assert_eq!(ask.accept, ["", "y", "yes", "ok", "done"]);
}

#[test]
fn a_log_takes_over_voltage_and_limit_even_past_a_question() {
    let ask = "[[stage]]\ndo = \"ask\"\nsay = \"Ready?\"\n";
    for parts in [&[RAMP, LOG][..], &[RAMP, ask, LOG], &[RAMP, LOG, LOG]] {
        let stages = stages(parts);
        let Some(StageKind::Log(log)) = stages.last().map(|s| &s.kind) else { panic!("no log") };
        assert_eq!((log.voltage, log.limit), (Volts(9.0), Limits::same(Amperes(0.06))));
    }
}

#[test]
fn a_log_takes_nothing_over_once_something_else_is_connected() {
    let connect = "[[stage]]\ndo = \"ask\"\nsay = \"Connect board A.\"\nconnect = \"board A\"\n";
    for parts in [&[LOG][..], &[RAMP, connect, LOG], &[RAMP, LEAKAGE, LOG]] {
        let problems = read(parts).unwrap_err().to_string();
        assert!(problems.contains("(log) lacks \"voltage\""), "{problems}");
        assert!(problems.contains("(log) lacks \"limit\""), "{problems}");
    }
}

#[test]
fn what_a_log_takes_over_is_judged_once_where_it_is_written() {
    let bench = Bench::read(&Document::new("bench.toml", BENCH)).unwrap();
    let plan = read(&[&RAMP.replace("9 V", "12 V"), LOG]).unwrap();
    let checked = check(plan, bench, "2026-11-25");
    let above: Vec<_> = checked.problems.iter().filter(|p| p.title.contains("ceiling of 10 V")).collect();
    assert_eq!(above.len(), 1, "{}", checked.problems);
    assert!(checked.passed.is_none());
}

#[test]
fn stages_that_are_short_one_by_one_may_be_too_long_together() {
    let bench = Bench::read(&Document::new("bench.toml", BENCH)).unwrap();
    let days = LOG.replace("1 min", "6 d");
    let checked = check(read(&[RAMP, &days, &days]).unwrap(), bench, "2026-11-25");
    let text = checked.problems.to_string();
    assert!(text.contains("error: all stages together would take 12 d 0 h"), "{text}");
    assert!(text.contains("warning: stage 2 (log) would take 6 d 0 h"), "{text}");
    assert!(text.contains("plan.toml:14:1"), "{text}");
}

#[test]
fn a_supply_that_leaves_the_unit_charged_is_warned_of_where_the_capacitance_is_known() {
    let bench = Bench::read(&Document::new("bench.toml", "[supply]\nprofile = \"supply-index-in-header\"\n")).unwrap();
    let known = HEAD.replace("name", "capacitance = \"100 uF\"\nname");
    for (head, off_below, warned) in [(HEAD, "", false), (&known, "", true), (&known, "off_below = \"0.3 V\"\n", false)] {
        let plan = Plan::read(&Document::new("plan.toml", format!("{head}{START}{off_below}"))).unwrap();
        let text = check(plan, bench.clone(), "2026-11-25").problems.to_string();
        assert_eq!(text.contains("keeps its charge"), warned, "{text}");
    }
}

#[test]
fn a_meter_across_must_hold_the_voltage() {
    let across = BENCH.replace("in series", "across").replace("terminal = \"mA\"\n", "");
    let bench = Bench::read(&Document::new("bench.toml", across)).unwrap();
    // The highest voltage range of this meter is 100 V.
    for (ceiling, refused) in [("10 V", false), ("100 V", false), ("101 V", true)] {
        let plan = Plan::read(&Document::new("plan.toml", format!("{}{RAMP}", HEAD.replace("10 V", ceiling)))).unwrap();
        let text = check(plan, bench.clone(), "2026-11-25").problems.to_string();
        assert_eq!(text.contains(&format!("no voltage range that holds the unit's ceiling of {ceiling}")), refused, "{text}");
    }
}

#[test]
fn the_range_is_the_lowest_that_holds_the_limit_while_starting() {
    let meter = shipped_meter("meter-plain");
    for (limit, full) in [
        ("\"100 mA\"", 0.1),
        ("\"90 mA\"", 0.1),
        ("\"101 mA\"", 0.4),
        ("{ starting = \"500 mA\", running = \"50 mA\", after = \"100 ms\" }", 0.4),
    ] {
        let stages = stages(&[&START.replace("\"100 mA\"", limit)]);
        let setup = meter_setup(&stages[0].kind, &meter).unwrap().unwrap();
        assert_eq!(setup.range(&meter).unwrap().full, full, "{limit}");
    }
    let beyond = stages(&[&START.replace("\"100 mA\"", "\"500 mA\"")]);
    let why = meter_setup(&beyond[0].kind, &meter).unwrap_err();
    assert_eq!(why, "the meter's highest current range, 400 mA, does not hold 500 mA");
}

#[test]
fn the_rate_is_the_slowest_that_keeps_up() {
    let meter = shipped_meter("meter-plain");
    for (watch, period) in [("1 s", 0.022), ("300 ms", 0.006), ("100 ms", 0.006), ("10 s", 0.205)] {
        let stages = stages(&[&START.replace("watch = \"1 s\"", &format!("watch = \"{watch}\""))]);
        let setup = meter_setup(&stages[0].kind, &meter).unwrap().unwrap();
        assert_eq!(setup.rate(&meter).unwrap().period, Seconds(period), "{watch}");
    }
}

#[test]
fn a_sweep_begins_on_the_range_that_shows_its_limit() {
    // Solid tantalum, 4.7 uF, 16 V: max(0.01 × 4.7 × 16, 0.5) = 0.752 uA (makers' handbooks).
    let meter = shipped_meter("meter-plain");
    let stages = stages(&[LEAKAGE]);
    let StageKind::Leakage(sweep) = &stages[0].kind else { panic!("no sweep") };
    assert!((super::accepted(sweep).0 - 0.752e-6).abs() < 1e-12);
    let setup = meter_setup(&stages[0].kind, &meter).unwrap().unwrap();
    assert_eq!(setup.range(&meter).unwrap().full, 100e-6);
}

proptest::proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,60}(\n\\PC{0,40}){0,6}") {
        drop(Plan::read(&Document::new("plan.toml", text.clone())));
        drop(Bench::read(&Document::new("bench.toml", text)));
    }

    #[test]
    fn no_sequence_of_stages_makes_the_check_panic(picks in proptest::collection::vec(0usize..6, 1..8), swap in 0usize..400, with in "[0-9a-zA-Z \"=.]{0,3}") {
        const ASK: &str = "[[stage]]\ndo = \"ask\"\nsay = \"Ready?\"\n";
        const CONNECT: &str = "[[stage]]\ndo = \"ask\"\nsay = \"Now board A.\"\nconnect = \"board A\"\n";
        let blocks = [RAMP, LOG, START, LEAKAGE, ASK, CONNECT];
        let mut text: String = picks.iter().map(|i| blocks[*i]).collect();
        if swap + 1 < text.len() {
            text.replace_range(swap..swap + 1, &with);
        }
        if let (Ok(plan), Ok(bench)) = (read(&[&text]), Bench::read(&Document::new("bench.toml", BENCH))) {
            let count = plan.stages.len();
            let checked = check(plan, bench, "2026-11-25");
            assert_eq!(checked.passed.is_some(), !checked.problems.any_errors());
            assert_eq!(checked.estimate.stages.len(), count);
        }
    }
}

#[test]
fn going_on_after_a_trip_is_for_named_causes_alone() {
    let with = |retry: &str| read(&["[interlock]\nretry = ", retry, "\n", RAMP]);
    let retry = with("{ times = 2, after = [\"no reading\"], pause = \"5 s\" }").unwrap().interlock.retry.unwrap();
    assert_eq!((retry.times, retry.after.as_slice(), retry.pause), (2, &[super::TripCause::NoReading][..], Seconds(5.0)));
    assert!(read(&[RAMP]).unwrap().interlock.retry.is_none());
    for (wrong, said) in [
        ("{ times = 2, after = [\"over-voltage\"], pause = \"5 s\" }", "a run does not go on after \"over-voltage\""),
        ("{ times = 2, pause = \"5 s\" }", "after"),
        ("{ after = [\"no reading\"], pause = \"5 s\" }", "times"),
        ("{ times = 2, after = [\"no reading\"] }", "pause"),
    ] {
        let problems = with(wrong).unwrap_err().to_string();
        assert!(problems.contains(said), "{problems}");
    }
}

#[test]
fn a_known_load_is_checked_before_it_is_heated() {
    let with = |lines: &str| {
        let plan =
            read(&["[self_check]\nload = \"100 ohm\"\ntolerance = \"1 %\"\nrated = \"0.5 W\"\n", lines, "\n", RAMP]).unwrap();
        let bench = Bench::read(&Document::new("bench.toml", BENCH)).unwrap();
        check(plan, bench, "2026-11-25").problems.to_string()
    };
    assert!(!with("voltage = \"5 V\"").contains("load's"), "{}", with("voltage = \"5 V\""));
    assert!(with("voltage = \"9 V\"").contains("turn 810 mW into heat, more than the load's"), "{}", with("voltage = \"9 V\""));
    assert!(with("voltage = \"20 V\"").contains("above the unit's ceiling"));
    let problems = read(&["[self_check]\nload = \"100 ohm\"\n", RAMP]).unwrap_err().to_string();
    assert!(["tolerance", "rated", "voltage"].iter().all(|key| problems.contains(key)), "{problems}");
}
