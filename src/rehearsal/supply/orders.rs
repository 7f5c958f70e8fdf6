//! What a supply does with an order.

use super::{Channel, PROTECTION, SupplyDevice, written};
use crate::instrument::profile::{ModeForm, Setting, SupplyProfile};
use crate::plan::{Coupling, PowerOn};
use crate::rehearsal::message::order::{Item, Order, Over, SupplyOrder};
use crate::rehearsal::message::{Device, Dialogue, Does, Filled};
use crate::rehearsal::world::World;
use crate::scpi::error_queue::codes;
use crate::scpi::program::Numeric;
use crate::units::Unit;
use std::sync::Arc;

/// Bit 9 of the questionable register: over-voltage protection has tripped (CHECKS.md 1.6
/// row 4; models differ).
const OVER_VOLTAGE: u16 = 1 << 9;
const OVER_CURRENT: u16 = 1 << 10;

/// A number that it keeps: how it is set, its unit, its least and its most, where it stands.
struct Kept<'p> {
    setting: &'p Setting,
    unit: Unit,
    range: (f64, f64),
    register: fn(&mut Channel) -> &mut f64,
}

impl Device for SupplyDevice {
    fn dialogue(&mut self) -> &mut Dialogue {
        &mut self.dialogue
    }

    fn obey(&mut self, order: Order, filled: &Filled, world: &mut World) -> Does {
        let Order::Supply(order) = order else { return self.complain(codes::UNDEFINED_HEADER) };
        let chosen = [self.selected];
        let channels = if filled.channels.is_empty() { &chosen[..] } else { &filled.channels };
        let known = |n: &u32| self.channels.contains_key(n);
        if !channels.iter().all(known) && !matches!(order, SupplyOrder::AllOff) {
            return self.complain(codes::DATA_OUT_OF_RANGE);
        }
        let mut answer: Option<String> = None;
        for number in channels {
            match self.one(order, *number, filled, world) {
                Does::Answers(text) => match &mut answer {
                    Some(answers) => {
                        answers.push(',');
                        answers.push_str(&text);
                    }
                    None => answer = Some(text),
                },
                Does::Sets => {}
                other => return other,
            }
        }
        let is_selection = matches!(order, SupplyOrder::Select | SupplyOrder::Measure { .. });
        if self.quirks.forgets_channel && answer.is_none() && !is_selection {
            self.selected = 1;
        }
        answer.map_or(Does::Sets, Does::Answers)
    }

    fn measured(&mut self, world: &World) -> Does {
        let read = self.converting.take().map(|(number, which)| self.read_back(number, which, world));
        Does::Answers(read.unwrap_or_default())
    }

    fn reset(&mut self, world: &mut World) {
        for number in 1..=self.profile.channels {
            self.switch(number, false, world);
            if let Some(channel) = self.channels.get_mut(&number).filter(|c| !c.on) {
                *channel = Channel::fresh(&self.profile);
            }
            self.apply(number, world);
        }
        self.selected = 1;
    }

    fn look(&mut self, world: &World) {
        self.panel.hear(world.time());
        for number in 1..=self.profile.channels {
            let bits = self.questionable(number, world);
            self.dialogue.status.see_channel(number, bits);
        }
    }

    fn pending(&self, _: &World) -> f64 {
        0.0
    }
}

impl SupplyDevice {
    /// Constant voltage and constant current where the profile has bits for them, else in
    /// bits 1 and 0 (CHECKS.md 1.6 row 4).
    fn questionable(&self, number: u32, world: &World) -> u16 {
        let (voltage, current) = match self.profile.mode.as_ref().map(|m| &m.form) {
            Some(ModeForm::Bits { voltage, current }) if *voltage < 15 && *current < 15 => (*voltage, *current),
            _ => (1, 0),
        };
        match self.channels.get(&number) {
            Some(channel) if channel.tripped == Some(Over::Voltage) => OVER_VOLTAGE,
            Some(channel) if channel.tripped == Some(Over::Current) => OVER_CURRENT,
            Some(channel) if channel.on => 1 << if self.limits(number, world) { current } else { voltage },
            _ => 0,
        }
    }

