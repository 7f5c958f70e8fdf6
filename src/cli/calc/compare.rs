//! `rampart calc compare`

use super::options::{counted, quantity};
use crate::analysis::working::{Counted, Refusal, Working, compare};
use crate::units::Ratio;

/// Options of `calc compare`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Failures and starts before, as "4 of 500"
    #[arg(long, value_parser = counted, allow_hyphen_values = true)]
    before: Counted,
    /// Failures and starts after, as "0 of 500"
    #[arg(long, value_parser = counted, allow_hyphen_values = true)]
    after: Counted,
    /// The confidence
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "95 %")]
    confidence: Ratio,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        compare(self.before, self.after, self.confidence)
    }
}
