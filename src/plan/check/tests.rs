//! The mistakes that a check must find, each with its place and a hint.

use super::check;
use crate::document::Document;
use crate::plan::{Bench, Plan};

pub(crate) const BENCH: &str = r#"
[supply]
profile = "supply-channel-list"
calibration_due = 2027-03-31

[meter]
profile = "meter-plain"
wired = "in series"
terminal = "mA"

[leads]
resistance = "80 mohm"
"#;

pub(crate) const PLAN: &str = r#"title = "Frost alarm: does it start every time?"

[unit]
name = "orchard frost alarm, board B"
ceiling = { voltage = "10 V", current = "120 mA", power = "1 W" }

[interlock]
in_limit = "300 ms"
no_reading = "2 s"

[[stage]]
do = "ramp"
to = "9 V"
rate = "0.5 V/s"
limit = "60 mA"
expect = { current = ["8 mA", "20 mA"] }

[[stage]]
do = "log"
for = "2 min"
every = "100 ms"

[[stage]]
do = "start"
voltage = "9 V"
limit = { starting = "120 mA", running = "40 mA", after = "100 ms" }
times = 500
off = { from = "0.5 s", to = "20 s", spacing = "log", order = "random" }
off_below = "0.3 V"
watch = "800 ms"
states = { running = ["8 mA", "20 mA"], asleep = ["40 uA", "200 uA"] }
on_fault = { hold = "10 min" }

[[stage]]
do = "leakage"
part = { name = "C7", kind = "solid tantalum", capacitance = "4.7 uF", rated = "16 V" }
voltages = ["2 V", "4 V", "6 V", "9 V"]
series = "1 kohm"
electrify = "3 min"
limit = "handbook"
into = { resistor = "470 kohm", rail = "9 V", logic = "4000B" }
"#;

fn problems(plan: &str, bench: &str) -> String {
    let bench = match Bench::read(&Document::new("bench.toml", bench)) {
        Ok(bench) => bench,
        Err(problems) => return problems.to_string(),
    };
    match Plan::read(&Document::new("plan.toml", plan)) {
        Ok(plan) => check(plan, bench, "2026-11-25").problems.to_string(),
        Err(problems) => problems.to_string(),
    }
}

#[test]
fn the_example_of_the_documentation_passes() {
    let bench = Bench::read(&Document::new("bench.toml", BENCH)).unwrap();
    let plan = Plan::read(&Document::new("plan.toml", PLAN)).unwrap();
    let checked = check(plan, bench, "2026-11-25");
    assert!(checked.problems.is_empty(), "{}", checked.problems);
    assert!(checked.passed.is_some());
    assert_eq!(checked.estimate.starts, 500);
    // 18 s + 1 s, 120 s, 500 × (0.8 + 0.15) s and the off-times, whose mean is (20 - 0.5) / ln 40.
    let starts = checked.estimate.stages[2].duration.0;
    let expected = 500.0 * (0.95 + 19.5 / 40.0_f64.ln());
    assert!((starts - expected).abs() < 0.01 * expected, "{starts} {expected}");
}

#[test]
fn states_keep_the_order_in_which_they_are_written() {
    let plan = Plan::read(&Document::new("plan.toml", PLAN)).unwrap();
    let crate::plan::StageKind::Start(start) = &plan.stages[2].kind else { panic!() };
    assert_eq!(start.states.iter().map(|s| s.name.as_str()).collect::<Vec<_>>(), ["running", "asleep"]);
}

