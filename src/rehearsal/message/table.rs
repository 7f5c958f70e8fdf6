//! Which order a message is: a dialect's own messages from its profile, and beside
//! them, where it speaks SCPI, the standard's. Compiled once.
//!
//! Holds always: a dialect's own meaning goes before the standard's; a header is
//! matched by exactly its long or exactly its short form.

use super::order::{Common, Filled, Function, Item, MeterOrder, Order, Over, SupplyOrder};
use super::slot::{LAST, Slot, fill};
use super::template::{Sent, Template, tidy};
use super::{standard, words};
use crate::instrument::profile::{Kind, MeterProfile, Profile, Protection, SentForm, SupplyProfile};
use crate::scpi::error_queue::codes;
use crate::scpi::header::Pattern;
use crate::scpi::program::{Numeric, Unit as Message};
use crate::units::Unit;
use std::collections::BTreeMap;

/// How many spellings are kept; nobody who works with it uses so many.
const MOST_KNOWN: usize = 1000;

/// A header, and what stands behind it.
#[derive(Clone, Debug)]
struct Command {
    pattern: Pattern,
    slots: Vec<Slot>,
    order: Order,
    /// What one of its number is worth, where that is not 1.
    scale: Option<f64>,
}

/// By header: the commands that may be meant, with the header's numeric suffixes.
type Known = BTreeMap<String, Vec<(usize, Vec<u32>)>>;

/// The table of one instrument.
#[derive(Clone, Debug)]
pub struct Table {
    templates: Vec<(Template, Order)>,
    commands: Vec<Command>,
    /// What was met so far, commands and queries.
    known: [Known; 2],
    /// How many channels there are.
    channels: u32,
}

impl Table {
    /// Compiles a profile's; `standard`: it speaks SCPI.
    pub fn new(profile: &Profile, is_standard: bool) -> Self {
        let channels = profile.supply().map_or(1, |supply| supply.channels);
        let mut table = Self { templates: Vec::new(), commands: Vec::new(), known: Default::default(), channels };
        let rows = own(profile);
        for Own { template, unit, order, sent } in rows {
            let is_header = is_standard && sent.iter().all(|form| form.digits.is_none());
            match words::header(&template, unit).filter(|_| is_header) {
                Some((pattern, slots)) => table.commands.push(Command { pattern, slots, order, scale: sent[0].scale }),
                None => table.templates.push((Template::new(&template, sent), order)),
            }
        }
        let mut rows = standard::mandated();
        if is_standard {
            match &profile.kind {
                Kind::Supply(supply) => {
                    rows.extend(standard::required(supply.channels));
                    rows.extend(standard::supply(supply));
                }
                Kind::Meter(meter) => {
                    rows.extend(standard::required(1));
                    rows.extend(standard::meter(meter));
                }
            }
        }
        // Every one of these compiles: a test of this module looks.
        table.commands.extend(rows.into_iter().filter_map(|(header, slots, order)| {
            Some(Command { pattern: Pattern::new(&header).ok()?, slots, order, scale: None })
        }));
        table
    }

    /// A message of the dialect that is no header of the standard's kind.
    pub fn own(&self, message: &str) -> Option<(Order, Filled)> {
        if self.templates.is_empty() {
            return None;
        }
        let message = tidy(message);
        self.templates.iter().find_map(|(template, order)| Some((*order, template.matches(&message)?)))
    }

    /// A unit of a program message.
    ///
    /// # Errors
    /// The code of what is wrong with it, of the last command that it might have been.
    pub fn understand(&mut self, unit: &Message) -> Result<(Order, Filled), i32> {
        let Self { commands, known, channels, .. } = self;
        let known = &mut known[usize::from(unit.query)];
        if !known.contains_key(&unit.header) {
            let candidates = candidates(commands, unit)?;
            if known.len() >= MOST_KNOWN {
                known.clear();
            }
            known.insert(unit.header.clone(), candidates);
        }
        let mut wrong = codes::UNDEFINED_HEADER;
        for (at, suffixes) in known.get(&unit.header).into_iter().flatten() {
            let Some(command) = commands.get(*at) else { continue };
            let mut filled = Filled { channels: suffixes.clone(), ..Filled::default() };
            match fill(&command.slots, &unit.parameters, &mut filled) {
                Ok(()) => {
                    if let (Some(scale), Some(Numeric::Value(value))) = (command.scale, &mut filled.first) {
                        *value *= scale;
                    }
                    filled.channels.iter_mut().filter(|channel| **channel == LAST).for_each(|channel| *channel = *channels);
                    return Ok((command.order, filled));
                }
                Err(code) => wrong = code,
            }
        }
        Err(wrong)
    }
}

