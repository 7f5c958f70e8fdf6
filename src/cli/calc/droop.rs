//! `rampart calc droop`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, droop};
use crate::units::{Farads, Ohms, Seconds, Volts};

/// Options of `calc droop`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The known capacitor
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Farads,
    /// The voltage at the start
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    from: Volts,
    /// The voltage at the end
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    to: Volts,
    /// The time between
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true)]
    time: Seconds,
    /// The voltmeter's resistance, to take its current off
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true)]
    meter: Option<Ohms>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        droop(self.capacitance, self.from, self.to, self.time, self.meter)
    }
}
