//! What the output of a stand-in supply is like, electrically, as a bench file says it.
//!
//! Read from `[supply.electrics]`; described in `scripts/README.md`. What is not said is
//! that of a usual linear supply of the profile's ratings. A bench of real instruments
//! has no use for it. Leaves to others: being it (`rehearsal`).

use crate::document::Table;
use crate::instrument::profile::{OffState, SupplyProfile};
use crate::units::{Amperes, Farads, Hertz, Ohms, Quantity, Ratio, Seconds, Volts};

/// What is said of the output.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct SupplyElectrics {
    /// Across the output, outside the limit.
    pub capacitor: Option<Farads>,
    /// Inside, across that capacitor, for ever.
    pub preload: Option<Ohms>,
    /// Where it holds a voltage.
    pub resistance: Option<Ohms>,
    /// From nothing to the rated voltage.
    pub rise: Option<Seconds>,
    /// From the rated voltage to nothing, as far as `sink` allows.
    pub fall: Option<Seconds>,
    /// What it takes back to bring its voltage down.
    pub sink: Option<Amperes>,
    /// What off is.
    pub off_is: Option<OffState>,
    /// How long an overload lasts before the limit holds.
    pub crossover: Option<Seconds>,
    /// What flows meanwhile at most.
    pub surge: Option<Amperes>,
    /// How long the voltage runs on when the limit no longer holds.
    pub recovery: Option<Seconds>,
    /// The inverse of the natural frequency, in radians a second, at which it follows its set voltage.
    pub voltage_loop: Option<Seconds>,
    /// By which share it overshoots a step of the set voltage, feeding its own capacitor alone.
    pub overshoot: Option<Ratio>,
    /// The time constant with which the current comes to the limit.
    pub current_loop: Option<Seconds>,
    /// At the terminals: root mean square, and bandwidth.
    pub noise: Option<(Volts, Hertz)>,
    /// How long the terminals must be above the level of over-voltage protection.
    pub over_voltage_delay: Option<Seconds>,
    /// The delay of over-current protection counts from the last change of a setting, and
    /// not from when it limits.
    pub delay_from_change: bool,
}

impl SupplyElectrics {
    /// Reads `[supply.electrics]`; mistakes are noted in the table.
    pub fn read(seat: &mut Table<'_>, profile: Option<&SupplyProfile>) -> Self {
        let Some(mut table) = seat.table("electrics") else { return Self::default() };
        let short = (Seconds(0.0), Seconds(1.0));
        let long = (Seconds(0.0), Seconds(3600.0));
        let ohms = (Ohms(1e-5), Ohms(1e9));
        let speed = (Seconds(1e-8), Seconds(1.0));
        let made = Self {
            capacitor: within(&mut table, "capacitor", (Farads(1e-9), Farads(1.0))),
            preload: within(&mut table, "preload", ohms),
            resistance: within(&mut table, "resistance", ohms),
            rise: within(&mut table, "rise", long),
            fall: within(&mut table, "fall", long),
            sink: within(&mut table, "sink", (Amperes(0.0), Amperes(1e3))),
            off_is: off_is(&mut table, ohms),
            crossover: within(&mut table, "crossover", short),
            surge: within(&mut table, "surge", (Amperes(0.0), Amperes(1e4))),
            recovery: within(&mut table, "recovery", short),
            voltage_loop: within(&mut table, "voltage_loop", speed),
            overshoot: within(&mut table, "overshoot", (Ratio(0.0), Ratio(0.95))),
            current_loop: within(&mut table, "current_loop", speed),
            noise: noise(&mut table),
            over_voltage_delay: within(&mut table, "over_voltage_delay", short),
            delay_from_change: table
                .choice("over_current_counts", &[("from limiting", false), ("from a change", true)])
                .unwrap_or_default(),
        };
        if let (Some(surge), Some(profile)) = (made.surge, profile)
            && surge < profile.rated_current
        {
            table.problem(
                "surge",
                format!("before its limit holds, a supply of {} can give no less than that", profile.rated_current),
                "below the rated current",
                None,
            );
        }
        table.finish();
        made
    }
}

/// A quantity that can only be within these two.
fn within<Q: Quantity + PartialOrd + std::fmt::Display>(table: &mut Table<'_>, key: &str, range: (Q, Q)) -> Option<Q> {
    let value = table.quantity::<Q>(key)?;
    if value >= range.0 && value <= range.1 {
        return Some(value);
    }
    let (least, most) = range;
    table.problem(
        key,
        format!("{key:?} in {}: {value} cannot be; it is from {least} to {most}", table.name()),
        "not possible",
        None,
    );
    None
}

fn off_is(table: &mut Table<'_>, ohms: (Ohms, Ohms)) -> Option<OffState> {
    #[derive(Clone, Copy, PartialEq)]
    enum Word {
        Open,
        Bleeder,
        Zero,
    }
    let word = table.choice("off_is", &[("open", Word::Open), ("bleeder", Word::Bleeder), ("zero volts", Word::Zero)]);
    let has_bleeder = table.has("bleeder");
    let bleeder = within(table, "bleeder", ohms);
    if has_bleeder && word != Some(Word::Bleeder) {
        table.problem("bleeder", "a bleeder is there where off_is = \"bleeder\"", "nothing for it to bleed", None);
    }
    match word? {
        Word::Open => Some(OffState::Open),
        Word::Zero => Some(OffState::ZeroVolts),
        Word::Bleeder if has_bleeder => bleeder.map(OffState::Bleeder),
        Word::Bleeder => table.missing("bleeder", Some("write bleeder = \"470 ohm\"".into())),
    }
}

fn noise(table: &mut Table<'_>) -> Option<(Volts, Hertz)> {
    let mut noise = table.table("noise")?;
    let made = (noise.need::<Volts>("rms").is_some(), noise.need::<Hertz>("bandwidth").is_some());
    let rms = within(&mut noise, "rms", (Volts(0.0), Volts(1.0)));
    let bandwidth = within(&mut noise, "bandwidth", (Hertz(1.0), Hertz(1e9)));
    noise.finish();
    if !(made.0 && made.1) {
        return None;
    }
    Some((rms?, bandwidth?))
}
