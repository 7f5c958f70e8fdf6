//! Whether the parts of a profile go together: combinations that cannot be, and
//! essentials that are missing although every key for itself is well.

use super::*;
use crate::document::{Places, Problem};

/// A message of a profile with the path of its key.
struct Message<'p> {
    path: String,
    text: &'p str,
    /// It sets or asks for something of one channel.
    of_channel: bool,
}

struct Messages<'p>(Vec<Message<'p>>);

impl<'p> Messages<'p> {
    fn add(&mut self, path: &str, text: impl IntoIterator<Item = &'p String>, of_channel: bool) {
        self.0.extend(text.into_iter().map(|text| Message { path: path.to_owned(), text, of_channel }));
    }

    fn setting(&mut self, path: &str, setting: &'p Setting, of_channel: bool) {
        self.add(&format!("{path}.set"), [&setting.set], of_channel);
        self.add(&format!("{path}.ask"), &setting.ask, of_channel);
    }
}

/// Every message of a profile.
fn messages(profile: &Profile) -> Vec<Message<'_>> {
    let mut found = Messages(Vec::new());
    found.add("identity.ask", &profile.identity.ask, false);
    found.add("errors.ask", &profile.errors.ask, false);
    found.add("remote", &profile.remote, false);
    found.add("local", &profile.local, false);
    if let Some(lock) = &profile.lock {
        found.add("lock.ask", [&lock.ask], false);
        found.add("lock.release", &lock.release, false);
    }
    if let Some(select) = &profile.select {
        found.add("select.send", [&select.send], false);
        found.add("select.ask", &select.ask, false);
    }
    found.add("reset.send", profile.reset.as_ref().map(|(send, _)| send), false);
    match &profile.kind {
        Kind::Supply(supply) => of_supply(supply, &mut found),
        Kind::Meter(meter) => {
            for (path, function) in [("meter.current", &meter.current), ("meter.voltage", &meter.voltage)] {
                let Some(function) = function else { continue };
                found.add(&format!("{path}.configure"), &function.configure, false);
                found.add(&format!("{path}.range_ask"), &function.range_ask, false);
                found.add(&format!("{path}.trigger"), &function.trigger, false);
                found.add(&format!("{path}.read"), &function.read, false);
            }
            found.add("meter.rate", &meter.rate, false);
        }
    }
    found.0
}

fn of_supply<'p>(supply: &'p SupplyProfile, found: &mut Messages<'p>) {
    // Where both are set at once, the two of their own are for the way to off alone.
    found.add("supply.both", &supply.both, true);
    found.setting("supply.voltage", &supply.voltage, true);
    found.setting("supply.current", &supply.current, true);
    found.add("supply.output.on", [&supply.output.on], true);
    found.add("supply.output.off", [&supply.output.off], true);
    found.add("supply.output.ask", &supply.output.ask, true);
    found.add("supply.output.all_off", &supply.output.all_off, false);
    found.add("supply.mode.ask", supply.mode.as_ref().map(|m| &m.ask), true);
    for (path, over) in [("supply.over_voltage", &supply.over_voltage), ("supply.over_current", &supply.over_current)] {
        let Some(over) = over else { continue };
        if let Some(level) = &over.level {
            found.setting(path, level, true);
        }
        if let Some(delay) = &over.delay {
            found.setting(&format!("{path}.delay"), &delay.setting, false);
        }
        found.add(&format!("{path}.enable"), &over.enable, false);
        found.add(&format!("{path}.tripped.ask"), over.tripped.as_ref().map(|t| &t.0), false);
        found.add(&format!("{path}.clear"), &over.clear, false);
    }
    found.add("supply.measured.voltage.ask", [&supply.measured_voltage.ask], true);
    found.add("supply.measured.current.ask", [&supply.measured_current.ask], true);
}

