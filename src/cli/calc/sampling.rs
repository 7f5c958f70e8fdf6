//! `rampart calc sampling`

use super::finish;
use super::options::{count, quantity};
use crate::analysis::sampling::table::{Aql, Inspection, LEVELS, Letter, Level, plan};
use crate::analysis::working::{Positions, Refusal, Working, sampling};
use crate::cli::common::complaint;
use crate::report::operating_characteristic;
use crate::runner::Exit;
use crate::units::Ratio;
use std::path::PathBuf;

/// Options of `calc sampling`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// Parts in the lot
    #[arg(long, value_parser = count, allow_hyphen_values = true)]
    lot: u64,
    /// The acceptance quality limit (AQL): the share of bad parts that is good enough on the average
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    aql: Ratio,
    /// The inspection level: S-1 to S-4, I, II, III
    #[arg(long, value_parser = level, default_value = "II")]
    level: Level,
    /// How strictly: normal, tightened, reduced
    #[arg(long, value_parser = inspection, default_value = "normal")]
    inspection: Inspection,
    /// A share of bad parts of which to say how often it passes; may be given again
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true)]
    bad: Vec<Ratio>,
    /// List the positions to pull, drawn with this seed
    #[arg(long, value_name = "SEED", value_parser = count)]
    draw: Option<u64>,
    /// Draw the operating characteristic into this file (SVG)
    #[arg(long, value_name = "FILE")]
    plot: Option<PathBuf>,
}

/// Reads a level, for clap's `value_parser`.
pub(super) fn level(text: &str) -> Result<Level, String> {
    let found = LEVELS.iter().find(|(_, name)| name.eq_ignore_ascii_case(text));
    found.map(|(level, _)| *level).ok_or_else(|| format!("expected S-1, S-2, S-3, S-4, I, II or III, found {text:?}"))
}

fn inspection(text: &str) -> Result<Inspection, String> {
    let all = [Inspection::Normal, Inspection::Tightened, Inspection::Reduced];
    all.into_iter().find(|i| i.name() == text).ok_or_else(|| format!("expected normal, tightened or reduced, found {text:?}"))
}

/// Where the sample is pulled from.
pub(super) fn positions(seed: Option<u64>) -> Positions {
    seed.map_or(Positions::Unasked, Positions::Seed)
}

impl Arguments {
    fn working(&self) -> Result<Working, Refusal> {
        sampling(self.lot, self.level, self.aql, self.inspection, &self.bad, positions(self.draw))
    }

    pub(super) fn main(&self, json: bool) -> Exit {
        let working = self.working();
        if let (Ok(_), Some(path)) = (&working, &self.plot) {
            let found = Letter::of(self.lot, self.level).zip(Aql::of(self.aql)).and_then(|(l, a)| plan(l, a, self.inspection));
            let picture = found.map(|f| operating_characteristic(f.plan.within(self.lot), self.lot));
            if let Err(why) = std::fs::write(path, picture.unwrap_or_default()) {
                return complaint(&format!("{}: {why}", path.display()));
            }
        }
        finish("sampling", working, json)
    }
}
