//! `rampart calc proof`

use super::options::{count, quantity};
use crate::analysis::working::{Refusal, Working, proof};
use crate::units::Ratio;

/// Options of `calc proof`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The failing rate that is to be shown to be above the unit's
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    below: Ratio,
    /// The confidence
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "95 %")]
    confidence: Ratio,
    /// How many failures are allowed among the starts
    #[arg(long, value_parser = count, allow_hyphen_values = true, default_value = "0")]
    failures: u64,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        proof(self.below, self.confidence, self.failures)
    }
}
