//! The circuit on the bench: the supply's output, leads, the meter's input, and what is
//! connected, in one circuit that the solver moves on when somebody looks.
//!
//! What is taken off the bench is discharged by hand; what is connected begins without
//! charge, in a circuit of its own. A circuit that cannot be solved stands still from
//! there on, and says why.

mod electrics;
mod hiss;
mod lead;
mod output;
mod wiring;

pub use electrics::{Counts, Electrics, Guards, Loops, Noise, Over, Sense, Source};
pub use wiring::{Input, OPEN, Thing};

use super::unit::Fixture;
use crate::plan::CLEANED;
use crate::units::{Ohms, Seconds};
use hiss::Hiss;
use output::Output;
use std::collections::BTreeMap;
use wiring::Wired;

/// The circuit.
pub struct World {
    things: BTreeMap<String, Thing>,
    connected: String,
    fixture: Option<Fixture>,
    /// How often something was put into it since it was clean.
    insertions: u32,
    /// How often something was connected.
    turn: u64,
    seed: u64,
    electrics: Electrics,
    source: Source,
    guards: Guards,
    hiss: Option<Hiss>,
    leads: Ohms,
    /// What the meter is in the circuit.
    input: Input,
    live: Option<Wired>,
    failure: Option<String>,
    time: f64,
    /// Bench time at which the circuit that is there began.
    since: f64,
    /// Charge through the lead, volt-seconds at the unit and steps, of circuits before.
    before: (f64, f64, u64),
}

/// What can be seen from outside.
#[derive(Clone, Copy, Debug, Default)]
pub struct Seen {
    /// At the supply's terminals, in volts.
    pub terminal: f64,
    /// Out of the supply, in amperes; negative when it takes current back.
    pub current: f64,
    /// Whether the supply limits the current.
    pub limiting: bool,
    /// At the unit, in volts.
    pub unit: f64,
}

impl World {
    /// With `unit` of the `things` connected, through these leads.
    pub fn new(
        things: BTreeMap<String, Thing>,
        unit: &str,
        leads: Ohms,
        electrics: Electrics,
        source: Source,
        seed: u64,
    ) -> Self {
        let mut world = Self {
            things,
            connected: unit.to_owned(),
            fixture: None,
            insertions: 0,
            turn: 0,
            seed,
            electrics,
            source,
            guards: Guards { voltage: None, current: None },
            hiss: electrics.noise.map(|noise| Hiss::new(noise, seed ^ 0x4E01_5E00)),
            leads,
            input: Input::default(),
            live: None,
            failure: None,
            time: 0.0,
            since: 0.0,
            before: (0.0, 0.0, 0),
        };
        world.build();
        world
    }

    /// One more thing that can be connected: a resistor.
    pub fn add_load(&mut self, name: &str, resistance: Ohms) {
        self.things.entry(name.to_owned()).or_insert(Thing::Resistor(resistance));
    }

    /// The fixture that parts are put into from now on.
    pub fn set_fixture(&mut self, fixture: Option<Fixture>) {
        self.fixture = fixture;
    }

    /// How often something was put into the fixture since it was clean.
    pub fn insertions(&self) -> u32 {
        self.insertions
    }

    /// It has been used so often before.
    pub fn used_before(&mut self, insertions: u32) {
        self.insertions = insertions;
    }

    /// What the fixture has across a part.
    fn dirt(&self) -> Option<Ohms> {
        let fixture = self.fixture?;
        let paths = self.insertions.saturating_sub(fixture.after);
        (paths > 0).then(|| fixture.each / f64::from(paths))
    }

    /// Connects a part, or the board again. The one that was connected is
    /// discharged by hand. A part that is put into a fixture again makes contact anew.
    ///
    /// # Errors
    /// In words: there is no such part.
    pub fn connect(&mut self, unit: &str, what: &str) -> Result<(), String> {
        if what == CLEANED {
            if self.fixture.is_some_and(|f| f.comes_clean) {
                self.insertions = 0;
            }
            return Ok(());
        }
        // Where the unit file has no lot, every part of one is like its unit.
        let numbered = what.parse::<u32>().is_ok() && !self.things.contains_key(what);
        let what = if numbered && !self.things.contains_key("1") { unit } else { what };
        let part = matches!(self.things.get(what), Some(Thing::Part(..)));
        let inserted = part && self.fixture.is_some();
        if what == self.connected && !inserted && !numbered {
            return Ok(());
        }
        self.insertions += u32::from(inserted);
        if !self.things.contains_key(what) {
            let parts = self.things.keys().map(String::as_str).filter(|name| *name != unit);
            let known: Vec<&str> = std::iter::once(unit).chain(parts).collect();
            return Err(format!("there is no {what:?} to connect; known: {}", known.join(", ")));
        }
        what.clone_into(&mut self.connected);
        self.build();
        Ok(())
    }

