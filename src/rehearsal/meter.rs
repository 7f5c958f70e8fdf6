//! The stand-in meter: a profile's dialect from the device's side. In series its
//! shunt is part of the circuit, and a reading is the mean over its integration time.

mod orders;

use super::message::Dialogue;
use super::world::{OPEN, World};
use crate::instrument::profile::{Function, MeterProfile, Profile, Range, Rate, UnitInReply};
use crate::plan::{MeterSeat, Quirks, Wiring};
use crate::units::Ohms;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::sync::Arc;

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

    /// Brings its input into the circuit: a shunt with its fuse, or an input of megohms, in
    /// the lead or across the unit as it is wired.
    pub fn wire(&self, world: &mut World) {
        let inside = self.range.as_ref().map_or(Ohms(0.0), |range| range.resistance);
        let fuse = self.range.as_ref().and_then(|range| range.fuse).filter(|_| !self.measures_voltage);
        match self.in_series {
            true if self.quirks.wrong_jack => world.set_meter(OPEN, None, OPEN),
            true => world.set_meter(inside, fuse.map(|fuse| fuse.0), OPEN),
            false if self.measures_voltage && inside.0 > 0.0 => world.set_meter(Ohms(0.0), None, inside),
            // Its leads are in the voltage terminals: for a current it is not there.
            false => world.set_meter(Ohms(0.0), None, OPEN),
        }
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
        self.wire(world);
    }

    /// Ends the measurement in hand and gives its answer.
    fn finish(&mut self, world: &World) -> String {
        let (Some((t, charge, volts)), Some(range)) = (self.begun.take(), self.range.as_ref()) else { return "9.91E+37".into() };
        let span = (world.time() - t).max(1e-9);
        let function = if self.measures_voltage { &self.profile.voltage } else { &self.profile.current };
        let Some(function) = function else { return "9.91E+37".into() };
        let (through, across) = ((world.charge() - charge) / span, (world.volt_seconds() - volts) / span);
        let truth = match (self.measures_voltage, self.in_series) {
            (false, true) => through,
            (true, false) => across,
            // The wrong function for its place: what drops across its input; nothing.
            (true, true) => through * range.resistance.0,
            (false, false) => 0.0,
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
