//! What a stand-in meter is like behind its input: hum, its own range, its zero, its
//! noise, and the hands at its keys.
//!
//! Keys of `standin = { … }` of the bench file's meter, as those of `quirks`; described
//! in `scripts/README.md`. Leaves to others: doing it (`rehearsal`).

use super::quirks::{Quirks, Switch};
use crate::document::Table;
use crate::instrument::profile::{Function, MeterProfile};
use crate::units::{Amperes, Farads, Hertz, Quantity, Ratio, Seconds, Unit, Volts, parse_as};

/// What the mains put on top of what is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hum {
    /// Peak, where a current is measured.
    pub current: Amperes,
    /// Peak, where a voltage is measured.
    pub voltage: Volts,
    /// Of the mains, as they should be.
    pub frequency: Hertz,
    /// By how much they are faster.
    pub off_by: Ratio,
}

/// A range that the meter chooses by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AutoRange {
    /// Whether a range that was asked for holds.
    pub holds: Holds,
    /// Above this share of the range in force it goes up.
    pub up: Ratio,
    /// Below this share it goes down.
    pub down: Ratio,
    /// How long one change takes; nothing is measured meanwhile.
    pub gap: Seconds,
}

/// Until when a meter chooses its range by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Until a range is asked for.
    UntilTold,
    /// Also then: what was asked for is where it begins.
    Always,
}

/// Above this share of a range it says overload, and below the second it would go down
/// (common practice).
pub const THRESHOLDS: (Ratio, Ratio) = (Ratio(1.2), Ratio(0.1));

impl Default for AutoRange {
    fn default() -> Self {
        Self { holds: Holds::UntilTold, up: THRESHOLDS.0, down: THRESHOLDS.1, gap: Seconds(0.05) }
    }
}

/// Its own zero.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Zero {
    /// How far it drifts at most, as a share of the range in force.
    pub drift: Ratio,
    /// Whether it is looked at in every measurement, and taken out.
    pub auto: bool,
}

/// Its input.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct MeterInput {
    /// Of input and cable, where a voltage is measured.
    pub capacitance: Farads,
    /// From a trigger to the beginning of the measurement.
    pub delay: Seconds,
}

/// Somebody's hand, once.
#[derive(Clone, Debug, PartialEq)]
pub struct Hand {
    /// From the start of the bench.
    pub after: Seconds,
    /// What it does.
    pub turn: Turn,
}

/// What a hand does at a meter.
#[derive(Clone, Debug, PartialEq)]
pub enum Turn {
    /// To the range with this full scale, where that is one of the function in force.
    Range(Unit, f64),
    /// To the highest range.
    Highest,
    /// To current.
    Current,
    /// To voltage.
    Voltage,
    /// The lead goes into this terminal.
    Jack(String),
    /// The fuse of the range in force melts.
    Fuse,
}

/// How many readings it keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Memory(pub u64);

/// A response of so many readings is still one that an instrument has room for.
const MOST_KEPT: u64 = 500;

impl Default for Memory {
    fn default() -> Self {
        Self(MOST_KEPT)
    }
}

/// The terminal that leads nowhere.
pub const NOWHERE: &str = "nowhere";

impl Switch for Option<Hum> {
    fn read(seat: &mut Table<'_>, key: &str) -> Option<Self> {
        let mut table = seat.table(key)?;
        let hum = Hum {
            current: from_zero(&mut table, "current").unwrap_or_default(),
            voltage: from_zero(&mut table, "voltage").unwrap_or_default(),
            frequency: table.quantity("frequency").unwrap_or(Hertz(50.0)),
            off_by: table.quantity("off_by").unwrap_or_default(),
        };
        if hum.current.0 == 0.0 && hum.voltage.0 == 0.0 {
            table.problem("current", "a hum has a current, a voltage or both", "no amplitude", None);
        }
        mains(&table, "frequency", hum.frequency);
        if hum.off_by.0.abs() > 0.2 {
            table.problem("off_by", "mains are off by 20 % at most", "no mains", None);
        }
        table.finish();
        Some(Some(hum))
    }
}

impl Switch for Option<Hertz> {
    fn read(seat: &mut Table<'_>, key: &str) -> Option<Self> {
        let frequency = seat.quantity(key)?;
        mains(seat, key, frequency);
        Some(Some(frequency))
    }
}

impl Switch for Option<AutoRange> {
    fn read(seat: &mut Table<'_>, key: &str) -> Option<Self> {
        let mut table = seat.table(key)?;
        let usual = AutoRange::default();
        let holds = [("until told", Holds::UntilTold), ("always", Holds::Always)];
        let auto = AutoRange {
            holds: table.choice("holds", &holds).unwrap_or(usual.holds),
            up: table.quantity("up").unwrap_or(usual.up),
            down: table.quantity("down").unwrap_or(usual.down),
            gap: from_zero(&mut table, "gap").unwrap_or(usual.gap),
        };
        if !(1.0..=2.0).contains(&auto.up.0) {
            table.problem("up", "a range is left upwards between 100 % and 200 % of it", "no threshold", None);
        }
        if !(auto.down.0 > 0.0 && auto.down.0 < 1.0) {
            table.problem("down", "a range is left downwards above 0 % and below 100 % of it", "no threshold", None);
        }
        table.finish();
        Some(Some(auto))
    }
}

