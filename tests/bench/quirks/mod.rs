//! Every way in which instruments differ, a row each, with a short plan run against it.
//! Either the readings are those of the unit, which draws 12 mA and nothing else, or the
//! run is refused: an exit code of its own, the output off, and where it says so nothing
//! ever energised. Rows are counted as the list of such ways counts them, 1 to 62.

mod channels;
mod link;
mod one_client;
mod output;
mod reading;
mod rest;
mod serial;

use crate::support::{Outcome, SHORT, Setup, rehearse, unit};
use rampart::instrument::profile::SHIPPED;
use rampart::plan::Quirks;
use rampart::runner::Exit;
use std::path::PathBuf;
use std::sync::OnceLock;
use tempfile::TempDir;

/// How a row ends.
#[derive(Clone, Copy, Debug)]
enum Ends {
    /// Within, and every reading that of the unit.
    Right,
    /// Not decided, since readings are missing; those that there are are the unit's.
    Gaps,
    /// One of these exit codes, the output off.
    Refused(&'static [Exit]),
    /// The same, and the output was never on.
    Never(&'static [Exit]),
    /// The supply is gone and the run says so, but its own timer has switched off.
    ByItself,
    /// What it reads is not the unit's, and the run does not end well; the output is off.
    Misled,
    /// It is on while it says that it is off; the run says so, and has set its voltage to zero.
    SaidNotOff,
}

use Ends::{ByItself, Gaps, Misled, Never, Refused, Right, SaidNotOff};

/// One run: supply, meter, their switches, the plan.
struct Run {
    supply: String,
    channel: u32,
    meter: String,
    switches: (&'static str, &'static str),
    plan: Plan,
    ends: Ends,
    /// What else must be so.
    also: fn(&Outcome),
}

#[derive(Clone, Copy)]
enum Plan {
    /// Ramp, log and starts.
    Short,
    /// The same, and a long silence is no trip.
    Patient,
    /// The same for a meter that has few readings.
    Slow,
    /// The same with a limit below what the unit draws.
    Limited,
    /// Limited, and that is no trip of the interlock for a long time.
    Lenient,
}

/// 12 mA at 9 V, and less at less.
const RESISTOR: &str = "cause = \"none\"\n[board]\ninput = \"10 uF\"\nrunning = \"1 nA\"\nasleep = \"1 nA\"\nshort = { above = \"0 V\", resistance = \"750 ohm\" }\n";

const LIST: &str = "supply-channel-list";
const SELECT: &str = "supply-channel-select";
const INDEX: &str = "supply-index-in-header";
const ACKNOWLEDGED: &str = "supply-acknowledged";
const PLAIN: &str = "meter-plain";
const UNITS: &str = "meter-units-in-reply";
const ECHO: &str = "meter-echo";
const PACKED: &str = "supply-packed-digits";
const STREAMS: &str = "meter-streaming";
const COMMA: &str = "meter-decimal-comma";

/// The dialects that every row may be about.
fn run(ends: Ends) -> Run {
    Run { supply: LIST.into(), channel: 1, meter: PLAIN.into(), switches: ("", ""), plan: Plan::Short, ends, also: |_| {} }
}

impl Run {
    fn with(mut self, profile: impl Into<String>) -> Self {
        self.supply = profile.into();
        self
    }
    fn meter(mut self, profile: impl Into<String>) -> Self {
        self.meter = profile.into();
        self
    }
    fn on(mut self, channel: u32) -> Self {
        self.channel = channel;
        self
    }
    /// Switches of the supply.
    fn does(mut self, switches: &'static str) -> Self {
        self.switches.0 = switches;
        self
    }
    /// Switches of the meter.
    fn meter_does(mut self, switches: &'static str) -> Self {
        self.switches.1 = switches;
        self
    }
    fn patient(mut self) -> Self {
        self.plan = Plan::Patient;
        self
    }
    fn slow(mut self) -> Self {
        self.plan = Plan::Slow;
        self
    }
    fn limited(mut self) -> Self {
        self.plan = Plan::Limited;
        self
    }
    fn lenient(mut self) -> Self {
        self.plan = Plan::Lenient;
        self
    }
    fn also(mut self, also: fn(&Outcome)) -> Self {
        self.also = also;
        self
    }
}

/// A shipped profile with words of it replaced, in a file of its own.
fn variant(name: &str, of: &str, words: &[(&str, &str)]) -> String {
    static FOLDER: OnceLock<TempDir> = OnceLock::new();
    let folder = FOLDER.get_or_init(|| tempfile::tempdir().unwrap());
    let mut text = SHIPPED.iter().find(|(shipped, _)| *shipped == of).unwrap().1.to_owned();
    for (from, to) in words {
        assert!(text.contains(from), "{of} has no {from:?}");
        text = text.replace(from, to);
    }
    let path: PathBuf = folder.path().join(format!("{name}.toml"));
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

const INSTRUMENT: &[Exit] = &[Exit::Instrument];
const UNDECIDED: &[Exit] = &[Exit::Undecided];
const TRIPPED: &[Exit] = &[Exit::Tripped];

/// A row: its number, what it is about, and its runs; none: why a stand-in cannot show it.
type Row = (u8, &'static str, Result<Vec<Run>, &'static str>);

fn rows() -> Vec<Row> {
    [channels::rows(), output::rows(), reading::rows(), link::rows(), rest::rows()].into_iter().flatten().collect()
}

fn carried_out(run: &Run) -> Outcome {
    let standin = |switches: &str| if switches.is_empty() { String::new() } else { format!("standin = {{ {switches} }}\n") };
    let bench = format!(
        "[supply]\nprofile = {:?}\nchannel = {}\nserial = \"B0417\"\n{}[meter]\nprofile = {:?}\nwired = \"in series\"\n{}",
        run.supply,
        run.channel,
        standin(run.switches.0),
        run.meter,
        standin(run.switches.1),
    );
    // The slowest of the meters needs as long for ten readings.
    let short = SHORT.replace("watch = \"500 ms\"", "watch = \"1 s\"");
    let plan = match run.plan {
        Plan::Short => short,
        Plan::Slow => short.replace("watch = \"1 s\"", "watch = \"10 s\"").replace("for = \"2 s\"", "for = \"10 s\""),
        Plan::Patient => short.replace("[unit]", "[interlock]\nno_reading = \"20 s\"\n[unit]"),
        // Whoever wrote it took the unit for one of less.
        Plan::Limited | Plan::Lenient => {
            let short = match run.plan {
                Plan::Lenient => short.replace("[unit]", "[interlock]\nin_limit = \"10 s\"\n[unit]"),
                _ => short,
            };
            short.replace("limit = \"60 mA\"", "limit = \"10 mA\"").replace("[\"8 mA\", \"20 mA\"]", "[\"1 mA\", \"9 mA\"]")
        }
    };
    let bench = if run.switches.0.contains("identity") { bench } else { bench.replace("serial = \"B0417\"\n", "") };
    let unit = match run.plan {
        Plan::Limited | Plan::Lenient => RESISTOR.into(),
        Plan::Short | Plan::Patient | Plan::Slow => unit(""),
    };
    rehearse(Setup { plan: &plan, bench: &bench, unit, ..Setup::default() })
}

/// Every current at the meter is what the unit draws, and every voltage what was set.
fn is_right(outcome: &Outcome, exit: Exit, what: &str) {
    assert_eq!(outcome.ended.exit, exit, "{what}: {} {:?}", outcome.ended.how, outcome.ended.findings);
    let readings = outcome.run.readings(2).unwrap();
    let mut seen = [0, 0];
    // The first half is the rise.
    for reading in readings.iter().skip(readings.len() / 2) {
        let Some(value) = reading.value else { continue };
        let (at, truth, off) = match (reading.role.as_str(), reading.measurand.as_str()) {
            ("meter", _) => (0, 0.012, 0.0003),
            (_, "voltage") => (1, 9.0, 0.05),
            _ => continue,
        };
        seen[at] += 1;
        assert!((value - truth).abs() < off, "{what}: {reading:?}");
    }
    assert!(seen[0] > 1 && seen[1] > 1, "{what}: {seen:?} of {} readings", readings.len());
    let starts = outcome.run.starts(3).unwrap();
    let whole = |counts: &str| counts == "good" || (exit == Exit::Undecided && counts == "void");
    assert!(starts.len() == 4 && starts.iter().all(|s| whole(&s.counts)), "{what}: {starts:?}");
}

fn judged(number: u8, about: &str, run: &Run) {
    let what = format!(
        "row {number}, {about}: {} {{ {} }} with {} {{ {} }}, which should be {:?}",
        run.supply, run.switches.0, run.meter, run.switches.1, run.ends
    );
    let outcome = carried_out(run);
    let (exit, how) = (outcome.ended.exit, &outcome.ended.how);
    match run.ends {
        Right => is_right(&outcome, Exit::Within, &what),
        Gaps => is_right(&outcome, Exit::Undecided, &what),
        Refused(exits) | Never(exits) => {
            assert!(exits.contains(&exit), "{what}: {exit:?} {how} {:?}", outcome.ended.findings);
            // Where nobody answers from the beginning, nothing is verified; nothing was energised either.
            if matches!(run.ends, Refused(_)) {
                assert!(outcome.ended.off.is_ok(), "{what}: {how}");
            } else {
                assert!(!outcome.supply.switches.iter().any(|s| s.on), "{what}: energised at {:?}", outcome.supply.switches);
            }
        }
        ByItself => assert_eq!(exit, Exit::NotOff, "{what}: {how}"),
        Misled => assert_ne!(exit, Exit::Within, "{what}: {how}"),
        SaidNotOff => {
            assert_eq!(exit, Exit::NotOff, "{what}: {how}");
            assert!(outcome.supply.voltage.0 == 0.0 && outcome.supply.unit.0 < 0.5, "{what}: {:?}", outcome.supply);
            return;
        }
    }
    assert!(!outcome.supply.on, "{what}: left on; {exit:?} {how}");
    (run.also)(&outcome);
}

/// Everything that was sent to an instrument, in order.
fn sent(outcome: &Outcome, role: &str) -> Vec<String> {
    let traffic = std::fs::read_to_string(outcome.folder.path().join("traffic.log")).unwrap();
    let mark = format!(" {role} > ");
    traffic.lines().filter_map(|line| line.split_once(&mark)).map(|(_, message)| message.to_owned()).collect()
}

/// A setting as it was read back, by its name.
fn read_back(outcome: &Outcome, what: &str) -> Vec<f64> {
    outcome.run.settings().unwrap().into_iter().filter(|s| s.what == what).filter_map(|s| s.read_back).collect()
}

#[test]
fn every_row_ends_right_or_refused() {
    // All of them, so that one look shows what does not hold.
    let mut wrong = Vec::new();
    for (number, about, runs) in rows() {
        for run in runs.unwrap_or_default() {
            let held = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| judged(number, about, &run)));
            if let Err(why) = held {
                wrong.push(why.downcast_ref::<String>().cloned().unwrap_or_else(|| format!("row {number}")));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_row_is_in_the_table_with_a_run_or_a_reason() {
    let rows = rows();
    assert_eq!(rows.iter().map(|r| r.0).collect::<Vec<_>>(), (1..=62).collect::<Vec<u8>>());
    for (number, _, runs) in rows {
        match runs {
            Ok(runs) => assert!(!runs.is_empty(), "row {number}"),
            Err(why) => assert!(why.len() > 20, "row {number}: a run elsewhere, or why there is none"),
        }
    }
}

#[test]
fn every_switch_is_turned_by_a_row_and_described() {
    let turned: String =
        rows().into_iter().flat_map(|r| r.2.unwrap_or_default()).map(|r| format!("{} {} ", r.switches.0, r.switches.1)).collect();
    let described = include_str!("../../../scripts/README.md");
    // Told at once by whoever holds the bench, and tried in `safety`, `trips`, `wires` and `serial`.
    let elsewhere = ["hangs_up_after", "slower", "stuck", "minds_line"];
    for (key, _) in Quirks::KEYS {
        assert!(turned.contains(&format!("{key} =")) || elsewhere.contains(key), "no row turns {key}");
        assert!(described.contains(&format!("| `{key}` |")), "scripts/README.md does not describe {key}");
    }
}

#[test]
fn a_switch_that_is_none_is_pointed_at() {
    use rampart::document::Document;
    use rampart::plan::Bench;
    for (seat, key) in [("supply", "stuk = true"), ("supply", "answers_old = true"), ("meter", "coupling = \"tracking\"")] {
        let more = if seat == "meter" { "wired = \"in series\"\n" } else { "" };
        let supply = if seat == "meter" { format!("[supply]\nprofile = {LIST:?}\n") } else { String::new() };
        let profile = if seat == "meter" { PLAIN } else { LIST };
        let text = format!("{supply}[{seat}]\nprofile = {profile:?}\n{more}standin = {{ {key} }}\n");
        let problems = Bench::read(&Document::new("bench.toml", text)).unwrap_err().to_string();
        assert!(problems.contains(key.split(' ').next().unwrap()) && problems.contains("bench.toml:"), "{problems}");
    }
}
