//! `rampart calc conduction`

use super::options::{number, quantity};
use crate::analysis::working::{Refusal, Working, conduction};
use crate::units::{Celsius, Volts};

/// Options of `calc conduction`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The dielectric's relative permittivity
    #[arg(long, value_parser = number, allow_hyphen_values = true)]
    permittivity: f64,
    /// The temperature
    #[arg(long, value_parser = quantity::<Celsius>, allow_hyphen_values = true, default_value = "25 degC")]
    temperature: Celsius,
    /// The dielectric's thickness in nanometres, for slopes over the voltage
    #[arg(long, value_parser = number, allow_hyphen_values = true)]
    nanometres: Option<f64>,
    /// The voltage, for the field
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true, requires = "nanometres")]
    voltage: Option<Volts>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        conduction(self.permittivity, self.temperature, self.nanometres.map(|nm| nm * 1e-9), self.voltage)
    }
}
