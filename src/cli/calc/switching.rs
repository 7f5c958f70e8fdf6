//! `rampart calc switching`

use super::options::{counted, quantity};
use super::sampling::level;
use crate::analysis::sampling::switching::Reduction;
use crate::analysis::sampling::table::Level;
use crate::analysis::working::{Refusal, Working, switching};
use crate::units::Ratio;

/// Options of `calc switching`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Bad parts in the sample, and parts of the lot, as "4 of 1000"; again for each lot, in their order
    #[arg(long, value_parser = counted, required = true, value_name = "BAD of PARTS")]
    lot: Vec<(u64, u64)>,
    /// The acceptance quality limit (AQL)
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    aql: Ratio,
    /// The inspection level: S-1 to S-4, I, II, III
    #[arg(long, value_parser = level, default_value = "II")]
    level: Level,
    /// Reduced inspection is allowed where the score permits it
    #[arg(long)]
    reduced: bool,
}

impl Arguments {
    pub(super) fn working(&self) -> Result<Working, Refusal> {
        let reduction = if self.reduced { Reduction::Allowed } else { Reduction::NotWanted };
        switching(self.level, self.aql, &self.lot, reduction)
    }
}
