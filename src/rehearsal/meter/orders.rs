//! What a meter does with an order.

use super::MeterDevice;
use super::reading::scientific as number;
use super::settings::Settings;
use crate::instrument::profile::Range;
use crate::rehearsal::message::order::{Function, MeterOrder, Order};
use crate::rehearsal::message::{Device, Dialogue, Does, Filled};
use crate::rehearsal::world::World;
use crate::scpi::error_queue::codes;
use crate::scpi::program::Numeric;
use crate::scpi::status::Operation;
use std::sync::Arc;

impl Device for MeterDevice {
    fn dialogue(&mut self) -> &mut Dialogue {
        &mut self.dialogue
    }

    fn obey(&mut self, order: Order, filled: &Filled, world: &mut World) -> Does {
        use MeterOrder as M;
        let Order::Meter(order) = order else { return self.dialogue.complain(codes::UNDEFINED_HEADER) };
        let done = match order {
            M::Configure(function) => self.configure(function, filled, world).inspect(|_| self.preset()),
            M::Range(Some(function)) => self.configure(function, filled, world),
            M::Range(None) => self.configure(self.function(), filled, world),
            M::Choose(function) => self.configure(function, &Filled::default(), world),
            M::ChooseNamed => match filled.word.as_deref().and_then(named) {
                Some(function) => self.configure(function, &Filled::default(), world),
                None => Err(codes::ILLEGAL_PARAMETER_VALUE),
            },
            M::Rate => self.set_rate(filled),
            M::AskConfigured => Ok(self.configured()),
            M::AskFunction => Ok(Does::Answers(format!("\"{}\"", word(self.function())))),
            M::AskRange(function) if function == self.function() => self.ask_range(function, filled.first),
            // That of a function that is not in force is its highest.
            M::AskRange(function) => self.ask_range(function, filled.first.or(Some(Numeric::Maximum))),
            M::AskRate => self.ask_rate(filled.first),
            M::Set(setting) => self.set(setting, filled, world),
            M::Ask(setting) => Ok(self.ask(setting)),
            M::Initiate if self.is_continuous() || self.is_busy() => Err(codes::INIT_IGNORED),
            M::Initiate | M::Trigger => {
                self.trigger(world);
                self.is_collected = false;
                Ok(Does::Sets)
            }
            M::Abort => {
                self.stop();
                Ok(Does::Sets)
            }
            M::Read if self.is_continuous() => Ok(self.latest(world)),
            M::Read => {
                self.trigger(world);
                Ok(self.measures(world))
            }
            M::Measure(function) => self.configure(function, filled, world).map(|_| {
                self.preset();
                self.trigger(world);
                self.measures(world)
            }),
            // Asked without a trigger there is nothing fresh to be had.
            M::Collect if std::mem::replace(&mut self.is_collected, true) => Err(codes::DATA_CORRUPT_OR_STALE),
            M::Collect => Ok(self.measures(world)),
            M::Fetch if !self.is_busy() && self.readings.is_empty() => Err(codes::DATA_CORRUPT_OR_STALE),
            M::Fetch => Ok(self.latest(world)),
        };
        done.unwrap_or_else(|code| self.dialogue.complain(code))
    }

    fn measured(&mut self, _: &World) -> Does {
        // A hand or a message may have taken away what was being measured.
        self.answer().unwrap_or_else(|| Does::Answers("9.91E+37".into()))
    }

    fn reset(&mut self, world: &mut World) {
        let range = self.profile.current.as_ref().and_then(|f| f.ranges.last().cloned());
        self.rate = self.profile.rates.first().cloned().unwrap_or(self.rate.clone());
        self.settings = Settings::at_power_on(&self.quirks);
        self.stop();
        (self.readings, self.before) = (Vec::new(), Vec::new());
        self.choose(self.profile.current.is_none(), range, world);
    }

    fn look(&mut self, world: &World) {
        let measuring = if self.pending(world) > 0.0 { Operation::MEASURING.0 } else { 0 };
        self.dialogue.status.operation.see(measuring);
    }

    fn pending(&self, world: &World) -> f64 {
        self.busy(world)
    }
}

impl MeterDevice {
    pub(super) fn function(&self) -> Function {
        if self.measures_voltage { Function::Voltage } else { Function::Current }
    }

    fn measures(&self, world: &World) -> Does {
        Does::Measures { first: self.busy(world), then: self.rest().0 }
    }

    /// What has been measured, or will be once it is.
    fn latest(&self, world: &World) -> Does {
        match self.answer().filter(|_| self.busy(world) <= 0.0) {
            Some(answer) => answer,
            None => Does::Measures { first: self.busy(world), then: 0.0 },
        }
    }

    /// Rate, zero and trigger are as after power-on again where a meter is configured in SCPI
    /// (SCPI-99 volume 2, CONFigure and MEASure).
    fn preset(&mut self) {
        if self.dialogue.is_standard() {
            let Settings { auto_range, continuous, format, .. } = self.settings;
            self.settings = Settings { auto_range, continuous, format, ..Settings::at_power_on(&self.quirks) };
            self.rate = self.profile.rates.first().cloned().unwrap_or(self.rate.clone());
        }
    }

