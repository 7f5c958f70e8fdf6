//! A profile: how an instrument speaks, and how well it measures. Data only.
//!
//! Read from TOML by [`Profile::read`]; nothing about a dialect is compiled in.
//! Every key stands in [`keys`], with its meaning. Messages are templates:
//! `{channel}`, `{value}`, `{voltage}`, `{current}`, `{range}` and `{rate}` are
//! replaced. The session, the supply and the meter drive by it; a stand-in
//! answers by it, from its own code.

mod judge;
pub mod keys;
mod part;
mod read;
mod safety;
mod shipped;
#[cfg(test)]
mod tests;
mod wire;

pub(crate) use read::line;
pub use safety::{Condition, Delay, Protection, Sense, Watchdog};
pub use shipped::{SHIPPED, find};
pub use wire::{Boot, Checksum, ChecksumKind, Errors, Identity, LockRequest, Numbers, Select, Wire};

use crate::document::{Document, Problems};
use crate::units::{Amperes, Ohms, Ratio, Seconds, Stated, Volts, Watts, resolution_u};

/// A profile as read.
#[derive(Clone, Debug)]
pub struct Profile {
    /// The file's name without its ending.
    pub name: String,
    /// The text that it was read from, for the record.
    pub document: Document,
    /// One sentence about the dialect.
    pub about: String,
    /// How the instrument says who it is.
    pub identity: Identity,
    /// How messages travel.
    pub wire: Wire,
    /// How it reports errors.
    pub errors: Errors,
    /// A lock that is asked for.
    pub lock: Option<LockRequest>,
    /// How a channel is chosen; `None` where there is one only.
    pub select: Option<Select>,
    /// Messages that take it under remote control, in order.
    pub remote: Vec<String>,
    /// Messages that give it back to its front panel, in order.
    pub local: Vec<String>,
    /// A reset on opening, with the time that it takes; by default none is sent.
    pub reset: Option<(String, Seconds)>,
    /// What kind of instrument it is, and the rest.
    pub kind: Kind,
}

/// Supply or meter.
#[derive(Clone, Debug)]
pub enum Kind {
    /// A supply.
    Supply(Box<SupplyProfile>),
    /// A meter.
    Meter(Box<MeterProfile>),
}

/// Accuracy: a share of the reading, a share of the range, and an amount, added.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Accuracy {
    /// Share of the reading.
    pub reading: Ratio,
    /// Share of the range.
    pub range: Ratio,
    /// In the measurand's unit.
    pub offset: f64,
    /// What the interval so stated means.
    pub stated: Stated,
}

impl Accuracy {
    /// The standard uncertainty of a value on a range with a resolution: the maker's
    /// statement and the resolution, in quadrature (JCGM 100:2008, 4.3 and F.2.2.1).
    pub fn standard(&self, value: f64, range: f64, resolution: f64) -> f64 {
        self.stated.standard(self.half_width(value, range)).hypot(resolution_u(resolution))
    }

    /// Half-width of the interval that the maker states, in the measurand's unit.
    pub fn half_width(&self, value: f64, range: f64) -> f64 {
        self.reading.0 * value.abs() + self.range.0 * range.abs() + self.offset
    }
}

/// A quantity that can be set and read back.
#[derive(Clone, Debug)]
pub struct Setting {
    /// Sets it.
    pub set: String,
    /// Asks for what is set; `None`: cannot be verified.
    pub ask: Option<String>,
    /// Smallest step, in the quantity's unit.
    pub resolution: f64,
    /// How near what it comes to is, where the data sheet says so.
    pub accuracy: Option<Accuracy>,
    /// What the instrument does with a value out of range.
    pub out_of_range: OutOfRange,
    /// How the number stands in `set`.
    pub form: SentForm,
    /// Picks the value out of the answer.
    pub reply: ReplyForm,
}

impl Setting {
    /// Whether two values are the same step: what was sent already is a multiple of one.
    pub fn is_same(&self, a: f64, b: f64) -> bool {
        (a - b).abs() <= self.resolution * 0.75
    }

    /// Rounded up to a step: a protection at less than was wanted would trip too early.
    pub fn upwards(&self, value: f64) -> f64 {
        (value / self.resolution).ceil() * self.resolution
    }
}

/// How a number stands in a message that sets it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SentForm {
    /// What one of it is worth, in the quantity's unit; `None`: 1.
    pub scale: Option<f64>,
    /// It is so many digits without a point.
    pub digits: Option<usize>,
}

