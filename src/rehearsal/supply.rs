//! The stand-in supply: a profile's dialect from the device's side.

mod asked;
mod hands;

use super::dialect::{Filled, matches};
use super::panel::Panel;
use super::world::{Source, World};
use crate::instrument::profile::{OutOfRange, Profile, ReplyForm, Setting, SupplyProfile, UnitInReply};
use crate::scpi::error_queue::{ErrorQueue, ErrorReport};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Time in which an output rises from nothing to the rated voltage, in seconds.
const RISE: f64 = 0.01;

/// What a device does with a message.
#[derive(Clone, Debug, PartialEq)]
pub enum Does {
    /// Something was set; nothing is answered.
    Sets,
    /// An answer.
    Answers(String),
    /// A measurement that goes on for `first` seconds; then it answers, and takes no
    /// other for `then` seconds.
    Measures {
        /// Until the answer.
        first: f64,
        /// After it.
        then: f64,
    },
    /// An error in place of an answer.
    Complains(String),
    /// Nothing at all.
    Ignores,
}

/// One channel's registers.
#[derive(Clone, Copy, Debug)]
struct Channel {
    voltage: f64,
    limit: f64,
    on: bool,
    over_voltage: f64,
    /// Of over-current protection.
    delay: f64,
    tripped: bool,
    restores: bool,
}

impl Channel {
    /// After power-on and reset.
    fn fresh(profile: &SupplyProfile) -> Self {
        let over_voltage = profile.rated_voltage.0 * PROTECTION;
        Self {
            voltage: 0.0,
            limit: profile.rated_current.0,
            on: false,
            over_voltage,
            delay: 0.02,
            tripped: false,
            restores: false,
        }
    }
}

/// The highest protection level, as a multiple of the rated voltage.
const PROTECTION: f64 = 1.2;

/// A moment at which the output was switched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Switch {
    /// In seconds of bench time.
    pub at: f64,
    /// On or off.
    pub on: bool,
}

/// What a supply can do wrong.
#[derive(Clone, Debug, Default)]
pub struct Wrong {
    /// How many more times "off" is not obeyed.
    pub offs_ignored: u32,
    /// Settings end up at nine tenths of what was sent, without a word.
    pub clips: bool,
    /// Read-backs stay what they were.
    pub stuck: bool,
    /// It never says that it limits.
    pub hides_limiting: bool,
    /// The read-backs that it gave last, for when they stick.
    last: BTreeMap<String, String>,
}

/// The stand-in.
pub struct SupplyDevice {
    profile: Arc<SupplyProfile>,
    dialect: Profile,
    identity: String,
    wired: u32,
    selected: u32,
    channels: BTreeMap<u32, Channel>,
    errors: ErrorQueue,
    remote: bool,
    gain: (f64, f64),
    random: ChaCha8Rng,
    /// Every switching of the wired output.
    pub switches: Vec<Switch>,
    /// What it does wrong: for tests.
    pub wrong: Wrong,
    /// What can be set by hand.
    pub panel: Panel,
}