    fn kept(profile: &SupplyProfile, item: Item) -> Option<Kept<'_>> {
        let (volts, amperes) = (profile.rated_voltage.0, profile.rated_current.0);
        let protection = profile.over_voltage.as_ref().and_then(|p| p.level.as_ref());
        let delay = profile.over_current.as_ref().and_then(|p| p.delay.as_ref());
        Some(match item {
            Item::Voltage => {
                Kept { setting: &profile.voltage, unit: Unit::Volt, range: (0.0, volts), register: |c| &mut c.voltage }
            }
            Item::Current => {
                Kept { setting: &profile.current, unit: Unit::Ampere, range: (0.0, amperes), register: |c| &mut c.limit }
            }
            Item::OverVoltage => Kept {
                setting: protection?,
                unit: Unit::Volt,
                range: (0.0, volts * PROTECTION),
                register: |c| &mut c.over_voltage,
            },
            Item::Delay => {
                let delay = delay?;
                Kept { setting: &delay.setting, unit: Unit::Second, range: (0.0, delay.longest.0), register: |c| &mut c.delay }
            }
            Item::Timer => return None,
        })
    }

    fn set(&mut self, item: Item, number: u32, wanted: Option<Numeric>, world: &mut World) -> Does {
        let profile = Arc::clone(&self.profile);
        let Some(Kept { setting, range, register, .. }) = Self::kept(&profile, item) else {
            return match self.panel.set_timer(&profile, wanted) {
                Some(()) => Does::Sets,
                None => self.complain(codes::DATA_OUT_OF_RANGE),
            };
        };
        let fresh = |mut channel: Channel| *register(&mut channel);
        let value = match wanted {
            Some(Numeric::Value(value)) => value,
            Some(Numeric::Minimum) => range.0,
            Some(Numeric::Maximum) => range.1,
            Some(Numeric::Default) => fresh(Channel::fresh(&profile)),
            Some(Numeric::Infinity | Numeric::NegativeInfinity) => return self.complain(codes::DATA_OUT_OF_RANGE),
            Some(Numeric::Up | Numeric::Down | Numeric::NotANumber) => return self.complain(codes::ILLEGAL_PARAMETER_VALUE),
            None => return self.complain(codes::MISSING_PARAMETER),
        };
        let channel = self.channels.get(&number).copied();
        let trips_below = match item {
            Item::OverVoltage => channel.is_some_and(|c| value < c.voltage),
            Item::Voltage => channel.is_some_and(|c| value > c.over_voltage),
            _ => false,
        };
        if trips_below && self.quirks.trip_above_set {
            return self.complain(codes::SETTINGS_CONFLICT);
        }
        let value = match (item, self.quirks.voltage_step) {
            (Item::Voltage, Some(step)) if step.0 > 0.0 => (value / step.0).round() * step.0,
            _ => value,
        };
        let done = self.set_value(number, setting, value, range.1, register, world);
        let moves_both = matches!(item, Item::Voltage | Item::Current);
        for other in self.moved(number).filter(|other| moves_both && *other != number) {
            self.set_value(other, setting, value, range.1, register, world);
        }
        done
    }

    fn ask(&mut self, item: Item, number: u32, extreme: Option<Numeric>) -> Does {
        let profile = Arc::clone(&self.profile);
        let Some(Kept { setting, unit, range, register }) = Self::kept(&profile, item) else {
            return self.panel.ask_timer(&profile).map_or(Does::Ignores, Does::Answers);
        };
        let Some(mut channel) = self.channels.get(&number).copied() else { return Does::Ignores };
        let value = match extreme {
            None => *register(&mut channel),
            Some(Numeric::Minimum) => range.0,
            Some(Numeric::Maximum) => range.1,
            Some(Numeric::Default) => *register(&mut Channel::fresh(&profile)),
            Some(_) => return self.complain(codes::ILLEGAL_PARAMETER_VALUE),
        };
        Does::Answers(written(value, setting.resolution, &setting.reply, unit.symbol(), number))
    }

    /// An order for one channel.
    fn one(&mut self, order: SupplyOrder, number: u32, filled: &Filled, world: &mut World) -> Does {
        use SupplyOrder as S;
        let profile = Arc::clone(&self.profile);
        let answers = |text: Option<String>| text.map_or(Does::Ignores, Does::Answers);
        let bit = |is: bool| Does::Answers(if is { "1" } else { "0" }.into());
        let channel = self.channels.get(&number).copied();
        match order {
            S::Set(item) => self.set(item, number, filled.first, world),
            S::Ask(item) => self.ask(item, number, filled.first),
            S::SetBoth => match self.set(Item::Current, number, filled.second, world) {
                Does::Sets => self.set(Item::Voltage, number, filled.first, world),
                refused => refused,
            },
            S::Switch(on) => self.switch(number, on != self.quirks.inverted, world),
            S::State => self.switch(number, filled.flag.unwrap_or(false) != self.quirks.inverted, world),
            S::AllOff => {
                for number in 1..=profile.channels {
                    self.switch(number, self.quirks.inverted, world);
                }
                Does::Sets
            }
            S::AskOutput => {
                let on = channel.is_some_and(|c| c.on) != self.quirks.inverted;
                answers(if on { &profile.output.reads_on } else { &profile.output.reads_off }.first().cloned())
            }
            S::AskState => bit(channel.is_some_and(|c| c.on) != self.quirks.inverted),
            S::AskMode => answers(profile.mode.as_ref().map(|mode| self.mode(&mode.form, number, world))),
            S::Enable(over) => {
                if let Some(channel) = self.channels.get_mut(&number) {
                    *channel.guards(over) = filled.flag.unwrap_or(true);
                }
                self.apply(number, world);
                Does::Sets
            }
            S::AskEnabled(over) => bit(channel.is_some_and(|mut c| *c.guards(over))),
            S::AskTripped(over) => {
                let tripped = channel.is_some_and(|c| c.tripped == Some(over));
                let protection = if over == Over::Voltage { &profile.over_voltage } else { &profile.over_current };
                match protection.as_ref().and_then(|p| p.tripped.as_ref()) {
                    Some((_, yes)) if tripped => answers(yes.first().cloned()),
                    Some((_, yes)) => answers(["0", "NO"].into_iter().find(|no| !yes.iter().any(|y| y == no)).map(str::to_owned)),
                    None => bit(tripped),
                }
            }
            S::Clear(over) => self.clear(number, over, world),
            S::Select => {
                self.selected = number;
                Does::Sets
            }
            S::AskSelected => Does::Answers(self.selected.to_string()),
            S::Measure { voltage, current } => match self.quirks.conversion {
                Some(first) => {
                    self.converting = Some((number, (voltage, current)));
                    Does::Measures { first: first.0, then: 0.0 }
                }
                None => Does::Answers(self.read_back(number, (voltage, current), world)),
            },
            S::Uncouple => {
                self.panel.coupling = Coupling::None;
                self.apply(self.wired, world);
                Does::Sets
            }
            S::AskCoupling => answers(self.panel.ask_coupling(&profile)),
            S::StayOff => {
                self.panel.power_on = PowerOn::Off;
                Does::Sets
            }
            S::AskPowerOn => answers(self.panel.ask_power_on(&profile)),
            S::AskSense => answers(self.panel.ask_sense(&profile)),
            S::Arm | S::Disarm => {
                self.panel.arm(order == S::Arm);
                Does::Sets
            }
            S::ClearTimer => {
                self.past.timer_latched = false;
                Does::Sets
            }
            S::Capability => {
                let multiple = if profile.channels > 1 { "(MEASURE&MULTIPLE)" } else { "MEASURE" };
                Does::Answers(format!("\"DCPSUPPLY WITH {multiple}\""))
            }
        }
    }

    /// Clears a trip. The surprise of some supplies: that gives power back.
    fn clear(&mut self, number: u32, over: Over, world: &mut World) -> Does {
        let profile = Arc::clone(&self.profile);
        let protection = if over == Over::Voltage { &profile.over_voltage } else { &profile.over_current };
        let gives_back = protection.as_ref().is_some_and(|p| p.clear_restores) || self.quirks.clearing_restores;
        let restores = self.channels.get_mut(&number).is_some_and(|channel| {
            channel.tripped = None;
            gives_back && std::mem::take(&mut channel.restores)
        });
        if restores { self.switch(number, true, world) } else { Does::Sets }
    }
}