/// The commands that a header may mean. A suffix of 1 is one that was left out (SCPI-99
/// volume 1, 6.2.5.2, from memory).
///
/// # Errors
/// -114 where only another suffix keeps it from being known, -113 where it is not.
fn candidates(commands: &[Command], unit: &Message) -> Result<Vec<(usize, Vec<u32>)>, i32> {
    let fitting = |header: String| -> Vec<(usize, Vec<u32>)> {
        let unit = Message { header, ..unit.clone() };
        commands.iter().enumerate().filter_map(|(at, command)| Some((at, unit.fits(&command.pattern)?))).collect()
    };
    let without = |strip: fn(&str) -> &str| unit.header.split(':').map(strip).collect::<Vec<_>>().join(":");
    let as_is = fitting(unit.header.clone());
    if !as_is.is_empty() {
        return Ok(as_is);
    }
    let implied = fitting(without(|name| match name.strip_suffix('1') {
        Some(rest) if !rest.ends_with(|c: char| c.is_ascii_digit()) => rest,
        _ => name,
    }));
    if !implied.is_empty() {
        return Ok(implied);
    }
    let any = fitting(without(|name| name.trim_end_matches(|c: char| c.is_ascii_digit())));
    Err(if any.is_empty() { codes::UNDEFINED_HEADER } else { codes::HEADER_SUFFIX_OUT_OF_RANGE })
}

/// A message of a profile.
struct Own {
    template: String,
    unit: Unit,
    order: Order,
    sent: Sent,
}

impl Own {
    fn new(template: &str, unit: Unit, order: Order) -> Self {
        Self { template: template.to_owned(), unit, order, sent: Sent::default() }
    }
}

/// What a profile has templates for.
fn own(profile: &Profile) -> Vec<Own> {
    let mut rows = Vec::new();
    let mut add = |text: &str, order| rows.push(Own::new(text, Unit::Volt, order));
    if let Some(ask) = &profile.identity.ask {
        add(ask, Order::Common(Common::Identity));
    }
    if let Some(ask) = &profile.errors.ask {
        add(ask, Order::Common(Common::NextError));
    }
    profile.remote.iter().for_each(|text| add(text, Order::Remote));
    profile.local.iter().for_each(|text| add(text, Order::Local));
    if let Some(lock) = &profile.lock {
        add(&lock.ask, Order::TakeLock);
        lock.release.iter().for_each(|text| add(text, Order::FreeLock));
    }
    if let Some((text, _)) = &profile.reset {
        add(text, Order::Common(Common::Reset));
    }
    if let Some(select) = &profile.select {
        add(&select.send, Order::Supply(SupplyOrder::Select));
        if let Some(ask) = &select.ask {
            add(ask, Order::Supply(SupplyOrder::AskSelected));
        }
    }
    match &profile.kind {
        Kind::Supply(supply) => own_supply(supply, &mut rows),
        Kind::Meter(meter) => own_meter(meter, &mut rows),
    }
    rows
}

/// How a number is sent.
fn form(profile: &SupplyProfile, item: Item) -> SentForm {
    let setting = match item {
        Item::Voltage => Some(&profile.voltage),
        Item::Current => Some(&profile.current),
        Item::OverVoltage => profile.over_voltage.as_ref().and_then(|p| p.level.as_ref()),
        Item::Delay => profile.over_current.as_ref().and_then(|p| p.delay.as_ref()).map(|d| &d.setting),
        Item::Timer => profile.watchdog.as_ref().map(|w| &w.delay.setting),
    };
    setting.map(|s| s.form).unwrap_or_default()
}

