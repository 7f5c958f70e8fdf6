//! Reading the stages of a plan, one function a kind.
//!
//! Holds always: a stage whose kind is not known is told so once, and none of its
//! other keys is judged; states come out in the order in which they are written.

use super::{POLARITY, above_zero, currents, need_above_zero, zero_or_more};
use crate::analysis::leakage::limits::Series;
use crate::analysis::node::Towards;
use crate::analysis::sequential::Claim;
use crate::document::Table;
use crate::plan::model::*;
use crate::plan::ramp::{Ramp, Way};
use crate::units::{Amperes, Celsius, Ratio, Seconds, Volts};

/// What a `log` may take over from the stage before. An `ask` leaves it as it
/// is, unless it connects something else: what was meant for one unit must not
/// reach another. A `leakage` stage leaves nothing, for the same reason.
#[derive(Default)]
struct Before {
    voltage: Option<Volts>,
    limit: Option<Limits>,
    /// Something stands there that could not be read: that much has been said.
    broken: bool,
}

pub(super) fn stages(root: &mut Table<'_>) -> Option<Vec<Stage>> {
    let tables = root.tables("stage");
    if tables.is_empty() {
        return root.missing("stage", Some("a plan needs at least one [[stage]]".into()));
    }
    let count = tables.len();
    let mut before = Before::default();
    let mut made = Vec::new();
    for (number, mut table) in (1..).zip(tables) {
        let kind = stage(&mut table, number, &mut before);
        before.broken |= kind.is_none();
        let places = table.places();
        match kind {
            Some(kind) => {
                table.finish();
                made.push(Stage { number, kind, places });
            }
            // Where even the kind is unknown, every other key would be "unknown" too.
            None if table.has("do") => table.finish(),
            None => {}
        }
    }
    (made.len() == count).then_some(made)
}

#[derive(Clone, Copy)]
enum Word {
    Ramp,
    Log,
    Start,
    Leakage,
    Ask,
}

fn stage(table: &mut Table<'_>, number: u32, before: &mut Before) -> Option<StageKind> {
    const WORDS: [(&str, Word); 5] =
        [("ramp", Word::Ramp), ("log", Word::Log), ("start", Word::Start), ("leakage", Word::Leakage), ("ask", Word::Ask)];
    table.rename(format!("stage {number}"));
    if !table.has("do") {
        return table.missing(
            "do",
            Some("every stage says what it does: do = \"ramp\", \"log\", \"start\", \"leakage\" or \"ask\"".into()),
        );
    }
    let Some(word) = table.choice("do", &WORDS) else {
        // The kind is unknown, so none of the other keys can be judged.
        for key in table.keys() {
            table.ignore(&key);
        }
        return None;
    };
    let named = WORDS[word as usize].0;
    table.rename(format!("stage {number} ({named})"));
    match word {
        Word::Ramp => ramp(table, before).map(StageKind::Ramp),
        Word::Log => log(table, before).map(StageKind::Log),
        Word::Start => start(table, before).map(|s| StageKind::Start(Box::new(s))),
        Word::Leakage => {
            *before = Before::default();
            leakage(table).map(|l| StageKind::Leakage(Box::new(l)))
        }
        Word::Ask => {
            let ask = ask(table)?;
            if ask.connect.is_some() {
                *before = Before::default();
            }
            Some(StageKind::Ask(ask))
        }
    }
}

fn expect(table: &mut Table<'_>) -> Option<(Amperes, Amperes)> {
    let mut expect = table.table("expect")?;
    let band = currents(&mut expect, "current");
    if band.is_none() && !expect.has("current") {
        expect.missing::<()>("current", Some("write expect = { current = [\"8 mA\", \"20 mA\"] }".into()));
    }
    expect.finish();
    band
}

fn ramp(table: &mut Table<'_>, before: &mut Before) -> Option<Ramp> {
    let to = need_above_zero::<Volts>(table, "to");
    let rate = need_above_zero::<crate::units::VoltsPerSecond>(table, "rate");
    let limit = need_above_zero::<Amperes>(table, "limit");
    let step = above_zero::<Volts>(table, "step");
    let hold = zero_or_more(table, "hold").unwrap_or(Seconds(1.0));
    let expect = expect(table);
    let way = if table.flag("back") == Some(true) { Way::UpAndBack } else { Way::Up };
    let good = table.text("good");
    let (to, rate, limit) = (to?, rate?, limit?);
    *before = Before { voltage: Some(to), limit: Some(Limits::same(limit)), broken: false };
    if let Some(step) = step
        && step > to
    {
        table.problem(
            "step",
            format!("one step of {step} is more than the whole ramp to {to}"),
            "longer than the ramp",
            Some("leave it out: a step then takes about 0.2 s".into()),
        );
    }
    // A step takes at least about 0.2 s: time for both instruments to read.
    let step = step.unwrap_or((rate * Seconds(0.2)).max(Volts(0.01)).min(to));
    Some(Ramp { to, rate, limit, step, hold, expect, way, good })
}

