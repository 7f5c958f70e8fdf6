//! `rampart calc touch`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, touch};
use crate::units::{Farads, Volts};

/// Options of `calc touch`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The direct voltage
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    voltage: Volts,
    /// A capacitor charged to it
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Option<Farads>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        touch(self.voltage, self.capacitance)
    }
}
