//! Every way in which instruments differ, a row each, with a short plan run against it.
//! Either the readings are those of the unit, which draws 12 mA and nothing else, or the
//! run is refused: an exit code of its own, the output off, and where it says so nothing
//! ever energised. Rows are counted as the list of such ways counts them, 1 to 62.

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
    /// It is on while it says that it is off; the run says so, and has set its voltage to zero.
    SaidNotOff,
}

use Ends::{ByItself, Gaps, Never, Refused, Right, SaidNotOff};

/// One run: supply, meter, their switches, the plan.
struct Run {
    supply: String,
    channel: u32,
    meter: String,
    switches: (&'static str, &'static str),
    plan: Plan,
    ends: Ends,
}

#[derive(Clone, Copy)]
enum Plan {
    /// Ramp, log and starts.
    Short,
    /// The same, and a long silence is no trip.
    Patient,
    /// The same with a limit below what the unit draws.
    Limited,
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

/// The dialects that every row may be about.
fn run(ends: Ends) -> Run {
    Run { supply: LIST.into(), channel: 1, meter: PLAIN.into(), switches: ("", ""), plan: Plan::Short, ends }
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
    fn limited(mut self) -> Self {
        self.plan = Plan::Limited;
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

fn channels() -> Vec<Row> {
    let parameter = [
        ("\"V{channel} {value}\"", "\"VSET CH{channel},{value}\""),
        ("\"V{channel}?\"", "\"VSET? CH{channel}\""),
        ("\"I{channel} {value}\"", "\"ISET CH{channel},{value}\""),
        ("\"I{channel}?\"", "\"ISET? CH{channel}\""),
        ("\"OP{channel} 1\"", "\"OUT CH{channel},1\""),
        ("\"OP{channel} 0\"", "\"OUT CH{channel},0\""),
        ("\"OP{channel}?\"", "\"OUT? CH{channel}\""),
    ];
    let named =
        [("SET {voltage},{current}", "APPL P18V,{voltage},{current}"), ("OUT ON", "OUT P18V,ON"), ("OUT OFF", "OUT P18V,OFF")];
    let addressed = [("INST:NSEL {channel}", "ADR 0{channel}"), ("INST:NSEL?", "ADR?")];
    let for_a_hand = [("set  = \"OUTP:COUP OFF\"\n", "")];
    vec![
        (1, "channel list", Ok(vec![run(Right).on(2)])),
        (
            2,
            "channel chosen first",
            Ok(vec![run(Right).with(SELECT).on(2), run(Right).with(SELECT).on(2).does("forgets_channel = true")]),
        ),
        (3, "channel as a parameter", Ok(vec![run(Right).with(variant("parameter", INDEX, &parameter)).on(2)])),
        (4, "channel in the header", Ok(vec![run(Right).with(INDEX).on(2)])),
        (5, "named outputs", Ok(vec![run(Right).with(variant("named", ACKNOWLEDGED, &named))])),
        (6, "address first", Ok(vec![run(Right).with(variant("addressed", SELECT, &addressed)).on(3)])),
        (
            7,
            "coupled channels",
            Ok(vec![
                run(Right).does("coupled = true"),
                run(Never(&[Exit::Wrong])).with(variant("for-a-hand", LIST, &for_a_hand)).does("coupled = true"),
            ]),
        ),
    ]
}

fn output() -> Vec<Row> {
    let off_is = |name, word| variant(name, LIST, &[("off_is    = \"bleeder\"\nbleeder   = \"470 ohm\"", word)]);
    let spelled =
        [("VOLT:PROT:TRIP? (@{channel})\", yes = [\"1\"]", "OUTP:OVP:TRIG? (@{channel})\", yes = [\"TRIGGERED\", \"5\"]")];
    vec![
        (8, "one command for both", Ok(vec![run(Right).with(ACKNOWLEDGED), run(Right)])),
        (
            9,
            "clipped or rounded in silence",
            Ok(vec![
                run(Never(INSTRUMENT)).does("sets_less = \"10 %\""),
                run(Refused(INSTRUMENT)).does("voltage_step = \"700 mV\""),
            ]),
        ),
        (
            10,
            "words for on and off",
            Ok(vec![run(Right).with(ACKNOWLEDGED), run(Right).with(INDEX), run(Right).does("ignores_off = 1")]),
        ),
        (11, "inverted sense", Ok(vec![run(Right).with(SELECT), run(SaidNotOff).does("inverted = true")])),
        (
            12,
            "what off is",
            Ok(vec![
                run(Right),
                run(Right).with(off_is("open", "off_is    = \"open\"")),
                run(Right).with(off_is("zero", "off_is    = \"zero volts\"")),
            ]),
        ),
        (
            13,
            "state after power-on",
            Ok(vec![
                run(Never(&[Exit::Wrong])).does("returns_on = true"),
                run(Refused(TRIPPED)).does("mains_dip_after = \"3 s\""),
            ]),
        ),
        (
            14,
            "names of protections",
            Ok(vec![run(Right).with(INDEX), run(Right).with(SELECT), run(Right).does("never_trips = true")]),
        ),
        (
            15,
            "whether it has tripped",
            Ok(vec![
                run(Refused(TRIPPED)).does("trips_after = \"800 ms\""),
                run(Refused(TRIPPED)).with(variant("spelled", LIST, &spelled)).does("trips_after = \"800 ms\""),
            ]),
        ),
        (
            16,
            "clearing gives power back",
            Ok(vec![
                run(Refused(TRIPPED)).does("trips_after = \"800 ms\""),
                run(Refused(TRIPPED)).with(SELECT).does("trips_after = \"800 ms\", clearing_restores = true"),
            ]),
        ),
        (
            17,
            "delay of a protection",
            Ok(vec![run(Right).with(variant("short-delay", LIST, &[("longest = \"1 s\"", "longest = \"50 ms\"")]))]),
        ),
        (18, "trip level against set-point", Ok(vec![run(Right).does("trip_above_set = true")])),
        (19, "its own timer", Ok(vec![run(ByItself).does("silent_after = 120"), run(Right).does("timer_latches = true")])),
    ]
}

fn mode_and_reading() -> Vec<Row> {
    let measures = [("read      = \"READ?\"", "read      = \"MEAS:CURR:DC?\"")];
    let checked = [("read      = \"READ?\"", "read      = \"READ?\"\nreply     = { unit = \"checked\" }")];
    let fetches = [("read      = \"READ?\"", "trigger   = \"INIT\"\nread      = \"FETC?\"")];
    vec![
        (20, "mode as words", Ok(vec![run(Refused(TRIPPED)).with(SELECT).limited()])),
        (21, "mode 1 is constant current", Ok(vec![run(Refused(TRIPPED)).with(INDEX).limited()])),
        (
            22,
            "mode 1 is constant voltage",
            Ok(vec![run(Refused(TRIPPED)).with(ACKNOWLEDGED).limited(), run(Refused(TRIPPED)).does("mode_swapped = true")]),
        ),
        (
            23,
            "limiting as a bit, not latched",
            Ok(vec![
                run(Refused(TRIPPED)).limited(),
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).limited().does("hides_limiting = true"),
            ]),
        ),
        (24, "one converter", Ok(vec![run(Right).does("conversion = \"32 ms\"")])),
        (25, "values repeated", Ok(vec![run(Right).does("updates_every = \"100 ms\"")])),
        (
            26,
            "rates",
            Ok(vec![
                run(Right).meter(PLAIN),
                run(Right).meter(UNITS),
                run(Right).meter(ECHO),
                run(Right)
                    .meter_does("line = \"60 Hz\", hum = { current = \"1 mA\", frequency = \"60 Hz\", off_by = \"0.1 %\" }"),
                run(Right).meter_does("noise = \"0.01 %\", fewer_digits = true"),
            ]),
        ),
        (
            27,
            "measuring resets range, zero and trigger",
            Ok(vec![
                run(Right).meter(variant("measures", PLAIN, &measures)),
                run(Right).meter_does("zero = { drift = \"0.1 %\", auto = true }, input = { delay = \"5 ms\" }"),
            ]),
        ),
        (
            28,
            "old data",
            Ok(vec![run(Right).meter(variant("fetches", PLAIN, &fetches)), run(Right).meter_does("answers_old = true")]),
        ),
        (
            29,
            "collected or it hangs",
            Ok(vec![
                run(Right).meter_does("hangs_when_hurried = true"),
                run(Right).meter(variant("fetches", PLAIN, &fetches)).meter_does("memory = 1"),
            ]),
        ),
        (
            30,
            "readings unasked",
            Ok(vec![
                run(Right).meter_does("repeats_itself = \"30 ms\""),
                run(Right).meter_does("free_running = true"),
                run(Right).meter(UNITS).meter_does("free_running = true"),
            ]),
        ),
        (
            31,
            "overload",
            Ok(vec![
                run(Refused(TRIPPED)).meter_does("overloaded = true"),
                run(Refused(TRIPPED)).meter(UNITS).meter_does("overloaded = true"),
                run(Refused(TRIPPED)).meter(ECHO).meter_does("overloaded = true"),
            ]),
        ),
        // No reading is taken at all, so nothing can be decided.
        (
            32,
            "unit behind the number",
            Ok(vec![
                run(Right).meter(UNITS),
                run(Refused(UNDECIDED)).meter_does("unit_in_answers = \" A\""),
                run(Refused(UNDECIDED)).meter(variant("checked", PLAIN, &checked)).meter_does("unit_in_answers = \" V DC\""),
            ]),
        ),
        (33, "prefixes and fields", Ok(vec![run(Right).with(INDEX), run(Right).with(ACKNOWLEDGED), run(Right).meter(ECHO)])),
        (34, "digits without a point", Ok(vec![run(Refused(&[Exit::Instrument, Exit::Tripped])).does("packed_digits = true")])),
        (
            35,
            "decimal comma",
            Ok(vec![
                run(Never(&[Exit::NotOff])).does("decimal_comma = true"),
                run(Refused(UNDECIDED)).meter_does("decimal_comma = true"),
            ]),
        ),
        (
            36,
            "range by itself",
            Ok(vec![
                // Until it is told: then it holds.
                run(Right).meter_does("auto_range = { gap = \"50 ms\" }"),
                run(Right).meter(UNITS).meter_does("auto_range = {}, free_running = true"),
                run(Refused(TRIPPED)).meter_does("auto_range = { holds = \"always\" }"),
                run(Never(INSTRUMENT)).meter_does("auto_range = { holds = \"always\" }, free_running = true"),
            ]),
        ),
        (
            37,
            "lead in another jack",
            Ok(vec![
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).meter_does("wrong_jack = true"),
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).meter_does("hands = [{ after = \"3 s\", jack = \"nowhere\" }]"),
                run(Refused(&[Exit::Anomaly, Exit::Tripped])).meter_does("hands = [{ after = \"3 s\", fuse = \"melts\" }]"),
                run(Refused(&[Exit::Instrument, Exit::Tripped])).meter_does("hands = [{ after = \"3 s\", range = \"100 uA\" }]"),
                run(Refused(&[Exit::Instrument, Exit::Tripped, Exit::Anomaly]))
                    .meter_does("hands = [{ after = \"3 s\", function = \"voltage\" }]"),
            ]),
        ),
    ]
}

