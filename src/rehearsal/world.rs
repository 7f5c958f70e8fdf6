//! The circuit: supply output, leads, the meter's shunt, and what is connected.
//! Moves on only when somebody looks; steps are small where much changes.

use super::board::Live;
use super::leaky::Part;
use crate::instrument::profile::OffState;
use std::collections::BTreeMap;

/// Resistance that a supply presents when it has to take current back.
const SINK: f64 = 50.0;
/// Resistance that holds an output at zero volts when it is off.
const HOLD: f64 = 1.0;
/// Longest step while the output rises or falls, in seconds.
const SLEWING: f64 = 2e-4;
/// Largest change of the voltage in one step, in volts and as a share.
const CHANGE: (f64, f64) = (0.004, 0.01);

/// The supply's output as the circuit sees it.
#[derive(Clone, Copy, Debug)]
pub struct Source {
    /// Whether it is on.
    pub on: bool,
    /// Volts when on.
    pub voltage: f64,
    /// Amperes at most.
    pub limit: f64,
    /// What it is when off.
    pub off: OffState,
    /// Volts per second, up and down.
    pub slew: (f64, f64),
}

/// What is connected.
enum Load {
    Board(Box<Live>),
    Part { part: Box<Part>, series: f64 },
}

/// The circuit.
pub struct World {
    time: f64,
    step: f64,
    source: Source,
    /// Volts that the output has reached on its way to the set voltage.
    level: f64,
    /// Leads, and the shunt of a meter in series.
    leads: f64,
    shunt: f64,
    board: Option<Box<Live>>,
    parts: BTreeMap<String, (Part, f64)>,
    load: Load,
    connected: String,
    /// Charge through the lead so far, volt-seconds at the unit so far.
    charge: f64,
    volt_seconds: f64,
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
    /// With the board connected.
    pub fn new(board: Live, unit: &str, parts: BTreeMap<String, (Part, f64)>, leads: f64, off: OffState) -> Self {
        let source = Source { on: false, voltage: 0.0, limit: 0.0, off, slew: (1e4, 1e4) };
        Self {
            time: 0.0,
            step: 1e-5,
            source,
            level: 0.0,
            leads,
            shunt: 0.0,
            board: None,
            parts,
            load: Load::Board(Box::new(board)),
            connected: unit.to_owned(),
            charge: 0.0,
            volt_seconds: 0.0,
        }
    }

    /// One more thing that can be connected, behind a resistor.
    pub fn add_part(&mut self, name: &str, part: Part, series: f64) {
        self.parts.entry(name.to_owned()).or_insert((part, series));
    }

    /// Connects a part, or the board again. The one that was connected is
    /// discharged by hand.
    ///
    /// # Errors
    /// In words: there is no such part.
    pub fn connect(&mut self, unit: &str, what: &str) -> Result<(), String> {
        if what == self.connected {
            return Ok(());
        }
        let next = if what == unit {
            self.board.take().map(Load::Board)
        } else {
            self.parts.get(what).map(|(part, series)| Load::Part { part: Box::new(part.clone()), series: *series })
        };
        let Some(next) = next else {
            let known: Vec<&str> = self.parts.keys().map(String::as_str).collect();
            return Err(format!("there is no {what:?} to connect; known: {unit}, {}", known.join(", ")));
        };
        if let Load::Board(mut board) = std::mem::replace(&mut self.load, next) {
            board.put_away();
            self.board = Some(board);
        }
        what.clone_into(&mut self.connected);
        self.step = 1e-5;
        Ok(())
    }

    /// What is connected.
    pub fn connected(&self) -> &str {
        &self.connected
    }

    /// Changes the supply's output, from now on.
    pub fn set_source(&mut self, source: Source) {
        if source.on && !self.source.on {
            // It takes over what voltage it finds at its terminals.
            self.level = self.see().terminal.clamp(0.0, source.voltage);
        } else if !source.on && source.off != OffState::ZeroVolts {
            self.level = 0.0;
        }
        self.source = source;
        self.step = 1e-5;
    }

    /// Where the output's level is going.
    fn goal(&self) -> f64 {
        if self.source.on { self.source.voltage } else { 0.0 }
    }