/// What an instrument does with a value that it cannot set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutOfRange {
    /// Reports an error and keeps the old value.
    Refuses,
    /// Takes the nearest that it can, in silence.
    Clips,
}

/// How a value stands in an answer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReplyForm {
    /// Which comma field, from 1; 0: the answer is one field, and a comma in it makes it garbled.
    pub field: usize,
    /// A text before the value (a template), which must be there.
    pub prefix: String,
    /// Whether a unit may follow the number.
    pub unit: UnitInReply,
    /// What one of the number is worth, in the quantity's unit; `None`: 1.
    pub scale: Option<f64>,
    /// The number is digits without a point.
    pub packed: Option<Packed>,
    /// How numbers are written.
    pub numbers: Numbers,
}

/// Digits without a point, at a fixed place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Packed {
    /// At which character they begin, from 1.
    pub at: usize,
    /// How many they are.
    pub digits: usize,
    /// How many digits the whole answer has.
    pub width: usize,
}

/// Whether a unit follows a number in answers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum UnitInReply {
    /// Never; a unit makes the answer garbled.
    #[default]
    None,
    /// Always or sometimes: it is checked, and its prefix is applied.
    Checked,
}

/// How a supply speaks and measures.
#[derive(Clone, Debug)]
pub struct SupplyProfile {
    /// Most volts of a channel.
    pub rated_voltage: Volts,
    /// Most amperes of a channel.
    pub rated_current: Amperes,
    /// Most watts of a channel.
    pub rated_power: Watts,
    /// How many channels it has.
    pub channels: u32,
    /// The voltage.
    pub voltage: Setting,
    /// The current limit.
    pub current: Setting,
    /// Sets voltage and current at once; where given it is used in place of the two.
    pub both: Option<String>,
    /// The output switch.
    pub output: Output,
    /// Constant voltage or constant current.
    pub mode: Option<Mode>,
    /// Over-voltage protection.
    pub over_voltage: Option<Protection>,
    /// Over-current protection.
    pub over_current: Option<Protection>,
    /// That its channels are not coupled.
    pub coupling: Option<Condition>,
    /// That its output stays off when its mains come back.
    pub power_on: Option<Condition>,
    /// Where it senses the voltage.
    pub sense: Option<Sense>,
    /// That it switches off by itself when nobody speaks to it.
    pub watchdog: Option<Watchdog>,
    /// Voltage read-back.
    pub measured_voltage: Readback,
    /// Current read-back.
    pub measured_current: Readback,
}

/// The output switch.
#[derive(Clone, Debug)]
pub struct Output {
    /// Switches on.
    pub on: String,
    /// Switches off.
    pub off: String,
    /// Switches every output off at once, where there is such a message.
    pub all_off: Option<String>,
    /// Asks for its state.
    pub ask: Option<String>,
    /// Answers that mean on.
    pub reads_on: Vec<String>,
    /// Answers that mean off.
    pub reads_off: Vec<String>,
    /// What off is, electrically.
    pub off_is: OffState,
    /// Longest time that the output takes to fall when nothing else draws.
    pub fall: Seconds,
}

/// What an output that is off is, electrically.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum OffState {
    /// An open switch: the unit keeps its charge.
    Open,
    /// A resistor across the terminals.
    Bleeder(Ohms),
    /// Held at zero volts.
    ZeroVolts,
}

/// How the supply tells constant voltage from constant current.
#[derive(Clone, Debug)]
pub struct Mode {
    /// The question.
    pub ask: String,
    /// How the answer is understood.
    pub form: ModeForm,
}

/// How a mode answer is understood.
#[derive(Clone, Debug)]
pub enum ModeForm {
    /// Words or code numbers; numbers are compared by value.
    Words {
        /// Mean constant voltage.
        voltage: Vec<String>,
        /// Mean constant current.
        current: Vec<String>,
        /// Mean a fault.
        fault: Vec<String>,
    },
    /// Bits of a register, counted from 0: neither set means off, both mean out of regulation.
    Bits {
        /// Set in constant voltage.
        voltage: u32,
        /// Set in constant current.
        current: u32,
    },
}

/// A quantity that the supply reads back.
#[derive(Clone, Debug)]
pub struct Readback {
    /// The question.
    pub ask: String,
    /// Picks the value out of the answer.
    pub reply: ReplyForm,
    /// Accuracy.
    pub accuracy: Accuracy,
    /// Smallest step.
    pub resolution: f64,
    /// Below this magnitude it cannot be told from zero.
    pub floor: f64,
}