fn link() -> Vec<Row> {
    vec![
        (38, "terminators", Ok(vec![run(Right).with(SELECT), run(Never(INSTRUMENT)).does("answers_end = \"\\r\"")])),
        (39, "acknowledgement", Ok(vec![run(Right).with(ACKNOWLEDGED)])),
        (40, "errors in band", Ok(vec![run(Refused(INSTRUMENT)).with(ACKNOWLEDGED).does("falls_to_local_after = \"1500 ms\"")])),
        (
            41,
            "writes without an answer",
            Ok(vec![run(Right).with(INDEX), run(Refused(INSTRUMENT)).with(INDEX).does("loses_every = 7")]),
        ),
        (
            42,
            "late answers",
            Ok(vec![
                run(Refused(INSTRUMENT)).meter_does("late_at = 30, late_by = \"4 s\""),
                run(Gaps).meter_does("late_at = 30, late_by = \"4 s\"").patient(),
                run(Gaps).meter(UNITS).meter_does("late_at = 30, late_by = \"4 s\"").patient(),
            ]),
        ),
        (
            43,
            "interrupted queries",
            Ok(vec![run(Right).with(INDEX).does("interrupts = true"), run(Right).meter(UNITS).meter_does("interrupts = true")]),
        ),
        (
            44,
            "a gap between messages",
            Ok(vec![run(Right).does("misses_early = true"), run(Never(INSTRUMENT)).does("gap = \"30 ms\"")]),
        ),
        (45, "short messages only", Ok(vec![run(Never(&[Exit::NotOff])).does("takes_at_most = 12")])),
        (46, "line settings", Err("neither memory nor a pseudo-terminal has a bit rate or a parity")),
        (47, "handshake", Err("a pseudo-terminal has no DTR, DSR, RTS or CTS")),
        (48, "interface powered from the line", Err("a pseudo-terminal has no DTR and no RTS")),
        (
            49,
            "starts when it is opened",
            Ok(vec![run(Never(INSTRUMENT)).does("boot_takes = \"1500 ms\", boot_text = \"ready\"")]),
        ),
        (50, "echo and prompt", Ok(vec![run(Right).meter(ECHO)])),
        (51, "checksum", Ok(vec![run(Never(INSTRUMENT)).does("checksum = true")])),
        // Over TCP, below.
        (52, "one client", Ok(vec![run(Right).does("one_client = true")])),
        (53, "somebody else's lock", Ok(vec![run(Never(INSTRUMENT)).does("locked = true")])),
        (
            54,
            "hangs",
            Ok(vec![
                run(Right).does("hangs_on_reset = true, hangs_when_hurried = true"),
                run(Right).meter_does("hangs_on_reset = true"),
            ]),
        ),
        (55, "half-open", Ok(vec![run(Refused(INSTRUMENT)).meter_does("silent_after = 60")])),
    ]
}

