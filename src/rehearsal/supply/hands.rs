//! What happens to a supply without a message: hands, timers, its own protection, a
//! dip of its mains.

use super::{Channel, SupplyDevice, Switch};
use crate::rehearsal::world::World;

impl SupplyDevice {
    /// Somebody's hand at the knobs and the output key of the wired channel.
    pub fn by_hand(&mut self, voltage: Option<f64>, limit: Option<f64>, on: Option<bool>, world: &mut World) {
        if let Some(channel) = self.channels.get_mut(&self.wired) {
            channel.voltage = voltage.unwrap_or(channel.voltage);
            channel.limit = limit.unwrap_or(channel.limit);
        }
        self.apply(self.wired, world);
        if let Some(on) = on {
            self.switch(self.wired, on, world);
        }
    }

    /// Everything as after power-on; the output comes back where it remembers it.
    pub fn reboot(&mut self, world: &mut World) {
        let was_on = self.is_on();
        for number in 1..=self.profile.channels {
            if let Some(channel) = self.channels.get_mut(&number) {
                *channel = Channel::fresh(&self.profile);
            }
        }
        if was_on && !self.panel.remembers {
            self.switches.push(Switch { at: world.time(), on: false });
        }
        if let Some(channel) = self.channels.get_mut(&self.wired) {
            channel.on = was_on && self.panel.remembers;
        }
        self.selected = 1;
        self.dialogue.restart(&self.dialect);
        self.panel.restart();
        self.apply(self.wired, world);
    }

    /// Its timer switches off when it has heard nothing for too long.
    pub fn tick(&mut self, world: &mut World) {
        if self.is_on() && self.panel.is_over(world.time()) {
            self.switch(self.wired, false, world);
        }
    }

    /// Its own protection of the wired channel trips.
    pub fn protect(&mut self, world: &mut World) {
        if let Some(channel) = self.channels.get_mut(&self.wired)
            && channel.on
        {
            (channel.on, channel.tripped, channel.restores) = (false, true, true);
            self.switches.push(Switch { at: world.time(), on: false });
        }
        self.apply(self.wired, world);
    }
}
