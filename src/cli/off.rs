//! `rampart off`: the bench's output off, now, and verified.

use super::common::{bench, refuse, shout, wrong};
use crate::clock::Clock;
use crate::interlock::guard::switch_off;
use crate::interlock::{Lock, NoLock, told};
use crate::link::trace::{Direction, TrafficSink};
use crate::plan::Bench;
use crate::runner::Exit;
use crate::units::Seconds;
use crate::view::{errln, outln};
use std::path::PathBuf;
use std::sync::Arc;

/// How long it goes on trying.
const PATIENCE: Seconds = Seconds(5.0);
/// Who has the lock while it switches off, for whoever comes then.
const HOLDER: &str = "rampart off";
/// How long a run that holds the supply may take to stop by itself.
const LET_GO: Seconds = Seconds(8.0);

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

/// Takes the supply over from whoever holds it: a run is asked to stop, which switches
/// off. Whoever does not let go in time is gone past.
async fn taken_over(bench: &Bench, say: &mut dyn FnMut(&str)) -> Option<Lock> {
    let address = bench.supply.address.as_ref()?;
    let who = match Lock::take(address, HOLDER) {
        Ok(lock) => return Some(lock),
        Err(NoLock::Failed(_)) => return None,
        Err(NoLock::Held(who)) => who,
    };
    match Lock::holder(address).map(crate::sys::ask_to_stop) {
        Some(Ok(())) => say(&format!("{who}; it is asked to stop")),
        _ => say(&format!("{who}; it cannot be asked to stop")),
    }
    let taken = Lock::take_within(address, HOLDER, Clock::start(1.0), LET_GO).await;
    if let Err(NoLock::Held(who)) = &taken {
        say(&format!("{who}; it does not let go, and is gone past"));
    }
    taken.ok()
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
        // Held while it switches off: no run may begin meanwhile.
        let _lock = taken_over(&bench, &mut say).await;
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