fn the_rest() -> Vec<Row> {
    let reset = |name, settle: &str| {
        let tables = format!("[reset]\nsend = \"*RST\"\nsettle = {settle:?}\n\n[supply]\n");
        variant(name, LIST, &[("[supply]\n", &tables)])
    };
    let matched = variant("matched", LIST, &[("serial_field = 3\n", "serial_field = 3\nmatch = [\"STAND-IN,*,1.*\"]\n")]);
    vec![
        (56, "remote control", Ok(vec![run(Right).with(ACKNOWLEDGED), run(Never(INSTRUMENT)).does("needs_remote = true")])),
        (57, "knobs", Ok(vec![run(Refused(&[Exit::Instrument, Exit::Tripped])).does("knob_after = \"3 s\", knob_to = \"4 V\"")])),
        (58, "error queue", Ok(vec![run(Right).does("errors_before = 40"), run(Right).meter_does("errors_before = 40")])),
        (59, "no error queue", Ok(vec![run(Right).with(INDEX), run(Right).meter(UNITS)])),
        (
            60,
            "reset",
            Ok(vec![
                run(Right).with(reset("settles", "10 s")).does("reset_takes = \"8 s\""),
                run(Never(INSTRUMENT)).with(reset("settles-not", "1 s")).does("reset_takes = \"8 s\""),
            ]),
        ),
        (
            61,
            "identity",
            Ok(vec![
                run(Right).with(matched.clone()),
                run(Never(INSTRUMENT)).with(matched).does("identity = \"STAND-IN,other,B0417,2.0\""),
            ]),
        ),
        (
            62,
            "remote sense",
            Ok(vec![
                run(Never(&[Exit::Wrong])).does("remote_sense = true"),
                // 9 V become more than the unit's ceiling of 10 V.
                run(Refused(TRIPPED)).does("sense_lead_open = \"15 %\""),
            ]),
        ),
    ]
}

