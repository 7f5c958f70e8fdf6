//! `rampart calc burden`

use super::options::quantity;
use crate::analysis::working::{Load, Refusal, Working, burden};
use crate::units::{Amperes, Ohms, Volts};

/// Options of `calc burden`.
#[derive(clap::Args)]
#[command(group(clap::ArgGroup::new("what").required(true)))]
pub(super) struct Arguments {
    /// The supply
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    voltage: Volts,
    /// The meter's shunt with its fuse and leads
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true)]
    shunt: Ohms,
    /// What is measured, as a resistance
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true, group = "what")]
    load: Option<Ohms>,
    /// What is measured, as a current that it draws at any voltage
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true, group = "what")]
    current: Option<Amperes>,
    /// The least voltage at which the unit works
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    least: Option<Volts>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let load = match (self.load, self.current) {
            (Some(r), _) => Load::Resistance(r),
            (None, Some(i)) => Load::Current(i),
            (None, None) => return Err(Refusal::new("neither a load nor a current is given")),
        };
        burden(self.voltage, self.shunt, load, self.least)
    }
}
