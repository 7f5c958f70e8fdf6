//! What happens to a supply without a message: hands, timers, its own protection, a
//! dip of its mains.

use super::{Channel, SupplyDevice, Switch};
use crate::plan::{Key, PowerOn};
use crate::rehearsal::Panel;
use crate::rehearsal::message::order::Over;
use crate::rehearsal::world::World;
use crate::units::Seconds;
use std::sync::Arc;

/// What has happened already, once and for all.
#[derive(Clone, Copy, Debug, Default)]
pub struct Past {
    dipped: bool,
    tripped: bool,
    localised: bool,
    /// So many hands.
    hands: usize,
    /// Its timer has gone off, and has not been cleared.
    pub timer_latched: bool,
    /// Since when the wired output has been on.
    on_since: Option<f64>,
}

impl SupplyDevice {
    /// Somebody's hand at the knobs and the output key of the wired channel.
    pub fn by_hand(&mut self, voltage: Option<f64>, limit: Option<f64>, on: Option<bool>, world: &mut World) {
        for number in self.moved(self.wired) {
            if let Some(channel) = self.channels.get_mut(&number) {
                channel.voltage = voltage.unwrap_or(channel.voltage);
                channel.limit = limit.unwrap_or(channel.limit);
            }
        }
        self.apply(self.wired, world);
        if let Some(on) = on {
            self.switch(self.wired, on, world);
        }
    }

    /// Somebody's hand in the menus.
    pub fn by_hand_in_menus(&mut self, hand: impl FnOnce(&mut Panel), world: &mut World) {
        hand(&mut self.panel);
        self.apply(self.wired, world);
    }

    /// Its mains have come back: settings and outputs as its power-on state says.
    pub fn reboot(&mut self, world: &mut World) {
        let was_on = self.is_on();
        let fresh = Channel::fresh(&self.profile);
        for channel in self.channels.values_mut() {
            let kept = Channel { tripped: None, restores: false, ..*channel };
            *channel = match self.panel.power_on {
                PowerOn::Off => fresh,
                PowerOn::Last => kept,
                PowerOn::On => Channel { on: true, ..kept },
            };
        }
        let on = self.is_on();
        if on != was_on {
            self.switches.push(Switch { at: world.time(), on });
        }
        self.selected = 1;
        self.dialogue.restart(&self.dialect);
        self.panel.restart();
        self.apply(self.wired, world);
    }

    /// The first moment after `after` and up to `to` at which something is due to happen
    /// by itself.
    pub fn due(&self, after: f64, to: f64) -> Option<f64> {
        let quirks = &self.quirks;
        let hands = quirks.panel.iter().map(|hand| hand.after);
        let due = hands.chain(quirks.mains_dip_after).map(|at| at.0);
        due.filter(|at| *at > after && *at <= to).min_by(f64::total_cmp)
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
        while let Some(hand) = quirks.panel.get(self.past.hands).filter(|hand| is_over(Some(hand.after))) {
            self.past.hands += 1;
            if let Some(coupling) = hand.coupling {
                self.by_hand_in_menus(|panel| panel.coupling = coupling, world);
            }
            let output = hand.output.map(|key| key == Key::On);
            self.by_hand(hand.voltage.map(|v| v.0), hand.limit.map(|i| i.0), output, world);
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
        if self.is_on() {
            self.switches.push(Switch { at, on: false });
        }
        for number in self.together(self.wired) {
            if let Some(channel) = self.channels.get_mut(&number).filter(|c| c.on) {
                (channel.on, channel.tripped, channel.restores) = (false, Some(over), true);
            }
        }
        self.apply(self.wired, world);
    }
}