    /// What is connected.
    pub fn connected(&self) -> &str {
        &self.connected
    }

    /// Why the circuit could not be solved, and stands still.
    pub fn failure(&self) -> Option<&str> {
        self.failure.as_deref()
    }

    /// A new circuit around what is connected, from now on.
    fn build(&mut self) {
        let melted = self.live.as_ref().map(Wired::melted).unwrap_or_default();
        self.before = (self.charge(), self.volt_seconds(), self.steps());
        (self.since, self.turn, self.live) = (self.time, self.turn + 1, None);
        let Some(thing) = self.things.get(&self.connected) else { return };
        let seed = self.seed ^ self.turn.wrapping_mul(0x9E37_79B9_7F4A_7C15);
        match Wired::new(thing, self.dirt(), self.electrics, self.source, melted, seed) {
            Ok(live) => self.live = Some(live),
            Err(failure) => self.failure = Some(format!("{} on the bench: {failure}", self.connected)),
        }
        self.wire_meter();
        self.bring_output();
    }

    fn wire_meter(&mut self) {
        if let Some(live) = &mut self.live {
            live.set_meter(self.leads, self.input);
        }
    }

    fn bring_output(&mut self) {
        let (source, guards) = (self.source, self.guards);
        if let Some(live) = &mut self.live {
            live.set_output(source, guards);
        }
    }

    /// Changes the supply's output and its protections, from now on.
    pub fn set_output(&mut self, source: Source, guards: Guards) {
        if (source, guards) != (self.source, self.guards) {
            (self.source, self.guards) = (source, guards);
            self.bring_output();
        }
    }

    /// What has tripped since the output was switched on, and when.
    pub fn tripped(&self) -> Option<(Over, f64)> {
        let (over, at) = self.live.as_ref()?.output()?.tripped()?;
        Some((over, self.since + at))
    }

    /// Changes what the meter is in the circuit, from now on.
    pub fn set_meter(&mut self, input: Input) {
        if input != self.input {
            self.input = input;
            self.wire_meter();
        }
    }

    /// The fuse in the lead melts, where there is one.
    pub fn melt_fuse(&mut self) {
        if let Some(live) = &mut self.live {
            live.melt_fuse();
        }
    }

    /// What can be seen now.
    pub fn see(&self) -> Seen {
        self.live.as_ref().map(Wired::see).unwrap_or_default()
    }

    /// Moves on to a moment, in seconds.
    pub fn advance(&mut self, to: f64) {
        let (from, to) = (self.time, self.time.max(to));
        let levels = match &mut self.hiss {
            Some(hiss) if self.live.as_ref().and_then(Wired::output).is_some_and(Output::is_on) => hiss.levels(from, to),
            _ => Vec::new(),
        };
        for (at, volts) in levels {
            self.move_on(at);
            if let Some(live) = &mut self.live {
                live.stir(volts);
            }
        }
        self.move_on(to);
    }

    fn move_on(&mut self, to: f64) {
        self.time = to;
        if self.failure.is_some() {
            return;
        }
        if let Some(live) = &mut self.live
            && let Err(failure) = live.circuit.advance(Seconds(self.time - self.since))
        {
            self.failure = Some(format!("{} on the bench: {failure}", self.connected));
        }
    }

    /// Now, in seconds.
    pub fn time(&self) -> f64 {
        self.time
    }

    /// Charge through the lead so far, in coulombs.
    pub fn charge(&self) -> f64 {
        self.before.0 + self.live.as_ref().map_or(0.0, Wired::charge)
    }

    /// Volt-seconds at the unit so far.
    pub fn volt_seconds(&self) -> f64 {
        self.before.1 + self.live.as_ref().map_or(0.0, Wired::volt_seconds)
    }

    /// Steps that the solver has taken so far.
    pub fn steps(&self) -> u64 {
        self.before.2 + self.live.as_ref().map_or(0, |live| live.circuit.effort().steps)
    }
}
