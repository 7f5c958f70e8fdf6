//! The stand-in meter: a profile's dialect from the device's side. In series its
//! shunt is part of the circuit, and a reading is the mean over its integration time.

use super::dialect::matches;
use super::supply::{Does, complaint};
use super::world::World;
use crate::instrument::profile::{Function, MeterProfile, Profile, Range, Rate, UnitInReply};
use crate::scpi::error_queue::{ErrorQueue, ErrorReport};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

/// The stand-in.
pub struct MeterDevice {
    profile: Arc<MeterProfile>,
    dialect: Profile,
    identity: String,
    in_series: bool,
    measures_voltage: bool,
    range: Option<Range>,
    rate: Rate,
    errors: ErrorQueue,
    remote: bool,
    gain: f64,
    random: ChaCha8Rng,
    /// Time, charge and volt-seconds at the beginning of the measurement in hand.
    begun: Option<(f64, f64, f64)>,
    /// Shows overload whatever it measures: for tests.
    pub overloaded: bool,
}

impl MeterDevice {
    /// As it is after power-on: its highest current range.
    pub fn new(dialect: &Profile, profile: &MeterProfile, serial: &str, in_series: bool, seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let gain = random.random_range(-0.5..0.5);
        let rate = profile.rates.first().cloned().unwrap_or(Rate {
            integration: crate::units::Seconds(0.02),
            period: crate::units::Seconds(0.02),
            send: String::new(),
        });
        Self {
            range: profile.current.as_ref().and_then(|f| f.ranges.last().cloned()),
            profile: Arc::new(profile.clone()),
            dialect: dialect.clone(),
            identity: format!("STAND-IN,{},{serial},1.0", dialect.name),
            in_series,
            measures_voltage: false,
            rate,
            errors: ErrorQueue::new(dialect.errors.depth),
            remote: dialect.remote.is_empty(),
            gain,
            random,
            begun: None,
            overloaded: false,
        }
    }

    /// The shunt that it puts into the lead, in ohms.
    pub fn shunt(&self) -> f64 {
        if self.in_series && !self.measures_voltage { self.range.as_ref().map_or(0.0, |r| r.resistance.0) } else { 0.0 }
    }

    fn complain(&mut self, code: i32) -> Does {
        if self.dialect.errors.ask.is_some() {
            self.errors.push(ErrorReport::standard(code));
            return Does::Sets;
        }
        complaint(&self.dialect, code)
    }

    /// What it does with a message at the moment at which `world` stands.
    pub fn handle(&mut self, message: &str, world: &mut World) -> Does {
        let is = |text: &Option<String>| text.as_ref().is_some_and(|t| t.eq_ignore_ascii_case(message));
        if is(&self.dialect.identity.ask) {
            return Does::Answers(self.identity.clone());
        }
        if is(&self.dialect.errors.ask) {
            return Does::Answers(String::from_utf8_lossy(&self.errors.pop().emit()).into_owned());
        }
        match message.to_ascii_uppercase().as_str() {
            "*OPC?" => return Does::Answers("1".into()),
            "*CLS" => {
                self.errors.clear();
                return Does::Sets;
            }
            "*RST" => {
                let range = self.profile.current.as_ref().and_then(|f| f.ranges.last().cloned());
                self.rate = self.profile.rates.first().cloned().unwrap_or(self.rate.clone());
                self.choose(false, range, world);
                return Does::Sets;
            }
            _ => {}
        }
        if self.dialect.remote.iter().any(|m| m.eq_ignore_ascii_case(message)) {
            self.remote = true;
            return Does::Sets;
        }
        if self.dialect.local.iter().any(|m| m.eq_ignore_ascii_case(message)) {
            self.remote = self.dialect.remote.is_empty();
            return Does::Sets;
        }
        if !self.remote {
            return self.complain(-201);
        }
        self.function(message, world).unwrap_or_else(|| self.complain(-113))
    }

