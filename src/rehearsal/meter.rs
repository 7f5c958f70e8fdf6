//! The stand-in meter: a profile's dialect from the device's side. In series its
//! shunt is part of the circuit, and a reading is the mean over its integration time.

mod orders;

use super::message::Dialogue;
use super::world::World;
use crate::instrument::profile::{Function, MeterProfile, Profile, Range, Rate, UnitInReply};
use crate::plan::{MeterSeat, Quirks, Wiring};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

/// Between the lead and a jack that leads nowhere, in ohms.
const NOWHERE: f64 = 1e9;

/// The stand-in.
pub struct MeterDevice {
    profile: Arc<MeterProfile>,
    dialogue: Dialogue,
    in_series: bool,
    measures_voltage: bool,
    range: Option<Range>,
    rate: Rate,
    gain: f64,
    random: ChaCha8Rng,
    /// Time, charge and volt-seconds at the beginning of the measurement in hand.
    begun: Option<(f64, f64, f64)>,
    /// What was measured last, with function and range as they are.
    latest: Option<String>,
    /// What it does beside its dialect.
    pub quirks: Arc<Quirks>,
}

impl MeterDevice {
    /// As it is after power-on: its highest current range.
    pub fn new(dialect: &Profile, profile: &MeterProfile, seat: &MeterSeat, seed: u64) -> Self {
        let quirks = Arc::new(seat.standin.clone());
        let serial = seat.serial.as_deref().unwrap_or("M0001");
        let in_series = seat.wired == Wiring::InSeries;
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
            dialogue: Dialogue::new(dialect, serial, &quirks),
            in_series,
            measures_voltage: false,
            rate,
            gain,
            random,
            begun: None,
            latest: None,
            quirks,
        }
    }

    /// The shunt that it puts into the lead, in ohms.
    pub fn shunt(&self) -> f64 {
        if self.in_series && self.quirks.wrong_jack {
            return NOWHERE;
        }
        if self.in_series && !self.measures_voltage { self.range.as_ref().map_or(0.0, |r| r.resistance.0) } else { 0.0 }
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
    fn finish(&mut self, world: &World) -> String {
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
        if self.quirks.overloaded || value.abs() > range.full * 1.2 {
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