    /// Function and range. What was measured before belongs to neither.
    fn configure(&mut self, function: Function, filled: &Filled, world: &mut World) -> Result<Does, i32> {
        let range = {
            let described = self.described(function == Function::Voltage).ok_or(codes::SETTINGS_CONFLICT)?;
            let ranges = &described.ranges;
            match (&filled.word, filled.first) {
                (Some(word), _) => Some(chosen(ranges, word).ok_or(codes::DATA_OUT_OF_RANGE)?),
                (None, Some(Numeric::Value(value))) => Some(holds(ranges, value).ok_or(codes::DATA_OUT_OF_RANGE)?),
                (None, Some(Numeric::Minimum)) => ranges.first(),
                // A function alone has its highest range.
                (None, None | Some(Numeric::Maximum | Numeric::Default)) => ranges.last(),
                (None, Some(_)) => return Err(codes::ILLEGAL_PARAMETER_VALUE),
            }
            .cloned()
        };
        // A range that is asked for holds; a function alone brings what it has at power-on.
        let told = filled.word.is_some() || matches!(filled.first, Some(Numeric::Value(_) | Numeric::Minimum | Numeric::Maximum));
        self.settings.auto_range = !told && self.quirks.auto_range.is_some();
        self.stop();
        (self.readings, self.before) = (Vec::new(), Vec::new());
        self.choose(function == Function::Voltage, range, world);
        Ok(Does::Sets)
    }

    fn set_rate(&mut self, filled: &Filled) -> Result<Does, i32> {
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs();
        let profile = Arc::clone(&self.profile);
        let mut rates = profile.rates.iter();
        let rate = match (&filled.word, filled.first) {
            (Some(word), _) => rates.find(|r| r.send.eq_ignore_ascii_case(word)),
            (None, Some(Numeric::Value(value))) => rates.find(|r| r.send.parse().is_ok_and(|sent| near(sent, value))),
            (None, Some(Numeric::Minimum)) => rates.next(),
            (None, Some(Numeric::Maximum)) => rates.next_back(),
            _ => None,
        };
        self.rate = rate.ok_or(codes::ILLEGAL_PARAMETER_VALUE)?.clone();
        Ok(Does::Sets)
    }

    fn ask_rate(&self, extreme: Option<Numeric>) -> Result<Does, i32> {
        let rate = match extreme {
            None => Some(&self.rate),
            Some(Numeric::Minimum | Numeric::Default) => self.profile.rates.first(),
            Some(Numeric::Maximum) => self.profile.rates.last(),
            Some(_) => None,
        };
        rate.map(|r| Does::Answers(r.send.clone())).ok_or(codes::ILLEGAL_PARAMETER_VALUE)
    }

    fn ask_range(&self, function: Function, extreme: Option<Numeric>) -> Result<Does, i32> {
        let ranges = self.described(function == Function::Voltage).map(|f| &f.ranges);
        let range = match extreme {
            None => self.range.as_ref(),
            Some(Numeric::Minimum) => ranges.and_then(|r| r.first()),
            Some(Numeric::Maximum | Numeric::Default) => ranges.and_then(|r| r.last()),
            Some(_) => return Err(codes::ILLEGAL_PARAMETER_VALUE),
        };
        range.map(|r| Does::Answers(r.send.clone())).ok_or(codes::SETTINGS_CONFLICT)
    }

    /// Function, range and resolution in a string, as `CONFigure?` answers.
    fn configured(&self) -> Does {
        let (full, resolution) = self.range.as_ref().map_or((0.0, 0.0), |r| (r.full, r.resolution));
        Does::Answers(format!("\"{} {},{}\"", word(self.function()), number(full), number(resolution)))
    }
}

/// As `FUNCtion?` names it.
fn word(function: Function) -> &'static str {
    match function {
        Function::Current => "CURR",
        Function::Voltage => "VOLT",
    }
}

fn named(text: &str) -> Option<Function> {
    match text.to_ascii_uppercase().as_str() {
        "CURR" | "CURRENT" | "CURR:DC" | "CURRENT:DC" => Some(Function::Current),
        "VOLT" | "VOLTAGE" | "VOLT:DC" | "VOLTAGE:DC" => Some(Function::Voltage),
        _ => None,
    }
}

/// The range by what the dialect calls it.
fn chosen<'r>(ranges: &'r [Range], word: &str) -> Option<&'r Range> {
    let number = word.parse::<f64>().ok();
    let near = |sent: f64| number.is_some_and(|n| (sent - n).abs() <= 1e-9 * n.abs());
    ranges.iter().find(|r| r.send.eq_ignore_ascii_case(word) || r.send.parse().is_ok_and(near))
}

/// The lowest that holds a value.
fn holds(ranges: &[Range], value: f64) -> Option<&Range> {
    ranges.iter().find(|r| r.full >= value.abs() * (1.0 - 1e-9))
}
