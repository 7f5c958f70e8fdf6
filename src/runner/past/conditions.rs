//! The conditions of two runs that differ, and what each difference forbids.
//!
//! What makes a unit start or fail, or changes what it draws, forbids a comparison; what the
//! uncertainties of both runs account for, or what nobody can tell, is told and no more.

use super::flat::flat;
use super::{Past, Seen, What};
use crate::analysis::compare::condition::{Condition, Part};
use crate::analysis::compare::distribution::distance;
use crate::analysis::compare::text::{Line, lines};
use crate::analysis::rank::median;
use crate::plan::{Leakage, Limits, Log, OffTimes, Order, Ramp, Spacing, StageKind, Start, Way};
use crate::record::FileRow;
use crate::units::{Seconds, Unit, engineering};
use std::collections::BTreeSet;
use std::fmt::Display;

const UNIT_SEES: [Part; 3] = [Part::Rates, Part::Courses, Part::Ramps];
const STARTS: [Part; 2] = [Part::Rates, Part::Courses];

/// Distributions of off-times are other ones where their distance has this chance, or less.
const OTHER: f64 = 0.01;

/// The condition that is told of marks.
pub const MARKS: &str = "operator's marks";

/// Whether both are rehearsals, or neither.
pub fn of_kind(a: bool, b: bool) -> Option<Condition> {
    let kind = |is_rehearsal| if is_rehearsal { "a rehearsal on stand-ins" } else { "a run on the bench" }.to_owned();
    let sides = (kind(a), kind(b));
    (a != b).then(|| Condition::forbidding("kind of run", sides, &Part::ALL, "nothing real was measured in a rehearsal"))
}

/// The conditions of the runs as a whole.
pub fn between(a: &Past, b: &Past) -> Vec<Condition> {
    let mut made: Vec<Condition> = of_kind(a.is_rehearsal, b.is_rehearsal).into_iter().collect();
    let whole = |p: &Past| p.damage.clone().unwrap_or_else(|| "as it was written".into());
    if a.damage.is_some() || b.damage.is_some() {
        made.push(Condition::forbidding("record", (whole(a), whole(b)), &Part::ALL, "a record that was changed is no evidence"));
    }
    let bench = |p: &Past| p.text("bench").unwrap_or_default().to_owned();
    made.extend(of_bench(&bench(a), &bench(b)));
    made.extend(instruments(a, b));
    made.extend(profiles(a, b));
    let checked = |p: &Past| match p.self_checks.len() {
        0 => "none".to_owned(),
        1 => "agreed".into(),
        n => format!("agreed {n} times"),
    };
    if a.self_checks.is_empty() != b.self_checks.is_empty() {
        let why = "without one a blown fuse of the meter, or a lead in another jack, would go unseen";
        made.push(Condition::told("self-check on a known load", (checked(a), checked(b)), why));
    }
    if a.marks != b.marks {
        let marks = |p: &Past| if p.marks.is_empty() { "none".to_owned() } else { p.marks.join("; ") };
        made.push(Condition::told(
            MARKS,
            (marks(a), marks(b)),
            "what was done to the unit meanwhile: only you know whether it matters",
        ));
    }
    if a.tool != b.tool {
        let why = "another version may read and judge differently; both records are judged anew here, by this one";
        made.push(Condition::told("tool", (a.tool.clone(), b.tool.clone()), why));
    }
    if a.unit != b.unit {
        made.push(Condition::told("unit", (a.unit.clone(), b.unit.clone()), "as the plans name it, or the list of good units"));
    }
    let standing = |p: &Past| {
        let file = p.files.iter().rfind(|f| f.kind == "unit");
        file.map(|f| (f.name.clone(), f.text.clone()))
    };
    match (standing(a), standing(b)) {
        (Some(x), Some(y)) if x != y => {
            made.push(Condition::told("made-up unit", (x.0, y.0), "the rehearsed unit is another: that is what is compared"));
        }
        _ => {}
    }
    made
}

