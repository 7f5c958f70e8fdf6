//! `rampart calc sequential`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, sequential};
use crate::units::Ratio;

/// Options of `calc sequential`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The failing rate that is accepted
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    good: Ratio,
    /// The failing rate that is rejected
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    bad: Ratio,
    /// The chance of rejecting at the good rate
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "5 %")]
    alpha: Ratio,
    /// The chance of accepting at the bad rate
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "5 %")]
    beta: Ratio,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        sequential(self.good, self.bad, self.alpha, self.beta)
    }
}
