//! `rampart calc drift`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, drift};
use crate::units::{Amperes, Farads, VoltsPerSecond};

/// Options of `calc drift`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The part
    #[arg(long, value_parser = quantity::<Farads>, allow_hyphen_values = true)]
    capacitance: Farads,
    /// How fast the supply drifts
    #[arg(long, value_parser = quantity::<VoltsPerSecond>, allow_hyphen_values = true)]
    rate: VoltsPerSecond,
    /// A leakage to compare with
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true)]
    leakage: Option<Amperes>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        drift(self.capacitance, self.rate, self.leakage)
    }
}