/// What two bench files say of instruments, wiring and leads, key by key.
pub fn of_bench(a: &str, b: &str) -> Vec<Condition> {
    let (a, b) = (flat(a), flat(b));
    let keys: BTreeSet<&String> = a.keys().chain(b.keys()).collect();
    let (meter_a, meter_b) = (a.contains_key("meter.profile"), b.contains_key("meter.profile"));
    let mut made = Vec::new();
    if meter_a != meter_b {
        let has = |meter: bool| if meter { "in the lead or across" } else { "none: the supply's read-back" }.to_owned();
        let why = "a meter in series takes voltage from the unit, and reads at another pace";
        made.push(Condition::forbidding("meter", (has(meter_a), has(meter_b)), &UNIT_SEES, why));
    }
    for key in keys {
        if key.starts_with("meter.") && meter_a != meter_b {
            continue;
        }
        let side = |map: &std::collections::BTreeMap<String, String>| map.get(key).cloned();
        let (x, y) = (side(&a), side(&b));
        if x == y {
            continue;
        }
        let sides = (x.unwrap_or_else(|| "not said".into()), y.unwrap_or_else(|| "not said".into()));
        let seat = key.split('.').next().unwrap_or_default();
        let end = key.get(seat.len()..).unwrap_or_default();
        let (parts, why): (&[Part], &'static str) = match (seat, end) {
            ("supply", ".profile") => (&UNIT_SEES, "another kind of supply rises, limits and switches off in another way"),
            ("supply", ".sense") => (&UNIT_SEES, "the voltage at the unit is another"),
            ("leads", _) => (&UNIT_SEES, "what drops over the leads does not reach the unit"),
            ("meter", ".wired" | ".terminal" | ".profile") => (
                &UNIT_SEES,
                "the meter's shunt takes another voltage from the unit; the currents' uncertainties account for its errors",
            ),
            (_, ".serial") => (&[], "another instrument of its kind: the uncertainties account for it"),
            (_, ".calibration_due") => (&[], "the accuracy holds where it was not overdue"),
            (_, ".address" | ".line" | ".channel") | ("patch", _) => (&[], "it does not matter for what follows"),
            (_, end) if end.starts_with(".standin") => (&[], "what a stand-in was made to do"),
            _ => (&[], "look whether it matters"),
        };
        made.push(Condition::forbidding(key.replace('.', ": "), sides, parts, why));
    }
    made
}

fn instruments(a: &Past, b: &Past) -> Vec<Condition> {
    let roles: BTreeSet<&str> = a.instruments.iter().chain(&b.instruments).map(|i| i.role.as_str()).collect();
    let of = |p: &Past, role: &str| {
        let names: Vec<String> = p
            .instruments
            .iter()
            .filter(|i| i.role == role)
            .map(|i| i.identity.clone().unwrap_or_else(|| "identity cannot be asked".into()))
            .collect();
        if names.is_empty() { "none".to_owned() } else { names.join("; ") }
    };
    let differing = roles.into_iter().map(|role| (role, of(a, role), of(b, role))).filter(|(_, x, y)| x != y);
    differing
        .map(|(role, x, y)| {
            let why = "another instrument, by its identity: the uncertainties account for its errors";
            Condition::told(role, (x, y), why)
        })
        .collect()
}

/// Lines of a changed profile that are shown of each side.
const SHOWN: usize = 4;

fn profiles(a: &Past, b: &Past) -> Vec<Condition> {
    let of = |p: &Past| -> Vec<FileRow> { p.files.iter().filter(|f| f.kind == "profile").cloned().collect() };
    let (a, b) = (of(a), of(b));
    let mut made = Vec::new();
    for x in &a {
        let Some(y) = b.iter().find(|y| y.name == x.name && y.text != x.text) else { continue };
        let differing = lines(&x.text, &y.text).unwrap_or_default();
        let side = |pick: fn(&Line<'_>) -> Option<String>| {
            let all: Vec<String> = differing.iter().filter_map(pick).collect();
            let more = if all.len() > SHOWN { format!(" … ({} lines in all)", all.len()) } else { String::new() };
            let some: Vec<&str> = all.iter().take(SHOWN).map(String::as_str).collect();
            if some.is_empty() { "nothing in their place".to_owned() } else { format!("{}{more}", some.join(" | ")) }
        };
        let first = side(|l| if let Line::A(text) = l { Some(text.trim().to_owned()) } else { None });
        let second = side(|l| if let Line::B(text) = l { Some(text.trim().to_owned()) } else { None });
        let why = "the profile's text has changed: each run has the uncertainties of its own, and was asked in its own words";
        made.push(Condition::told(format!("profile {}", x.name), (first, second), why));
    }
    made
}

/// A value on both sides, where they differ.
struct Pairs(Vec<Condition>);

impl Pairs {
    fn add<T: PartialEq>(
        &mut self,
        what: &str,
        (a, b): (T, T),
        spelled: impl Fn(&T) -> String,
        parts: &[Part],
        why: &'static str,
    ) {
        if a != b {
            self.0.push(Condition::forbidding(what, (spelled(&a), spelled(&b)), parts, why));
        }
    }
}

