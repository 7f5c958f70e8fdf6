//! The stand-in meter: a profile's dialect from the device's side. In series its
//! shunt is part of the circuit, across the unit its input is.
//!
//! Leaves to others: what it does in time (`converter`), what comes on top of what it
//! measures (`disturbances`), how a reading is made and said (`reading`), messages
//! (`orders`, `settings`), hands (`hands`).
//! Holds always: a reading is the mean over its integration time, wherever between two
//! looks that lies.

mod converter;
mod disturbances;
mod hands;
mod orders;
mod reading;
mod settings;

use super::message::Dialogue;
use super::world::{Input, OPEN, World};
use crate::instrument::profile::{Function, LINE_CYCLE, MeterProfile, Profile, Range, Rate};
use crate::plan::{AutoRange, Holds, MeterSeat, Quirks, Wiring};
use crate::units::{Farads, Ohms, Seconds};
use converter::Converter;
use disturbances::Disturbances;
use hands::Jack;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use reading::Shown;
use settings::Settings;
use std::sync::Arc;

/// Nothing integrates over less, in seconds.
const SHORTEST: f64 = 1e-6;

/// The stand-in.
pub struct MeterDevice {
    profile: Arc<MeterProfile>,
    dialogue: Dialogue,
    in_series: bool,
    measures_voltage: bool,
    range: Option<Range>,
    rate: Rate,
    settings: Settings,
    jack: Jack,
    gain: f64,
    random: ChaCha8Rng,
    disturbances: Disturbances,
    converter: Converter,
    /// What was measured last, with function and range as they are, and what before.
    readings: Vec<Shown>,
    before: Vec<Shown>,
    /// Nothing has been triggered since somebody asked for what was.
    is_collected: bool,
    /// How many of the hands have been at it.
    hands: usize,
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
        let rate = profile.rates.first().cloned();
        let rate = rate.unwrap_or(Rate { integration: LINE_CYCLE, period: LINE_CYCLE, send: String::new() });
        Self {
            range: profile.current.as_ref().and_then(|f| f.ranges.last().cloned()),
            profile: Arc::new(profile.clone()),
            dialogue: Dialogue::new(dialect, serial, &quirks),
            in_series,
            measures_voltage: false,
            rate,
            settings: Settings::at_power_on(&quirks),
            jack: Jack::Right,
            gain,
            random,
            disturbances: Disturbances::drawn(seed),
            converter: Converter::default(),
            readings: Vec::new(),
            before: Vec::new(),
            is_collected: true,
            hands: 0,
            quirks,
        }
    }

    /// Brings its input into the circuit: a shunt with its fuse, or an input of megohms, in
    /// the lead or across the unit as it is wired.
    pub fn wire(&self, world: &mut World) {
        let nothing = Input::default();
        let inside = self.range.as_ref().map_or(Ohms(0.0), |range| range.resistance);
        let fits = self.range.as_ref().is_none_or(|range| self.is_plugged_for(range));
        let fuse = self.range.as_ref().and_then(|range| range.fuse).filter(|_| !self.measures_voltage);
        let input = match self.in_series {
            true if !fits => Input { series: OPEN, ..nothing },
            true => Input { series: inside, fuse: fuse.map(|fuse| fuse.0), ..nothing },
            // A shunt across the unit, whatever the function is: its lead is there.
            false if self.shunt_across().is_some() => Input { across: self.shunt_across().unwrap_or(OPEN), ..nothing },
            false if fits && self.measures_voltage && inside.0 > 0.0 => {
                Input { across: inside, capacitance: self.quirks.input.capacitance.max(Farads(0.0)), ..nothing }
            }
            // Its leads are in the voltage terminals: for a current it is not there.
            false => nothing,
        };
        world.set_meter(input);
    }

    /// The shunt that lies across the unit where the lead is in a terminal for currents.
    fn shunt_across(&self) -> Option<Ohms> {
        let Jack::In(terminal) = &self.jack else { return None };
        let is_there = |range: &&Range| range.terminal.as_ref() == Some(terminal);
        let in_force = self.range.as_ref().filter(|r| !self.measures_voltage && is_there(r));
        let known = self.profile.current.iter().flat_map(|f| &f.ranges).find(is_there);
        in_force.or(known).map(|range| range.resistance)
    }

    fn described(&self, voltage: bool) -> Option<&Function> {
        if voltage { self.profile.voltage.as_ref() } else { self.profile.current.as_ref() }
    }

    /// The ranges of the function in force, lowest first.
    fn ranges(&self) -> &[Range] {
        self.described(self.measures_voltage).map_or(&[], |f| &f.ranges)
    }

    fn choose(&mut self, voltage: bool, range: Option<Range>, world: &mut World) {
        self.measures_voltage = voltage;
        self.range = range;
        self.wire(world);
    }

    /// How it chooses its range by itself, where it does.
    fn auto_range(&self) -> Option<AutoRange> {
        let auto = self.quirks.auto_range.unwrap_or_default();
        let always = self.quirks.auto_range.is_some() && auto.holds == Holds::Always;
        (self.settings.auto_range || always).then_some(auto)
    }

    fn is_continuous(&self) -> bool {
        self.settings.continuous || self.quirks.free_running
    }

    /// Over how long it integrates: line cycles are those of the mains that it takes there
    /// to be.
    fn aperture(&self) -> f64 {
        let integration = self.rate.integration.0.max(SHORTEST);
        match self.quirks.line {
            // At 400 Hz eight of them, since one alone would be short (handbooks of bench meters).
            Some(line) if self.profile.counts_cycles() && line.0 < 200.0 => self.rate.integration.0 / (LINE_CYCLE.0 * line.0),
            _ => integration,
        }
    }

    /// How many integrations were carried out.
    #[cfg(test)]
    pub fn carried_out(&self) -> u64 {
        self.converter.carried_out
    }

    /// What it takes beside integrating until it can begin anew.
    fn rest(&self) -> Seconds {
        self.rate.period - self.rate.integration
    }
}