impl SupplyDevice {
    /// With everything off.
    pub fn new(dialect: &Profile, profile: &SupplyProfile, serial: &str, wired: u32, seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let channel = Channel::fresh(profile);
        let gain = (random.random_range(-0.5..0.5), random.random_range(-0.5..0.5));
        Self {
            profile: Arc::new(profile.clone()),
            dialect: dialect.clone(),
            identity: format!("STAND-IN,{},{serial},1.0", dialect.name),
            wired,
            selected: 1,
            channels: (1..=profile.channels).map(|n| (n, channel)).collect(),
            errors: ErrorQueue::new(dialect.errors.depth),
            remote: dialect.remote.is_empty(),
            gain,
            random,
            switches: Vec::new(),
            wrong: Wrong::default(),
            panel: Panel::default(),
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

    /// Whether each output is on, from channel 1.
    pub fn outputs(&self) -> Vec<bool> {
        self.channels.values().map(|c| c.on).collect()
    }

    /// Notes an error, as its dialect does.
    pub fn complain(&mut self, code: i32) -> Does {
        if self.dialect.errors.ask.is_some() {
            self.errors.push(ErrorReport::standard(code));
            return Does::Sets;
        }
        complaint(&self.dialect, code)
    }

    /// What it does with a message at the moment at which `world` stands.
    pub fn handle(&mut self, message: &str, world: &mut World) -> Does {
        self.panel.hear(world.time());
        if let Some(done) = self.common(message, world) {
            return done;
        }
        if self.dialect.remote.iter().any(|m| m.eq_ignore_ascii_case(message)) {
            self.remote = true;
            return Does::Sets;
        }
        if self.dialect.local.iter().any(|m| m.eq_ignore_ascii_case(message)) {
            self.remote = self.dialect.remote.is_empty();
            return Does::Sets;
        }
        if let Some(answer) = self.asked(message, world).or_else(|| self.panel.asked(&self.profile, message)) {
            return answer;
        }
        if !self.remote {
            return self.complain(-201);
        }
        match self.set(message, world).or_else(|| self.panel.set(&self.profile, message)) {
            Some(does) => does,
            None => self.complain(-113),
        }
    }

    fn common(&mut self, message: &str, world: &mut World) -> Option<Does> {
        let is = |text: &Option<String>| text.as_ref().is_some_and(|t| t.eq_ignore_ascii_case(message));
        if is(&self.dialect.identity.ask) {
            return Some(Does::Answers(self.identity.clone()));
        }
        if is(&self.dialect.errors.ask) {
            return Some(Does::Answers(String::from_utf8_lossy(&self.errors.pop().emit()).into_owned()));
        }
        match message.to_ascii_uppercase().as_str() {
            "*OPC?" => Some(Does::Answers("1".into())),
            "*CLS" => {
                self.errors.clear();
                Some(Does::Sets)
            }
            "*RST" => {
                for number in 1..=self.profile.channels {
                    self.switch(number, false, world);
                    if let Some(channel) = self.channels.get_mut(&number).filter(|c| !c.on) {
                        *channel = Channel::fresh(&self.profile);
                    }
                    self.apply(number, world);
                }
                self.selected = 1;
                Some(Does::Sets)
            }
            _ => None,
        }
    }

    /// Which channel a message means.
    fn channel(&self, filled: &Filled) -> Option<u32> {
        let number = filled.channel.unwrap_or(if self.dialect.select.is_some() { self.selected } else { 1 });
        self.channels.contains_key(&number).then_some(number)
    }

    fn set(&mut self, message: &str, world: &mut World) -> Option<Does> {
        let profile = self.profile.clone();
        if let Some(select) = &self.dialect.select
            && let Some(filled) = matches(&select.send, message)
        {
            let number = filled.channel?;
            if !self.channels.contains_key(&number) {
                return Some(self.complain(-222));
            }
            self.selected = number;
            return Some(Does::Sets);
        }
        if let Some(filled) = profile.both.as_ref().and_then(|both| matches(both, message)) {
            let number = self.channel(&filled)?;
            let (volts, amperes) = (filled.first?, filled.second?);
            let first = self.set_value(number, &profile.current, amperes, profile.rated_current.0, |c| &mut c.limit, world);
            return Some(match first {
                Does::Sets => self.set_value(number, &profile.voltage, volts, profile.rated_voltage.0, |c| &mut c.voltage, world),
                refused => refused,
            });
        }
        if let Some(filled) = matches(&profile.voltage.set, message) {
            let number = self.channel(&filled)?;
            return Some(self.set_value(
                number,
                &profile.voltage,
                filled.first?,
                profile.rated_voltage.0,
                |c| &mut c.voltage,
                world,
            ));
        }
        if let Some(filled) = matches(&profile.current.set, message) {
            let number = self.channel(&filled)?;
            return Some(self.set_value(
                number,
                &profile.current,
                filled.first?,
                profile.rated_current.0,
                |c| &mut c.limit,
                world,
            ));
        }
        if let Some(level) = profile.over_voltage.as_ref().and_then(|p| p.level.clone())
            && let Some(filled) = matches(&level.set, message)
        {
            let number = self.channel(&filled)?;
            return Some(self.set_value(
                number,
                &level,
                filled.first?,
                profile.rated_voltage.0 * PROTECTION,
                |c| &mut c.over_voltage,
                world,
            ));
        }
        if let Some(delay) = profile.over_current.as_ref().and_then(|p| p.delay.clone())
            && let Some(filled) = matches(&delay.setting.set, message)
        {
            let number = self.channel(&filled)?;
            return Some(self.set_value(number, &delay.setting, filled.first?, delay.longest.0, |c| &mut c.delay, world));
        }
        let output = &profile.output;
        for (template, on) in [(Some(&output.on), true), (Some(&output.off), false)] {
            if let Some(filled) = template.and_then(|t| matches(t, message)) {
                let number = self.channel(&filled)?;
                return Some(self.switch(number, on, world));
            }
        }
        if output.all_off.as_ref().is_some_and(|a| matches(a, message).is_some()) {
            for number in 1..=profile.channels {
                self.switch(number, false, world);
            }
            return Some(Does::Sets);
        }
        for protection in [&profile.over_voltage, &profile.over_current].into_iter().flatten() {
            if protection.enable.iter().any(|m| matches(m, message).is_some()) {
                return Some(Does::Sets);
            }
            if let Some(filled) = protection.clear.as_ref().and_then(|c| matches(c, message)) {
                let number = self.channel(&filled)?;
                let restores = self.channels.get_mut(&number).is_some_and(|c| {
                    c.tripped = false;
                    protection.clear_restores && std::mem::take(&mut c.restores)
                });
                // The surprise of some supplies: clearing gives power back.
                return Some(if restores { self.switch(number, true, world) } else { Does::Sets });
            }
        }
        None
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
        let value = if self.wrong.clips { value * 0.9 } else { value };
        let held = (value / setting.resolution).round() * setting.resolution;
        let clipped = held.clamp(0.0, most);
        if clipped != held && setting.out_of_range == OutOfRange::Refuses {
            return self.complain(-222);
        }
        if let Some(channel) = self.channels.get_mut(&number) {
            *register(channel) = clipped;
        }
        self.apply(number, world);
        Does::Sets
    }

    fn switch(&mut self, number: u32, on: bool, world: &mut World) -> Does {
        let Some(channel) = self.channels.get_mut(&number) else { return Does::Sets };
        if on && channel.tripped {
            return self.complain(-221);
        }
        if !on && self.wrong.offs_ignored > 0 {
            self.wrong.offs_ignored -= 1;
            return Does::Sets;
        }
        if !on {
            channel.restores = false;
        }
        if channel.on != on && number == self.wired {
            self.switches.push(Switch { at: world.time(), on });
        }
        channel.on = on;
        self.apply(number, world);
        Does::Sets
    }

    /// Brings the registers of the wired channel into the circuit; over-voltage
    /// protection looks at the set-point, which the output follows.
    fn apply(&mut self, number: u32, world: &mut World) {
        let Some(channel) = self.channels.get_mut(&number) else { return };
        if channel.on && channel.voltage > channel.over_voltage {
            channel.on = false;
            channel.tripped = true;
            channel.restores = true;
            if number == self.wired {
                self.switches.push(Switch { at: world.time(), on: false });
            }
        }
        if number == self.wired {
            let off = self.profile.output.off_is;
            let rated = self.profile.rated_voltage.0;
            let slew = (rated / RISE, rated / self.profile.output.fall.0.max(1e-3));
            world.set_source(Source { on: channel.on, voltage: channel.voltage, limit: channel.limit, off, slew });
        }
    }
}

/// An error in band: the dialect's first pattern, filled in; else silence.
pub fn complaint(dialect: &Profile, code: i32) -> Does {
    match dialect.errors.in_band.first() {
        Some(pattern) => Does::Complains(pattern.replace('*', &format!("{:02}", code.rem_euclid(100)))),
        None => Does::Ignores,
    }
}

/// A value as the dialect writes it: fixed point, prefix, unit.
pub fn written(value: f64, resolution: f64, form: &ReplyForm, symbol: &str, channel: u32) -> String {
    let decimals = usize::try_from((-resolution.log10()).ceil().max(0.0) as i64).unwrap_or(0);
    let prefix = form.prefix.replace("{channel}", &channel.to_string());
    let unit = if form.unit == UnitInReply::Checked { symbol } else { "" };
    let rounded = (value / resolution).round() * resolution;
    let mut fields = vec!["0".to_owned(); form.field.max(1) - 1];
    fields.push(format!("{prefix}{:.decimals$}{unit}", rounded + 0.0));
    fields.join(",")
}