/// How a meter speaks and measures.
#[derive(Clone, Debug)]
pub struct MeterProfile {
    /// Current, where it measures it.
    pub current: Option<Function>,
    /// Voltage, where it measures it.
    pub voltage: Option<Function>,
    /// Messages that set the rate (`{rate}`), sent after the function is set.
    pub rate: Vec<String>,
    /// The rates, fastest first; at least one.
    pub rates: Vec<Rate>,
    /// Answers that mean overload, beside the special numbers of SCPI.
    pub overload: Vec<String>,
    /// It sends its readings unasked, and these may be as old as this, beside their integration time.
    pub stream: Option<Seconds>,
}

/// A line cycle of 50 Hz, in which profiles count: meters take 20 ms for one at 50 Hz and
/// 400 Hz alike, and 16.67 ms at 60 Hz (handbooks of bench meters).
pub const LINE_CYCLE: Seconds = Seconds(0.02);

impl MeterProfile {
    /// Whether what it sends for a rate is a number of line cycles.
    pub fn counts_cycles(&self) -> bool {
        let is_count = |rate: &Rate| {
            let cycles = rate.integration / LINE_CYCLE;
            rate.send.parse::<f64>().is_ok_and(|sent| (sent - cycles).abs() <= 1e-6 * cycles)
        };
        self.rates.iter().all(is_count)
    }
}

/// One rate of a meter.
#[derive(Clone, Debug)]
pub struct Rate {
    /// Time over which it integrates.
    pub integration: Seconds,
    /// Shortest time from one reading to the next that counts as fresh.
    pub period: Seconds,
    /// What `{rate}` becomes.
    pub send: String,
}

/// One function of a meter.
#[derive(Clone, Debug)]
pub struct Function {
    /// What `{function}` becomes in the messages that set the rate.
    pub function: String,
    /// Messages that choose function and range, in order.
    pub configure: Vec<String>,
    /// Asks for the range; `None`: cannot be verified.
    pub range_ask: Option<String>,
    /// A message sent before `read` that starts a measurement.
    pub trigger: Option<String>,
    /// Asks for a fresh reading with the settings kept; `None` where readings come unasked.
    pub read: Option<String>,
    /// Picks the value out of the answer.
    pub reply: ReplyForm,
    /// The ranges, lowest first; at least one.
    pub ranges: Vec<Range>,
}

/// One range of a meter's function.
#[derive(Clone, Debug)]
pub struct Range {
    /// Largest value, in the measurand's unit.
    pub full: f64,
    /// What `{range}` becomes.
    pub send: String,
    /// Resistance between the terminals: the shunt of a current range, the input of a voltage range.
    pub resistance: Ohms,
    /// Rating of the fuse in its path.
    pub fuse: Option<Amperes>,
    /// The terminal that the lead must be in.
    pub terminal: Option<String>,
    /// Accuracy.
    pub accuracy: Accuracy,
    /// Smallest step.
    pub resolution: f64,
    /// Below this magnitude it cannot be told from zero.
    pub floor: f64,
}

impl Profile {
    /// Reads a profile from its text.
    ///
    /// # Errors
    /// Every mistake in the file, with its place.
    pub fn read(name: &str, document: Document) -> Result<Self, Problems> {
        read::profile(name, &document)
    }

    /// The supply's part.
    pub fn supply(&self) -> Option<&SupplyProfile> {
        match &self.kind {
            Kind::Supply(supply) => Some(supply),
            Kind::Meter(_) => None,
        }
    }

    /// The meter's part.
    pub fn meter(&self) -> Option<&MeterProfile> {
        match &self.kind {
            Kind::Meter(meter) => Some(meter),
            Kind::Supply(_) => None,
        }
    }
}

impl Function {
    /// The lowest range that holds `value`.
    pub fn range_for(&self, value: f64) -> Option<&Range> {
        self.ranges.iter().find(|r| r.full >= value.abs())
    }
}

/// Whether `text` fits `pattern`, in which `*` stands for any run of characters.
/// Case does not matter.
pub fn fits(pattern: &str, text: &str) -> bool {
    let (pattern, text) = (pattern.to_lowercase(), text.to_lowercase());
    let mut parts = pattern.split('*');
    let Some(first) = parts.next() else { return text.is_empty() };
    let Some(mut rest) = text.strip_prefix(first) else { return false };
    let parts: Vec<&str> = parts.collect();
    let Some((last, middle)) = parts.split_last() else { return rest.is_empty() };
    for part in middle {
        match rest.find(part) {
            Some(at) => rest = rest.get(at + part.len()..).unwrap_or(""),
            None => return false,
        }
    }
    rest.ends_with(last)
}
