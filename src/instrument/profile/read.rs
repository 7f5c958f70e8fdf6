//! Reading a profile from TOML, by the keys that stand in `keys`.

mod meter;
mod supply;

use super::keys;
use super::part::Part;
use super::*;
use crate::document::Table;
use crate::link::serial::{DataBits, Flow, Level, Line, Parity, StopBits};
use crate::units::{Stated, Unit};

pub(super) fn profile(name: &str, document: &Document) -> Result<Profile, Problems> {
    document.read(|table| {
        table.rename("the profile");
        let mut root = Part::new(table.again(), &keys::ROOT, Unit::Volt);
        let made = whole(name, document, &mut root);
        let places = root.table.places();
        root.finish();
        if let Some(profile) = &made {
            table.note(judge::problems(profile, &places));
        }
        made
    })
}

fn whole(name: &str, document: &Document, root: &mut Part<'_>) -> Option<Profile> {
    let about = root.text("about");
    let identity = identity(root);
    let numbers = numbers(root);
    let wire = wire(root);
    let errors = errors(root);
    let lock = lock(root);
    let select = select(root);
    let (remote, local) = (root.texts("remote"), root.texts("local"));
    let reset = reset(root);
    let kind = kind(root, numbers);
    Some(Profile {
        name: name.to_owned(),
        document: document.clone(),
        about: about?,
        identity,
        wire: wire?,
        errors,
        lock,
        select,
        remote,
        local,
        reset,
        kind: kind?,
    })
}

fn kind(root: &mut Part<'_>, numbers: Numbers) -> Option<Kind> {
    #[derive(Clone, Copy)]
    enum Word {
        Supply,
        Meter,
    }
    let word = root.choice("kind", &[Word::Supply, Word::Meter]);
    let (own, other) = match word {
        Some(Word::Meter) => ("meter", "supply"),
        Some(Word::Supply) => ("supply", "meter"),
        None => {
            // Of which kind it is decides what is unknown.
            for name in ["supply", "meter"] {
                root.passes_over(name);
                root.table.ignore(name);
            }
            return None;
        }
    };
    root.passes_over(other);
    let Some(mut part) = root.part(own) else {
        return if root.has(own) { None } else { root.table.missing(own, Some(format!("add a [{own}] table"))) };
    };
    let made = match word? {
        Word::Supply => supply::supply(&mut part, numbers).map(|s| Kind::Supply(Box::new(s))),
        Word::Meter => meter::meter(&mut part, numbers).map(|m| Kind::Meter(Box::new(m))),
    };
    part.finish();
    made
}

fn identity(root: &mut Part<'_>) -> Identity {
    let Some(mut part) = root.part("identity") else {
        return Identity { ask: Some("*IDN?".into()), patterns: Vec::new(), serial_field: 3 };
    };
    let made = Identity {
        ask: part.some_text("ask"),
        patterns: part.texts("match"),
        serial_field: part.size("serial_field").unwrap_or(3),
    };
    part.finish();
    made
}

fn numbers(root: &mut Part<'_>) -> Numbers {
    let Some(mut part) = root.part("numbers") else { return Numbers::default() };
    let made = Numbers {
        decimal: part.choice("decimal", &['.', ',']).unwrap_or('.'),
        group: part.choice("group", &[None, Some(','), Some('.'), Some('\''), Some(' ')]).flatten(),
        fields: part.choice("fields", &[',', ';']).unwrap_or(','),
    };
    if made.group == Some(made.decimal) {
        part.problem("group", "the same character cannot stand before decimals and between groups", "the same as decimal", None);
    }
    part.finish();
    made
}

