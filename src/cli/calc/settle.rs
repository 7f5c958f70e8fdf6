//! `rampart calc settle`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, settle};
use crate::units::{Farads, Ohms, Ratio};

/// Options of `calc settle`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The resistance that feeds the node
    #[arg(long, value_parser = quantity::<Ohms>, allow_hyphen_values = true)]
    resistance: Ohms,
    /// The capacitance at the node, with cable and meter
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Farads,
    /// To within this share of the step
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "0.1 %")]
    to: Ratio,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        settle(self.resistance, self.capacitance, self.to)
    }
}