    fn slew(&mut self, h: f64) {
        let (up, down) = self.source.slew;
        self.level += (self.goal() - self.level).clamp(-down * h, up * h);
    }

    /// Changes the shunt in the lead, from now on.
    pub fn set_shunt(&mut self, ohms: f64) {
        self.shunt = ohms;
        self.step = self.step.min(1e-4);
    }

    fn resistance(&self) -> f64 {
        // A supply's output is never quite without resistance.
        let fixture = match &self.load {
            Load::Board(_) => 0.0,
            Load::Part { series, .. } => *series,
        };
        self.leads + self.shunt + fixture + 0.01
    }

    fn unit_voltage(&self) -> f64 {
        match &self.load {
            Load::Board(board) => board.voltage,
            Load::Part { part, .. } => part.voltage,
        }
    }

    /// What can be seen now.
    pub fn see(&self) -> Seen {
        let (unit, r) = (self.unit_voltage(), self.resistance());
        let (emf, inner, limiting) = self.feed();
        let current = match emf {
            Some(emf) if limiting => self.source.limit.min((emf - unit) / (r + inner)),
            Some(emf) => (emf - unit) / (r + inner),
            None => 0.0,
        };
        Seen { terminal: unit + current * r, current, limiting, unit }
    }

    /// The source as electromotive force behind a resistance; whether it limits.
    fn feed(&self) -> (Option<f64>, f64, bool) {
        let unit = self.unit_voltage();
        if self.source.on {
            if unit > self.level {
                return (Some(self.level), SINK, false);
            }
            let limiting = (self.level - unit) / self.resistance() > self.source.limit;
            return (Some(self.level), 0.0, limiting);
        }
        match self.source.off {
            OffState::Open => (None, 0.0, false),
            OffState::Bleeder(ohms) => (Some(0.0), ohms.0, false),
            OffState::ZeroVolts => (Some(self.level.min(unit)), HOLD, false),
        }
    }

    /// Moves on to a moment, in seconds.
    pub fn advance(&mut self, to: f64) {
        while self.time < to {
            let longest = match &self.load {
                Load::Board(board) => board.longest_step(),
                Load::Part { part, .. } => part.longest_step(),
            };
            let longest = if self.level == self.goal() { longest } else { longest.min(SLEWING) };
            let h = self.step.min(longest).min(to - self.time).max(1e-7);
            self.slew(h);
            let before = self.unit_voltage();
            let current = self.take_step(h);
            let change = (self.unit_voltage() - before).abs();
            let allowed = CHANGE.0 + CHANGE.1 * before.abs();
            self.step = if change > allowed { (h * 0.5).max(2e-6) } else { (h * 1.5).min(0.02) };
            self.charge += current * h;
            self.volt_seconds += 0.5 * (before + self.unit_voltage()) * h;
            self.time += h;
        }
    }

    /// One step; returns the current through the lead in it.
    fn take_step(&mut self, h: f64) -> f64 {
        let r = self.resistance();
        let (emf, inner, limiting) = self.feed();
        let limit = self.source.limit;
        match &mut self.load {
            Load::Part { part, .. } => match emf {
                // Behind its resistor a part hardly ever drives the supply into limiting; a source of current then.
                Some(emf) if limiting => part.step(h, part.voltage + limit.min(emf / r) * r, r),
                Some(emf) => part.step(h, emf, r + inner),
                None => part.step(h, part.voltage, 1e12),
            },
            Load::Board(board) => {
                let before = board.voltage;
                let (feed, conductance) = match emf {
                    Some(_) if limiting => (limit, 0.0),
                    Some(emf) => ((emf - before) / (r + inner), 1.0 / (r + inner)),
                    None => (0.0, 0.0),
                };
                board.step(h, feed, conductance);
                let feed = if limiting { feed - board.hold_to(self.level, h) } else { feed };
                feed - conductance * (board.voltage - before)
            }
        }
    }

    /// Now, in seconds.
    pub fn time(&self) -> f64 {
        self.time
    }

    /// Charge through the lead so far, in coulombs.
    pub fn charge(&self) -> f64 {
        self.charge
    }

    /// Volt-seconds at the unit so far.
    pub fn volt_seconds(&self) -> f64 {
        self.volt_seconds
    }
}
