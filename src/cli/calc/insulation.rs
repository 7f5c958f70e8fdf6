//! `rampart calc insulation`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, insulation};
use crate::units::{Amperes, Farads, Volts};

/// Options of `calc insulation`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The voltage at the part
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    voltage: Volts,
    /// The leakage at the named time
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true)]
    leakage: Amperes,
    /// The part, for the time constant
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Option<Farads>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        insulation(self.voltage, self.leakage, self.capacitance)
    }
}
