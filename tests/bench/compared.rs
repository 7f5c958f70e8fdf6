//! Runs against each other, and against good units of several runs: what is said to be
//! proved, what is not, and what other conditions forbid.

use crate::support::{BENCH, Outcome, Setup, passed, rehearse, unit};
use rampart::analysis::Level;
use rampart::analysis::compare::rate::Shown;
use rampart::analysis::marks::Mark;
use rampart::analysis::proportion::fisher;
use rampart::record::{Durability, FileRow, Header, Record, StartBegin, StartEnd, add_good, good};
use rampart::report::compare::{Compared, Side, compare};
use rampart::runner::Exit;
use rampart::runner::good::{COURSES, Where, look, runs};
use rampart::runner::past::Past;
use rampart::units::{Amperes, Seconds};
use std::path::Path;
use tempfile::TempDir;

const STARTS: &str = r#"
title = "Does it start?"
[unit]
name = "a made-up unit"
ceiling = { voltage = "9.5 V", current = "200 mA" }
[[stage]]
do = "start"
voltage = "9 V"
limit = { starting = "100 mA", running = "40 mA", after = "300 ms" }
times = 60
off = { from = "300 ms", to = "6 s" }
watch = "1.5 s"
states = { running = ["8 mA", "20 mA"] }
"#;

const LEAKAGE: &str = r#"
title = "Does it leak?"
[unit]
name = "a made-up unit"
ceiling = { voltage = "9.5 V", current = "20 mA" }
[[stage]]
do = "leakage"
part = { name = "C1", kind = "aluminium", capacitance = "10 uF", rated = "16 V" }
voltages = ["2 V", "5 V"]
series = "1 kohm"
electrify = "2 min"
limit = "20 mA"
"#;

/// A record of so many starts, of which the first so many failed, as a run would leave it;
/// `off` gives the time without power before each.
fn recorded(plan: &str, bench: &str, failed: u32, all: u32, off: impl Fn(u32) -> f64) -> TempDir {
    recorded_with(plan, bench, (failed, all), off, &[])
}

/// The same, with marks of the operator's.
fn recorded_with(plan: &str, bench: &str, (failed, all): (u32, u32), off: impl Fn(u32) -> f64, marks: &[&str]) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let file = |kind: &str, text: &str| FileRow { kind: kind.into(), name: format!("{kind}.toml"), text: text.into() };
    let header = Header {
        kind: "rehearsal",
        title: "Does it start?".into(),
        unit: "a made-up unit".into(),
        seed: 1,
        began: "2000-01-01T00:00:00Z".into(),
        cautions: String::new(),
        files: vec![file("plan", plan), file("bench", bench)],
    };
    let mut record = Record::create(folder.path(), &header, Durability::Rehearsal).unwrap();
    record.begin_stage(1, "start", "starts", Seconds(0.0)).unwrap();
    for number in 1..=all {
        let time = Seconds(off(number));
        record.begin_start(1, number, &StartBegin { off_wanted: time, off_note: None, residual: None }).unwrap();
        let bad = number <= failed;
        let end = StartEnd {
            off: Some(time),
            on: Some(Seconds(10.0 * f64::from(number))),
            outcome: if bad { "no start: below floor" } else { "started" }.into(),
            counts: if bad { "failed" } else { "good" },
            state: (!bad).then(|| "running".into()),
            reached: (!bad).then_some(Seconds(0.1)),
            plateau: if bad {
                Level::BelowFloor { floor: Amperes(1e-6) }
            } else {
                Level::Known { value: Amperes(0.012), u: Amperes(3e-5) }
            },
            peak: None,
            limited: Seconds(0.0),
            held: None,
            reason: String::new(),
        };
        record.end_start(1, number, &end).unwrap();
    }
    for mark in marks {
        record.mark(&Mark { at: Seconds(5.0), text: (*mark).into() }).unwrap();
    }
    record.end_stage(1, "done", Seconds(700.0)).unwrap();
    record.finish("the plan was carried out", 0, Seconds(701.0)).unwrap();
    drop(record);
    folder
}

/// Off-times that cover the law of [`STARTS`], in an order of their own.
fn lawful(all: u32) -> impl Fn(u32) -> f64 {
    move |i| 0.3 * 20_f64.powf(f64::from((i * 37) % all) / f64::from(all - 1))
}

fn side(folders: &[&Path], is_good: bool) -> Side {
    let runs = folders.iter().map(|folder| Past::read(folder, None, COURSES).unwrap()).collect();
    Side { name: if is_good { "good".into() } else { "run".into() }, runs, is_good }
}