    fn function(&mut self, message: &str, world: &mut World) -> Option<Does> {
        let profile = self.profile.clone();
        for (voltage, function) in [(false, &profile.current), (true, &profile.voltage)] {
            let Some(function) = function else { continue };
            let now = self.measures_voltage == voltage;
            if now && function.range_ask.as_ref().is_some_and(|a| a.eq_ignore_ascii_case(message)) {
                return Some(Does::Answers(self.range.as_ref()?.send.clone()));
            }
            if now && function.trigger.as_ref().is_some_and(|t| t.eq_ignore_ascii_case(message)) {
                self.begun = Some((world.time(), world.charge(), world.volt_seconds()));
                return Some(Does::Sets);
            }
            if now && function.read.eq_ignore_ascii_case(message) {
                if function.trigger.is_none() {
                    self.begun = Some((world.time(), world.charge(), world.volt_seconds()));
                }
                // Asked without a trigger there is nothing fresh to be had (SCPI-99: data corrupt or stale).
                let Some((began, ..)) = self.begun else { return Some(self.complain(-230)) };
                let first = (began + self.rate.integration.0 - world.time()).max(0.0);
                return Some(Does::Measures { first, then: (self.rate.period - self.rate.integration).0 });
            }
            for template in &function.configure {
                let Some(filled) = matches(template, message) else { continue };
                match filled.word {
                    // A message that names the function alone, where ranges have their own.
                    None => self.choose(voltage, function.ranges.last().cloned(), world),
                    Some(word) => {
                        if !template_names_function(template, &profile) && !now {
                            continue;
                        }
                        let Some(range) = chosen(function, &word) else { return Some(self.complain(-222)) };
                        self.choose(voltage, Some(range), world);
                    }
                }
                return Some(Does::Sets);
            }
            for template in &profile.rate {
                let template = template.replace("{function}", &function.function);
                if let Some(word) = matches(&template, message).and_then(|f| f.word) {
                    let Some(rate) = profile.rates.iter().find(|r| r.send.eq_ignore_ascii_case(&word)) else {
                        return Some(self.complain(-222));
                    };
                    self.rate = rate.clone();
                    return Some(Does::Sets);
                }
            }
        }
        None
    }

    /// Somebody's hand at the range key: the highest of its function.
    pub fn by_hand(&mut self, world: &mut World) {
        let function = if self.measures_voltage { &self.profile.voltage } else { &self.profile.current };
        let highest = function.as_ref().and_then(|f| f.ranges.last().cloned());
        self.choose(self.measures_voltage, highest, world);
    }

    fn choose(&mut self, voltage: bool, range: Option<Range>, world: &mut World) {
        self.measures_voltage = voltage;
        self.range = range;
        self.begun = None;
        world.set_shunt(self.shunt());
    }

    /// Ends the measurement in hand and gives its answer.
    pub fn finish(&mut self, world: &World) -> String {
        let (Some((t, charge, volts)), Some(range)) = (self.begun.take(), self.range.as_ref()) else { return "9.91E+37".into() };
        let span = (world.time() - t).max(1e-9);
        let function = if self.measures_voltage { &self.profile.voltage } else { &self.profile.current };
        let Some(function) = function else { return "9.91E+37".into() };
        let truth = match (self.measures_voltage, self.in_series) {
            (false, true) => (world.charge() - charge) / span,
            (true, false) => (world.volt_seconds() - volts) / span,
            // The wrong function for its place: nothing to be seen.
            _ => 0.0,
        };
        let accuracy = &range.accuracy;
        let noise: f64 = self.random.random_range(-1.0..1.0)
            * 0.2
            * accuracy.half_width(0.0, range.full)
            * (0.02 / self.rate.integration.0).sqrt().min(4.0);
        let value =
            truth * (1.0 + self.gain * accuracy.reading.0) + self.gain * 0.3 * accuracy.half_width(0.0, range.full) + noise;
        if self.overloaded || value.abs() > range.full * 1.2 {
            return in_field(function, self.profile.overload.first().cloned().unwrap_or_else(|| scientific(9.9e37)));
        }
        let rounded = (value / range.resolution).round() * range.resolution;
        let unit = match (function.reply.unit, self.measures_voltage) {
            (UnitInReply::None, _) => "",
            (UnitInReply::Checked, true) => " V DC",
            (UnitInReply::Checked, false) => " A DC",
        };
        in_field(function, format!("{}{unit}", scientific(rounded)))
    }
}

/// `+1.23456789E-02`: the form of IEEE 488.2 8.7.4 with a sign.
fn scientific(value: f64) -> String {
    let text = format!("{value:+.8E}");
    match text.split_once('E') {
        Some((mantissa, exponent)) => {
            let (sign, digits) = exponent.strip_prefix('-').map_or(('+', exponent), |d| ('-', d));
            format!("{mantissa}E{sign}{digits:0>2}")
        }
        None => text,
    }
}

fn in_field(function: &Function, text: String) -> String {
    let mut fields = vec!["+0".to_owned(); function.reply.field.max(1) - 1];
    fields.push(text);
    fields.join(",")
}

fn chosen(function: &Function, word: &str) -> Option<Range> {
    let number = word.parse::<f64>().ok();
    function
        .ranges
        .iter()
        .find(|r| {
            r.send.eq_ignore_ascii_case(word)
                || number.is_some_and(|n| r.send.parse::<f64>().is_ok_and(|s| (s - n).abs() <= 1e-9 * n.abs()))
        })
        .cloned()
}

/// Whether a message with a range also says which function is meant.
fn template_names_function(template: &str, profile: &MeterProfile) -> bool {
    let uses = |f: &Option<Function>| f.as_ref().is_some_and(|f| f.configure.iter().any(|t| t == template));
    !(uses(&profile.current) && uses(&profile.voltage))
}
