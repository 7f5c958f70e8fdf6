//! `rampart off`: the bench's output off, now, and verified.

use super::common::{bench, refuse, shout, wrong};
use crate::clock::Clock;
use crate::interlock::guard::switch_off;
use crate::interlock::told;
use crate::link::trace::{Direction, TrafficSink};
use crate::runner::Exit;
use crate::units::Seconds;
use crate::view::{errln, outln};
use std::path::PathBuf;
use std::sync::Arc;

/// How long it goes on trying.
const PATIENCE: Seconds = Seconds(5.0);

/// Arguments of `off`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The bench file; without it bench.toml in this folder
    #[arg(long)]
    bench: Option<PathBuf>,
}

/// Keeps no traffic.
pub(super) struct Deaf;

impl TrafficSink for Deaf {
    fn message(&self, _: Direction, _: &[u8]) {}
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let bench = match bench(arguments.bench.as_deref()) {
        Ok(Some(bench)) => bench,
        Ok(None) => return refuse("no bench file: name one with --bench, or put bench.toml into this folder"),
        Err(problems) => return wrong(&problems),
    };
    if let Err(problems) = bench.addressed() {
        return wrong(&problems);
    }
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => return refuse(&error.to_string()),
    };
    let result = runtime.block_on(async {
        let mut say = |words: &str| errln!("{words}");
        switch_off(&bench.supply, Clock::start(1.0), PATIENCE, Arc::new(Deaf), &mut say).await
    });
    match result {
        Ok(proof) => {
            outln!("The supply: {}.", told(&proof));
            Exit::Within
        }
        Err(error) => {
            shout(&error.to_string());
            Exit::NotOff
        }
    }
}
