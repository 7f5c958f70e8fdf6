//! `rampart calc soak`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, soak};
use crate::units::{Amperes, Farads, Ohms, Seconds, Volts};

/// Options of `calc soak`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The series resistor
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true)]
    series: Ohms,
    /// The part
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Farads,
    /// The bias
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    voltage: Volts,
    /// The electrification time that the kind of part is named for
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true, default_value = "2 min")]
    time: Seconds,
    /// A leakage, for the voltage that is left for the part
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true)]
    leakage: Option<Amperes>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        soak(self.series, self.capacitance, self.voltage, self.time, self.leakage)
    }
}
