//! `rampart run`: a plan on the bench.

use super::common::{any_seed, checked, folder, header, now, refuse};
use super::on_bench::{Choices, Work, bench, carry_out, locks, somebody_can_answer};
use crate::runner::good::Where;
use crate::runner::{Begin, Exit};
use crate::units::Seconds;
use std::path::PathBuf;

/// Arguments of `run`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The plan
    plan: PathBuf,
    /// The lot file, where the plan is carried out for each part of a lot
    #[arg(long)]
    lot: Option<PathBuf>,
    /// The bench file; without it bench.toml in this folder
    #[arg(long)]
    bench: Option<PathBuf>,
    /// Draw random choices from this seed
    #[arg(long)]
    seed: Option<u64>,
    #[command(flatten)]
    choices: Choices,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    main_or_exit(arguments).unwrap_or_else(|exit| exit)
}

fn main_or_exit(arguments: &Arguments) -> Result<Exit, Exit> {
    let choices = &arguments.choices;
    let bench = bench(arguments.bench.as_deref(), choices)?;
    let checked =
        checked(&arguments.plan, arguments.lot.as_deref(), bench, Where { logs: &choices.logs, rehearsal: Some(false) })?;
    super::common::complain(&checked.problems);
    let Some(passed) = &checked.passed else { return Err(Exit::Wrong) };
    somebody_can_answer(passed, choices, 0)?;
    let _locks = locks(passed, &format!("rampart run {}", arguments.plan.display()))?;
    let folder = folder(&choices.logs, &now(), &passed.plan().title, &checked).map_err(|why| refuse(&why))?;
    let seed = arguments.seed.unwrap_or_else(any_seed);
    let begin = Begin::New(header("run", &checked, passed, seed, now(), None));
    Ok(carry_out(Work { checked: &checked, passed, folder: &folder, choices, origin: Seconds(0.0) }, begin))
}