/// A limit, either one current or one for starting, one for running and the hand-over.
fn limits(table: &mut Table<'_>, key: &str) -> Option<Limits> {
    if !table.is_table(key) {
        return need_above_zero::<Amperes>(table, key).map(Limits::same);
    }
    let mut limit = table.table(key)?;
    let starting = need_above_zero::<Amperes>(&mut limit, "starting");
    let running = need_above_zero::<Amperes>(&mut limit, "running");
    let after = if limit.has("after") { zero_or_more(&mut limit, "after") } else { limit.need("after") };
    if let (Some(starting), Some(running)) = (starting, running)
        && running > starting
    {
        limit.problem(
            "running",
            format!("the limit while running, {}, is above the one while starting, {}", running, starting),
            "running above starting",
            Some("a unit draws most while it starts: the limit while starting is the larger".into()),
        );
    }
    limit.finish();
    Some(Limits { starting: starting?, running: running?, after: after? })
}

fn log(table: &mut Table<'_>, before: &mut Before) -> Option<Log> {
    let length = need_above_zero::<Seconds>(table, "for");
    let every = need_above_zero::<Seconds>(table, "every");
    if let (Some(length), Some(every)) = (length, every)
        && length < every * 2.0
    {
        table.problem(
            "for",
            format!("a log of {length} with a reading every {every} has too few readings to say anything"),
            "shorter than two readings",
            Some("log for longer, or read more often".into()),
        );
    }
    let voltage = above_zero::<Volts>(table, "voltage").or(before.voltage);
    let limit = if table.has("limit") {
        limits(table, "limit")
    } else {
        table.ignore("limit");
        before.limit
    };
    let expect = expect(table);
    let states = states(table);
    let good = table.text("good");
    let hint = "no stage before it says one; write it here";
    let voltage = match voltage {
        Some(voltage) => Some(voltage),
        None if before.broken || table.has("voltage") => None,
        None => table.missing("voltage", Some(hint.into())),
    };
    let limit = match limit {
        Some(limit) => Some(limit),
        None if before.broken || table.has("limit") => None,
        None => table.missing("limit", Some(hint.into())),
    };
    let (voltage, limit) = (voltage?, limit?);
    *before = Before { voltage: Some(voltage), limit: Some(limit), broken: false };
    Some(Log { voltage, limit, length: length?, every: every?, expect, states, good })
}

/// States in the order in which they are written.
fn states(table: &mut Table<'_>) -> Vec<State> {
    let Some(mut inner) = table.table("states") else { return Vec::new() };
    let places = inner.places();
    let mut names = inner.keys();
    names.sort_by_key(|name| places.of(name).start);
    let mut made: Vec<State> = Vec::new();
    for name in names {
        let Some((low, high)) = currents(&mut inner, &name) else { continue };
        if let Some(other) = made.iter().find(|s| low <= s.high && s.low <= high) {
            inner.problem(
                &name,
                format!("the states {name:?} and {:?} overlap", other.name),
                "overlaps",
                Some("a current must belong to one state at most; leave a gap wider than the instrument's uncertainty".into()),
            );
        }
        made.push(State { name, low, high });
    }
    inner.finish();
    made
}

fn off_times(table: &mut Table<'_>) -> Option<OffTimes> {
    if !table.is_table("off") {
        let time = need_above_zero::<Seconds>(table, "off")?;
        return Some(OffTimes { from: time, to: time, spacing: Spacing::Linear, order: Order::Rising });
    }
    let mut off = table.table("off")?;
    let from = need_above_zero::<Seconds>(&mut off, "from");
    let to = need_above_zero::<Seconds>(&mut off, "to");
    let spacing = off.choice("spacing", &[("log", Spacing::Log), ("linear", Spacing::Linear)]).unwrap_or(Spacing::Log);
    let order = off
        .choice("order", &[("random", Order::Random), ("rising", Order::Rising), ("falling", Order::Falling)])
        .unwrap_or(Order::Random);
    if let (Some(from), Some(to)) = (from, to)
        && from > to
    {
        off.problem("to", "the off-times end before they begin", "shorter than \"from\"", None);
    }
    off.finish();
    Some(OffTimes { from: from?, to: to?, spacing, order })
}

