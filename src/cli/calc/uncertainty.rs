//! `rampart calc uncertainty`

use super::options::{any, count, number, quantity};
use crate::analysis::uncertainty::{Guard, Limit, Stated};
use crate::analysis::working::{Read, Refusal, Working, uncertainty};
use crate::units::{Ratio, Unit};

/// Options of `calc uncertainty`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The reading, or the mean of several
    #[arg(long, value_parser = any, allow_hyphen_values = true)]
    reading: (f64, Unit),
    /// The range that it was read on
    #[arg(long, value_parser = any, allow_hyphen_values = true)]
    range: Option<(f64, Unit)>,
    /// The accuracy's share of the reading
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "0 %")]
    of_reading: Ratio,
    /// The accuracy's share of the range
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "0 %")]
    of_range: Ratio,
    /// The accuracy's digits
    #[arg(long, value_parser = number, allow_hyphen_values = true, default_value = "0")]
    digits: f64,
    /// One digit: the last place of the display; counts as resolution, too
    #[arg(long, value_parser = any, allow_hyphen_values = true)]
    step: Option<(f64, Unit)>,
    /// What the accuracy means
    #[arg(long, value_enum, default_value = "limits")]
    stated: Meaning,
    /// Standard deviation of repeated readings
    #[arg(long, value_parser = any, allow_hyphen_values = true, requires = "readings")]
    spread: Option<(f64, Unit)>,
    /// How many readings were repeated
    #[arg(long, value_parser = count, allow_hyphen_values = true, requires = "spread")]
    readings: Option<u64>,
    /// The level of confidence; 95.45 % is k = 2 where the degrees of freedom are many
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "95.45 %")]
    level: Ratio,
    /// A limit that it may not be above
    #[arg(long, value_parser = any, allow_hyphen_values = true)]
    at_most: Option<(f64, Unit)>,
    /// A limit that it may not be below
    #[arg(long, value_parser = any, allow_hyphen_values = true)]
    at_least: Option<(f64, Unit)>,
    /// The guard band, in expanded uncertainties
    #[arg(long, value_enum, default_value = "full")]
    guard: Band,
}

/// What a half-width means, as it is written on the command line.
#[derive(Clone, Copy, clap::ValueEnum)]
enum Meaning {
    /// Limits of error: rectangular
    Limits,
    /// Triangular
    Triangular,
    /// 95 % of a normal distribution
    Normal95,
    /// 99 % of a normal distribution
    Normal99,
    /// An expanded uncertainty with k = 2
    K2,
}

/// Guard bands, as they are written on the command line.
#[derive(Clone, Copy, clap::ValueEnum)]
enum Band {
    /// w = 0, simple acceptance
    None,
    /// w = 0.83 U
    Five,
    /// w = U
    Full,
    /// w = 1.5 U
    Wide,
    /// w = 3 U
    Triple,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let (value, unit) = self.reading;
        // Everything is in the unit of the reading.
        let same = |what: &str, given: Option<(f64, Unit)>| match given {
            None => Ok(None),
            Some((x, other)) if other == unit => Ok(Some(x)),
            Some((_, other)) => {
                Err(Refusal::new(format!("the {what} is {}; expected {}, as the reading", other.described(), unit.described())))
            }
        };
        let limit = match (same("lower limit", self.at_least)?, same("upper limit", self.at_most)?) {
            (None, None) => None,
            (None, Some(high)) => Some(Limit::Upper(high)),
            (Some(low), None) => Some(Limit::Lower(low)),
            (Some(low), Some(high)) if low < high => Some(Limit::Between(low, high)),
            (Some(_), Some(_)) => return Err(Refusal::new("the lower limit is not below the upper one")),
        };
        let guard = match self.guard {
            Band::None => Guard::None,
            Band::Five => Guard::Five,
            Band::Full => Guard::Full,
            Band::Wide => Guard::Wide,
            Band::Triple => Guard::Triple,
        };
        let read = Read {
            unit,
            value,
            range: same("range", self.range)?.unwrap_or(0.0),
            of_reading: self.of_reading,
            of_range: self.of_range,
            digits: self.digits,
            step: same("step", self.step)?.unwrap_or(0.0),
            stated: match self.stated {
                Meaning::Limits => Stated::Limits,
                Meaning::Triangular => Stated::Triangular,
                Meaning::Normal95 => Stated::Normal95,
                Meaning::Normal99 => Stated::Normal99,
                Meaning::K2 => Stated::Factor(2.0),
            },
            repeated: same("spread", self.spread)?.zip(self.readings),
            level: self.level,
        };
        uncertainty(&read, limit.map(|l| (l, guard)))
    }
}
