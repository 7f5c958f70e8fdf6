//! `rampart calc claim`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, claim};
use crate::units::Ratio;

/// Options of `calc claim`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The failing rate that is claimed to be above the unit's
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    below: Ratio,
    /// The confidence
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "95 %")]
    confidence: Ratio,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        claim(self.below, self.confidence)
    }
}