fn rows() -> Vec<Row> {
    [channels(), output(), mode_and_reading(), link(), the_rest()].into_iter().flatten().collect()
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
        Plan::Patient => short.replace("[unit]", "[interlock]\nno_reading = \"20 s\"\n[unit]"),
        // Whoever wrote it took the unit for one of less.
        Plan::Limited => {
            short.replace("limit = \"60 mA\"", "limit = \"10 mA\"").replace("[\"8 mA\", \"20 mA\"]", "[\"1 mA\", \"9 mA\"]")
        }
    };
    let bench = if run.switches.0.contains("identity") { bench } else { bench.replace("serial = \"B0417\"\n", "") };
    let unit = match run.plan {
        Plan::Limited => RESISTOR.into(),
        Plan::Short | Plan::Patient => unit(""),
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
        SaidNotOff => {
            assert_eq!(exit, Exit::NotOff, "{what}: {how}");
            assert!(outcome.supply.voltage.0 == 0.0 && outcome.supply.unit.0 < 0.5, "{what}: {:?}", outcome.supply);
            return;
        }
    }
    assert!(!outcome.supply.on, "{what}: left on; {exit:?} {how}");
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
            Err(why) => assert!(why.len() > 20, "row {number}"),
        }
    }
}

#[test]
fn every_switch_is_turned_by_a_row_and_described() {
    let turned: String =
        rows().into_iter().flat_map(|r| r.2.unwrap_or_default()).map(|r| format!("{} {} ", r.switches.0, r.switches.1)).collect();
    let described = include_str!("../../scripts/README.md");
    // Told at once by whoever holds the bench, and tried in `safety`, `trips` and `wires`.
    let elsewhere = ["hangs_up_after", "slower", "stuck"];
    for (key, _) in Quirks::KEYS {
        assert!(turned.contains(&format!("{key} =")) || elsewhere.contains(key), "no row turns {key}");
        assert!(described.contains(&format!("| `{key}` |")), "scripts/README.md does not describe {key}");
    }
}