fn wire(root: &mut Part<'_>) -> Option<Wire> {
    let mut part = root.part("wire")?;
    let (send_end, receive_end) = (part.text("send_end"), part.text("receive_end"));
    let silence = part.quantity("silence").unwrap_or(Seconds(0.05));
    let gap = part.quantity("gap").unwrap_or(Seconds(0.0));
    let write_gap = part.quantity("write_gap").unwrap_or(gap).max(gap);
    let timeout = part.quantity("timeout").unwrap_or(Seconds(1.0));
    let echo = part.flag("echo");
    let (prompt, acknowledge, join) = (part.some_text("prompt"), part.some_text("acknowledge"), part.some_text("join"));
    let (queries, longest) = (part.size("queries").unwrap_or(1), part.size("longest"));
    let boot = boot(&mut part);
    let checksum = checksum(&mut part);
    let line = match part.part("line") {
        Some(mut inner) => {
            let made = settings(&mut inner, &Line::default());
            inner.finish();
            made
        }
        None => Line::default(),
    };
    if timeout.0 <= 0.0 {
        part.problem("timeout", "the time-out must be longer than nothing", "too short", None);
    }
    part.finish();
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
        join,
        queries,
        longest,
        boot,
        checksum,
        line,
    })
}

fn boot(wire: &mut Part<'_>) -> Option<Boot> {
    let mut part = wire.part("boot")?;
    let made = (part.quantity("wait"), part.some_text("ready"));
    part.finish();
    Some(Boot { wait: made.0?, ready: made.1 })
}

fn checksum(wire: &mut Part<'_>) -> Option<Checksum> {
    let mut part = wire.part("checksum")?;
    let kind = part.choice("kind", &[ChecksumKind::Sum, ChecksumKind::Xor, ChecksumKind::Crc16]);
    let before = part.text("before").unwrap_or_default();
    part.finish();
    Some(Checksum { kind: kind?, before })
}

/// Reads serial line settings from the table at `key`; what it lacks is taken from `defaults`.
pub(crate) fn line(parent: &mut Table<'_>, key: &str, defaults: &Line) -> Line {
    let Some(table) = parent.table(key) else { return defaults.clone() };
    let mut part = Part::new(table, keys::line(), Unit::Volt);
    let made = settings(&mut part, defaults);
    part.finish();
    made
}

fn settings(part: &mut Part<'_>, defaults: &Line) -> Line {
    let mut made = defaults.clone();
    let levels = [Level::High, Level::Low, Level::Leave];
    let (baud, data_bits, stop_bits) = (part.small("baud"), part.count("data_bits"), part.count("stop_bits"));
    let parity = part.choice("parity", &[Parity::None, Parity::Even, Parity::Odd]);
    let flow = part.choice("flow", &[Flow::None, Flow::Software, Flow::Hardware]);
    let (dtr, rts) = (part.choice("dtr", &levels), part.choice("rts", &levels));
    let bits = |n| if n == 7 { DataBits::Seven } else { DataBits::Eight };
    let stops = |n| if n == 1 { StopBits::One } else { StopBits::Two };
    part.given("baud", baud, &mut made.baud);
    part.given("data_bits", data_bits.map(bits), &mut made.data_bits);
    part.given("stop_bits", stop_bits.map(stops), &mut made.stop_bits);
    part.given("parity", parity, &mut made.parity);
    part.given("flow", flow, &mut made.flow);
    part.given("dtr", dtr, &mut made.dtr);
    part.given("rts", rts, &mut made.rts);
    made
}

fn errors(root: &mut Part<'_>) -> Errors {
    let Some(mut part) = root.part("errors") else { return Errors { ask: None, depth: 20, in_band: Vec::new() } };
    let made = Errors { ask: part.some_text("ask"), depth: part.size("depth").unwrap_or(20), in_band: part.texts("in_band") };
    part.finish();
    made
}

fn lock(root: &mut Part<'_>) -> Option<LockRequest> {
    let mut part = root.part("lock")?;
    let (ask, granted, release) = (part.text("ask"), part.texts("granted"), part.some_text("release"));
    let required = part.flag("required");
    part.finish();
    Some(LockRequest { ask: ask?, granted, release, required })
}

fn select(root: &mut Part<'_>) -> Option<Select> {
    let mut part = root.part("select")?;
    let (send, ask) = (part.text("send"), part.text("ask"));
    part.finish();
    Some(Select { send: send?, ask })
}

fn reset(root: &mut Part<'_>) -> Option<(String, Seconds)> {
    let mut part = root.part("reset")?;
    let (send, settle) = (part.text("send"), part.quantity("settle"));
    part.finish();
    Some((send?, settle?))
}

