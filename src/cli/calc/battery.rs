//! `rampart calc battery`

use super::options::quantity;
use crate::analysis::battery::{Cell, Phase};
use crate::analysis::working::{Capacity, Refusal, Working, battery};
use crate::units::{AmpereHours, Amperes, Ratio, Seconds};

/// Options of `calc battery`.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("holds").required(true)))]
pub(super) struct Arguments {
    /// A current and how long it flows, as "7 mA for 3 ms"; as often as there are phases
    #[arg(long = "phase", value_parser = phase, allow_hyphen_values = true, required = true)]
    phases: Vec<Phase>,
    /// The current between, until the period is over
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true, requires = "period")]
    rest: Option<Amperes>,
    /// After this it all begins again
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true, requires = "rest")]
    period: Option<Seconds>,
    /// What the battery holds
    #[arg(long, value_parser = quantity::<AmpereHours>, allow_hyphen_values = true, group = "holds")]
    capacity: Option<AmpereHours>,
    /// A cell whose capacity over the drain has been published
    #[arg(long, value_enum, group = "holds")]
    cell: Option<Kind>,
    /// What the battery loses by itself in a year
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    lost_in_a_year: Option<Ratio>,
}

/// Cells as they are written on the command line.
#[derive(Clone, Copy, clap::ValueEnum)]
enum Kind {
    AaAlkaline,
}

fn phase(text: &str) -> Result<Phase, String> {
    let (current, lasts) = text
        .split_once(" for ")
        .ok_or_else(|| format!("expected a current and a time, found {text:?}\n  hint: write it as \"7 mA for 3 ms\""))?;
    Ok(Phase { current: quantity(current)?, lasts: quantity(lasts)? })
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let capacity = match (self.capacity, self.cell) {
            (Some(capacity), _) => Capacity::Of(capacity),
            (None, Some(Kind::AaAlkaline)) => Capacity::Published(Cell::AaAlkaline),
            (None, None) => return Err(Refusal::new("neither a capacity nor a cell is given")),
        };
        battery(capacity, &self.phases, self.rest.zip(self.period), self.lost_in_a_year)
    }
}
