//! Switching a bench's output off from nothing: connect, off, verify, and again
//! until it is so.

use crate::clock::Clock;
use crate::instrument::session::Session;
use crate::instrument::{InstrumentError, OffProof, Role};
use crate::interlock::open::reach;
use crate::interlock::station::Supply;
use crate::link::trace::{Traced, TrafficSink};
use crate::plan::SupplySeat;
use crate::units::Seconds;
use std::sync::Arc;

/// First and longest pause between two tries.
const PAUSE: (Seconds, Seconds) = (Seconds(0.1), Seconds(5.0));

/// Switches the supply's output off and verifies it. Tries again while `patience`
/// lasts, on a new connection each time: an instrument that takes one client only
/// is free once the dead program's connection is gone. `say` hears of each failure.
///
/// # Errors
/// The last failure.
pub async fn switch_off(
    seat: &SupplySeat,
    clock: Clock,
    patience: Seconds,
    sink: Arc<dyn TrafficSink>,
    say: &mut dyn FnMut(&str),
) -> Result<OffProof, InstrumentError> {
    let give_up = clock.now() + patience;
    let mut pause = PAUSE.0;
    loop {
        match once(seat, clock, sink.clone()).await {
            Ok(proof) => return Ok(proof),
            Err(error) => {
                say(&error.to_string());
                if clock.now() >= give_up {
                    return Err(error);
                }
            }
        }
        clock.sleep(pause).await;
        pause = (pause * 2.0).min(PAUSE.1);
    }
}

/// Off first, questions afterwards: that it was the right instrument is made sure
/// of once it is off. Where off alone does not do, remote control is asked for.
async fn once(seat: &SupplySeat, clock: Clock, sink: Arc<dyn TrafficSink>) -> Result<OffProof, InstrumentError> {
    let of = |fault: crate::instrument::Fault| fault.of(Role::Supply);
    let profile = &seat.profile;
    let link = reach(seat.address.as_deref(), &seat.line, profile, clock).await.map_err(|e| of(e.into()))?;
    let session = Session::new(Box::new(Traced::new(link, sink)), profile, clock);
    let mut supply = Supply::new(session, profile, seat.channel, clock)?;
    let first = supply.off().await;
    match first {
        Ok(proof) => {
            supply.session().identify(seat.serial.as_deref()).await.map_err(of)?;
            Ok(proof)
        }
        Err(_) => {
            supply.session().greet(&profile.remote, seat.serial.as_deref()).await.map_err(of)?;
            supply.off().await
        }
    }
}