fn own_supply(profile: &SupplyProfile, rows: &mut Vec<Own>) {
    use SupplyOrder as S;
    let mut add = |text: &Option<String>, unit, order| {
        if let Some(text) = text {
            rows.push(Own::new(text, unit, Order::Supply(order)));
        }
    };
    let some = |text: &String| Some(text.clone());
    add(&profile.both, Unit::Volt, S::SetBoth);
    let level = profile.over_voltage.as_ref().and_then(|p| p.level.as_ref());
    let delay = profile.over_current.as_ref().and_then(|p| p.delay.as_ref()).map(|d| &d.setting);
    let timer = profile.watchdog.as_ref().map(|w| &w.delay.setting);
    for (setting, unit, item) in [
        (Some(&profile.voltage), Unit::Volt, Item::Voltage),
        (Some(&profile.current), Unit::Ampere, Item::Current),
        (level, Unit::Volt, Item::OverVoltage),
        (delay, Unit::Second, Item::Delay),
        (timer, Unit::Second, Item::Timer),
    ] {
        if let Some(setting) = setting {
            add(&some(&setting.set), unit, S::Set(item));
            add(&setting.ask, unit, S::Ask(item));
        }
    }
    for row in rows.iter_mut() {
        row.sent = match row.order {
            Order::Supply(S::SetBoth) => [profile.voltage.form, profile.current.form],
            Order::Supply(S::Set(item)) => [form(profile, item), SentForm::default()],
            _ => Sent::default(),
        };
    }
    let mut add = |text: &Option<String>, unit, order| {
        if let Some(text) = text {
            rows.push(Own::new(text, unit, Order::Supply(order)));
        }
    };
    let output = &profile.output;
    add(&output.all_off, Unit::Volt, S::AllOff);
    add(&some(&output.on), Unit::Volt, S::Switch(true));
    add(&some(&output.off), Unit::Volt, S::Switch(false));
    add(&output.ask, Unit::Volt, S::AskOutput);
    add(&profile.mode.as_ref().map(|m| m.ask.clone()), Unit::Volt, S::AskMode);
    let mut protect = |protection: &Option<Protection>, over| {
        let Some(protection) = protection else { return };
        for text in &protection.enable {
            add(&some(text), Unit::Volt, S::Enable(over));
        }
        add(&protection.tripped.as_ref().map(|t| t.0.clone()), Unit::Volt, S::AskTripped(over));
        add(&protection.clear, Unit::Volt, S::Clear(over));
    };
    protect(&profile.over_voltage, Over::Voltage);
    protect(&profile.over_current, Over::Current);
    if let Some(coupling) = &profile.coupling {
        add(&some(&coupling.ask), Unit::Volt, S::AskCoupling);
        add(&coupling.set, Unit::Volt, S::Uncouple);
    }
    if let Some(power_on) = &profile.power_on {
        add(&some(&power_on.ask), Unit::Volt, S::AskPowerOn);
        add(&power_on.set, Unit::Volt, S::StayOff);
    }
    add(&profile.sense.as_ref().map(|s| s.ask.clone()), Unit::Volt, S::AskSense);
    if let Some(timer) = &profile.watchdog {
        timer.enable.iter().for_each(|text| add(&some(text), Unit::Second, S::Arm));
        timer.disable.iter().for_each(|text| add(&some(text), Unit::Second, S::Disarm));
        add(&timer.clear, Unit::Second, S::ClearTimer);
    }
    let (v, i) = (&profile.measured_voltage.ask, &profile.measured_current.ask);
    add(&some(v), Unit::Volt, S::Measure { voltage: true, current: v == i });
    add(&some(i), Unit::Volt, S::Measure { voltage: v == i, current: true });
}

fn own_meter(profile: &MeterProfile, rows: &mut Vec<Own>) {
    use MeterOrder as M;
    let mut add = |text: &str, unit, order| rows.push(Own::new(text, unit, Order::Meter(order)));
    let uses = |function: &Option<crate::instrument::profile::Function>, template: &String| {
        function.as_ref().is_some_and(|f| f.configure.contains(template))
    };
    for (function, unit, which) in
        [(&profile.current, Unit::Ampere, Function::Current), (&profile.voltage, Unit::Volt, Function::Voltage)]
    {
        let Some(function) = function else { continue };
        for template in &function.configure {
            let shared = uses(&profile.current, template) && uses(&profile.voltage, template);
            let order = match (template.contains("{range}"), shared) {
                (false, _) => M::Choose(which),
                (true, true) => M::Range(None),
                (true, false) => M::Configure(which),
            };
            add(template, unit, order);
        }
        for template in &profile.rate {
            add(&template.replace("{function}", &function.function), Unit::Percent, M::Rate);
        }
        if let Some(ask) = &function.range_ask {
            add(ask, unit, M::AskRange(which));
        }
        if let Some(trigger) = &function.trigger {
            add(trigger, unit, M::Trigger);
        }
        let Some(read) = &function.read else { continue };
        let measures_anew = read.trim_start_matches(':').get(..5).is_some_and(|word| word.eq_ignore_ascii_case("MEAS:"));
        let order = match (measures_anew, function.trigger.is_some()) {
            // SCPI-99 volume 2, 3.7 (from memory): it configures, and measures then.
            (true, _) => M::Measure(which),
            (false, true) => M::Collect,
            (false, false) => M::Read,
        };
        add(read, unit, order);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::profile::{SHIPPED, find};

    #[test]
    fn every_header_of_the_standard_compiles() {
        for (name, _) in SHIPPED {
            let profile = find(name, std::path::Path::new("")).unwrap();
            let rows = match &profile.kind {
                Kind::Supply(supply) => [standard::required(2), standard::supply(supply)].concat(),
                Kind::Meter(meter) => [standard::required(1), standard::meter(meter)].concat(),
            };
            for (header, ..) in rows.into_iter().chain(standard::mandated()) {
                assert!(Pattern::new(&header).is_ok(), "{header}");
            }
        }
    }
}
