//! What goes wrong in a run, drawn from its seed.

use crate::support::{BENCH, EVERY, EVERY_UNIT, SHORT, unit};
use rampart::instrument::Role;
use rampart::instrument::profile::SHIPPED;
use rampart::link::fault::{Kind, Schedule};
use rampart::plan::{PowerOn, Quirks};
use rampart::rehearsal::Rig;
use rampart::units::{Amperes, Ratio, Seconds, Volts};
use rand::seq::IndexedRandom;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// A leakage sweep, and a log after it.
const SWEEP: &str = r#"
title = "sweep"
[unit]
name = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[[stage]]
do = "leakage"
part = { name = "C1", kind = "aluminium", capacitance = "10 uF", rated = "16 V" }
voltages = ["2 V", "5 V"]
series = "1 kohm"
electrify = "10 s"
every = "1 s"
limit = "20 uA"
[[stage]]
do = "ask"
say = "The unit again."
connect = "unit"
[[stage]]
do = "log"
voltage = "9 V"
limit = "60 mA"
for = "2 s"
every = "200 ms"
"#;

const PART: &str = "[part.C1]\ncapacitance = \"10 uF\"\ninsulation = \"40 kohm\"\nseries = \"1 kohm\"\n";

/// What can be done to the bench while a run goes on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Act {
    IgnoreOff,
    IgnoreOffOnce,
    TripProtection,
    UnplugSupply,
    UnplugMeter,
    Overload,
    /// The supply restarts, with its output off.
    Restart,
    /// The supply restarts, and its output comes back as it was.
    RestartOn,
    FloodErrors,
    Clip,
    StickReadback,
    HideLimiting,
    TurnVoltage,
    TurnLimit,
    TurnMeter,
    PressOff,
    PressOn,
    Disconnect,
    /// The computer sleeps for ten minutes.
    Sleep,
    /// The wall clock is set back by an hour.
    SetClock,
    /// The record can no longer be written.
    BreakRecord,
}

const ACTS: [Act; 21] = [
    Act::IgnoreOff,
    Act::IgnoreOffOnce,
    Act::TripProtection,
    Act::UnplugSupply,
    Act::UnplugMeter,
    Act::Overload,
    Act::Restart,
    Act::RestartOn,
    Act::FloodErrors,
    Act::Clip,
    Act::StickReadback,
    Act::HideLimiting,
    Act::TurnVoltage,
    Act::TurnLimit,
    Act::TurnMeter,
    Act::PressOff,
    Act::PressOn,
    Act::Disconnect,
    Act::Sleep,
    Act::SetClock,
    Act::BreakRecord,
];

/// What acts on the computer and not on the bench.
#[derive(Default)]
pub struct Computer {
    pub slept: Arc<AtomicU64>,
    pub set_back: Arc<AtomicU64>,
    /// Somebody else's hand on the record.
    pub other: Option<rusqlite::Connection>,
}

impl Act {
    pub fn perform(self, rig: &Rig, folder: &Path, computer: &mut Computer) {
        match self {
            Act::IgnoreOffOnce => rig.quirk(Role::Supply, |q| q.ignores_off = 1),
            Act::Restart => rig.reboot_supply(),
            Act::RestartOn => {
                rig.by_hand(|panel| panel.power_on = PowerOn::Last);
                rig.reboot_supply();
                rig.by_hand(|panel| panel.power_on = PowerOn::Off);
            }
            Act::FloodErrors => rig.flood_errors(),
            Act::Clip => rig.quirk(Role::Supply, |q| q.sets_less = Ratio(0.1)),
            Act::StickReadback => rig.quirk(Role::Supply, |q| q.stuck = true),
            Act::HideLimiting => rig.quirk(Role::Supply, |q| q.hides_limiting = true),
            Act::TurnVoltage => rig.turn(Some(Volts(3.0)), None, None),
            Act::TurnLimit => rig.turn(None, Some(Amperes(0.02)), None),
            Act::TurnMeter => rig.turn_meter(&rampart::plan::Turn::Highest),
            Act::PressOff => rig.turn(None, None, Some(false)),
            Act::PressOn => rig.turn(None, None, Some(true)),
            Act::Disconnect => rig.connect("C1").unwrap(),
            Act::Sleep => drop(computer.slept.fetch_add(600_000, Ordering::Relaxed)),
            Act::SetClock => drop(computer.set_back.fetch_add(3_600_000, Ordering::Relaxed)),
            Act::BreakRecord if computer.other.is_none() => {
                let other = rusqlite::Connection::open(folder.join("run.sqlite")).unwrap();
                // Between two of the run's own transactions: if not now, then not in this run.
                other.busy_timeout(Duration::ZERO).unwrap();
                if other.execute_batch("BEGIN IMMEDIATE").is_ok() {
                    computer.other = Some(other);
                }
            }
            Act::BreakRecord => {}
            Act::IgnoreOff => rig.quirk(Role::Supply, |q| q.ignores_off = u32::MAX),
            Act::TripProtection => rig.trip_protection(),
            Act::UnplugSupply => rig.unplug(Role::Supply, true),
            Act::UnplugMeter => rig.unplug(Role::Meter, true),
            Act::Overload => rig.quirk(Role::Meter, |q| q.overloaded = true),
        }
    }

