//! What goes wrong in a run, drawn from its seed.

use crate::support::{BENCH, EVERY, EVERY_UNIT, SHORT, unit};
use rampart::instrument::Role;
use rampart::instrument::profile::SHIPPED;
use rampart::link::fault::{Kind, Schedule};
use rampart::rehearsal::{Quirks, Rig};
use rampart::units::Seconds;
use rand::seq::IndexedRandom;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
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
    TripProtection,
    UnplugSupply,
    UnplugMeter,
    Overload,
}

const ACTS: [Act; 5] = [Act::IgnoreOff, Act::TripProtection, Act::UnplugSupply, Act::UnplugMeter, Act::Overload];

impl Act {
    pub fn perform(self, rig: &Rig) {
        match self {
            Act::IgnoreOff => rig.ignore_off(),
            Act::TripProtection => rig.trip_protection(),
            Act::UnplugSupply => rig.unplug(Role::Supply, true),
            Act::UnplugMeter => rig.unplug(Role::Meter, true),
            Act::Overload => rig.overload(true),
        }
    }

    /// Whether it can keep the supply from being verified off.
    pub fn is_at_supply(self) -> bool {
        matches!(self, Act::IgnoreOff | Act::UnplugSupply)
    }
}

const WIRE: [Kind; 11] = [
    Kind::ByteDropped,
    Kind::ByteChanged,
    Kind::ByteDoubled,
    Kind::Late(Duration::from_millis(700)),
    Kind::Late(Duration::from_millis(1300)),
    Kind::Late(Duration::from_millis(4500)),
    Kind::Lost,
    Kind::Joined,
    Kind::Garbled,
    Kind::Closed,
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
            planned: if sweep { 30.0 } else { 9.0 },
        };
        if random.random_bool(0.1) {
            made.any_dialect(&mut random);
        }
        for _ in 0..random.random_range(0..4) {
            match random.random_range(0..3) {
                0 => drop(made.supply.1.insert(random.random_range(1..300), wire(&mut random))),
                1 => drop(made.meter.1.insert(random.random_range(1..150), wire(&mut random))),
                _ => {
                    let act = ACTS.choose(&mut random).copied().unwrap_or(Act::IgnoreOff);
                    made.acts.push((random.random_range(1..120), act));
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
    quirks.silent_after.is_some() || quirks.hang_up_after.is_some() || quirks.slower.0 > 0.0
}

fn quirks(random: &mut impl Rng) -> Quirks {
    let mut made = Quirks { strict_gap: true, ..Quirks::default() };
    match random.random_range(0..30) {
        0 => made.silent_after = Some(random.random_range(1..400)),
        1 => made.hang_up_after = Some(random.random_range(1..400)),
        2 => made.slower = Seconds(random.random_range(0.01..0.5)),
        _ => {}
    }
    made
}

fn wire(random: &mut impl Rng) -> Kind {
    WIRE.choose(random).copied().unwrap_or(Kind::Lost)
}
