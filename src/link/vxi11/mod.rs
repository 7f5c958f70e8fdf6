//! A link over VXI-11 (VXIbus Consortium, TCP/IP-VXIbus, VXI-11 revision 1.0): the
//! portmapper says where the core channel is; a link to a device is made on it; the
//! abort channel ends a call that does not come back.
//!
//! Holds always: a read that was given up is ended, or collected and thrown away,
//! before the next call, so that its answer is never taken for another one.

mod rpc;

use super::{Framing, Link, LinkError, Locked, Pending, without_end};
use rpc::{Caller, Program, bytes, number, take_bytes, take_number};
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout_at};

const PORTMAPPER: Program = Program { number: 100_000, version: 2 };
const GETPORT: u32 = 3;
const PORTMAPPER_PORT: u16 = 111;
const OVER_TCP: u32 = 6;
const CORE: Program = Program { number: 0x0006_07AF, version: 1 };
const ABORT: Program = Program { number: 0x0006_07B0, version: 1 };

/// Procedures of the core channel (VXI-11, B.6), and of the abort channel.
const CREATE_LINK: u32 = 10;
const WRITE: u32 = 11;
const READ: u32 = 12;
const READ_STATUS: u32 = 13;
const CLEAR: u32 = 15;
const LOCK: u32 = 18;
const UNLOCK: u32 = 19;
const DESTROY_LINK: u32 = 23;
const DEVICE_ABORT: u32 = 1;

/// Flags: wait for a lock; the last piece of a message.
const WAIT_LOCK: u32 = 0x01;
const END: u32 = 0x08;
/// Why a read ended: a terminator, the end of the message.
const BY_CHARACTER: u32 = 2;
const BY_END: u32 = 4;

/// Errors that mean something of their own here.
const TIMED_OUT: u32 = 15;
const LOCKED: u32 = 11;
const NOT_HELD: u32 = 12;
const ABORTED: u32 = 23;

/// The instrument keeps the time itself; it is given this long beyond it.
const GRACE: Duration = Duration::from_millis(500);
/// A piece of a message where the instrument does not say what it takes.
const PIECE: usize = 1024;

/// A link to one device.
struct Vxi11 {
    core: Caller,
    abort: Option<Caller>,
    framing: Framing,
    id: u32,
    /// The most bytes of one write.
    most: usize,
    partial: Vec<u8>,
    /// A read whose reply has not come.
    reading: Option<u32>,
}

/// Makes a link to `device`, as `inst0`. With `port` the core channel is there, and
/// no portmapper is asked.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason, or the instrument's.
pub(super) async fn open(
    address: &str,
    host: &str,
    port: Option<u16>,
    device: &str,
    framing: Framing,
    deadline: Instant,
) -> Result<Box<dyn Link>, LinkError> {
    let failed = |source| LinkError::Open { address: address.to_owned(), source };
    let longest = framing.longest.saturating_add(1024);
    let connect = async |port: u16, program: Program| match timeout_at(deadline, TcpStream::connect((host, port))).await {
        Err(_) => Err(failed(std::io::Error::new(std::io::ErrorKind::TimedOut, "no answer in time"))),
        Ok(stream) => {
            let stream = stream.map_err(failed)?;
            stream.set_nodelay(true).map_err(failed)?;
            Ok(Caller::new(stream, program, longest))
        }
    };
    let opened = async {
        let port = match port {
            Some(port) => port,
            None => {
                let mut mapper = connect(PORTMAPPER_PORT, PORTMAPPER).await?;
                let asked = numbers(&[CORE.number, CORE.version, OVER_TCP, 0]);
                let found = take_number(&mut mapper.call(GETPORT, &asked, deadline).await?.as_slice())?;
                u16::try_from(found)
                    .ok()
                    .filter(|port| *port > 0)
                    .ok_or_else(|| LinkError::Io(std::io::Error::other("its portmapper knows of no VXI-11")))?
            }
        };
        let mut core = connect(port, CORE).await?;
        // No lock: a run's guard must get in when the run has died.
        let mut asked = numbers(&[std::process::id(), 0, 0]);
        bytes(device.as_bytes(), &mut asked);
        let made = core.call(CREATE_LINK, &asked, deadline).await?;
        let mut made = made.as_slice();
        said(take_number(&mut made)?)?;
        let id = take_number(&mut made)?;
        let abort_port = u16::try_from(take_number(&mut made)?).unwrap_or(0);
        let most = take_number(&mut made)? as usize;
        // Without it a call that does not come back ends the link: slower, no less safe.
        let abort = if abort_port > 0 { connect(abort_port, ABORT).await.ok() } else { None };
        Ok((core, abort, id, most))
    };
    match opened.await {
        Ok((core, abort, id, most)) => {
            let most = if most == 0 { PIECE } else { most };
            Ok(Box::new(Vxi11 { core, abort, framing, id, most, partial: Vec::new(), reading: None }))
        }
        Err(open @ LinkError::Open { .. }) => Err(open),
        Err(other) => Err(failed(std::io::Error::other(other.to_string()))),
    }
}

