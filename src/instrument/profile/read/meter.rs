//! Reading what a meter does.

use super::*;

pub(super) fn meter(part: &mut Part<'_>, numbers: Numbers) -> Option<MeterProfile> {
    let stream = part.part("stream").map(|mut stream| {
        let flush = stream.quantity("flush").unwrap_or(Seconds(0.0));
        stream.finish();
        flush
    });
    let current = function(part, "current", Unit::Ampere, numbers, stream.is_some());
    let voltage = function(part, "voltage", Unit::Volt, numbers, stream.is_some());
    let (rate, overload) = (part.texts("rate"), part.texts("overload"));
    let mut rates = Vec::new();
    for mut row in part.parts("rates") {
        let integration = row.quantity::<Seconds>("integration");
        let period = row.quantity::<Seconds>("period");
        let send = row.text("send").unwrap_or_default();
        row.finish();
        let integration = integration?;
        let period = period.unwrap_or(integration).max(integration);
        // One that streams has a fresh reading when the first line is whole whose time began after the wish for it.
        let period = stream.map_or(period, |flush| flush + integration + period);
        rates.push(Rate { integration, period, send });
    }
    if rates.is_empty() {
        return if part.has("rates") { part.table.missing("rates", None) } else { None };
    }
    rates.sort_by(|a, b| a.integration.0.total_cmp(&b.integration.0));
    if current.is_none() && voltage.is_none() {
        let hint = "a meter needs [meter.current], [meter.voltage] or both";
        return if part.has("current") || part.has("voltage") { None } else { part.table.missing("current", Some(hint.into())) };
    }
    Some(MeterProfile { current, voltage, rate, rates, overload, stream })
}

fn function(parent: &mut Part<'_>, key: &str, of: Unit, numbers: Numbers, streams: bool) -> Option<Function> {
    let mut part = parent.part_of(key, of)?;
    let function = part.text("function").unwrap_or_default();
    let configure = part.texts("configure");
    let (range_ask, trigger, read) = (part.text("range_ask"), part.text("trigger"), part.text("read"));
    let reply = reply(&mut part, numbers);
    let rows = part.parts("ranges");
    let count = rows.len();
    let mut ranges: Vec<Range> = rows.into_iter().filter_map(|row| range(row, of)).collect();
    ranges.sort_by(|a, b| a.full.total_cmp(&b.full));
    if count == 0 && part.has("ranges") {
        part.problem("ranges", "a function needs a range", "none", None);
    }
    let asked = [("read", &read), ("trigger", &trigger), ("range_ask", &range_ask)];
    let complete = match streams {
        true => {
            for (key, _) in asked.iter().filter(|(_, text)| text.is_some()) {
                part.problem(key, "a meter that streams is asked nothing", "does not go with [meter.stream]", None);
            }
            true
        }
        false if read.is_none() => {
            part.table.missing::<()>("read", Some("write read = \"READ?\", or add [meter.stream]".into()));
            false
        }
        false => true,
    };
    part.finish();
    (complete && ranges.len() == count && count > 0).then_some(())?;
    Some(Function { function, configure, range_ask, trigger, read, reply, ranges })
}

fn range(mut row: Part<'_>, of: Unit) -> Option<Range> {
    let full = row.amount("full");
    let send = row.text("send");
    let resistance = row.quantity::<Ohms>(if of == Unit::Ampere { "shunt" } else { "input" });
    let fuse = row.quantity("fuse");
    let terminal = row.text("terminal");
    let resolution = row.amount("resolution");
    let accuracy = accuracy(&mut row, resolution);
    let floor = row.amount("floor");
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