fn on_fault(table: &mut Table<'_>) -> OnFault {
    if !table.is_table("on_fault") {
        return table.choice("on_fault", &[("go on", OnFault::GoOn), ("off", OnFault::Off)]).unwrap_or(OnFault::GoOn);
    }
    let Some(mut inner) = table.table("on_fault") else { return OnFault::GoOn };
    let hold = need_above_zero::<Seconds>(&mut inner, "hold");
    inner.finish();
    hold.map_or(OnFault::GoOn, OnFault::Hold)
}

/// The most starts of a stage.
const MOST_STARTS: u64 = 1_000_000;

/// How many starts, or until which claim is decided, with how many at most.
fn how_many(table: &mut Table<'_>) -> (Option<Claim>, Option<u64>) {
    let has_times = table.has("times");
    let times = has_times.then(|| table.count("times", 1, MOST_STARTS)).flatten();
    if !table.has("until") {
        let hint = "write times = 100, or until = { failing_below = \"1 %\", confidence = \"95 %\" }";
        return (None, times.or_else(|| if has_times { None } else { table.missing("times", Some(hint.into())) }));
    }
    let Some(claim) = table.table("until").and_then(until) else { return (None, None) };
    let needed = claim.proved_after(0).filter(|n| *n <= MOST_STARTS);
    let Some(needed) = needed else {
        let title = format!("to prove a failing rate below {} takes more than {MOST_STARTS} starts", claim.below());
        table.problem("until", title, "cannot be proved", Some("claim less".into()));
        return (None, None);
    };
    if let Some(times) = times
        && times < needed
    {
        let title = format!("{times} starts cannot prove a failing rate below {}", claim.below());
        let hint = format!("{needed} starts without a failure would; leave \"times\" out, or write more");
        table.problem("times", title, "too few to decide", Some(hint));
    }
    let most = claim.most().map(|most| most.min(MOST_STARTS));
    (Some(claim), if has_times { times } else { most })
}

fn until(mut table: Table<'_>) -> Option<Claim> {
    let below = need_above_zero::<Ratio>(&mut table, "failing_below");
    let confidence = need_above_zero::<Ratio>(&mut table, "confidence");
    for (key, value, within) in [("failing_below", below, 0.0..=0.5), ("confidence", confidence, 0.5..=0.9999)] {
        if value.is_some_and(|v| v.0 > 0.0 && !within.contains(&v.0)) {
            let title =
                format!("{key:?} in {} must lie between {} and {}", table.name(), Ratio(*within.start()), Ratio(*within.end()));
            table.problem(key, title, "cannot be tested", None);
            return None;
        }
    }
    table.finish();
    Claim::new(below?, confidence?.0)
}

fn start(table: &mut Table<'_>, before: &mut Before) -> Option<Start> {
    let voltage = need_above_zero::<Volts>(table, "voltage");
    let limit = limits(table, "limit");
    let (until, times) = how_many(table);
    let off = off_times(table);
    let off_below = above_zero::<Volts>(table, "off_below");
    let off_patience = zero_or_more(table, "off_patience").unwrap_or(Seconds(60.0));
    let watch = need_above_zero::<Seconds>(table, "watch");
    let within = above_zero::<Seconds>(table, "within");
    let on_fault = on_fault(table);
    let good = table.text("good");
    let has_states = table.has("states");
    let states = states(table);
    if states.is_empty() {
        if has_states {
            return None;
        }
        return table.missing(
            "states",
            Some("name at least the state that a good start ends in: states = { running = [\"8 mA\", \"20 mA\"] }".into()),
        );
    }
    let (voltage, limit, watch) = (voltage?, limit?, watch?);
    *before = Before { voltage: Some(voltage), limit: Some(limit), broken: false };
    Some(Start {
        voltage,
        limit,
        times: u32::try_from(times?).ok()?,
        until,
        off: off?,
        off_below,
        off_patience,
        watch,
        within: within.unwrap_or(watch),
        states,
        on_fault,
        good,
    })
}

