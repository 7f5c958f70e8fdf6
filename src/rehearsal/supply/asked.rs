//! What a supply answers.

use super::{Channel, Does, Filled, SupplyDevice, matches, written};
use crate::instrument::profile::{ModeForm, Protection, Readback, ReplyForm, Setting};
use crate::rehearsal::world::World;
use rand::RngExt;

impl SupplyDevice {
    pub(super) fn asked(&mut self, message: &str, world: &mut World) -> Option<Does> {
        let profile = self.profile.clone();
        if let Some(select) = &self.dialect.select
            && select.ask.as_ref().is_some_and(|a| a.eq_ignore_ascii_case(message))
        {
            return Some(Does::Answers(self.selected.to_string()));
        }
        let state = |filled: &Filled| self.channel(filled).and_then(|n| self.channels.get(&n).map(|c| (n, *c)));
        let setting = |setting: &Setting, value: fn(&Channel) -> f64, symbol: &str| {
            let filled = matches(setting.ask.as_ref()?, message)?;
            let (number, channel) = state(&filled)?;
            Some(Does::Answers(written(value(&channel), setting.resolution, &setting.reply, symbol, number)))
        };
        if let Some(does) = setting(&profile.voltage, |c| c.voltage, "V").or_else(|| setting(&profile.current, |c| c.limit, "A"))
        {
            return Some(does);
        }
        if let Some(level) = profile.over_voltage.as_ref().and_then(|p| p.level.as_ref())
            && let Some(does) = setting(level, |c| c.over_voltage, "V")
        {
            return Some(does);
        }
        if let Some(delay) = profile.over_current.as_ref().and_then(|p| p.delay.as_ref())
            && let Some(does) = setting(&delay.setting, |c| c.delay, "s")
        {
            return Some(does);
        }
        for protection in [&profile.over_voltage, &profile.over_current].into_iter().flatten() {
            if let Some(does) = self.asked_trip(protection, message) {
                return Some(does);
            }
        }
        if let Some(filled) = profile.output.ask.as_ref().and_then(|ask| matches(ask, message)) {
            let words =
                if self.channels.get(&self.channel(&filled)?)?.on { &profile.output.reads_on } else { &profile.output.reads_off };
            return Some(Does::Answers(words.first()?.clone()));
        }
        if let Some(mode) = &profile.mode
            && let Some(filled) = matches(&mode.ask, message)
        {
            let number = self.channel(&filled)?;
            return Some(Does::Answers(self.mode(&mode.form, number, world)));
        }
        self.measured(message, world)
    }

    fn asked_trip(&self, protection: &Protection, message: &str) -> Option<Does> {
        let (ask, yes) = protection.tripped.as_ref()?;
        let filled = matches(ask, message)?;
        let tripped = self.channels.get(&self.channel(&filled)?)?.tripped;
        let no = ["0", "NO"].into_iter().find(|no| !yes.iter().any(|y| y == no));
        Some(Does::Answers(if tripped { yes.first()?.clone() } else { no?.into() }))
    }

    fn mode(&self, form: &ModeForm, number: u32, world: &World) -> String {
        let (on, tripped) = self.channels.get(&number).map_or((false, false), |c| (c.on, c.tripped));
        let limiting = number == self.wired && on && world.see().limiting && !self.wrong.hides_limiting;
        match form {
            ModeForm::Bits { voltage, current } if on => (1_u64 << if limiting { *current } else { *voltage }).to_string(),
            ModeForm::Bits { .. } => "0".into(),
            ModeForm::Words { fault, .. } if tripped && !fault.is_empty() => fault.first().cloned().unwrap_or_default(),
            ModeForm::Words { current, .. } if limiting => current.first().cloned().unwrap_or_default(),
            ModeForm::Words { voltage, .. } => voltage.first().cloned().unwrap_or_default(),
        }
    }

    fn measured(&mut self, message: &str, world: &World) -> Option<Does> {
        let (v, i) = (self.profile.measured_voltage.clone(), self.profile.measured_current.clone());
        let seen = world.see();
        let (asks_v, asks_i) = (matches(&v.ask, message), matches(&i.ask, message));
        let number = self.channel(asks_v.as_ref().or(asks_i.as_ref())?)?;
        // Nothing hangs on the other channels: they show what is set.
        let open = self.channels.get(&number).filter(|c| c.on).map_or(0.0, |c| c.voltage);
        let (volts, amperes) = if number == self.wired { (seen.terminal, seen.current.max(0.0)) } else { (open, 0.0) };
        let volts = self.erring(volts, &v, self.gain.0);
        let amperes = self.erring(amperes, &i, self.gain.1).max(0.0);
        let text = match (asks_v, asks_i) {
            (Some(_), Some(_)) => {
                let plain =
                    |x: f64, r: &Readback| written(x, r.resolution, &ReplyForm { field: 1, ..ReplyForm::default() }, "", number);
                let mut fields = [plain(volts, &v), plain(amperes, &i)];
                if v.reply.field > i.reply.field {
                    fields.reverse();
                }
                fields.join(",")
            }
            (Some(_), None) => written(volts, v.resolution, &v.reply, "V", number),
            _ => written(amperes, i.resolution, &i.reply, "A", number),
        };
        let text = if self.wrong.stuck { self.wrong.last.get(message).cloned().unwrap_or(text) } else { text };
        self.wrong.last.insert(message.to_owned(), text.clone());
        Some(Does::Answers(text))
    }

    /// With an error within the accuracy row, and a little noise. Both fade out below
    /// one step, so that much less than half a step always shows as zero: a unit asleep
    /// at microamperes looks just like one without power.
    fn erring(&mut self, value: f64, readback: &Readback, share: f64) -> f64 {
        let noise: f64 = self.random.random_range(-0.3..0.3) * readback.resolution;
        let offset = (readback.accuracy.offset * share).clamp(-0.15 * readback.resolution, 0.15 * readback.resolution);
        let fade = (value.abs() / readback.resolution).min(1.0);
        value * (1.0 + share * readback.accuracy.reading.0) + (offset + noise) * fade
    }
}