#[test]
fn what_cannot_work_is_pointed_at() {
    // What is replaced by what; the sentence; the place; the hint.
    let cases = [
        ("to = \"9 V\"", "to = \"11 V\"", "11 V is above the unit's ceiling of 10 V", "plan.toml:13:6", "raise [unit] ceiling"),
        ("to = \"9 V\"", "to = 9", "9 is a bare number; a voltage needs its unit", "plan.toml:13:6", "\"9 V\""),
        ("to = \"9 V\"", "to = \"9 A\"", "is a current; expected a voltage", "plan.toml:13:6", "\"9 V\""),
        ("to = \"9 V\"", "too = \"9 V\"", "has no key \"too\"", "plan.toml:13:1", "did you mean \"to\"?"),
        ("limit = \"60 mA\"", "limit = \"130 mA\"", "a limit of 130 mA is above the unit's ceiling of 120 mA", "plan.toml:15:9", "raise [unit] ceiling"),
        ("limit = \"60 mA\"", "limit = \"500 uA\"", "finer than the supply can set", "plan.toml:15:9", "resistor in series"),
        ("do = \"ramp\"", "do = \"rampe\"", "\"rampe\" is not known", "plan.toml:12:6", "did you mean \"ramp\"?"),
        ("for = \"2 min\"", "for = \"12 d\"", "stage 2 (log) would take 12 d", "plan.toml:18:1", "is a unit wrong"),
        ("for = \"2 min\"", "for = \"2 M\"", "prefix but no unit", "plan.toml:20:7", "m is milli"),
        ("times = 500", "times = 0", "a whole number from 1", "plan.toml:27:9", ""),
        ("watch = \"800 ms\"", "watch = \"50 ms\"", "too short for the meter", "plan.toml:30:9", "watch longer"),
        ("after = \"100 ms\"", "after = \"900 ms\"", "hand-over after 900 ms comes after the end", "plan.toml:26:9", "hand over earlier"),
        ("running = \"40 mA\"", "running = \"15 mA\"", "below the 20 mA that the state", "plan.toml:26:9", "limit a good unit"),
        ("starting = \"120 mA\", running = \"40 mA\"", "starting = \"35 mA\", running = \"35 mA\"", "less than twice the 20 mA", "plan.toml:26:9", "the supply would make the fault"),
        ("starting = \"120 mA\", running = \"40 mA\"", "starting = \"40 mA\", running = \"60 mA\"", "above the one while starting", "plan.toml:26:41", "the larger"),
        ("asleep = [\"40 uA\", \"200 uA\"]", "asleep = [\"4 uA\", \"200 uA\"]", "begins at 4 uA, below the 40 uA that the meter on its range of 400 mA", "plan.toml:31:10", "neither asleep nor dead"),
        ("asleep = [\"40 uA\", \"200 uA\"]", "asleep = [\"40 uA\", \"9 mA\"]", "overlap", "plan.toml:31:50", "one state at most"),
        ("electrify = \"3 min\"", "electrify = \"20 ms\"", "shorter than five time constants", "plan.toml:39:13", "charging current"),
        ("electrify = \"3 min\"", "electrify = \"10 s\"", "the handbook's limit holds after 60 s to 300 s, not after 10 s", "plan.toml:39:13", "names both"),
        ("rated = \"16 V\"", "rated = \"6.3 V\"", "above the 6.3 V that C7 is rated for", "plan.toml:37:12", "never biased above"),
        ("[\"2 V\", \"4 V\", \"6 V\", \"9 V\"]", "[\"4 V\", \"2 V\"]", "must rise", "plan.toml:37:12", "sweep up"),
        ("limit = \"handbook\"", "limit = \"1 nA\"", "the limit of 1 nA lies below", "plan.toml:40:9", "lower range"),
        ("logic = \"4000B\"", "logic = \"74HC\"", "74HC is specified from 2 V to 6 V, not at 9 V", "plan.toml:41:8", ""),
        ("voltage = \"10 V\"", "voltage = \"100 V\"", "above 60 V", "plan.toml:5:11", "competent persons"),
        ("[[stage]]\ndo = \"log\"", "[[stage]]\ndoo = \"log\"", "stage 2 lacks \"do\"", "plan.toml:18:1", "every stage says what it does"),
    ];
    for (from, to, sentence, place, hint) in cases {
        assert!(PLAN.contains(from), "{from}");
        let text = problems(&PLAN.replacen(from, to, 1), BENCH);
        for part in [sentence, place, hint] {
            assert!(text.contains(part), "{to}: {part:?} not in\n{text}");
        }
    }
}

#[test]
fn what_the_bench_lacks_is_pointed_at() {
    let cases = [
        ("wired = \"in series\"", "wired = \"across\"", "needs the meter in series, but it is wired across", "bench.toml:8:9", "as a current"),
        ("wired = \"in series\"", "", "lacks \"wired\"", "bench.toml:6:1", "in series"),
        ("terminal = \"mA\"", "terminal = \"10 A\"", "needs the meter's terminal \"mA\", but the lead is in \"10 A\"", "bench.toml:9:12", "move the lead"),
        ("profile = \"meter-plain\"", "profile = \"meter-plane\"", "no profile \"meter-plane\"", "bench.toml:7:11", "meter-plain"),
        ("profile = \"meter-plain\"", "profile = \"supply-channel-list\"", "is not for a meter", "bench.toml:7:11", ""),
        ("2027-03-31", "2026-03-31", "calibration expired on 2026-03-31", "bench.toml:4:19", "the report will say so"),
        ("2027-03-31", "2027-03-31\nchannel = 3", "has 2 channel(s), not 3", "bench.toml:5:11", ""),
    ];
    for (from, to, sentence, place, hint) in cases {
        assert!(BENCH.contains(from), "{from}");
        let text = problems(PLAN, &BENCH.replacen(from, to, 1));
        for part in [sentence, place, hint] {
            assert!(text.contains(part), "{to}: {part:?} not in\n{text}");
        }
    }
    let without = BENCH.split("[meter]").next().unwrap();
    let text = problems(PLAN, without);
    assert!(text.contains("the bench has no meter"), "{text}");
    assert!(text.contains("begins at 40 uA, below the 2 mA that the supply's own read-back"), "{text}");
}

proptest::proptest! {
    #[test]
    fn no_change_of_a_few_characters_makes_the_check_panic(at in 0usize..1500, text in "\\PC{0,6}", remove in 0usize..12) {
        let chars: Vec<char> = PLAN.chars().collect();
        let at = at.min(chars.len());
        let mut changed: String = chars[..at].iter().collect();
        changed.push_str(&text);
        changed.extend(&chars[(at + remove).min(chars.len())..]);
        problems(&changed, BENCH);
    }
}