/// What of a profile does not go together.
pub(super) fn problems(profile: &Profile, places: &Places) -> Problems {
    let mut found = Problems::default();
    let mut wrong = |path: &str, title: String, label: &str, hint: &str| {
        found.push(Problem::at(&profile.document, places.of(path), title).label(label).hint(hint));
    };
    let wire = &profile.wire;
    if wire.receive_end.is_empty() {
        for (key, is) in [("echo", wire.echo), ("acknowledge", wire.acknowledge.is_some()), ("prompt", wire.prompt.is_some())] {
            if is {
                wrong(
                    &format!("wire.{key}"),
                    format!("where a silence ends an answer, it cannot be told from its {key}"),
                    "does not go with receive_end = \"\"",
                    "give the terminator in receive_end",
                );
            }
        }
    }
    if wire.queries > 1 && wire.join.is_none() {
        wrong("wire.queries", "several questions in one message need `join`".into(), "joined by what?", "write join = \";:\"");
    }
    let (several, chosen) = match &profile.kind {
        Kind::Supply(supply) => (supply.channels > 1, profile.select.is_some()),
        Kind::Meter(_) => (false, false),
    };
    for message in messages(profile) {
        let text = message.text;
        if let Some(longest) = wire.longest.filter(|longest| least_length(text) > *longest) {
            wrong(
                &message.path,
                format!("{text:?} is longer than the {longest} bytes that [wire] longest allows"),
                "too long",
                "a message that is cut off is another message",
            );
        }
        if text.is_empty() {
            wrong(&message.path, format!("{} sends nothing", message.path), "empty", "leave the key out");
        }
        if several && !chosen && message.of_channel && !text.contains("{channel}") {
            wrong(
                &message.path,
                format!("{text:?} says no channel, and the supply has several"),
                "which channel?",
                "put {channel} where its number stands, or add [select], or write channels = 1",
            );
        }
        if let Some(end) = Some(wire.send_end.trim_matches(' ')).filter(|end| !end.is_empty() && text.contains(end)) {
            wrong(
                &message.path,
                format!("{text:?} holds the terminator {end:?}, so that it is two messages"),
                "ends in the middle",
                "give a list of messages",
            );
        }
        unknown_places(&message, &mut wrong);
    }
    match &profile.kind {
        Kind::Supply(supply) => supply_problems(supply, &mut wrong),
        Kind::Meter(meter) => meter_problems(profile, meter, &mut wrong),
    }
    found
}

/// The bytes of a message at least: what stands in its places has one or more.
fn least_length(text: &str) -> usize {
    text.split('{').map(|part| part.split_once('}').map_or(part.len(), |(_, rest)| rest.len() + 1)).sum()
}

/// A placeholder that nothing is put into is sent as it stands.
fn unknown_places(message: &Message<'_>, wrong: &mut impl FnMut(&str, String, &str, &str)) {
    const KNOWN: [&str; 7] = ["channel", "value", "voltage", "current", "range", "rate", "function"];
    for part in message.text.split('{').skip(1) {
        let name = part.split('}').next().unwrap_or("");
        if !KNOWN.contains(&name) {
            let title = format!("{:?}: {{{name}}} is replaced by nothing", message.text);
            wrong(
                &message.path,
                title,
                "unknown placeholder",
                "known: {channel}, {value}, {voltage}, {current}, {range}, {rate}, {function}",
            );
        }
    }
}

fn supply_problems(supply: &SupplyProfile, wrong: &mut impl FnMut(&str, String, &str, &str)) {
    if let Some(both) = &supply.both {
        for place in ["{voltage}", "{current}"].into_iter().filter(|place| !both.contains(place)) {
            let title = format!("{both:?} sets both, but has no {place}");
            wrong("supply.both", title, "half of it is missing", "write both = \"SET {voltage},{current}\"");
        }
    }
    let packed = |form: &ReplyForm| form.packed.map(|p| (p.at, p.digits, p.width));
    let (v, i) = (&supply.measured_voltage, &supply.measured_current);
    if v.ask == i.ask {
        let (same, path) = ("one answer holds both, so they cannot stand at the same place", "supply.measured.current.reply");
        let hint = "write reply = { field = 2 } or reply = { digits = 3, at = 4 }";
        match (packed(&v.reply), packed(&i.reply)) {
            (None, None) if v.reply.field == i.reply.field => wrong(path, same.into(), "the same place", hint),
            (Some((a, n, _)), Some((b, m, _))) if a < b + m && b < a + n => wrong(path, same.into(), "they overlap", hint),
            (Some((_, _, a)), Some((_, _, b))) if a != b => {
                wrong(
                    path,
                    format!("one answer has {a} digits and {b} at once"),
                    "another width",
                    "write the same width in both",
                );
            }
            (None, Some(_)) | (Some(_), None) => {
                wrong(path, "one answer is digits without a point and is not".into(), "another form", hint);
            }
            _ => {}
        }
    }
}

