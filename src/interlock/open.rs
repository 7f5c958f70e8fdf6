//! Reaching the instruments of a bench: the link, the conversation, the identity,
//! the output off.

use super::station::Supply;
use crate::clock::Clock;
use crate::instrument::profile::Profile;
use crate::instrument::session::{Session, framing};
use crate::instrument::{Fault, InstrumentError, Meter, Role};
use crate::link::serial::Line;
use crate::link::trace::{Traced, TrafficSink};
use crate::link::{self, Address, Link, LinkError};
use crate::plan::{MeterSeat, SupplySeat};
use crate::units::Seconds;
use std::sync::Arc;

/// How long an instrument may take to accept a connection.
const CONNECT: Seconds = Seconds(5.0);

/// Opens the link to a seat's address.
///
/// # Errors
/// There is no address, or nobody is reached there.
pub async fn reach(address: Option<&str>, line: &Line, profile: &Profile, clock: Clock) -> Result<Box<dyn Link>, LinkError> {
    let Some(text) = address else {
        let problem = "the bench file gives no address; `rampart rehearse` needs none".to_owned();
        return Err(LinkError::Address { address: String::new(), problem });
    };
    let address: Address = text.parse()?;
    link::open(&address, line, framing(&profile.wire), clock.deadline(CONNECT)).await
}

/// An instrument that answers.
pub struct Opened<I> {
    /// The instrument.
    pub instrument: I,
    /// As it answered.
    pub identity: Option<String>,
    /// What its error queue held from before.
    pub old_errors: Option<String>,
}

/// On a serial line that nobody answers on, the settings are the first to look at.
fn heard_on(line: Option<&Line>, fault: Fault) -> Fault {
    let mute = matches!(fault, Fault::NoReply { .. } | Fault::OutOfStep { .. } | Fault::Garbled { .. } | Fault::Late { .. });
    match line.filter(|_| mute) {
        Some(line) => Fault::Line { why: Box::new(fault), line: line.to_string(), dtr: line.dtr.name(), rts: line.rts.name() },
        None => fault,
    }
}

/// The line of a seat, where it is a serial one.
fn serial_line<'l>(address: Option<&str>, line: &'l Line) -> Option<&'l Line> {
    matches!(address?.parse(), Ok(Address::Serial { .. })).then_some(line)
}

async fn session(
    link: Box<dyn Link>,
    profile: &Profile,
    serial: Option<&str>,
    line: Option<&Line>,
    clock: Clock,
    sink: Arc<dyn TrafficSink>,
    role: Role,
) -> Result<(Session, Option<String>, Option<String>), InstrumentError> {
    let traced = Box::new(Traced::new(link, sink));
    let mut session = Session::new(traced, profile, clock);
    let (identity, old) = session.greet(&profile.remote, serial).await.map_err(|f| heard_on(line, f).of(role))?;
    Ok((session, identity, old))
}

/// Opens the supply at the end of `link` and makes sure that its output is off.
///
/// # Errors
/// Another instrument, no answer, or an output that could not be verified off.
pub async fn open_supply(
    link: Box<dyn Link>,
    seat: &SupplySeat,
    clock: Clock,
    sink: Arc<dyn TrafficSink>,
) -> Result<Opened<Supply>, InstrumentError> {
    let line = serial_line(seat.address.as_deref(), &seat.line);
    let (mut session, identity, old_errors) =
        session(link, &seat.profile, seat.serial.as_deref(), line, clock, sink, Role::Supply).await?;
    reset(&mut session, &seat.profile, clock, Role::Supply).await?;
    let mut supply = Supply::new(session, &seat.profile, seat.channel, clock)?;
    supply.off().await?;
    Ok(Opened { instrument: supply, identity, old_errors })
}

/// Opens the meter at the end of `link`.
///
/// # Errors
/// Another instrument, or no answer.
pub async fn open_meter(
    link: Box<dyn Link>,
    seat: &MeterSeat,
    clock: Clock,
    sink: Arc<dyn TrafficSink>,
) -> Result<Opened<Meter>, InstrumentError> {
    let line = serial_line(seat.address.as_deref(), &seat.line);
    let (mut session, identity, old_errors) =
        session(link, &seat.profile, seat.serial.as_deref(), line, clock, sink, Role::Meter).await?;
    reset(&mut session, &seat.profile, clock, Role::Meter).await?;
    Ok(Opened { instrument: Meter::new(session, &seat.profile, clock)?, identity, old_errors })
}

/// Resets where the profile asks for it, and waits as long as that takes.
async fn reset(session: &mut Session, profile: &Profile, clock: Clock, role: Role) -> Result<(), InstrumentError> {
    let Some((message, settle)) = &profile.reset else { return Ok(()) };
    session.command_at_once(message).await.map_err(|f| f.of(role))?;
    clock.sleep(*settle).await;
    match session.drain_errors(message).await {
        Ok(()) | Err(Fault::Refused { .. }) => Ok(()),
        Err(other) => Err(other.of(role)),
    }
}