fn numbers(values: &[u32]) -> Vec<u8> {
    let mut made = Vec::new();
    values.iter().for_each(|value| number(*value, &mut made));
    made
}

/// What an error number means (VXI-11, B.5.2).
fn said(error: u32) -> Result<(), LinkError> {
    let words = match error {
        0 => return Ok(()),
        TIMED_OUT => return Err(LinkError::Timeout { partial: Vec::new() }),
        4 => return Err(LinkError::Closed { partial: Vec::new() }),
        1 => "a syntax error",
        3 => "the device is not accessible",
        5 => "a parameter that it does not take",
        6 => "a channel that is not established",
        8 => "an operation that it does not have",
        9 => "it has no more links to give",
        LOCKED => "somebody else holds its lock",
        NOT_HELD => "the lock was not held",
        17 => "an error between it and its device",
        21 => "a device of that name is not there",
        ABORTED => "the call was aborted",
        29 => "a channel that is established already",
        _ => "an error of its own",
    };
    Err(LinkError::Io(std::io::Error::other(format!("the instrument answered with error {error}: {words}"))))
}

/// Milliseconds until the deadline, at least one.
fn left(deadline: Instant) -> u32 {
    let left = deadline.saturating_duration_since(Instant::now());
    u32::try_from(left.as_millis()).unwrap_or(u32::MAX).max(1)
}

impl Vxi11 {
    /// A procedure that answers with an error number, and perhaps more.
    async fn call(&mut self, procedure: u32, parameters: &[u8], deadline: Instant) -> Result<Vec<u8>, LinkError> {
        self.give_up().await?;
        let result = self.core.call(procedure, parameters, deadline + GRACE).await?;
        let mut rest = result.as_slice();
        said(take_number(&mut rest)?)?;
        Ok(rest.to_vec())
    }

    /// Ends a read whose reply has not come, and throws away what it brought.
    async fn give_up(&mut self) -> Result<(), LinkError> {
        let Some(reading) = self.reading.take() else { return Ok(()) };
        let deadline = Instant::now() + GRACE;
        if let Some(abort) = &mut self.abort {
            abort.call(DEVICE_ABORT, &numbers(&[self.id]), deadline).await?;
        }
        match self.core.reply(reading, deadline).await {
            Ok(_) => Ok(()),
            Err(LinkError::Timeout { .. }) => Err(LinkError::Closed { partial: Vec::new() }),
            Err(other) => Err(other),
        }
    }

    async fn send_message(&mut self, message: &[u8], deadline: Instant) -> Result<(), LinkError> {
        let mut whole = message.to_vec();
        whole.extend_from_slice(&self.framing.send_end);
        self.partial.clear();
        let mut from = 0;
        while from < whole.len() {
            let piece = whole.get(from..(from + self.most).min(whole.len())).unwrap_or_default();
            let flags = if from + piece.len() == whole.len() { END } else { 0 };
            let mut asked = numbers(&[self.id, left(deadline), 0, flags]);
            bytes(piece, &mut asked);
            let taken = take_number(&mut self.call(WRITE, &asked, deadline).await?.as_slice())? as usize;
            if taken == 0 {
                return Err(LinkError::Io(std::io::Error::other("the instrument took nothing of a message")));
            }
            from += taken;
        }
        Ok(())
    }

