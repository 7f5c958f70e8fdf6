//! `rampart calc rate`

use super::options::{count, quantity};
use crate::analysis::working::{Refusal, Working, rate};
use crate::units::Ratio;

/// Options of `calc rate`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Starts that failed
    #[arg(long, value_parser = count, allow_hyphen_values = true)]
    failures: u64,
    /// All starts that count, the failed ones among them
    #[arg(long, value_parser = count, allow_hyphen_values = true)]
    starts: u64,
    /// The confidence
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "95 %")]
    confidence: Ratio,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        rate((self.failures, self.starts), self.confidence)
    }
}
