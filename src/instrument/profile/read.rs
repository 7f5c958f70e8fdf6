//! Reading a profile from TOML. The keys are described in `profiles/README.md`.

use super::*;
use crate::document::Table;
use crate::link::serial::{DataBits, Flow, Level, Line, Parity, StopBits};
use crate::units::{Stated, Unit};

pub(super) fn profile(name: &str, document: &Document) -> Result<Profile, Problems> {
    document.read(|root| {
        root.rename("the profile");
        let about = root.need_text("about");
        let identity = identity(root);
        let wire = wire(root);
        let errors = errors(root);
        let select = select(root);
        let remote = root.texts("remote").unwrap_or_default();
        let local = root.texts("local").unwrap_or_default();
        let reset = reset(root);
        let kind = kind(root);
        Some(Profile {
            name: name.to_owned(),
            document: document.clone(),
            about: about?,
            identity,
            wire: wire?,
            errors,
            select,
            remote,
            local,
            reset,
            kind: kind?,
        })
    })
}

fn kind(root: &mut Table<'_>) -> Option<Kind> {
    #[derive(Clone, Copy)]
    enum Word {
        Supply,
        Meter,
    }
    if !root.has("kind") {
        return root.missing("kind", Some("write kind = \"supply\" or kind = \"meter\"".into()));
    }
    match root.choice("kind", &[("supply", Word::Supply), ("meter", Word::Meter)])? {
        Word::Supply => {
            let mut table = root.need_table("supply")?;
            let made = supply(&mut table);
            table.finish();
            made.map(|s| Kind::Supply(Box::new(s)))
        }
        Word::Meter => {
            let mut table = root.need_table("meter")?;
            let made = meter(&mut table);
            table.finish();
            made.map(|m| Kind::Meter(Box::new(m)))
        }
    }
}

fn identity(root: &mut Table<'_>) -> Identity {
    let mut made = Identity { ask: Some("*IDN?".into()), patterns: Vec::new(), serial_field: 3 };
    if let Some(mut table) = root.table("identity") {
        if let Some(ask) = table.text("ask") {
            made.ask = (!ask.is_empty()).then_some(ask);
        }
        made.patterns = table.texts("match").unwrap_or_default();
        if let Some(field) = table.count("serial_field", 1, 20) {
            made.serial_field = usize::try_from(field).unwrap_or(3);
        }
        table.finish();
    }
    made
}

fn wire(root: &mut Table<'_>) -> Option<Wire> {
    let mut table = root.need_table("wire")?;
    let send_end = table.need_text("send_end");
    let receive_end = table.need_text("receive_end");
    let silence = table.quantity("silence").unwrap_or(Seconds(0.05));
    let gap = table.quantity("gap").unwrap_or(Seconds(0.0));
    let write_gap = table.quantity("write_gap").unwrap_or(gap).max(gap);
    let timeout = table.quantity("timeout").unwrap_or(Seconds(1.0));
    let echo = table.flag("echo").unwrap_or(false);
    let prompt = table.text("prompt").filter(|p| !p.is_empty());
    let acknowledge = table.text("acknowledge").filter(|a| !a.is_empty());
    let line = line(&mut table, "line", &Line::default());
    if timeout.0 <= 0.0 {
        table.problem("timeout", "the time-out must be longer than nothing", "too short", None);
    }
    table.finish();
    Some(Wire {
        send_end: send_end?,
        receive_end: receive_end?,
        silence,
        gap,
        write_gap,
        timeout,
        echo,
        prompt,
        acknowledge,
        line,
    })
}