fn compared(a: &TempDir, b: &TempDir) -> Compared {
    compare(side(&[a.path()], false), side(&[b.path()], false), 0.95).unwrap()
}

fn told<'c>(it: &'c Compared, code: &str) -> &'c str {
    let codes: Vec<&str> = it.findings().map(|(_, f)| &*f.code).collect();
    it.findings().find(|(_, f)| f.code == code).map_or_else(|| panic!("{code} not in {codes:?}"), |(_, f)| &f.sentence)
}

/// Every mark that no page may have, and every element closed.
fn page(it: &Compared) -> String {
    let page = it.page();
    for word in ["NaN", "Infinity", "<script", "src=", "url(", "http"] {
        assert!(!page.contains(word), "{word:?} in the page");
    }
    crate::report::balanced(&page);
    page
}

#[test]
fn four_of_sixty_before_and_none_of_sixty_after_is_not_yet_proof() {
    let before = recorded(STARTS, BENCH, 4, 60, lawful(60));
    let after = recorded(STARTS, BENCH, 0, 60, lawful(60));
    let it = compared(&before, &after);
    let not_yet = told(&it, "compare-not-proved");
    assert!(not_yet.starts_with("Not yet proof: 4 of 60 starts failed before, 0 of 60 after"), "{not_yet}");
    assert!(not_yet.contains("6 further starts without a failure under the same conditions, 66 in all"), "{not_yet}");
    assert!(not_yet.contains("5.94 %") && not_yet.contains("95 %"), "{not_yet}");
    assert_eq!(it.exit(), Exit::Undecided);
    assert!(it.conclusion[0].starts_with("Not yet proof"), "{:?}", it.conclusion);
    let page = page(&it);
    let place = |words: &str| page.find(words).unwrap_or_else(|| panic!("{words:?} is not in the page"));
    assert!(
        place("Conditions that differ") < place("What has been proved") && place("What has been proved") < place("<h2>Starts")
    );
}

#[test]
fn with_six_further_starts_it_is_proof() {
    let before = recorded(STARTS, BENCH, 4, 60, lawful(60));
    let (after, further) = (recorded(STARTS, BENCH, 0, 60, lawful(60)), recorded(STARTS, BENCH, 0, 6, lawful(6)));
    let both = side(&[after.path(), further.path()], false);
    let it = compare(side(&[before.path()], false), both, 0.95).unwrap();
    assert!(told(&it, "compare-proved").starts_with("Proved at 95 % confidence"), "{}", told(&it, "compare-proved"));
    assert!(told(&it, "compare-proved").contains("0 of 66 after"));
    assert_eq!(it.exit(), Exit::Within);
    // In one run, and with many more: the confidence that is reached is said. C(60, 4) / C(260, 4)
    // is 0.0026.
    let many = recorded(&STARTS.replace("times = 60", "times = 200"), BENCH, 0, 200, lawful(200));
    let it = compared(&before, &many);
    assert!(told(&it, "compare-proved").starts_with("Proved at 99 % confidence"), "{}", told(&it, "compare-proved"));
    // At a confidence that is asked for and not reached it is no proof.
    let it = compare(side(&[before.path()], false), side(&[many.path()], false), 0.999).unwrap();
    assert_eq!(it.exit(), Exit::Undecided);
}

#[test]
fn more_failures_after_are_worse_and_none_on_either_side_are_no_difference() {
    let (none, some) = (recorded(STARTS, BENCH, 0, 60, lawful(60)), recorded(STARTS, BENCH, 9, 60, lawful(60)));
    let worse = compared(&none, &some);
    assert!(told(&worse, "compare-worse").starts_with("It fails MORE often after"));
    assert_eq!(worse.exit(), Exit::Anomaly);
    let same = compared(&none, &none);
    assert!(told(&same, "compare-none-failed").contains("4.87 %"), "{}", told(&same, "compare-none-failed"));
    assert_eq!(same.exit(), Exit::Within);
}