fn meter_problems(profile: &Profile, meter: &MeterProfile, wrong: &mut impl FnMut(&str, String, &str, &str)) {
    if meter.stream.is_some() {
        let asked = [("identity.ask", profile.identity.ask.is_some()), ("errors.ask", profile.errors.ask.is_some())];
        for (path, _) in asked.into_iter().filter(|(_, is)| *is) {
            wrong(
                path,
                "a meter that streams is asked nothing: its answer would be taken for a reading".into(),
                "does not go with [meter.stream]",
                "write [identity] with ask = \"\", and no [errors] ask",
            );
        }
    }
    let rated = meter.rate.iter().any(|message| message.contains("{rate}"));
    if meter.rates.len() > 1 && !rated {
        let title = format!("there are {} rates, and no message sets one", meter.rates.len());
        wrong(
            "meter.rates",
            title,
            "which one is it?",
            "add rate = [\"RATE {rate}\"] to [meter], or leave the one that is set by hand",
        );
    }
    for (path, function) in [("meter.current", &meter.current), ("meter.voltage", &meter.voltage)] {
        let Some(function) = function else { continue };
        let ranged = function.configure.iter().chain(&function.read).any(|message| message.contains("{range}"));
        if function.ranges.len() > 1 && !ranged {
            let title = format!("there are {} ranges, and no message sets one", function.ranges.len());
            wrong(
                &format!("{path}.ranges"),
                title,
                "which one is it?",
                "put {range} into configure, or leave the one that is set by hand",
            );
        }
    }
}

impl Profile {
    /// What the tool cannot see or make sure of with this profile, a sentence each.
    pub fn leaves_open(&self) -> Vec<&'static str> {
        let mut open = Vec::new();
        let mut say = |is_open: bool, words: &'static str| {
            if is_open {
                open.push(words);
            }
        };
        say(self.identity.ask.is_none(), "identity: it is not asked who it is, so another instrument is not noticed");
        say(self.identity.ask.is_some() && self.identity.patterns.is_empty(), "identity.match: any instrument passes for it");
        match &self.kind {
            Kind::Supply(supply) => {
                let unheard = self.errors.ask.is_none() && self.wire.acknowledge.is_none();
                say(unheard, "errors.ask: what it refuses is noticed by reading back alone");
                let unread = supply.voltage.ask.is_none() || supply.current.ask.is_none();
                say(unread, "supply.voltage.ask, supply.current.ask: what was set is not read back");
                say(unread && unheard, "so a message that is lost or refused is not noticed at all");
                say(supply.output.ask.is_none(), "supply.output.ask: that it is off is told by its current alone");
                say(supply.mode.is_none(), "supply.mode: whether it limits the current is not told");
                say(supply.over_voltage.is_none(), "supply.over_voltage: no protection but the limit and the interlock");
                say(supply.over_current.is_none(), "supply.over_current: the interlock alone ends limiting");
                say(supply.watchdog.is_none(), "supply.watchdog: with the cable out, the output stays as it is");
                say(supply.coupling.is_none() && supply.channels > 1, "supply.coupling: a person is asked");
                say(supply.power_on.is_none(), "supply.power_on: a person is asked");
                say(supply.sense.is_none(), "supply.sense: a person is asked");
            }
            Kind::Meter(meter) => {
                let functions = [&meter.current, &meter.voltage];
                let blind = functions.into_iter().flatten().any(|function| function.range_ask.is_none());
                say(blind, "range_ask: a range that a hand has changed is noticed by readings that cannot be, at best");
                let fuses = meter.current.iter().flat_map(|function| &function.ranges).any(|range| range.fuse.is_none());
                say(fuses, "fuse: the plan is not held against the meter's fuse");
            }
        }
        open
    }
}
