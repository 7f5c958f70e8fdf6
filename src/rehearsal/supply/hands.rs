//! What happens to a supply without a message: hands, timers, its own protection, a
//! dip of its mains.

use super::{Channel, SupplyDevice, Switch};
use crate::rehearsal::message::order::Over;
use crate::rehearsal::world::World;
use crate::units::Seconds;
use std::sync::Arc;

/// What has happened already, once and for all.
#[derive(Clone, Copy, Debug, Default)]
pub struct Past {
    dipped: bool,
    tripped: bool,
    turned: bool,
    localised: bool,
    /// Its timer has gone off, and has not been cleared.
    pub timer_latched: bool,
    /// Since when the wired output has been on.
    on_since: Option<f64>,
}

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

    /// Its protections trip when they trip; its timer switches off when it has heard
    /// nothing for too long.
    pub fn tick(&mut self, world: &mut World) {
        let now = world.time();
        if self.is_on()
            && let Some((over, at)) = world.tripped()
        {
            self.trip(over, at, world);
        }
        if self.is_on() && self.panel.is_over(now) {
            self.switch(self.wired, false, world);
            self.past.timer_latched = self.quirks.timer_latches;
        }
        let quirks = Arc::clone(&self.quirks);
        let is_over = |after: Option<Seconds>| after.is_some_and(|after| now >= after.0);
        if is_over(quirks.mains_dip_after) && !std::mem::replace(&mut self.past.dipped, true) {
            self.reboot(world);
        }
        if is_over(quirks.knob_after) && !std::mem::replace(&mut self.past.turned, true) {
            self.by_hand(quirks.knob_to.map(|v| v.0), None, None, world);
        }
        if is_over(quirks.falls_to_local_after) && !std::mem::replace(&mut self.past.localised, true) {
            self.dialogue.fall_to_local();
        }
        match (self.is_on(), self.past.on_since) {
            (true, None) => self.past.on_since = Some(now),
            (true, Some(since)) => {
                let due = quirks.trips_after.is_some_and(|after| now - since >= after.0);
                if due && !std::mem::replace(&mut self.past.tripped, true) {
                    self.protect(world);
                }
            }
            (false, _) => self.past.on_since = None,
        }
    }

    /// Its own protection of the wired channel trips.
    pub fn protect(&mut self, world: &mut World) {
        self.trip(Over::Voltage, world.time(), world);
    }

    fn trip(&mut self, over: Over, at: f64, world: &mut World) {
        if let Some(channel) = self.channels.get_mut(&self.wired)
            && channel.on
        {
            (channel.on, channel.tripped, channel.restores) = (false, Some(over), true);
            self.switches.push(Switch { at, on: false });
        }
        self.apply(self.wired, world);
    }
}