#[test]
fn other_conditions_are_told_first_and_prove_nothing() {
    let before = recorded(STARTS, BENCH, 4, 60, lawful(60));
    let clean = |plan: &str, bench: &str| recorded(plan, bench, 0, 300, lawful(300));
    let plain = STARTS.replace("times = 60", "times = 300");
    let others = [
        ("off-times", plain.replace("\"6 s\"", "\"2 s\""), BENCH.to_owned()),
        ("current limit", plain.replace("starting = \"100 mA\"", "starting = \"150 mA\""), BENCH.to_owned()),
        ("voltage", plain.replace("voltage = \"9 V\"\n", "voltage = \"8 V\"\n"), BENCH.to_owned()),
        ("good state", plain.replace("[\"8 mA\", \"20 mA\"]", "[\"1 mA\", \"20 mA\"]"), BENCH.to_owned()),
        ("leads: resistance", plain.clone(), BENCH.replace("80 mohm", "2 ohm")),
    ];
    for (what, plan, bench) in &others {
        let it = compared(&before, &clean(plan, bench));
        let told = told(&it, "compare-conditions");
        assert!(told.starts_with("Nothing is proved") && told.contains(what), "{what}: {told}");
        assert_eq!(it.exit(), Exit::Undecided, "{what}");
        let page = page(&it);
        assert!(page.find("that matter").unwrap() < page.find("What has been proved").unwrap(), "{what}");
    }
    // What does not matter does not stand in the way.
    let it = compared(&before, &clean(&plain.replace("Does it start?", "And now?"), BENCH));
    assert_eq!(it.exit(), Exit::Within, "{:?}", it.conclusion);
}

#[test]
fn what_the_uncertainties_account_for_is_told_and_does_not_stand_in_the_way() {
    let before = recorded(STARTS, BENCH, 4, 60, lawful(60));
    let other = BENCH.replace("B0417", "B0999");
    assert_ne!(other, BENCH);
    let after = recorded(STARTS, &other, 0, 70, lawful(70));
    let it = compared(&before, &after);
    assert_eq!(it.exit(), Exit::Within, "{:?}", it.conclusion);
    let (matter, told) = it.weighed();
    assert!(matter.is_empty(), "{matter:?}");
    assert!(told.iter().any(|(_, c)| c.what == "supply: serial" && c.a.contains("B0417") && c.b.contains("B0999")), "{told:?}");
    // A plan that differs in its words alone is shown line by line.
    assert_eq!(it.plan_lines().len(), 0);
    let renamed = recorded(&STARTS.replace("Does it", "Will it"), BENCH, 0, 70, lawful(70));
    let page = page(&compared(&before, &renamed));
    assert!(page.contains("Will it start?") && page.contains("The plans differ in 2 lines"));
}

#[test]
fn marks_of_one_side_alone_are_told_with_what_is_proved() {
    let before = recorded_with(STARTS, BENCH, (4, 60), lawful(60), &["warmed the lid"]);
    let it = compared(&before, &recorded(STARTS, BENCH, 0, 200, lawful(200)));
    let last = it.conclusion.last().unwrap();
    assert!(last.contains("A: warmed the lid; B: none"), "{last}");
}

#[test]
fn off_times_that_were_others_than_planned_prove_nothing_either() {
    let before = recorded(STARTS, BENCH, 4, 60, lawful(60));
    // The same law, but what was made of it is its short end alone.
    let after = recorded(STARTS, BENCH, 0, 120, |i| 0.3 + f64::from(i) * 0.001);
    let it = compared(&before, &after);
    assert!(told(&it, "compare-conditions").contains("off-times as they were"), "{:?}", it.conclusion);
}

#[test]
fn a_failing_unit_and_its_repaired_twin_are_compared_as_their_counts_say() {
    // A start that latches up one time in ten, and one that does not.
    let plan = STARTS.replace("times = 60", "times = 40");
    let failing = unit("latch_up = { current = \"30 mA\", chance = \"12 %\" }");
    let before = rehearse(Setup { plan: &plan, unit: failing, seed: 5, ..Setup::default() });
    let after = rehearse(Setup { plan: &plan, unit: unit(""), seed: 6, ..Setup::default() });
    let it = compared(&before.folder, &after.folder);
    let rates = it.pairs[0].held.rates.unwrap();
    let counts = |o: &Outcome| {
        let starts = o.run.starts(1).unwrap();
        let of = |word: &str| starts.iter().filter(|s| s.counts == word).count() as u64;
        (of("failed"), of("failed") + of("good"))
    };
    let ((a, n), (b, m)) = (counts(&before), counts(&after));
    assert_eq!(((rates.a.failed, rates.a.counted), (rates.b.failed, rates.b.counted)), ((a, n), (b, m)));
    assert!(a > 0 && b == 0, "{a} of {n}, {b} of {m}");
    let chance = fisher((a, n), (b, m)).unwrap().fewer;
    assert_eq!(rates.shown == Shown::Fewer, chance <= 0.05);
    // The same board draws the same, and its good starts take the same course.
    assert!(told(&it, "compare-course").contains("take the same course"), "{}", told(&it, "compare-course"));
    assert!(told(&it, "compare-current").contains("cannot be told apart"), "{}", told(&it, "compare-current"));
    page(&it);
}

