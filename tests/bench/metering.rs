//! What a meter does to a run: hum and how long it integrates, a range that it chooses by
//! itself, and everything at once under the plans that are shipped.

use crate::support::{BENCH, Outcome, SHORT, Setup, passed, rehearse, unit};
use rampart::document::Document;
use rampart::instrument::profile::SHIPPED;
use rampart::plan::{Bench, Plan, check};
use rampart::rehearsal::{Truth, UnitFile};
use rampart::runner::Exit;
use std::path::Path;
use tempfile::TempDir;

/// A bench whose meter has this profile and these switches.
fn bench(meter: &str, standin: &str) -> String {
    format!(
        "[supply]\nprofile = \"supply-channel-list\"\n[meter]\nprofile = {meter:?}\nwired = \"in series\"\n[meter.standin]\n{standin}\n"
    )
}

/// The plain meter with words of it replaced.
fn variant(folder: &TempDir, words: &[(&str, &str)]) -> String {
    let mut text = SHIPPED.iter().find(|(name, _)| *name == "meter-plain").unwrap().1.to_owned();
    for (from, to) in words {
        assert!(text.contains(from), "{from:?}");
        text = text.replace(from, to);
    }
    let path = folder.path().join("meter.toml");
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

/// Mean and standard deviation of the meter's currents in the log, once it runs.
fn spread(outcome: &Outcome) -> (f64, f64) {
    let readings = outcome.run.readings(2).unwrap();
    let values: Vec<f64> = readings.iter().filter(|r| r.role == "meter").filter_map(|r| r.value).skip(2).collect();
    assert!(values.len() > 100, "{} readings", values.len());
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    (mean, (values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (values.len() - 1) as f64).sqrt())
}

#[test]
fn hum_is_gone_after_whole_line_cycles_and_shows_as_what_it_is_after_a_part_of_one() {
    let folder = tempfile::tempdir().unwrap();
    // One that has no other rate than a fiftieth of a cycle.
    let fast = variant(
        &folder,
        &[
            (
                "integration = \"4 ms\"\nperiod      = \"6 ms\"\nsend        = \"0.2\"",
                "integration = \"400 us\"\nperiod      = \"1 ms\"\nsend        = \"0.02\"",
            ),
            ("[[meter.rates]]\nintegration = \"20 ms\"\nperiod      = \"22 ms\"\nsend        = \"1\"\n", ""),
            ("[[meter.rates]]\nintegration = \"200 ms\"\nperiod      = \"205 ms\"\nsend        = \"10\"\n", ""),
        ],
    );
    let plan = SHORT.replace("for = \"2 s\"\nevery = \"200 ms\"", "for = \"40 s\"\nevery = \"173 ms\"");
    let (resting, humming) = ("hum = { current = \"1 uA\" }", "hum = { current = \"2 mA\" }");
    let mut found = Vec::new();
    for (profile, standin) in [("meter-plain", humming), (&fast, humming), (&fast, resting)] {
        let bench = bench(profile, standin);
        let outcome = rehearse(Setup { plan: &plan, bench: &bench, ..Setup::default() });
        assert_eq!(outcome.ended.exit, Exit::Within, "{}", outcome.ended.how);
        found.push(spread(&outcome));
        let says = outcome.ended.findings.iter().find(|f| f.code == "log-current").unwrap();
        assert!(says.sentence.contains("12."), "{}", says.sentence);
    }
    let [(whole_mean, whole), (part_mean, part), (_, rest)] = found[..] else { panic!("{found:?}") };
    // A whole cycle: 12 mA within 0.05 % and 0.005 % of 100 mA, and no more noise than the range has.
    assert!((whole_mean - 0.012).abs() < 11e-6 && whole < 2e-6, "{whole_mean} {whole}");
    // A fiftieth: the readings have the hum's own root mean square, 2 mA over root 2; their mean is still right.
    assert!((part - 2e-3 / 2_f64.sqrt()).abs() < 0.05 * part, "{part}");
    assert!((part_mean - 0.012).abs() < 3.0 * part / 10.0, "{part_mean}");
    assert!(rest < 0.02 * part, "{rest}");
}

/// A unit that stops below 7.83 V and starts above 8.7 V, at 9 V: 100 ohm are too much for it.
fn near_its_drop_out() -> String {
    unit("").replace("dropout = \"2 V\"", "dropout = \"8.7 V\"")
}

const STARTS: &str = "title = \"starts\"\n[unit]\nname = \"unit\"\nceiling = { voltage = \"10 V\", current = \"120 mA\", power = \"1.5 W\" }\n\
    [[stage]]\ndo = \"start\"\nvoltage = \"9 V\"\nlimit = { starting = \"100 mA\", running = \"40 mA\", after = \"100 ms\" }\ntimes = 4\n\
    off = \"2 s\"\nwatch = \"1 s\"\nstates = { running = [\"8 mA\", \"20 mA\"] }\n";

#[test]
fn a_range_that_the_meter_chooses_is_forbidden_or_told_of() {
    let start = |bench: &str| rehearse(Setup { plan: STARTS, bench, unit: near_its_drop_out(), ..Setup::default() });
    // A fixed range has 2 ohm: nothing is amiss.
    let good = start(&bench("meter-plain", ""));
    assert_eq!(good.ended.exit, Exit::Within, "{} {:?}", good.ended.how, good.ended.findings);
    // One that does not stay where it is put is found out before anything is energised ...
    let always = "auto_range = { holds = \"always\" }\nfree_running = true";
    let refused = start(&bench("meter-plain", always));
    assert_eq!(refused.ended.exit, Exit::Instrument, "{}", refused.ended.how);
    assert!(refused.ended.how.contains("the meter's range was set to"), "{}", refused.ended.how);
    assert!(!refused.supply.switches.iter().any(|s| s.on));
    // ... and where nobody can ask it for its range, the check says what that may do.
    let folder = tempfile::tempdir().unwrap();
    let untold = variant(&folder, &[("range_ask = \"CURR:DC:RANG?\"\n", "")]);
    let text = bench(&untold, always);
    let read = |text: &str| Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"));
    let plan = Plan::read(&Document::new("plan.toml", STARTS)).unwrap_or_else(|p| panic!("{p}"));
    let says = check(plan, read(&text), "2026-11-25").problems.to_string();
    assert!(says.contains("cannot ask for the meter's range") && says.contains("up to 100 ohm"), "{says}");
    assert!(says.contains("bench.toml:4:"), "{says}");
    // Carried out all the same, the unit browns out as soon as it draws its current, and hangs:
    // the same unit that starts four times of four with a fixed range.
    let outcome = start(&text);
    let runs = |outcome: &Outcome| outcome.run.starts(1).unwrap().iter().filter(|s| s.counts == "good").count();
    assert_eq!((runs(&good), runs(&outcome)), (4, 0), "{:?}", outcome.run.starts(1));
}

/// Everything that a meter has, none of it more than a good one may have.
const EVERYTHING: &str = "line = \"50 Hz\"\nhum = { current = \"10 uA\", voltage = \"10 mV\", frequency = \"50 Hz\", off_by = \"0.05 %\" }\n\
    auto_range = { gap = \"30 ms\" }\nzero = { drift = \"0.002 %\", auto = true }\ninput = { capacitance = \"200 pF\", delay = \"1 ms\" }\n\
    noise = \"0.0002 %\"\nfewer_digits = true\nmemory = 100\n";

fn text(name: &str) -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts").join(name);
    std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

/// What is true of the demo's two boards, whose files say it in words: C7 leaks, or does not.
fn demo(name: &str) -> Truth {
    let symptoms = ["starts-fail", "starts-depend", "leakage-fail", "leakage-telegraph", "node-undefined"].map(str::to_owned);
    match name {
        "frost-alarm" => Truth { findings: symptoms.into(), ..Truth::default() },
        _ => Truth { not: symptoms.into(), ..Truth::default() },
    }
}

#[test]
fn with_everything_on_the_shipped_plans_find_what_is_true() {
    let bench = BENCH.replace("serial   = \"M0932\"\n", &format!("serial   = \"M0932\"\n\n[meter.standin]\n{EVERYTHING}"));
    passed(SHORT, &bench);
    for (plan, name) in [
        ("rain-gauge", "rain-gauge"),
        ("rain-gauge", "rain-gauge-good"),
        ("vent-opener", "vent-opener"),
        ("vent-opener", "vent-opener-good"),
        ("beehive-scale", "beehive-scale"),
        ("capacitor-lot", "capacitor-lot"),
        ("frost-alarm", "frost-alarm"),
        ("frost-alarm", "frost-alarm-repaired"),
    ] {
        let unit_text = text(&format!("{name}.unit.toml"));
        let truth = UnitFile::read(&Document::new(name, unit_text.clone())).unwrap().truth.unwrap_or_else(|| demo(name));
        let outcome =
            rehearse(Setup { plan: &text(&format!("{plan}.toml")), bench: &bench, unit: unit_text, ..Setup::default() });
        let found = outcome.run.findings().unwrap();
        let has = |code: &String| found.iter().any(|f| f.code == *code);
        let codes: Vec<&str> = found.iter().map(|f| f.code.as_str()).collect();
        assert!(truth.findings.iter().all(has), "{name}: {:?} of {codes:?}: {}", truth.findings, outcome.ended.how);
        assert!(!truth.not.iter().any(has), "{name}: {:?} in {codes:?}: {}", truth.not, outcome.ended.how);
    }
}
