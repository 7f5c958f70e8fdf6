//! `rampart calc inrush`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, inrush};
use crate::units::{Amperes, Farads, Ohms, Volts, Watts};

/// Options of `calc inrush`.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("path").required(true).multiple(true)))]
pub(super) struct Arguments {
    /// The voltage that is switched on
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    voltage: Volts,
    /// The unit's input capacitor
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Farads,
    /// The path: leads, supply, the capacitor's own series resistance
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true, group = "path")]
    resistance: Option<Ohms>,
    /// The supply's current limit
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true, group = "path")]
    limit: Option<Amperes>,
    /// The power that the unit's converter draws
    #[arg(long, value_parser = quantity::<Watts>, allow_hyphen_values = true, requires = "starts_at")]
    power: Option<Watts>,
    /// The voltage at which the converter starts
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true, requires = "power")]
    starts_at: Option<Volts>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        inrush(self.voltage, self.capacitance, self.resistance, self.limit, self.power.zip(self.starts_at))
    }
}