fn leakage(table: &mut Table<'_>) -> Option<Leakage> {
    let part = table.need_table("part").and_then(part);
    let voltages = if table.has("voltages") {
        table.quantities::<Volts>("voltages")
    } else {
        table.missing("voltages", Some("write voltages = [\"2 V\", \"4 V\"]".into()))
    };
    let series = need_above_zero::<crate::units::Ohms>(table, "series");
    let electrify = need_above_zero::<Seconds>(table, "electrify");
    let every = above_zero::<Seconds>(table, "every");
    let reform = above_zero::<Seconds>(table, "reform");
    let limit = leakage_limit(table);
    let null = table.quantity::<Amperes>("null").unwrap_or_default();
    let into = table.table("into").and_then(node);
    let good = table.text("good");
    let voltages = voltages?;
    if voltages.iter().any(|v| v.0 <= 0.0) {
        table.problem("voltages", "every voltage of a sweep must be above zero", "not above zero", Some(POLARITY.into()));
    }
    let electrify = electrify?;
    let every = every.unwrap_or((electrify / 60.0).max(Seconds(0.5)));
    Some(Leakage { part: part?, voltages, series: series?, electrify, every, reform, limit: limit?, null, into, good })
}

/// A customary limit by its name, an ohm-farad product, or a current.
fn leakage_limit(table: &mut Table<'_>) -> Option<LeakageLimit> {
    if !table.has("limit") {
        return Some(LeakageLimit::Table(Series::Handbook));
    }
    if table.is_table("limit") {
        let mut inner = table.table("limit")?;
        let tau = need_above_zero::<Seconds>(&mut inner, "time_constant");
        inner.finish();
        return tau.map(LeakageLimit::TimeConstant);
    }
    if let Some((_, series, _)) = Series::ALL.iter().find(|(name, ..)| table.text_is("limit", name)) {
        return table.text("limit").map(|_| LeakageLimit::Table(*series));
    }
    need_above_zero::<Amperes>(table, "limit").map(LeakageLimit::Own)
}

fn node(mut table: Table<'_>) -> Option<Node> {
    let (resistor, rail) = (need_above_zero(&mut table, "resistor"), need_above_zero(&mut table, "rail"));
    let logic = table.need_text("logic");
    let beside = above_zero(&mut table, "beside");
    let tolerance = above_zero(&mut table, "tolerance").unwrap_or(Ratio(0.0));
    let part = table.choice("part", &[("to ground", Towards::Ground), ("to rail", Towards::Rail)]).unwrap_or(Towards::Ground);
    if tolerance.0 >= 1.0 {
        table.problem(
            "tolerance",
            format!("a tolerance of {tolerance} leaves no resistor"),
            "100 % or more",
            Some("write tolerance = \"5 %\"".into()),
        );
    }
    table.finish();
    Some(Node { resistor: resistor?, beside, tolerance, part, rail: rail?, logic: logic? })
}

fn part(mut table: Table<'_>) -> Option<Part> {
    const KINDS: [(&str, PartKind); 4] = [
        ("solid tantalum", PartKind::SolidTantalum),
        ("aluminium", PartKind::Aluminium),
        ("ceramic", PartKind::Ceramic),
        ("film", PartKind::Film),
    ];
    let name = table.need_text("name");
    let kind = if table.has("kind") {
        table.choice("kind", &KINDS)
    } else {
        table.missing("kind", Some("write kind = \"solid tantalum\"".into()))
    };
    let capacitance = need_above_zero(&mut table, "capacitance");
    let rated = need_above_zero(&mut table, "rated");
    let temperature = table.quantity::<Celsius>("temperature");
    if let Some(absurd) = temperature.filter(|t| !(-100.0..=300.0).contains(&t.0)) {
        table.problem(
            "temperature",
            format!("no part is measured at {absurd}"),
            "not a bench's temperature",
            Some("write temperature = \"25 degC\"".into()),
        );
    }
    table.finish();
    Some(Part { name: name?, kind: kind?, capacitance: capacitance?, rated: rated?, temperature })
}

fn ask(table: &mut Table<'_>) -> Option<Ask> {
    let say = table.need_text("say");
    let accept = table.texts("accept").unwrap_or_else(|| ["", "y", "yes", "ok", "done"].map(String::from).to_vec());
    if accept.is_empty() {
        table.problem(
            "accept",
            "a question that accepts no answer never ends",
            "no answer in it",
            Some("leave it out, and Enter, y, yes, ok or done go on".into()),
        );
    }
    let connect = table.text("connect");
    Some(Ask { say: say?, accept, connect })
}
