//! The mistakes that a check must find, each with its place and a hint.

mod bench;
mod claims;

use super::check;
use crate::document::{Document, Problem, Problems};
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

fn problems(plan: &str, bench: &str) -> Problems {
    let bench = match Bench::read(&Document::new("bench.toml", bench)) {
        Ok(bench) => bench,
        Err(problems) => return problems,
    };
    match Plan::read(&Document::new("plan.toml", plan)) {
        Ok(plan) => check(plan, bench, "2026-11-25").problems,
        Err(problems) => problems,
    }
}

/// What is missed of a sentence, its place and its hint, which must belong to one problem.
fn missed(problems: &Problems, sentence: &str, place: &str, hint: &str) -> Option<String> {
    let told = |p: &Problem| {
        let (line, column) = p.line_column().unwrap_or_default();
        (format!("{}:{line}:{column}", p.file), p.hint.clone().unwrap_or_default())
    };
    let about: Vec<_> = problems.iter().filter(|p| p.title.contains(sentence)).map(told).collect();
    let found = about.iter().any(|(at, help)| at == place && help.contains(hint));
    (!found).then(|| format!("{sentence:?} at {place} with {hint:?}, found {about:?} in\n{problems}"))
}

/// Changes a text where it says `from`, and gathers what the cases miss.
fn missed_by(cases: &[Case], change: impl Fn(&str, &str) -> Problems) -> Vec<String> {
    cases
        .iter()
        .filter_map(|(from, to, sentence, place, hint)| {
            missed(&change(from, to), sentence, place, hint).map(|m| format!("{to}: {m}"))
        })
        .collect()
}

