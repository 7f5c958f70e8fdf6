//! `rampart calc loading`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, loading};
use crate::units::{Ohms, Volts};

/// Options of `calc loading`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The source's resistance
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true)]
    source: Ohms,
    /// The meter's input resistance
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true, default_value = "10 Mohm")]
    input: Ohms,
    /// What the meter reads
    #[arg(long, value_parser = quantity::<Volts>, allow_hyphen_values = true)]
    reading: Option<Volts>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        loading(self.source, self.input, self.reading)
    }
}