#[test]
fn leakage_is_compared_at_the_same_time_only() {
    let part = |insulation: &str| {
        format!(
            "cause = \"none\"\n[board]\ninput = \"10 uF\"\nrunning = \"12 mA\"\nasleep = \"50 uA\"\n[part.C1]\ncapacitance = \"10 uF\"\ninsulation = \"{insulation}\"\n"
        )
    };
    let run = |plan: &str, insulation: &str| rehearse(Setup { plan, unit: part(insulation), ..Setup::default() });
    let (leaking, good) = (run(LEAKAGE, "40 kohm"), run(LEAKAGE, "400 kohm"));
    let better = compared(&leaking.folder, &good.folder);
    assert!(
        told(&better, "compare-leakage").starts_with("C1 leaks less after than before"),
        "{}",
        told(&better, "compare-leakage")
    );
    assert_eq!(better.exit(), Exit::Within);
    let worse = compared(&good.folder, &leaking.folder);
    assert!(told(&worse, "compare-leakage").starts_with("C1 leaks MORE after than before"));
    assert_eq!(worse.exit(), Exit::Anomaly);
    let longer = run(&LEAKAGE.replace("2 min", "4 min"), "400 kohm");
    let other = compared(&leaking.folder, &longer.folder);
    assert!(told(&other, "compare-leakage").contains("electrification time"), "{}", told(&other, "compare-leakage"));
    assert_eq!(other.exit(), Exit::Undecided);
    page(&other);
}

#[test]
fn a_ramp_that_was_cut_short_on_one_side_is_told() {
    let plan = "title = \"Up\"\n[unit]\nname = \"a made-up unit\"\nceiling = { voltage = \"9.5 V\", current = \"200 mA\" }\n\
                [[stage]]\ndo = \"ramp\"\nto = \"9 V\"\nrate = \"1 V/s\"\nlimit = \"60 mA\"\n";
    let run = |more: &str, seed: u64| rehearse(Setup { plan, unit: unit(more), seed, ..Setup::default() });
    let (good, shorted) = (run("", 1), run("short = { above = \"6 V\", resistance = \"5 ohm\" }", 2));
    assert_eq!(shorted.ended.exit, Exit::Tripped, "{}", shorted.ended.how);
    let better = compared(&shorted.folder, &good.folder);
    let cut = told(&better, "compare-ramp-cut");
    assert!(cut.contains("cut short at 6.") && cut.contains("comes to its end after"), "{cut}");
    assert_eq!(better.exit(), Exit::Within, "{:?}", better.conclusion);
    // The steps after the trip are none of the ramp: current begins where it did.
    assert!(!told(&better, "compare-ramp").contains("begins never"), "{}", told(&better, "compare-ramp"));
    let worse = compared(&good.folder, &shorted.folder);
    assert_eq!(worse.exit(), Exit::Anomaly);
}

/// A plan with every kind of stage, all of which name a good unit.
fn with_good(name: &str) -> String {
    let good = format!("good = \"{name}\"\n");
    let log =
        format!("[[stage]]\ndo = \"log\"\nvoltage = \"9 V\"\nlimit = \"60 mA\"\nfor = \"10 s\"\nevery = \"200 ms\"\n{good}");
    let ramp = format!("[[stage]]\ndo = \"ramp\"\nto = \"9 V\"\nrate = \"1 V/s\"\nlimit = \"60 mA\"\n{good}");
    let starts = STARTS.replace("times = 60", "times = 12").replace("do = \"start\"\n", &format!("do = \"start\"\n{good}"));
    format!("{starts}{log}{ramp}")
}

/// A good unit of three, in the folder of logs.
fn good_units(logs: &Path) {
    let plan = with_good("").replace("good = \"\"\n", "");
    for (seed, name) in [(1, "A1"), (2, "A2"), (3, "A3")] {
        let run = rehearse(Setup { plan: &plan, seed, ..Setup::default() });
        add_good(logs, "gate", run.folder.path(), Some(name)).unwrap();
    }
}

