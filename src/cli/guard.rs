//! `rampart guard`: the second process of a run; nobody types it.

use crate::clock::Clock;
use crate::interlock::guard::{Brief, Lost, READY, switch_off, watch};
use crate::interlock::{Lock, NoLock, told};
use crate::plan::Bench;
use crate::record::GUARD;
use crate::runner::Exit;
use crate::units::Seconds;
use crate::view::{errln, outln};
use std::io::Write;
use std::path::Path;
use std::sync::Arc;
use tokio::io::{AsyncBufReadExt, BufReader};

/// How long it goes on trying to switch off.
const PATIENCE: Seconds = Seconds(600.0);

pub(super) fn main() -> Exit {
    let Ok(runtime) = tokio::runtime::Builder::new_current_thread().enable_all().build() else { return Exit::Wrong };
    let exit = runtime.block_on(guard());
    runtime.shutdown_background();
    exit
}

async fn guard() -> Exit {
    // Signals are for the run; the guard goes by the pipe alone.
    if let Err(error) = crate::sys::detach().and_then(|()| crate::sys::deaf()) {
        outln!("it cannot leave the terminal: {error}");
        return Exit::Wrong;
    }
    let mut input = BufReader::new(tokio::io::stdin());
    let mut line = String::new();
    let told = input.read_line(&mut line).await.map_err(|e| e.to_string());
    let brief = told.and_then(|_| Brief::read(&line)).and_then(|b| Ok((Bench::read(&b.bench).map_err(|p| p.to_string())?, b)));
    let (bench, brief) = match brief {
        Ok(brief) => brief,
        Err(why) => {
            outln!("{why}");
            return Exit::Wrong;
        }
    };
    outln!("{READY}");
    match watch(input, brief.silence).await {
        None => Exit::Within,
        Some(lost) => act(&brief, &bench, lost).await,
    }
}

async fn act(brief: &Brief, bench: &Bench, lost: Lost) -> Exit {
    let path = brief.folder.join(GUARD);
    let mut say = |words: &str| {
        note(&path, words);
        errln!("guard: {words}");
    };
    match lost {
        Lost::Closed => say(&format!("the run (process {}) has ended without having seen its output off", brief.runner)),
        Lost::Silent => {
            say(&format!("the run (process {}) has given no sign of life for {}: ending it", brief.runner, brief.silence));
            if let Err(error) = crate::sys::kill(brief.runner) {
                say(&format!("it could not be ended: {error}"));
            }
        }
    }
    let clock = Clock::start(1.0);
    let _lock = match lock(bench, clock).await {
        Ok(lock) => lock,
        Err(why) => {
            say(&format!("{why}; whoever has it switched off when it began"));
            return Exit::Within;
        }
    };
    let off = switch_off(&bench.supply, clock, PATIENCE, Arc::new(super::off::Deaf), &mut say).await;
    match off {
        Ok(proof) => {
            say(&told(&proof));
            Exit::Within
        }
        Err(error) => {
            say(&format!("gave up: {error}"));
            super::common::shout(&error.to_string());
            Exit::NotOff
        }
    }
}

/// Takes the supply over from the dead run, whose lock goes with its process. Where
/// no lock can be made it goes without.
async fn lock(bench: &Bench, clock: Clock) -> Result<Option<Lock>, NoLock> {
    let Some(address) = &bench.supply.address else { return Ok(None) };
    match Lock::take_within(address, "rampart guard", clock, Seconds(1.0)).await {
        Ok(lock) => Ok(Some(lock)),
        Err(NoLock::Failed(_)) => Ok(None),
        Err(held) => Err(held),
    }
}

/// One line into the run's folder. The disk may be what killed the run: then the
/// terminal alone is told.
fn note(path: &Path, words: &str) {
    let now = jiff::Timestamp::now();
    let file = std::fs::OpenOptions::new().create(true).append(true).open(path);
    file.and_then(|mut f| writeln!(f, "{now:.3} {words}")).unwrap_or_default();
}