fn plain<T: Display>(value: &T) -> String {
    value.to_string()
}

fn maybe<T: Display>(value: &Option<T>) -> String {
    value.as_ref().map_or("not said".into(), T::to_string)
}

fn limits(limit: &Limits) -> String {
    let Limits { starting, running, after } = limit;
    if starting == running { starting.to_string() } else { format!("{starting} then {running} after {after}") }
}

fn off(off: &OffTimes) -> String {
    if off.from == off.to {
        return off.from.to_string();
    }
    let spacing = if off.spacing == Spacing::Log { "in equal ratios" } else { "in equal steps" };
    let order = match off.order {
        Order::Random => "at random",
        Order::Rising => "rising",
        Order::Falling => "falling",
    };
    format!("{} to {}, {spacing}, {order}", off.from, off.to)
}

/// What the plans say of two stages of one kind; nothing for stages of two kinds.
pub fn of_stage(a: &StageKind, b: &StageKind) -> Vec<Condition> {
    let mut made = Pairs(Vec::new());
    match (a, b) {
        (StageKind::Start(a), StageKind::Start(b)) => of_start(a, b, &mut made),
        (StageKind::Ramp(a), StageKind::Ramp(b)) => of_ramp(a, b, &mut made),
        (StageKind::Log(a), StageKind::Log(b)) => of_log(a, b, &mut made),
        (StageKind::Leakage(a), StageKind::Leakage(b)) => of_leakage(a, b, &mut made),
        _ => {}
    }
    made.0
}

fn of_start(a: &Start, b: &Start, made: &mut Pairs) {
    let all = [Part::Rates, Part::Currents, Part::Courses];
    made.add("voltage", (a.voltage, b.voltage), plain, &all, "the unit starts from another voltage");
    made.add("current limit", (a.limit, b.limit), limits, &STARTS, "a limit can itself keep a unit from starting");
    made.add(
        "off-times",
        (a.off.clone(), b.off.clone()),
        off,
        &STARTS,
        "the time without power is what most faults of starting hang on",
    );
    let why = "it decides from what is left at the unit each start begins";
    made.add("wait until below", (a.off_below, b.off_below), maybe, &STARTS, why);
    made.add(
        "watched for",
        (a.watch, b.watch),
        plain,
        &STARTS,
        "a start that is watched for longer can still come, or fail later",
    );
    made.add("good within", (a.within, b.within), plain, &[Part::Rates], "what counts as failed is another");
    let good = |s: &Start| s.states.first().map(|s| (s.low, s.high));
    let band = |b: &Option<_>| b.map_or("none".into(), |(low, high): (crate::units::Amperes, _)| format!("{low} to {high}"));
    made.add("good state", (good(a), good(b)), band, &[Part::Rates], "what counts as failed is another");
    let ends = |s: &Start| super::until_decided(s);
    let word = |until: &bool| if *until { "when something is decided" } else { "at their number" }.to_owned();
    let why = "the exact test is not for starts that end by what is seen of them; other bounds are taken";
    made.add("starts end", (ends(a), ends(b)), word, &[], why);
    made.add("starts planned", (a.times, b.times), plain, &[], "how many there are is in the test");
}

fn of_ramp(a: &Ramp, b: &Ramp, made: &mut Pairs) {
    let ends = [Part::Currents];
    made.add("end of the ramp", (a.to, b.to), plain, &ends, "the ramps are compared as far as both go");
    made.add(
        "rate of the ramp",
        (a.rate, b.rate),
        plain,
        &[Part::Ramps],
        "where a unit starts hangs on how fast the voltage rises",
    );
    made.add("current limit", (a.limit, b.limit), plain, &[Part::Ramps], "a limit can itself keep a unit from starting");
    made.add(
        "step",
        (a.step, b.step),
        plain,
        &[],
        "the places of events are less sure with the larger one, as their uncertainties say",
    );
    made.add("hold", (a.hold, b.hold), plain, &[], "the current at the end is read later on one side");
    let way = |w: &Way| if *w == Way::Up { "up" } else { "up and back" }.to_owned();
    made.add("way", (a.way, b.way), way, &[], "where it drops out is known of one side alone");
}

fn of_log(a: &Log, b: &Log, made: &mut Pairs) {
    let currents = [Part::Currents];
    made.add("voltage", (a.voltage, b.voltage), plain, &currents, "what a unit draws hangs on its voltage");
    made.add("current limit", (a.limit, b.limit), limits, &[], "it matters only where the supply limits");
    made.add("length", (a.length, b.length), plain, &[], "the longer one has seen more");
    made.add("time between readings", (a.every, b.every), plain, &[], "the uncertainties account for it");
}