#[test]
fn a_switch_that_is_none_is_pointed_at() {
    use rampart::document::Document;
    use rampart::plan::Bench;
    for (seat, key) in [("supply", "stuk = true"), ("supply", "answers_old = true"), ("meter", "coupled = true")] {
        let more = if seat == "meter" { "wired = \"in series\"\n" } else { "" };
        let supply = if seat == "meter" { format!("[supply]\nprofile = {LIST:?}\n") } else { String::new() };
        let profile = if seat == "meter" { PLAIN } else { LIST };
        let text = format!("{supply}[{seat}]\nprofile = {profile:?}\n{more}standin = {{ {key} }}\n");
        let problems = Bench::read(&Document::new("bench.toml", text)).unwrap_err().to_string();
        assert!(problems.contains(key.split(' ').next().unwrap()) && problems.contains("bench.toml:"), "{problems}");
    }
}

/// Row 52, over TCP: whoever comes second is let go of at once, and the first goes on.
#[test]
fn a_second_client_is_refused_where_there_is_room_for_one() {
    use rampart::clock::Clock;
    use rampart::document::Document;
    use rampart::instrument::Role;
    use rampart::plan::Bench;
    use rampart::rehearsal::{Rig, UnitFile, serve_tcp};
    use tokio::io::{AsyncReadExt, AsyncWriteExt};
    use tokio::net::{TcpListener, TcpStream};
    let text = format!("[supply]\nprofile = {LIST:?}\nstandin = {{ one_client = true }}\n");
    let bench = Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"));
    let file = UnitFile::read(&Document::new("unit.toml", unit(""))).unwrap_or_else(|p| panic!("{p}"));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let rig = Rig::build(&bench, &file, "unit", 1, Clock::start(1.0)).unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        tokio::spawn(serve_tcp(rig, Role::Supply, listener));
        let mut answer = [0; 2];
        let mut first = TcpStream::connect(address).await.unwrap();
        first.write_all(b"*OPC?\n").await.unwrap();
        first.read_exact(&mut answer).await.unwrap();
        let mut second = TcpStream::connect(address).await.unwrap();
        assert_eq!(second.read(&mut answer).await.unwrap_or(0), 0, "hung up");
        first.write_all(b"*OPC?\n").await.unwrap();
        first.read_exact(&mut answer).await.unwrap();
        assert_eq!(&answer, b"1\n");
    });
}