    async fn receive_message(&mut self, deadline: Instant) -> Result<Vec<u8>, LinkError> {
        self.give_up().await?;
        loop {
            let most = u32::try_from(self.framing.longest).unwrap_or(u32::MAX);
            let asked = numbers(&[self.id, most, left(deadline), 0, 0, 0]);
            let call = self.core.send(READ, &asked, deadline).await?;
            self.reading = Some(call);
            let result = self.core.reply(call, deadline + GRACE).await;
            if !matches!(result, Err(LinkError::Timeout { .. })) {
                self.reading = None;
            }
            let result = result?;
            let mut rest = result.as_slice();
            match said(take_number(&mut rest)?) {
                Err(LinkError::Timeout { .. }) => return Err(LinkError::Timeout { partial: self.partial.clone() }),
                other => other?,
            }
            let reason = take_number(&mut rest)?;
            self.partial.extend(take_bytes(&mut rest)?);
            if self.partial.len() > self.framing.longest {
                self.partial.clear();
                return Err(LinkError::TooLong { limit: self.framing.longest });
            }
            if reason & (BY_END | BY_CHARACTER) != 0 {
                return Ok(without_end(std::mem::take(&mut self.partial), &self.framing));
            }
        }
    }

    async fn clear_device(&mut self, deadline: Instant) -> Result<bool, LinkError> {
        self.partial.clear();
        let asked = numbers(&[self.id, 0, 0, left(deadline)]);
        self.call(CLEAR, &asked, deadline).await?;
        Ok(true)
    }

    async fn lock_for(&mut self, wait: Duration, deadline: Instant) -> Result<Locked, LinkError> {
        self.give_up().await?;
        let wait = u32::try_from(wait.as_millis()).unwrap_or(u32::MAX);
        let flags = if wait > 0 { WAIT_LOCK } else { 0 };
        self.locked(LOCK, &numbers(&[self.id, flags, wait]), deadline).await
    }

    async fn locked(&mut self, procedure: u32, asked: &[u8], deadline: Instant) -> Result<Locked, LinkError> {
        let result = self.core.call(procedure, asked, deadline + GRACE).await?;
        match take_number(&mut result.as_slice())? {
            LOCKED => Ok(Locked::No),
            error => said(error).map(|()| Locked::Yes),
        }
    }
}

impl Drop for Vxi11 {
    fn drop(&mut self) {
        // The instrument frees a link whose connection is closed; this is a courtesy.
        if let Err(error) = self.core.post(DESTROY_LINK, &numbers(&[self.id])) {
            tracing::debug!("a VXI-11 link was closed without being destroyed: {error}");
        }
    }
}

impl Link for Vxi11 {
    fn send<'a>(&'a mut self, message: &'a [u8], deadline: Instant) -> Pending<'a, ()> {
        Box::pin(self.send_message(message, deadline))
    }

    fn receive<'a>(&'a mut self, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(self.receive_message(deadline))
    }

    /// Nothing comes unasked: what waits in the instrument goes by a device clear.
    fn drain<'a>(&'a mut self, _: Duration, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(async move {
            let partial = self.partial.clone();
            self.clear_device(deadline).await?;
            Ok(partial)
        })
    }

    fn unasked(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.partial)
    }

    fn clear(&mut self, deadline: Instant) -> Pending<'_, bool> {
        Box::pin(self.clear_device(deadline))
    }

    fn status_byte(&mut self, deadline: Instant) -> Pending<'_, Option<u8>> {
        Box::pin(async move {
            let asked = numbers(&[self.id, 0, 0, left(deadline)]);
            let byte = take_number(&mut self.call(READ_STATUS, &asked, deadline).await?.as_slice())?;
            Ok(u8::try_from(byte & 0xff).ok())
        })
    }

    fn lock(&mut self, wait: Duration, deadline: Instant) -> Pending<'_, Locked> {
        Box::pin(self.lock_for(wait, deadline))
    }

    fn unlock(&mut self, deadline: Instant) -> Pending<'_, Locked> {
        Box::pin(async move {
            self.give_up().await?;
            let asked = numbers(&[self.id]);
            self.locked(UNLOCK, &asked, deadline).await
        })
    }
}