/// What is replaced by what; the sentence; the place; the hint.
type Case = (&'static str, &'static str, &'static str, &'static str, &'static str);

fn replaced(text: &str, from: &str, to: &str) -> String {
    assert!(text.contains(from), "{from}");
    text.replacen(from, to, 1)
}

#[test]
fn the_example_of_the_documentation_passes() {
    let bench = Bench::read(&Document::new("bench.toml", BENCH)).unwrap();
    let plan = Plan::read(&Document::new("plan.toml", PLAN)).unwrap();
    let checked = check(plan, bench, "2026-11-25");
    // 9 V at the starting limit is 1.08 W: the one thing to be thought over.
    let titles: Vec<&str> = checked.problems.iter().map(|p| p.title.as_str()).collect();
    assert_eq!(titles, ["stage 3 (start): the limit allows more than the unit's ceiling of 1 W: 9 V at 120 mA is 1.08 W"]);
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
    let cases = [
        ("to = \"9 V\"", "to = \"11 V\"", "11 V is above the unit's ceiling of 10 V", "plan.toml:13:6", "raise [unit] ceiling"),
        ("to = \"9 V\"", "to = 9", "9 is a bare number; a voltage needs its unit", "plan.toml:13:6", "\"9 V\""),
        ("to = \"9 V\"", "to = \"9 A\"", "is a current; expected a voltage", "plan.toml:13:6", "\"9 V\""),
        ("to = \"9 V\"", "too = \"9 V\"", "has no key \"too\"", "plan.toml:13:1", "did you mean \"to\"?"),
        (
            "limit = \"60 mA\"",
            "limit = \"130 mA\"",
            "a limit of 130 mA is above the unit's ceiling of 120 mA",
            "plan.toml:15:9",
            "raise [unit] ceiling",
        ),
        ("limit = \"60 mA\"", "limit = \"500 uA\"", "finer than the supply can set", "plan.toml:15:9", "resistor in series"),
        ("do = \"ramp\"", "do = \"rampe\"", "\"rampe\" is not known", "plan.toml:12:6", "did you mean \"ramp\"?"),
        ("for = \"2 min\"", "for = \"12 d\"", "stage 2 (log) would take 12 d", "plan.toml:18:1", "is a unit wrong"),
        ("for = \"2 min\"", "for = \"2 M\"", "prefix but no unit", "plan.toml:20:7", "m is milli"),
        ("times = 500", "times = 0", "a whole number from 1", "plan.toml:27:9", ""),
        ("watch = \"800 ms\"", "watch = \"50 ms\"", "too short for the meter", "plan.toml:30:9", "watch longer"),
        (
            "after = \"100 ms\"",
            "after = \"900 ms\"",
            "hand-over after 900 ms comes after the end",
            "plan.toml:26:59",
            "hand over earlier",
        ),
        ("running = \"40 mA\"", "running = \"15 mA\"", "below the 20 mA that the state", "plan.toml:26:42", "limit a good unit"),
        (
            "starting = \"120 mA\", running = \"40 mA\"",
            "starting = \"35 mA\", running = \"35 mA\"",
            "less than twice the 20 mA",
            "plan.toml:26:22",
            "the supply would make the fault",
        ),
        (
            "starting = \"120 mA\", running = \"40 mA\"",
            "starting = \"40 mA\", running = \"60 mA\"",
            "above the one while starting",
            "plan.toml:26:41",
            "the larger",
        ),
        (
            "asleep = [\"40 uA\", \"200 uA\"]",
            "asleep = [\"4 uA\", \"200 uA\"]",
            "begins at 4 uA, below the 40.0 uA that the meter on its range of 400 mA",
            "plan.toml:31:50",
            "neither asleep nor dead",
        ),
        ("asleep = [\"40 uA\", \"200 uA\"]", "asleep = [\"40 uA\", \"9 mA\"]", "overlap", "plan.toml:31:50", "one state at most"),
        (
            "electrify = \"3 min\"",
            "electrify = \"20 ms\"",
            "shorter than five time constants",
            "plan.toml:39:13",
            "charging current",
        ),
        (
            "electrify = \"3 min\"",
            "electrify = \"10 s\"",
            "the handbook's limit holds after 60 s to 300 s, not after 10 s",
            "plan.toml:39:13",
            "names both",
        ),
        (
            "rated = \"16 V\"",
            "rated = \"6.3 V\"",
            "above the 6.3 V that C7 is rated for",
            "plan.toml:37:34",
            "never biased above",
        ),
        (
            "[\"2 V\", \"4 V\", \"6 V\", \"9 V\"]",
            "[\"4 V\", \"2 V\"]",
            "must rise, and 2 V comes after 4 V",
            "plan.toml:37:20",
            "sweep up",
        ),
        (
            "[\"2 V\", \"4 V\", \"6 V\", \"9 V\"]",
            "[\"2 V\", \"4 V\", \"2 V\", \"3 V\"]",
            "after the highest they may fall; 3 V comes after 2 V",
            "plan.toml:37:34",
            "whether it comes back",
        ),
        (
            "[\"2 V\", \"4 V\", \"6 V\", \"9 V\"]",
            "[\"2 V\", \"4 V\", \"4 V\"]",
            "4 V comes twice in a row",
            "plan.toml:37:27",
            "sweep up",
        ),
        (
            "limit = \"handbook\"",
            "limit = \"JAN-C-62\"",
            "\"JAN-C-62\" is no limit for a part that is solid tantalum",
            "plan.toml:40:9",
            "write \"handbook\", \"leaded tantalum\", a current",
        ),
        (
            "rated = \"16 V\"",
            "rated = \"10 V\", temperature = \"125 degC\"",
            "9 V is above what C7 bears at 125 degC, 6.30 V (category voltage)",
            "plan.toml:37:34",
            "derated in a straight line",
        ),
        (
            "rated = \"16 V\"",
            "rated = \"16 V\", temperature = \"55 degC\"",
            "between them the logarithm is interpolated",
            "plan.toml:40:9",
            "the report says so",
        ),
        (
            "rated = \"16 V\"",
            "rated = \"16 V\", temperature = \"5000 degC\"",
            "no part is measured at 5000 degC",
            "plan.toml:36:102",
            "write temperature",
        ),
        (
            "logic = \"4000B\"",
            "logic = \"4000B\", tolerance = \"100 %\"",
            "a tolerance of 100 % leaves no resistor",
            "plan.toml:41:76",
            "write tolerance",
        ),
        ("limit = \"handbook\"", "limit = \"1 nA\"", "the limit of 1.00 nA lies below", "plan.toml:40:9", "lower range"),
        (
            "logic = \"4000B\"",
            "logic = \"74HC\"",
            "74HC is specified from 2 V to 6 V, not at 9 V",
            "plan.toml:41:55",
            "known families: 4000B",
        ),
        ("voltage = \"10 V\"", "voltage = \"100 V\"", "above 60 V", "plan.toml:5:23", "competent persons"),
        // What is wrong with the text alone.
        ("do = \"log\"", "until = \"dawn\"\ndo = \"log\"", "stage 2 (log) has no key \"until\"", "plan.toml:19:1", "known here"),
        ("to = \"9 V\"", "to = \"-9 V\"", "must be above zero", "plan.toml:13:6", "matter of the leads"),
        ("to = \"9 V\"", "step = \"10 V\"\nto = \"9 V\"", "more than the whole ramp", "plan.toml:13:8", "about 0.2 s"),
        ("to = \"9 V\"", "hold = \"-1 s\"\nto = \"9 V\"", "must not be negative", "plan.toml:13:8", ""),
        ("[\"8 mA\", \"20 mA\"] }\n\n", "[\"20 mA\", \"8 mA\"] }\n\n", "the lower first", "plan.toml:16:22", ""),
        (
            "[\"8 mA\", \"20 mA\"] }\n\n",
            "[\"-8 mA\", \"20 mA\"] }\n\n",
            "must not be negative",
            "plan.toml:16:22",
            "leads swapped",
        ),
        ("asleep = [\"40 uA\", \"200 uA\"]", "running = [\"40 uA\", \"200 uA\"]", "duplicate key", "plan.toml:31:41", ""),
        (
            "[\"2 V\", \"4 V\"",
            "[\"0 V\", \"4 V\"",
            "every voltage of a sweep must be above zero",
            "plan.toml:37:12",
            "matter of the leads",
        ),
        ("from = \"0.5 s\"", "from = \"50 s\"", "end before they begin", "plan.toml:28:29", ""),
        ("voltage = \"9 V\"\nlimit", "limit", "lacks \"voltage\"", "plan.toml:23:1", "write voltage"),
        (
            "on_fault = { hold = \"10 min\" }",
            "on_fault = \"of\"",
            "\"of\" is not known",
            "plan.toml:32:12",
            "did you mean \"off\"?",
        ),
        (
            "kind = \"solid tantalum\"",
            "kind = \"tantalum\"",
            "\"tantalum\" is not known",
            "plan.toml:36:30",
            "\"solid tantalum\"",
        ),
        ("do = \"log\"", "do = \"ask\"\nsay = \"Ready?\"\naccept = []", "accepts no answer", "plan.toml:21:10", "leave it out"),
        ("no_reading = \"2 s\"", "no_reading = \"0 s\"", "must be above zero", "plan.toml:9:14", "write it as"),
        // The unit's ceiling, the supply.
        (
            "starting = \"120 mA\"",
            "starting = \"121 mA\"",
            "a limit of 121 mA is above the unit's ceiling of 120 mA",
            "plan.toml:26:22",
            "raise [unit] ceiling",
        ),
        (
            "power = \"1 W\"",
            "power = \"100 mW\"",
            "9 V at 20 mA is 180 mW, above the unit's ceiling of 100 mW, and a good unit may draw it",
            "plan.toml:15:9",
            "raise [unit] ceiling",
        ),
        ("starting = \"120 mA\"", "starting = \"4 A\"", "above the supply's rating of 3 A", "plan.toml:26:22", "another supply"),
        ("to = \"9 V\"", "to = \"31 V\"", "31 V is above the supply's rating of 30 V", "plan.toml:13:6", "another supply"),
        (
            "to = \"9 V\"\nrate = \"0.5 V/s\"\nlimit = \"60 mA\"",
            "to = \"30 V\"\nrate = \"0.5 V/s\"\nlimit = \"3.1 A\"",
            "30 V at 3.1 A is 93.0 W, above the supply's rating of 90 W",
            "plan.toml:15:9",
            "lower the limit",
        ),
        (
            "to = \"9 V\"",
            "step = \"0.5 mV\"\nto = \"9 V\"",
            "a step of 500 uV is finer than the supply's 1 mV",
            "plan.toml:13:8",
            "coarser",
        ),
        (
            "off_below = \"0.3 V\"",
            "off_below = \"1 mV\"",
            "1 mV lies below the 5 mV that the supply's read-back",
            "plan.toml:29:13",
            "fallen so far",
        ),
        (
            "name = \"orchard",
            "capacitance = \"1 F\"\nname = \"orchard",
            "1 F at 9 V hold 40.5 J: more than 10 J: can kill",
            "plan.toml:4:15",
            "off does not mean discharged",
        ),
        (
            "name = \"orchard",
            "capacitance = \"1 F\"\nname = \"orchard",
            "1 F falls from 9 V to 300 mV in 26 min",
            "plan.toml:30:13",
            "are void",
        ),
        // What a good unit draws.
        (
            "limit = \"60 mA\"",
            "limit = \"15 mA\"",
            "the limit of 15 mA is below the 20 mA that a good unit may draw",
            "plan.toml:15:9",
            "limit a good unit",
        ),
        (
            "expect = { current = [\"8 mA\"",
            "expect = { current = [\"1 uA\"",
            "the expected current begins at 1 uA, below the",
            "plan.toml:16:22",
            "neither asleep nor dead",
        ),
        // The meter.
        (
            "starting = \"120 mA\"",
            "starting = \"450 mA\"",
            "highest range, 400 mA, does not hold the limit of 450 mA while the unit starts",
            "plan.toml:26:22",
            "until the hand-over",
        ),
        (
            "starting = \"120 mA\", running = \"40 mA\"",
            "starting = \"450 mA\", running = \"450 mA\"",
            "highest current range, 400 mA, does not hold 450 mA",
            "plan.toml:26:9",
            "lower the limit",
        ),
        (
            "starting = \"120 mA\"",
            "starting = \"600 mA\"",
            "the limit, 600 mA, is more than the 500 mA fuse",
            "plan.toml:26:22",
            "lower the limit",
        ),
        (
            "voltage = \"9 V\"\nlimit",
            "voltage = \"0.8 V\"\nlimit",
            "at 20 mA the meter's shunt of 2 ohm and the leads drop 41.6 mV of 800 mV",
            "plan.toml:26:9",
            "smaller shunt",
        ),
        ("every = \"100 ms\"", "every = \"70 s\"", "has too few readings to say anything", "plan.toml:20:7", "log for longer"),
        (
            "every = \"100 ms\"",
            "every = \"5 ms\"",
            "5.00 ms, is shorter than the 6 ms that the meter takes",
            "plan.toml:21:9",
            "as fast as the meter",
        ),
        (
            "no_reading = \"2 s\"",
            "no_reading = \"200 ms\"",
            "stage 4 (leakage): one reading of the meter takes 205 ms, and the interlock allows a silence of 200 ms",
            "plan.toml:9:14",
            "faster meter",
        ),
        (
            "rate = \"0.5 V/s\"",
            "step = \"2 mV\"\nrate = \"0.5 V/s\"",
            "the time for a step, 4.00 ms, is shorter than the 6 ms",
            "plan.toml:14:8",
            "as fast as the meter",
        ),
        (
            "watch = \"800 ms\"",
            "watch = \"250 ms\"",
            "the interlock allows 300 ms in limiting",
            "plan.toml:30:9",
            "does not trip",
        ),
        (
            "watch = \"800 ms\"",
            "within = \"1 s\"\nwatch = \"800 ms\"",
            "may take 1 s, but is watched for 800 ms only",
            "plan.toml:30:10",
            "watch longer",
        ),
        // The part.
        (
            "\"9 V\"]\nseries",
            "\"11 V\"]\nseries",
            "11 V is above the unit's ceiling of 10 V",
            "plan.toml:37:34",
            "raise [unit] ceiling",
        ),
        (
            "series = \"1 kohm\"",
            "series = \"10 ohm\"",
            "9 V through 10 ohm drives 900 mA, above the unit's ceiling",
            "plan.toml:38:10",
            "larger resistor",
        ),
        (
            "series = \"1 kohm\"",
            "series = \"15 ohm\"",
            "the current into a short, 600 mA, is more than the 500 mA fuse",
            "plan.toml:38:10",
            "larger resistor",
        ),
        (
            "series = \"1 kohm\"",
            "series = \"20 ohm\"",
            "450 mA, is beyond the meter's highest range, 400 mA",
            "plan.toml:38:10",
            "without a number",
        ),
        (
            "electrify = \"3 min\"",
            "electrify = \"3 min\"\nevery = \"4 min\"",
            "a reading every 240 s does not fall into a soak of 180 s",
            "plan.toml:40:9",
            "read more often",
        ),
        ("logic = \"4000B\"", "logic = \"4000C\"", "\"4000C\" is not known", "plan.toml:41:55", "known families"),
        ("times = 500", "times = 100_000", "stage 3 (start) would take", "plan.toml:23:1", "is a unit wrong"),
        (
            "[[stage]]\ndo = \"log\"",
            "[[stage]]\ndoo = \"log\"",
            "stage 2 lacks \"do\"",
            "plan.toml:18:1",
            "every stage says what it does",
        ),
    ];
    let missed = missed_by(&cases, |from, to| problems(&replaced(PLAN, from, to), BENCH));
    assert!(missed.is_empty(), "{}", missed.join("\n"));
}