impl Switch for Zero {
    fn read(seat: &mut Table<'_>, key: &str) -> Option<Self> {
        let mut table = seat.table(key)?;
        let drift = from_zero(&mut table, "drift").unwrap_or_default();
        let auto = table.flag("auto").unwrap_or(false);
        table.finish();
        Some(Self { drift, auto })
    }
}

impl Switch for MeterInput {
    fn read(seat: &mut Table<'_>, key: &str) -> Option<Self> {
        let mut table = seat.table(key)?;
        let capacitance = from_zero(&mut table, "capacitance").unwrap_or_default();
        let delay = from_zero(&mut table, "delay").unwrap_or_default();
        table.finish();
        Some(Self { capacitance, delay })
    }
}

impl Switch for Memory {
    fn read(seat: &mut Table<'_>, key: &str) -> Option<Self> {
        seat.count(key, 1, MOST_KEPT).map(Self)
    }
}

impl Switch for Vec<Hand> {
    fn read(seat: &mut Table<'_>, key: &str) -> Option<Self> {
        let hands = seat.tables(key).into_iter().filter_map(hand).collect();
        Some(hands)
    }
}

fn hand(mut table: Table<'_>) -> Option<Hand> {
    let after = table.need("after");
    let mut turns = Vec::new();
    if let Some(text) = table.text("range") {
        turns.push(range(&table, &text));
    }
    if table.has("function") {
        turns.push(table.choice("function", &[("current", &Turn::Current), ("voltage", &Turn::Voltage)]).cloned());
    }
    turns.extend(table.text("jack").map(|jack| Some(Turn::Jack(jack))));
    if table.has("fuse") {
        turns.push(table.choice("fuse", &[("melts", &Turn::Fuse)]).cloned());
    }
    if turns.len() != 1 {
        let hint = "write one of range, function, jack, fuse; another hand in braces of its own";
        table.problem("after", "a hand turns one thing", "not one thing", Some(hint.into()));
    }
    table.finish();
    Some(Hand { after: after?, turn: turns.pop()?? })
}

fn range(table: &Table<'_>, text: &str) -> Option<Turn> {
    if text == "highest" {
        return Some(Turn::Highest);
    }
    let of = |unit| parse_as(text, unit).ok().map(|value| Turn::Range(unit, value));
    let turn = of(Unit::Ampere).or_else(|| of(Unit::Volt));
    if turn.is_none() {
        let hint = "write the range's full scale, as \"100 mA\" or \"10 V\", or \"highest\"";
        table.problem("range", format!("{text:?} is no range"), "expected a current or a voltage", Some(hint.into()));
    }
    turn
}

impl Quirks {
    /// What of it a meter of this profile cannot have, in words.
    pub(super) fn wrong_at(&self, profile: &MeterProfile) -> Vec<String> {
        let mut wrong: Vec<String> = self.hands.iter().filter_map(|hand| hand.wrong_at(profile)).collect();
        if self.noise.0 < 0.0 {
            wrong.push("a noise cannot be below zero".into());
        }
        if self.line.is_some() && !profile.counts_cycles() {
            wrong.push("the meter's profile has times, not line cycles: the mains do not change them".into());
        }
        wrong
    }
}

impl Hand {
    fn wrong_at(&self, profile: &MeterProfile) -> Option<String> {
        let functions = || profile.current.iter().chain(&profile.voltage);
        let has = |function: &Option<Function>, full: f64| {
            function.as_ref().is_some_and(|f| f.ranges.iter().any(|r| (r.full - full).abs() <= 1e-9 * full))
        };
        match &self.turn {
            Turn::Range(Unit::Ampere, full) if !has(&profile.current, *full) => {
                Some(format!("the meter has no range of {}", Amperes(*full)))
            }
            Turn::Range(Unit::Volt, full) if !has(&profile.voltage, *full) => {
                Some(format!("the meter has no range of {}", Volts(*full)))
            }
            Turn::Current if profile.current.is_none() => Some("the meter measures no current".into()),
            Turn::Voltage if profile.voltage.is_none() => Some("the meter measures no voltage".into()),
            Turn::Jack(jack) if jack != NOWHERE => {
                let mut known: Vec<&str> =
                    functions().flat_map(|f| &f.ranges).filter_map(|r| r.terminal.as_deref()).chain([NOWHERE]).collect();
                known.dedup();
                let is_known = known.contains(&jack.as_str());
                (!is_known).then(|| format!("the meter has no terminal {jack:?}; known are {}", known.join(", ")))
            }
            Turn::Fuse if functions().flat_map(|f| &f.ranges).all(|r| r.fuse.is_none()) => {
                Some("the meter's profile knows of no fuse".into())
            }
            _ => None,
        }
    }
}

/// A quantity that is not below zero.
fn from_zero<Q: Quantity>(table: &mut Table<'_>, key: &str) -> Option<Q> {
    let value: Q = table.quantity(key)?;
    if value.value() < 0.0 {
        table.problem(key, format!("{key:?} cannot be below zero"), "below zero", None);
    }
    Some(value)
}

fn mains(table: &Table<'_>, key: &str, frequency: Hertz) {
    if !(10.0..=1000.0).contains(&frequency.0) {
        table.problem(key, "mains have a frequency between 10 Hz and 1 kHz", "no mains", None);
    }
}