#[test]
fn a_plan_compares_every_kind_of_stage_with_a_good_unit_of_several_runs() {
    let logs = tempfile::tempdir().unwrap();
    good_units(logs.path());
    let plan = with_good("gate");
    let run = |unit: String| rehearse(Setup { plan: &plan, unit, seed: 9, logs: Some(logs.path()), ..Setup::default() });
    let same = run(unit(""));
    let compared: Vec<(&str, &str)> = same
        .ended
        .findings
        .iter()
        .filter(|f| f.sentence.contains("Compared with the good unit gate"))
        .map(|f| (&*f.code, f.severity.name()))
        .collect();
    for code in ["compare-current", "compare-course", "ramp-alike", "compare-ramp"] {
        assert!(compared.contains(&(code, "note")), "{code} in {compared:?}");
    }
    assert_eq!(same.ended.exit, Exit::Within, "{compared:?}");
    // A path of 3 kohm beside it above 4 V: 1.7 mA more than 12 mA at 9 V.
    let other = run(unit("short = { above = \"4 V\", resistance = \"3 kohm\" }"));
    let anomalies: Vec<&str> = other.ended.findings.iter().filter(|f| f.severity.name() == "anomaly").map(|f| &*f.code).collect();
    assert!(anomalies.contains(&"compare-current") && anomalies.contains(&"ramp-differs"), "{anomalies:?}");
    assert_eq!(other.ended.exit, Exit::Anomaly);
    // And afterwards, by hand.
    let units = Side { name: "gate".into(), runs: runs(&good(logs.path(), "gate").unwrap()).unwrap(), is_good: true };
    let it = compare(side(&[other.folder.path()], false), units.clone(), 0.95).unwrap();
    assert_eq!(it.exit(), Exit::Anomaly);
    page(&it);
    assert!(compare(units.clone(), units, 0.95).is_err(), "one of them must be a run");
}

#[test]
fn a_plan_whose_good_unit_was_made_otherwise_is_told_before_power() {
    let logs = tempfile::tempdir().unwrap();
    good_units(logs.path());
    let told = |plan: &str| {
        let passed = passed(plan, BENCH);
        look(passed.plan(), passed.bench(), Where { logs: logs.path(), rehearsal: Some(true) })
    };
    assert!(told(&with_good("gate")).is_empty(), "{}", told(&with_good("gate")));
    let other = told(&with_good("gate").replace("off = { from = \"300 ms\", to = \"6 s\" }", "off = \"1 s\""));
    assert!(!other.any_errors(), "it is a warning");
    let words = other.to_string();
    assert!(words.contains("off-times: 1 s here") && words.contains("stage 1"), "{words}");
    // Good units of a rehearsal say nothing of a real one.
    let plan = with_good("gate");
    let real = passed(&plan, BENCH);
    let real = look(real.plan(), real.bench(), Where { logs: logs.path(), rehearsal: Some(false) }).to_string();
    assert!(real.contains("kind of run: a run on the bench here"), "{real}");
    let none = told(&with_good("no such"));
    assert!(none.any_errors() && none.to_string().contains("rampart good NAME RUN"), "{none}");
}

#[test]
fn a_good_unit_holds_only_what_is_as_it_was_written_and_each_run_once() {
    let logs = tempfile::tempdir().unwrap();
    let run = recorded(STARTS, BENCH, 0, 12, lawful(12));
    add_good(logs.path(), "gate", run.path(), None).unwrap();
    assert!(add_good(logs.path(), "gate", run.path(), None).unwrap_err().to_string().contains("already"));
    for name in ["", "../gate", ".gate", "a b"] {
        assert!(add_good(logs.path(), name, run.path(), None).is_err(), "{name:?}");
    }
    let few = rampart::runner::good::thin(&runs(&good(logs.path(), "gate").unwrap()).unwrap());
    assert!(few.contains("1 good unit"), "{few}");
    // A reading that was changed in the copy.
    let copy = good(logs.path(), "gate").unwrap().runs[0].folder.join("run.sqlite");
    let store = rusqlite::Connection::open(&copy).unwrap();
    store.execute("UPDATE start_end SET counts = 'failed' WHERE number = 3", []).unwrap();
    drop(store);
    let changed = Past::read(copy.parent().unwrap(), None, COURSES).unwrap();
    assert!(changed.damage.is_some());
    assert!(
        add_good(logs.path(), "other", copy.parent().unwrap(), None).unwrap_err().to_string().contains("not as it was written")
    );
    let it = compare(side(&[run.path()], false), side(&[copy.parent().unwrap()], true), 0.95).unwrap();
    assert_eq!(it.exit(), Exit::Undecided);
    assert!(told(&it, "compare-conditions").contains("record"), "{}", told(&it, "compare-conditions"));
}
