//! `rampart calc isolated`

use super::options::{count, quantity};
use super::sampling::positions;
use crate::analysis::working::{Allowed, Refusal, Working, isolated};
use crate::units::Ratio;

/// Options of `calc isolated`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Parts in the lot
    #[arg(long, value_parser = count, allow_hyphen_values = true)]
    lot: u64,
    /// The share of bad parts that must not slip through
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    limiting: Ratio,
    /// The chance with which a lot as bad as that may pass
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "5 %")]
    risk: Ratio,
    /// Bad parts in the sample that are allowed
    #[arg(long, value_parser = count, allow_hyphen_values = true, default_value = "0", conflicts_with = "good")]
    accept: u64,
    /// The share of bad parts of a lot that should pass: allow as many as it takes
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    good: Option<Ratio>,
    /// The chance with which such a good lot may be refused
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "5 %", requires = "good")]
    refused: Ratio,
    /// List the positions to pull, drawn with this seed
    #[arg(long, value_name = "SEED", value_parser = count)]
    draw: Option<u64>,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let allowed = self.good.map_or(Allowed::Bad(self.accept), |good| Allowed::Good(good, self.refused));
        isolated(self.lot, self.limiting, self.risk, allowed, positions(self.draw))
    }
}
