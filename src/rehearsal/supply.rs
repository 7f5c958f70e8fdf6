//! The stand-in supply: a profile's dialect from the device's side.

mod coupled;
pub(super) mod electrics;
mod hands;
mod orders;
mod shown;

use super::message::order::Over;
use super::message::{Dialogue, Does};
use super::panel::Panel;
use super::world::{Electrics, World};
use crate::instrument::profile::{OutOfRange, Profile, ReplyForm, Setting, SupplyProfile, UnitInReply};
use crate::plan::{Quirks, SupplyElectrics, SupplySeat};
use crate::scpi::error_queue::codes;
use electrics::Offs;
use hands::Past;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;
use std::sync::Arc;

/// One channel's registers.
#[derive(Clone, Copy, Debug)]
struct Channel {
    voltage: f64,
    limit: f64,
    on: bool,
    over_voltage: f64,
    /// Of over-current protection.
    delay: f64,
    tripped: Option<Over>,
    restores: bool,
    /// Whether over-voltage and over-current protection are enabled.
    guarded: (bool, bool),
}

impl Channel {
    fn guards(&mut self, over: Over) -> &mut bool {
        match over {
            Over::Voltage => &mut self.guarded.0,
            Over::Current => &mut self.guarded.1,
        }
    }

    /// After power-on and reset.
    fn fresh(profile: &SupplyProfile) -> Self {
        let over_voltage = profile.rated_voltage.0 * PROTECTION;
        Self {
            voltage: 0.0,
            limit: profile.rated_current.0,
            on: false,
            over_voltage,
            delay: 0.02,
            tripped: None,
            restores: false,
            guarded: (true, false),
        }
    }
}

/// The highest protection level, as a multiple of the rated voltage.
const PROTECTION: f64 = 1.2;

/// The channels that can be coupled.
const COUPLED: [u32; 2] = [1, 2];

/// A moment at which the output was switched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Switch {
    /// In seconds of bench time.
    pub at: f64,
    /// On or off.
    pub on: bool,
}

/// The stand-in.
pub struct SupplyDevice {
    profile: Arc<SupplyProfile>,
    dialect: Profile,
    dialogue: Dialogue,
    wired: u32,
    selected: u32,
    channels: BTreeMap<u32, Channel>,
    /// What its outputs are like, and how far their settings are off.
    told: SupplyElectrics,
    offs: Vec<Offs>,
    random: ChaCha8Rng,
    /// Every switching of the wired output.
    pub switches: Vec<Switch>,
    /// What it does beside its dialect.
    pub quirks: Arc<Quirks>,
    /// What has happened of that already.
    past: Past,
    /// The read-backs that it gave last, and when.
    last: BTreeMap<(bool, bool), (f64, String)>,
    /// The conversion in hand: of which channel, and what of it.
    converting: Option<(u32, (bool, bool))>,
    /// What can be set by hand.
    pub panel: Panel,
}

impl SupplyDevice {
    /// With everything off.
    pub fn new(dialect: &Profile, profile: &SupplyProfile, seat: &SupplySeat, seed: u64) -> Self {
        let quirks = Arc::new(seat.standin.clone());
        let serial = seat.serial.as_deref().unwrap_or("S0001");
        let channel = Channel::fresh(profile);
        Self {
            profile: Arc::new(profile.clone()),
            dialect: dialect.clone(),
            dialogue: Dialogue::new(dialect, serial, &quirks),
            wired: seat.channel,
            selected: 1,
            channels: (1..=profile.channels).map(|n| (n, channel)).collect(),
            told: seat.electrics,
            offs: Offs::draw(profile.channels, seed),
            random: ChaCha8Rng::seed_from_u64(seed),
            switches: Vec::new(),
            panel: Panel::set_by_hand(quirks.coupling, quirks.power_on, quirks.remote_sense),
            quirks,
            past: Past::default(),
            last: BTreeMap::new(),
            converting: None,
        }
    }

    /// Whether the wired output is on.
    pub fn is_on(&self) -> bool {
        self.channels.get(&self.wired).is_some_and(|c| c.on)
    }

    /// Set voltage and limit of the wired channel.
    pub fn set_points(&self) -> (f64, f64) {
        self.channels.get(&self.wired).map_or((0.0, 0.0), |c| (c.voltage, c.limit))
    }

    /// What its output is like.
    pub fn electrics(&self) -> Electrics {
        electrics::of(&self.profile, &self.told, &self.quirks)
    }

    /// Whether each output is on, from channel 1.
    pub fn outputs(&self) -> Vec<bool> {
        self.channels.values().map(|c| c.on).collect()
    }

    /// Notes an error, as its dialect does.
    pub fn complain(&mut self, code: i32) -> Does {
        self.dialogue.complain(code)
    }

    fn set_value(
        &mut self,
        number: u32,
        setting: &Setting,
        value: f64,
        most: f64,
        register: fn(&mut Channel) -> &mut f64,
        world: &mut World,
    ) -> Does {
        let value = value * (1.0 - self.quirks.sets_less.0);
        let held = (value / setting.resolution).round() * setting.resolution;
        let clipped = held.clamp(0.0, most);
        if clipped != held && setting.out_of_range == OutOfRange::Refuses {
            return self.complain(codes::DATA_OUT_OF_RANGE);
        }
        if let Some(channel) = self.channels.get_mut(&number) {
            *register(channel) = clipped;
        }
        self.apply(number, world);
        Does::Sets
    }

    fn switch(&mut self, number: u32, on: bool, world: &mut World) -> Does {
        let Some(channel) = self.channels.get(&number) else { return Does::Sets };
        if on && (channel.tripped.is_some() || self.past.timer_latched) {
            return self.complain(codes::SETTINGS_CONFLICT);
        }
        if !on && self.quirks.ignores_off > 0 {
            Arc::make_mut(&mut self.quirks).ignores_off -= 1;
            return Does::Sets;
        }
        let was_on = self.is_on();
        for number in self.together(number) {
            if let Some(channel) = self.channels.get_mut(&number) {
                channel.on = on;
                channel.restores &= on;
            }
        }
        if self.is_on() != was_on {
            self.switches.push(Switch { at: world.time(), on });
        }
        self.apply(number, world);
        Does::Sets
    }

    /// Brings the registers of what feeds the unit into the circuit. Nothing hangs on the
    /// other channels: they trip when they are set above their protection.
    fn apply(&mut self, number: u32, world: &mut World) {
        if self.feeds(number) {
            world.set_output(self.source(), self.guards());
            return;
        }
        let Some(channel) = self.channels.get_mut(&number) else { return };
        if channel.on && channel.guarded.0 && channel.voltage > channel.over_voltage {
            (channel.on, channel.tripped, channel.restores) = (false, Some(Over::Voltage), true);
        }
    }
}

/// A value as the dialect writes it: fixed point, prefix, unit.
pub fn written(value: f64, resolution: f64, form: &ReplyForm, symbol: &str, channel: u32) -> String {
    let decimals = usize::try_from((-resolution.log10()).ceil().max(0.0) as i64).unwrap_or(0);
    let prefix = match form.prefix.contains('{') {
        true => form.prefix.replace("{channel}", &channel.to_string()),
        false => form.prefix.clone(),
    };
    let unit = if form.unit == UnitInReply::Checked { symbol } else { "" };
    let rounded = (value / resolution).round() * resolution;
    let mut fields = vec!["0".to_owned(); form.field.max(1) - 1];
    fields.push(format!("{prefix}{:.decimals$}{unit}", rounded + 0.0));
    fields.join(",")
}