fn of_leakage(a: &Leakage, b: &Leakage, made: &mut Pairs) {
    let leakage = [Part::Leakage];
    let marked = |l: &Leakage| format!("{} {} {}", l.part.kind.word(), l.part.capacitance, l.part.rated);
    made.add("part", (a.part.name.clone(), b.part.name.clone()), String::clone, &[], "another name on the board");
    made.add("kind of part", (marked(a), marked(b)), String::clone, &leakage, "another part leaks otherwise");
    let why = "leakage has no value without its time";
    made.add("electrification time", (a.electrify, b.electrify), plain, &leakage, why);
    let why = "leakage doubles every ten degrees or so";
    made.add("temperature", (a.part.temperature, b.part.temperature), maybe, &leakage, why);
    made.add("series resistor", (a.series, b.series), plain, &[], "the voltage at the part is less by what it takes");
    made.add("null", (a.null, b.null), plain, &[], "it has been subtracted");
    let volts = |l: &Leakage| l.voltages.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    made.add(
        "voltages",
        (volts(a), volts(b)),
        String::clone,
        &[],
        "compared are those that both have, and what came before may linger",
    );
}

/// `60 from 300 ms to 6 s, median 1.34 s`.
fn spread(times: &[f64], unit: Unit) -> String {
    let (low, high) = times.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), t| (l.min(*t), h.max(*t)));
    let three = |v: f64| engineering(v, unit, 3);
    match median(times) {
        Some(middle) => format!("{} from {} to {}, median {}", times.len(), three(low), three(high), three(middle)),
        None => "none known".into(),
    }
}

/// The off-times of starts and what was left before them, as they were: distributions that
/// cannot come of one law.
pub fn of_starts(a: &Seen, b: &Seen) -> Vec<Condition> {
    let (What::Starts(x), What::Starts(y)) = (&a.what, &b.what) else { return Vec::new() };
    let mut made = Vec::new();
    let times = |s: &super::Starts| s.off.iter().map(|o| o.0.0).collect::<Vec<_>>();
    let (p, q) = (times(x), times(y));
    if distance(&p, &q).is_some_and(|d| d.chance <= OTHER) {
        let sides = (spread(&p, Unit::Second), spread(&q, Unit::Second));
        made.push(Condition::forbidding(
            "off-times as they were",
            sides,
            &STARTS,
            "they are not of one distribution (Smirnov's test)",
        ));
    }
    let volts = |s: &super::Starts| s.left.iter().map(|v| v.0).collect::<Vec<_>>();
    let (p, q) = (volts(x), volts(y));
    if distance(&p, &q).is_some_and(|d| d.chance <= OTHER) {
        let why =
            "what is left hangs on what the unit draws while it falls: it may be the cause of a change, or come of the repair";
        made.push(Condition::told("voltage left before starts", (spread(&p, Unit::Volt), spread(&q, Unit::Volt)), why));
    }
    made
}

/// The distance of the off-times of two stages, in words; nothing where there are none.
pub(crate) fn off_times_in_words(a: &[Seconds], b: &[Seconds]) -> Option<String> {
    let plain = |times: &[Seconds]| times.iter().map(|t| t.0).collect::<Vec<_>>();
    let (p, q) = (plain(a), plain(b));
    let d = distance(&p, &q)?;
    Some(format!(
        "Time without power before starts: {} against {}; the largest distance of both distributions is {:.2}, which so large or larger has a chance of {:.2} where they are the same (Smirnov).",
        spread(&p, Unit::Second),
        spread(&q, Unit::Second),
        d.largest,
        d.chance
    ))
}

/// The conditions against several runs as one list: what is alike on the first side stands
/// once, with all that the others have.
pub fn merged(lists: impl IntoIterator<Item = Vec<Condition>>) -> Vec<Condition> {
    let mut made: Vec<Condition> = Vec::new();
    for condition in lists.into_iter().flatten() {
        match made.iter_mut().find(|c| c.what == condition.what && c.a == condition.a && c.why == condition.why) {
            Some(known) => {
                if !known.b.split("; ").any(|b| b == condition.b) {
                    known.b = format!("{}; {}", known.b, condition.b);
                }
                for part in condition.forbids {
                    if !known.forbids.contains(&part) {
                        known.forbids.push(part);
                    }
                }
            }
            None => made.push(condition),
        }
    }
    made
}
