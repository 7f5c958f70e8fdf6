//! `rampart calc discharge`

use super::options::quantity;
use crate::analysis::working::{Drain, Refusal, Working, discharge};
use crate::units::{Amperes, Farads, Ohms, Seconds, Volts};

/// Options of `calc discharge`.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("drain").required(true)))]
pub(super) struct Arguments {
    /// The capacitor
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Farads,
    /// The voltage on it
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    from: Volts,
    /// The voltage to fall to; without it, five time constants, or 0 V at a current
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    to: Option<Volts>,
    /// Through this resistor
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true, group = "drain")]
    resistance: Option<Ohms>,
    /// At this current, which stays the same
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true, group = "drain")]
    current: Option<Amperes>,
    /// In this time: tells the largest resistor
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true, group = "drain")]
    within: Option<Seconds>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let drain = match (self.resistance, self.current, self.within) {
            (Some(r), ..) => Drain::Through(r),
            (None, Some(i), _) => Drain::At(i),
            (None, None, Some(t)) => Drain::Within(t),
            (None, None, None) => return Err(Refusal::new("neither a resistance, a current nor a time is given")),
        };
        discharge(self.capacitance, self.from, self.to, drain)
    }
}
