//! `rampart off`: the bench's output off, now, and verified.

use super::common::{bench, refuse, shout, wrong};
use super::run::open;
use crate::clock::Clock;
use crate::instrument::Fault;
use crate::interlock::told;
use crate::link::trace::{Direction, TrafficSink};
use crate::runner::{Exit, open_supply};
use crate::view::outln;
use std::path::PathBuf;
use std::sync::Arc;

/// Arguments of `off`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The bench file; without it bench.toml in this folder
    #[arg(long)]
    bench: Option<PathBuf>,
}

/// Keeps no traffic.
struct Deaf;

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
    let seat = &bench.supply;
    let result = runtime.block_on(async {
        let clock = Clock::start(1.0);
        let link = open(seat.address.as_deref(), &seat.line, &seat.profile, clock)
            .await
            .map_err(|e| Fault::from(e).of(crate::instrument::Role::Supply))?;
        let mut opened = open_supply(link, seat, clock, Arc::new(Deaf)).await?;
        opened.instrument.off().await
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