fn reply(parent: &mut Part<'_>, numbers: Numbers) -> ReplyForm {
    let mut made = ReplyForm { numbers, ..ReplyForm::default() };
    let Some(mut part) = parent.part("reply") else { return made };
    made.field = part.size("field").unwrap_or(0);
    made.prefix = part.text("prefix").unwrap_or_default();
    made.unit = part.choice("unit", &[UnitInReply::None, UnitInReply::Checked]).unwrap_or_default();
    made.scale = positive(&mut part, "scale");
    let (digits, at, width) = (part.size("digits"), part.size("at").unwrap_or(1), part.size("width"));
    if let Some(digits) = digits {
        let end = at - 1 + digits;
        let width = width.unwrap_or(end);
        if width < end {
            part.problem("width", format!("{digits} digits from character {at} on need {end} characters"), "too few", None);
        }
        for key in ["field", "unit"] {
            if part.has(key) {
                part.problem(key, format!("digits without a point have no {key}"), "does not go with digits", None);
            }
        }
        made.packed = Some(Packed { at, digits, width });
    } else {
        for key in ["at", "width"].into_iter().filter(|key| part.has(key)) {
            part.problem(key, format!("{key} says where digits without a point stand"), "needs digits", None);
        }
    }
    part.finish();
    made
}

fn positive(part: &mut Part<'_>, key: &str) -> Option<f64> {
    let value = part.amount(key)?;
    if value <= 0.0 {
        part.problem(key, format!("{key:?} must be greater than zero"), "not above zero", None);
    }
    Some(value)
}

pub(super) fn setting(part: &mut Part<'_>, numbers: Numbers) -> Option<Setting> {
    let (set, ask) = (part.text("set"), part.text("ask"));
    let resolution = positive(part, "resolution");
    let out_of_range = part.choice("out_of_range", &[OutOfRange::Refuses, OutOfRange::Clips]).unwrap_or(OutOfRange::Refuses);
    let form = SentForm { scale: positive(part, "send_scale"), digits: part.size("send_digits") };
    let reply = reply(part, numbers);
    if set.as_ref().is_some_and(|s| !s.contains("{value}")) {
        part.problem("set", "a message that sets something needs {value}", "no {value} in it", None);
    }
    if let (Some(_), Some(resolution)) = (form.digits, resolution)
        && resolution < form.scale.unwrap_or(1.0) * (1.0 - 1e-9)
    {
        let hint = "one of its digits is worth send_scale, and 1 V, A or s without one";
        part.problem("resolution", "digits without a point cannot say less than one", "a smaller step than a digit", Some(hint));
    }
    let accuracy = accuracy(part, resolution);
    Some(Setting { set: set?, ask, resolution: resolution?, accuracy, out_of_range, form, reply })
}

/// How a maker's interval may be meant.
const STATED: [Stated; 3] = [Stated::Limits, Stated::Normal95, Stated::Normal99];

/// `resolution`: what one of `digits` is worth.
fn accuracy(parent: &mut Part<'_>, resolution: Option<f64>) -> Option<Accuracy> {
    let mut part = parent.part("accuracy")?;
    let reading = part.quantity("reading").unwrap_or(Ratio(0.0));
    let range = part.quantity("range").unwrap_or(Ratio(0.0));
    let offset = part.amount("offset").unwrap_or(0.0);
    let digits = part.count("digits").map_or(0.0, |digits| digits as f64);
    let offset = offset + digits * resolution.unwrap_or(0.0);
    let stated = part.choice("stated", &STATED).unwrap_or_default();
    let made = Accuracy { reading, range, offset, stated };
    if made.half_width(1.0, 1.0) <= 0.0 {
        part.problem("reading", "an instrument without any error does not exist", "nothing given", None);
    }
    part.finish();
    Some(made)
}

/// To seven digits: a floor is printed, and a share of a range is rarely a round number in binary.
fn tidy(value: f64) -> f64 {
    format!("{value:.6e}").parse().unwrap_or(value)
}
