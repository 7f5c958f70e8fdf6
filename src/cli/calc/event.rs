//! `rampart calc event`

use super::options::quantity;
use crate::analysis::working::{Refusal, Working, event};
use crate::units::Seconds;

/// Options of `calc event`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The time between readings
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true)]
    every: Seconds,
    /// How long a reading integrates
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true)]
    window: Seconds,
    /// The event in question
    #[arg(long, value_parser = quantity::<Seconds>, allow_hyphen_values = true)]
    event: Option<Seconds>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        event(self.every, self.window, self.event)
    }
}