/// Reads serial line settings from the table at `key`; what it lacks is taken from `defaults`.
pub(crate) fn line(parent: &mut Table<'_>, key: &str, defaults: &Line) -> Line {
    const LEVELS: [(&str, Level); 3] = [("high", Level::High), ("low", Level::Low), ("leave", Level::Leave)];
    let mut made = defaults.clone();
    let Some(mut table) = parent.table(key) else { return made };
    made.baud = table.count("baud", 300, 4_000_000).and_then(|b| u32::try_from(b).ok()).unwrap_or(made.baud);
    made.data_bits = match table.count("data_bits", 7, 8) {
        Some(7) => DataBits::Seven,
        Some(_) => DataBits::Eight,
        None => made.data_bits,
    };
    made.stop_bits = match table.count("stop_bits", 1, 2) {
        Some(1) => StopBits::One,
        Some(_) => StopBits::Two,
        None => made.stop_bits,
    };
    made.parity =
        table.choice("parity", &[("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)]).unwrap_or(made.parity);
    made.flow = table
        .choice("flow", &[("none", Flow::None), ("software", Flow::Software), ("hardware", Flow::Hardware)])
        .unwrap_or(made.flow);
    made.dtr = table.choice("dtr", &LEVELS).unwrap_or(made.dtr);
    made.rts = table.choice("rts", &LEVELS).unwrap_or(made.rts);
    table.finish();
    made
}

fn errors(root: &mut Table<'_>) -> Errors {
    let mut made = Errors { ask: None, depth: 20, in_band: Vec::new() };
    if let Some(mut table) = root.table("errors") {
        made.ask = table.text("ask").filter(|a| !a.is_empty());
        if let Some(depth) = table.count("depth", 1, 1000) {
            made.depth = usize::try_from(depth).unwrap_or(20);
        }
        made.in_band = table.texts("in_band").unwrap_or_default();
        table.finish();
    }
    made
}

fn select(root: &mut Table<'_>) -> Option<Select> {
    let mut table = root.table("select")?;
    let send = table.need_text("send");
    let ask = table.text("ask");
    table.finish();
    Some(Select { send: send?, ask })
}

fn reset(root: &mut Table<'_>) -> Option<(String, Seconds)> {
    let mut table = root.table("reset")?;
    let send = table.need_text("send");
    let settle = table.need("settle");
    table.finish();
    Some((send?, settle?))
}

/// A quantity in the measurand's unit.
fn amount(table: &mut Table<'_>, key: &str, of: Unit) -> Option<f64> {
    match of {
        Unit::Ampere => table.quantity::<Amperes>(key).map(|a| a.0),
        Unit::Second => table.quantity::<Seconds>(key).map(|t| t.0),
        _ => table.quantity::<Volts>(key).map(|v| v.0),
    }
}

fn need_amount(table: &mut Table<'_>, key: &str, of: Unit) -> Option<f64> {
    if table.has(key) { amount(table, key, of) } else { table.missing(key, Some(format!("write {key} = {}", of.examples()))) }
}

fn reply(parent: &mut Table<'_>) -> ReplyForm {
    let mut made = ReplyForm::default();
    if let Some(mut table) = parent.table("reply") {
        made.field = table.count("field", 1, 100).and_then(|f| usize::try_from(f).ok()).unwrap_or(0);
        made.prefix = table.text("prefix").unwrap_or_default();
        made.unit = table.choice("unit", &[("none", UnitInReply::None), ("checked", UnitInReply::Checked)]).unwrap_or_default();
        table.finish();
    }
    made
}

pub(super) fn setting(table: &mut Table<'_>, of: Unit) -> Option<Setting> {
    let set = table.need_text("set");
    let ask = table.text("ask");
    let resolution = need_amount(table, "resolution", of);
    let out_of_range = table
        .choice("out_of_range", &[("refuses", OutOfRange::Refuses), ("clips", OutOfRange::Clips)])
        .unwrap_or(OutOfRange::Refuses);
    let reply = reply(table);
    if resolution.is_some_and(|r| r <= 0.0) {
        table.problem("resolution", "a resolution is greater than zero", "not a step", None);
    }
    if set.as_ref().is_some_and(|s| !s.contains("{value}")) {
        table.problem("set", "a message that sets something needs {value}", "no {value} in it", None);
    }
    Some(Setting { set: set?, ask, resolution: resolution?, out_of_range, reply })
}

fn supply(table: &mut Table<'_>) -> Option<SupplyProfile> {
    let rated = table.need_table("rated").and_then(|mut rated| {
        let made = (rated.need::<Volts>("voltage"), rated.need::<Amperes>("current"), rated.need::<Watts>("power"));
        rated.finish();
        Some((made.0?, made.1?, made.2?))
    });
    let channels = table.count("channels", 1, 64).and_then(|c| u32::try_from(c).ok()).unwrap_or(1);
    let part = |table: &mut Table<'_>, key: &str, of| {
        let mut inner = table.need_table(key)?;
        let made = setting(&mut inner, of);
        inner.finish();
        made
    };
    let voltage = part(table, "voltage", Unit::Volt);
    let current = part(table, "current", Unit::Ampere);
    let both = table.text("both");
    let output = output(table);
    let mode = mode(table);
    let over_voltage = safety::protection(table, "over_voltage", Unit::Volt);
    let over_current = safety::protection(table, "over_current", Unit::Ampere);
    let (coupling, power_on) = (safety::condition(table, "coupling"), safety::condition(table, "power_on"));
    let (sense, watchdog) = (safety::sense(table), safety::watchdog(table));
    let measured = table.need_table("measured").and_then(|mut measured| {
        let made = (readback(&mut measured, "voltage", Unit::Volt), readback(&mut measured, "current", Unit::Ampere));
        measured.finish();
        Some((made.0?, made.1?))
    });
    let (rated_voltage, rated_current, rated_power) = rated?;
    let (measured_voltage, measured_current) = measured?;
    Some(SupplyProfile {
        rated_voltage,
        rated_current,
        rated_power,
        channels,
        voltage: voltage?,
        current: current?,
        both,
        output: output?,
        mode,
        over_voltage,
        over_current,
        coupling,
        power_on,
        sense,
        watchdog,
        measured_voltage,
        measured_current,
    })
}

fn output(parent: &mut Table<'_>) -> Option<Output> {
    #[derive(Clone, Copy)]
    enum Word {
        Open,
        Bleeder,
        Zero,
    }
    let mut table = parent.need_table("output")?;
    let on = table.need_text("on");
    let off = table.need_text("off");
    let all_off = table.text("all_off");
    let ask = table.text("ask");
    let reads_on = table.texts("reads_on").unwrap_or_else(|| vec!["1".into(), "ON".into()]);
    let reads_off = table.texts("reads_off").unwrap_or_else(|| vec!["0".into(), "OFF".into()]);
    let word = table
        .choice("off_is", &[("open", Word::Open), ("bleeder", Word::Bleeder), ("zero volts", Word::Zero)])
        .unwrap_or(Word::Open);
    let bleeder = table.quantity::<Ohms>("bleeder");
    let fall = table.quantity("fall").unwrap_or(Seconds(0.05));
    let off_is = match (word, bleeder) {
        (Word::Open, _) => OffState::Open,
        (Word::Zero, _) => OffState::ZeroVolts,
        (Word::Bleeder, Some(ohms)) if ohms.0 > 0.0 => OffState::Bleeder(ohms),
        (Word::Bleeder, _) => table.missing("bleeder", Some("write bleeder = \"1 kohm\"".into()))?,
    };
    if on.is_some() && on == off {
        table.problem("off", "on and off send the same message", "the same as on", None);
    }
    if let Some(both) = reads_on.iter().find(|w| reads_off.contains(w)) {
        table.problem("reads_off", format!("{both:?} would mean both on and off"), "stands in reads_on too", None);
    }
    table.finish();
    Some(Output { on: on?, off: off?, all_off, ask, reads_on, reads_off, off_is, fall })
}

fn mode(parent: &mut Table<'_>) -> Option<Mode> {
    let mut table = parent.table("mode")?;
    let ask = table.need_text("ask");
    let form = match table.table("bits") {
        Some(mut bits) => {
            let made = (bits.count("voltage", 0, 31), bits.count("current", 0, 31));
            bits.finish();
            let bit = |n: Option<u64>| n.and_then(|n| u32::try_from(n).ok());
            match (bit(made.0), bit(made.1)) {
                (Some(voltage), Some(current)) if voltage != current => Some(ModeForm::Bits { voltage, current }),
                _ => {
                    table.problem(
                        "bits",
                        "expected two different bits",
                        "expected { voltage = …, current = … }",
                        Some("bits count from 0, the lowest".into()),
                    );
                    None
                }
            }
        }
        None => {
            let voltage = table.texts("voltage").unwrap_or_default();
            let current = table.texts("current").unwrap_or_default();
            let fault = table.texts("fault").unwrap_or_default();
            if voltage.is_empty() || current.is_empty() {
                table.problem(
                    "voltage",
                    "the mode needs the answers that mean constant voltage and constant current",
                    "both are needed",
                    Some("write voltage = \"CV\" and current = \"CC\", or bits = { voltage = 1, current = 0 }".into()),
                );
                None
            } else {
                Some(ModeForm::Words { voltage, current, fault })
            }
        }
    };
    table.finish();
    Some(Mode { ask: ask?, form: form? })
}

/// How a maker's interval may be meant.
const STATED: [(&str, Stated); 3] = [("limits", Stated::Limits), ("95 %", Stated::Normal95), ("99 %", Stated::Normal99)];

/// `resolution`: what one of `digits` is worth.
fn accuracy(parent: &mut Table<'_>, of: Unit, resolution: Option<f64>) -> Option<Accuracy> {
    let Some(mut table) = parent.table("accuracy") else {
        return parent
            .missing("accuracy", Some("write accuracy = { reading = \"0.1 %\", offset = … } from the data sheet".into()));
    };
    let reading = table.quantity("reading").unwrap_or(Ratio(0.0));
    let range = table.quantity("range").unwrap_or(Ratio(0.0));
    let offset = amount(&mut table, "offset", of).unwrap_or(0.0);
    let digits = table.count("digits", 0, 10_000).map_or(0.0, |digits| digits as f64);
    let offset = offset + digits * resolution.unwrap_or(0.0);
    let stated = table.choice("stated", &STATED).unwrap_or_default();
    let made = Accuracy { reading, range, offset, stated };
    if made.half_width(1.0, 1.0) <= 0.0 {
        table.problem("reading", "an instrument without any error does not exist", "nothing given", None);
    }
    table.finish();
    Some(made)
}

/// To seven digits: a floor is printed, and a share of a range is rarely a round number in binary.
fn tidy(value: f64) -> f64 {
    format!("{value:.6e}").parse().unwrap_or(value)
}

fn readback(parent: &mut Table<'_>, key: &str, of: Unit) -> Option<Readback> {
    let mut table = parent.need_table(key)?;
    let ask = table.need_text("ask");
    let reply = reply(&mut table);
    let resolution = need_amount(&mut table, "resolution", of);
    let accuracy = accuracy(&mut table, of, resolution);
    let floor = amount(&mut table, "floor", of);
    table.finish();
    let (accuracy, resolution) = (accuracy?, resolution?);
    let floor = floor.unwrap_or_else(|| tidy(accuracy.half_width(0.0, 0.0).max(resolution)));
    Some(Readback { ask: ask?, reply, accuracy, resolution, floor })
}

fn meter(table: &mut Table<'_>) -> Option<MeterProfile> {
    let current = function(table, "current", Unit::Ampere);
    let voltage = function(table, "voltage", Unit::Volt);
    let rate = table.texts("rate").unwrap_or_default();
    let overload = table.texts("overload").unwrap_or_default();
    let mut rates = Vec::new();
    for mut row in table.tables("rates") {
        let integration = row.need::<Seconds>("integration");
        let period = row.quantity::<Seconds>("period");
        let send = row.text("send").unwrap_or_default();
        row.finish();
        let integration = integration?;
        rates.push(Rate { integration, period: period.unwrap_or(integration).max(integration), send });
    }
    if rates.is_empty() {
        return table.missing("rates", Some("add [[meter.rates]] with integration = \"20 ms\"".into()));
    }
    rates.sort_by(|a, b| a.integration.0.total_cmp(&b.integration.0));
    if current.is_none() && voltage.is_none() {
        return table.missing("current", Some("a meter needs [meter.current], [meter.voltage] or both".into()));
    }
    Some(MeterProfile { current, voltage, rate, rates, overload })
}

fn function(parent: &mut Table<'_>, key: &str, of: Unit) -> Option<Function> {
    let mut table = parent.table(key)?;
    let function = table.text("function").unwrap_or_default();
    let configure = table.texts("configure").unwrap_or_default();
    let range_ask = table.text("range_ask");
    let trigger = table.text("trigger");
    let read = table.need_text("read");
    let reply = reply(&mut table);
    let rows = table.tables("ranges");
    let count = rows.len();
    let mut ranges: Vec<Range> = rows.into_iter().filter_map(|row| range(row, of)).collect();
    ranges.sort_by(|a, b| a.full.total_cmp(&b.full));
    if count == 0 {
        table.missing::<()>("ranges", Some(format!("add [[meter.{key}.ranges]] with full = {}", of.examples())));
    }
    table.finish();
    (ranges.len() == count && count > 0).then_some(())?;
    Some(Function { function, configure, range_ask, trigger, read: read?, reply, ranges })
}

fn range(mut row: Table<'_>, of: Unit) -> Option<Range> {
    let full = need_amount(&mut row, "full", of);
    let send = row.text("send");
    let resistance = row.need::<Ohms>(if of == Unit::Ampere { "shunt" } else { "input" });
    let fuse = row.quantity("fuse");
    let terminal = row.text("terminal");
    let resolution = need_amount(&mut row, "resolution", of);
    let accuracy = accuracy(&mut row, of, resolution);
    let floor = amount(&mut row, "floor", of);
    row.finish();
    let (full, accuracy, resolution) = (full?, accuracy?, resolution?);
    let floor = floor.unwrap_or_else(|| tidy(accuracy.half_width(0.0, full).max(resolution)));
    Some(Range {
        full,
        send: send.unwrap_or_else(|| format!("{full}")),
        resistance: resistance?,
        fuse,
        terminal,
        accuracy,
        resolution,
        floor,
    })
}
