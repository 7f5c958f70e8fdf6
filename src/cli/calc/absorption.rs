//! `rampart calc absorption`

use super::options::{number, quantity};
use crate::analysis::working::{Refusal, Working, absorption};
use crate::units::{Amperes, Seconds};

/// Options of `calc absorption`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The exponent of the fall
    #[arg(long, value_parser = number, allow_hyphen_values = true, default_value = "1")]
    exponent: f64,
    /// The first time under bias
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true)]
    from: Seconds,
    /// The second
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true)]
    to: Seconds,
    /// The absorption current at the first
    #[arg(long, value_parser = quantity::<Amperes>, allow_hyphen_values = true)]
    current: Option<Amperes>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        absorption(self.exponent, self.from, self.to, self.current)
    }
}
