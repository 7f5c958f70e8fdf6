//! What a supply shows of itself: its mode, and what it reads back.

use super::electrics::{Off, Offs};
use super::{SupplyDevice, written};
use crate::instrument::profile::{ModeForm, Readback, ReplyForm};
use crate::rehearsal::world::World;
use rand::RngExt;

impl SupplyDevice {
    /// Whether it says of a channel that it limits the current.
    pub(super) fn limits(&self, number: u32, world: &World) -> bool {
        let limits = self.feeds(number) && self.is_on() && world.see().limiting && !self.quirks.hides_limiting;
        limits != self.quirks.mode_swapped
    }

    pub(super) fn mode(&self, form: &ModeForm, number: u32, world: &World) -> String {
        let (on, tripped) = self.channels.get(&number).map_or((false, false), |c| (c.on, c.tripped.is_some()));
        let limiting = self.limits(number, world);
        match form {
            ModeForm::Bits { voltage, current } if on => (1_u64 << if limiting { *current } else { *voltage }).to_string(),
            ModeForm::Bits { .. } => "0".into(),
            ModeForm::Words { fault, .. } if tripped && !fault.is_empty() => fault.first().cloned().unwrap_or_default(),
            ModeForm::Words { current, .. } if limiting => current.first().cloned().unwrap_or_default(),
            ModeForm::Words { voltage, .. } => voltage.first().cloned().unwrap_or_default(),
        }
    }

    /// Reads back the voltage, the current or both of a channel.
    pub(super) fn read_back(&mut self, number: u32, which: (bool, bool), world: &World) -> String {
        let now = world.time();
        if let Some((at, text)) = self.last.get(&which)
            && (self.quirks.stuck || self.quirks.updates_every.is_some_and(|period| now - at < period.0))
        {
            return text.clone();
        }
        let profile = self.profile.clone();
        let (v, i) = (&profile.measured_voltage, &profile.measured_current);
        let seen = world.see();
        // Nothing hangs on the other channels: they show what is set.
        let open = self.channels.get(&number).filter(|c| c.on).map_or(0.0, |c| c.voltage);
        let (volts, amperes) = match self.share(number) {
            Some((of_volts, of_amperes)) => (seen.terminal * of_volts, seen.current.max(0.0) * of_amperes),
            None => (open, 0.0),
        };
        let Some(Offs { reads_voltage, reads_current, .. }) = self.offs(number) else { return String::new() };
        let volts = self.erring(volts, v, reads_voltage, profile.rated_voltage.0);
        let amperes = self.erring(amperes, i, reads_current, profile.rated_current.0).max(0.0);
        let text = match which {
            (true, true) => {
                let plain =
                    |x: f64, r: &Readback| written(x, r.resolution, &ReplyForm { field: 1, ..ReplyForm::default() }, "", number);
                let mut fields = [plain(volts, v), plain(amperes, i)];
                if v.reply.field > i.reply.field {
                    fields.reverse();
                }
                fields.join(",")
            }
            (true, false) => written(volts, v.resolution, &v.reply, "V", number),
            _ => written(amperes, i.resolution, &i.reply, "A", number),
        };
        let text = if self.quirks.packed_digits { text.replace('.', "") } else { text };
        self.last.insert(which, (now, text.clone()));
        text
    }

    /// With an error within the accuracy row, and a little noise. What is not in proportion
    /// fades out below one step, so that much less than half a step always shows as zero:
    /// a unit asleep at microamperes looks just like one without power.
    fn erring(&mut self, value: f64, readback: &Readback, off: Off, range: f64) -> f64 {
        let noise: f64 = self.random.random_range(-0.3..0.3) * readback.resolution;
        let (in_proportion, fixed) = off.of(value, &readback.accuracy, range);
        let fade = (value.abs() / readback.resolution).min(1.0);
        value + in_proportion + (fixed + noise) * fade * fade
    }
}