    /// Whether it can keep the supply from being verified off.
    pub fn is_at_supply(self) -> bool {
        matches!(self, Act::IgnoreOff | Act::UnplugSupply | Act::StickReadback)
    }
}

const WIRE: [Kind; 16] = [
    Kind::ByteDropped,
    Kind::ByteChanged,
    Kind::ByteDoubled,
    Kind::Late(Duration::from_millis(700)),
    Kind::Late(Duration::from_millis(1300)),
    Kind::Late(Duration::from_millis(4500)),
    Kind::Lost,
    Kind::Joined,
    Kind::Garbled,
    Kind::Doubled,
    Kind::Split,
    Kind::FromAnother,
    Kind::Closed,
    Kind::Reset,
    Kind::HalfOpen,
    Kind::Unsent,
];

/// How many different things can be injected: each fault of a wire at each of two
/// wires, and each act.
pub const KINDS: usize = 2 * WIRE.len() + ACTS.len();

/// One run, and what will go wrong in it.
#[derive(Clone, Debug)]
pub struct Scenario {
    pub seed: u64,
    pub plan: &'static str,
    pub bench: String,
    pub unit: String,
    pub supply: (Quirks, Schedule),
    pub meter: (Quirks, Schedule),
    /// By the number of the look.
    pub acts: Vec<(usize, Act)>,
    pub stop: Option<f64>,
    /// How often a dropped link is refused before it is there again; none: it never is.
    pub refusals: Option<u32>,
    /// Bench time where nothing goes wrong, about.
    pub planned: f64,
}

impl Scenario {
    pub fn draw(seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let sweep = random.random_bool(0.25);
        let supply_alone = !sweep && random.random_bool(0.1);
        let board = [
            "",
            "",
            "",
            "latch_up = { chance = \"30 %\", current = \"300 mA\" }",
            "short = { above = \"4 V\", resistance = \"10 ohm\" }",
        ];
        let board = board.choose(&mut random).copied().unwrap_or_default();
        let mut made = Self {
            seed,
            plan: if sweep { SWEEP } else { SHORT },
            bench: if supply_alone { BENCH.split("[meter]").next().unwrap_or_default().to_owned() } else { BENCH.to_owned() },
            unit: unit(board) + "\n" + PART,
            supply: (quirks(&mut random), Schedule::new()),
            meter: (quirks(&mut random), Schedule::new()),
            acts: Vec::new(),
            stop: random.random_bool(0.15).then(|| random.random_range(0.0..if sweep { 30.0 } else { 9.0 })),
            refusals: [None, Some(0), Some(0), Some(2), Some(99)].choose(&mut random).copied().flatten(),
            planned: if sweep { 30.0 } else { 9.0 },
        };
        if random.random_bool(0.1) {
            made.any_dialect(&mut random);
        }
        for _ in 0..random.random_range(0..4) {
            match random.random_range(0..4) {
                0 => drop(made.supply.1.insert(random.random_range(1..300), wire(&mut random))),
                1 => drop(made.meter.1.insert(random.random_range(1..150), wire(&mut random))),
                _ => {
                    let act = ACTS.choose(&mut random).copied().unwrap_or(Act::IgnoreOff);
                    made.acts.push((random.random_range(1..70), act));
                }
            }
        }
        made
    }

    /// Any two of the shipped dialects, through every kind of stage.
    fn any_dialect(&mut self, random: &mut impl Rng) {
        let mut any = |kind: &str| {
            let names: Vec<&str> = SHIPPED.iter().map(|(name, _)| *name).filter(|name| name.starts_with(kind)).collect();
            names.choose(random).copied().unwrap_or_default()
        };
        let (supply, meter) = (any("supply"), any("meter"));
        self.bench = format!("[supply]\nprofile = \"{supply}\"\n[meter]\nprofile = \"{meter}\"\nwired = \"in series\"\n");
        self.unit = EVERY_UNIT.to_owned();
        self.plan = EVERY;
        self.planned = 500.0;
        self.stop = self.stop.map(|at| at * 20.0);
    }

    pub fn supply_misbehaves(&self) -> bool {
        misbehaves(&self.supply.0)
    }

    pub fn meter_misbehaves(&self) -> bool {
        misbehaves(&self.meter.0)
    }
}

fn misbehaves(quirks: &Quirks) -> bool {
    quirks.silent_after.is_some() || quirks.hangs_up_after.is_some() || quirks.slower.0 > 0.0
}

fn quirks(random: &mut impl Rng) -> Quirks {
    let mut made = Quirks::default();
    match random.random_range(0..30) {
        0 => made.silent_after = Some(random.random_range(1..400)),
        1 => made.hangs_up_after = Some(random.random_range(1..400)),
        2 => made.slower = Seconds(random.random_range(0.01..0.5)),
        _ => {}
    }
    made
}

fn wire(random: &mut impl Rng) -> Kind {
    WIRE.choose(random).copied().unwrap_or(Kind::Lost)
}
