//! A link over HiSLIP 1.0 (IVI-6.1) in synchronised mode: two connections to one
//! port, messages with numbers, device clear, status byte and lock beside them.
//!
//! Holds always: an answer is handed out only if it carries the number of the last
//! message that was sent, so that a late one is never taken for the next one.

mod channel;
pub mod frame;

use super::{Framing, Link, LinkError, Locked, Pending, without_end};
use channel::Channel;
use frame::{Frame, HEADER, Kind};
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout_at};

/// Registered with IANA.
pub const PORT: u16 = 4880;
/// Protocol version 1.0, in the upper half of Initialize's parameter.
const VERSION: u32 = 0x0100 << 16;
/// Two letters of whoever wrote the client; these are reserved for nobody.
const VENDOR: u32 = 0x5858;
/// The first message's number (IVI-6.1, 3.1.2).
const FIRST: u32 = 0xffff_ff00;
/// Before a server says how long a message may be.
const SHORTEST_LIMIT: u64 = 256;

/// A session with one instrument.
struct Hislip {
    sync: Channel,
    beside: Channel,
    framing: Framing,
    /// The next message's number.
    next: u32,
    /// The number of the last that was sent.
    last: u32,
    /// The end of an answer was handed out since the last message was sent.
    delivered: bool,
    /// The longest message that the server takes, with its header.
    most: u64,
    /// What has come of the answer in hand.
    partial: Vec<u8>,
}

/// Opens a session with `device`, as `hislip0`.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason, or the server's.
pub(super) async fn open(
    address: &str,
    host: &str,
    port: u16,
    device: &str,
    framing: Framing,
    deadline: Instant,
) -> Result<Box<dyn Link>, LinkError> {
    let failed = |source| LinkError::Open { address: address.to_owned(), source };
    let connect = async || match timeout_at(deadline, TcpStream::connect((host, port))).await {
        Err(_) => Err(failed(std::io::Error::new(std::io::ErrorKind::TimedOut, "no answer in time"))),
        Ok(stream) => {
            let stream = stream.map_err(failed)?;
            stream.set_nodelay(true).map_err(failed)?;
            Ok(Channel::new(stream, framing.longest))
        }
    };
    let mut sync = connect().await?;
    let opened = async {
        let hello = Frame::with(Kind::Initialize, 0, VERSION | VENDOR, device.as_bytes());
        let welcome = ask(&mut sync, &hello, Kind::InitializeResponse, deadline).await?;
        let mut beside = connect().await?;
        let session = welcome.parameter & 0xffff;
        ask(&mut beside, &Frame::new(Kind::AsyncInitialize, 0, session), Kind::AsyncInitializeResponse, deadline).await?;
        let longest = (framing.longest as u64).to_be_bytes();
        let size = Frame::with(Kind::AsyncMaximumMessageSize, 0, 0, &longest);
        let limit = ask(&mut beside, &size, Kind::AsyncMaximumMessageSizeResponse, deadline).await?;
        let most = limit.payload.first_chunk::<8>().map_or(SHORTEST_LIMIT, |bytes| u64::from_be_bytes(*bytes));
        Ok((beside, most.max(SHORTEST_LIMIT)))
    };
    match opened.await {
        Ok((beside, most)) => Ok(Box::new(Hislip {
            sync,
            beside,
            framing,
            next: FIRST,
            last: FIRST.wrapping_sub(2),
            delivered: false,
            most,
            partial: Vec::new(),
        })),
        Err(open @ LinkError::Open { .. }) => Err(open),
        Err(other) => Err(failed(std::io::Error::other(other.to_string()))),
    }
}

/// Sends, and waits for the message that answers it; others that come beside are passed over.
async fn ask(channel: &mut Channel, frame: &Frame, answer: Kind, deadline: Instant) -> Result<Frame, LinkError> {
    channel.send(frame, deadline).await?;
    loop {
        let found = channel.next(deadline).await?;
        refused(&found)?;
        if found.kind == answer {
            return Ok(found);
        }
    }
}

/// What a server says in place of an answer (IVI-6.1, tables 16 and 17).
fn refused(frame: &Frame) -> Result<(), LinkError> {
    let names: &[&str] = match frame.kind {
        Kind::FatalError => &[
            "unidentified error",
            "poorly formed message header",
            "attempt to use the connection without both channels",
            "invalid initialisation sequence",
            "server refused the connection: it has as many clients as it takes",
        ],
        Kind::Error => &[
            "unidentified error",
            "unrecognised message type",
            "unrecognised control code",
            "unrecognised message of the vendor's own",
            "message too large",
        ],
        _ => return Ok(()),
    };
    let name = names.get(usize::from(frame.control)).copied().unwrap_or("an error of its own");
    let words = String::from_utf8_lossy(&frame.payload);
    Err(LinkError::Io(std::io::Error::other(format!("the instrument ended it: {name} {words}").trim().to_owned())))
}

impl Hislip {
    async fn send_message(&mut self, message: &[u8], deadline: Instant) -> Result<(), LinkError> {
        let mut whole = message.to_vec();
        whole.extend_from_slice(&self.framing.send_end);
        self.partial.clear();
        let piece = usize::try_from(self.most).unwrap_or(usize::MAX).saturating_sub(HEADER).max(1);
        let mut pieces = whole.chunks(piece).peekable();
        while let Some(payload) = pieces.next() {
            let kind = if pieces.peek().is_some() { Kind::Data } else { Kind::DataEnd };
            let control = u8::from(std::mem::take(&mut self.delivered));
            self.last = self.next;
            self.next = self.next.wrapping_add(2);
            self.sync.send(&Frame::with(kind, control, self.last, payload), deadline).await?;
        }
        Ok(())
    }

    async fn receive_message(&mut self, deadline: Instant) -> Result<Vec<u8>, LinkError> {
        loop {
            let frame = match self.sync.next(deadline).await {
                Err(LinkError::Timeout { .. }) => return Err(LinkError::Timeout { partial: self.partial.clone() }),
                other => other?,
            };
            refused(&frame)?;
            match frame.kind {
                Kind::Interrupted => self.partial.clear(),
                Kind::Data | Kind::DataEnd if frame.parameter != self.last => {}
                Kind::Data | Kind::DataEnd => {
                    self.partial.extend(frame.payload);
                    if self.partial.len() > self.framing.longest {
                        self.partial.clear();
                        return Err(LinkError::TooLong { limit: self.framing.longest });
                    }
                    if frame.kind == Kind::DataEnd {
                        self.delivered = true;
                        return Ok(without_end(std::mem::take(&mut self.partial), &self.framing));
                    }
                }
                _ => {}
            }
        }
    }

    /// IVI-6.1, 6.12: over both connections, after which numbers begin anew.
    async fn clear_device(&mut self, deadline: Instant) -> Result<bool, LinkError> {
        ask(&mut self.beside, &Frame::new(Kind::AsyncDeviceClear, 0, 0), Kind::AsyncDeviceClearAcknowledge, deadline).await?;
        // What was under way is thrown away until the server has acknowledged.
        let complete = Frame::new(Kind::DeviceClearComplete, 0, 0);
        ask(&mut self.sync, &complete, Kind::DeviceClearAcknowledge, deadline).await?;
        (self.next, self.last, self.delivered) = (FIRST, FIRST.wrapping_sub(2), false);
        self.partial.clear();
        Ok(true)
    }

    async fn ask_lock(&mut self, control: u8, parameter: u32, deadline: Instant) -> Result<Locked, LinkError> {
        let answer =
            ask(&mut self.beside, &Frame::new(Kind::AsyncLock, control, parameter), Kind::AsyncLockResponse, deadline).await?;
        match answer.control {
            0 => Ok(Locked::No),
            1 | 2 => Ok(Locked::Yes),
            _ => Err(LinkError::Io(std::io::Error::other("the instrument refused to lock or to release: it was not held"))),
        }
    }
}

impl Link for Hislip {
    fn send<'a>(&'a mut self, message: &'a [u8], deadline: Instant) -> Pending<'a, ()> {
        Box::pin(self.send_message(message, deadline))
    }

    fn receive<'a>(&'a mut self, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(self.receive_message(deadline))
    }

    fn drain<'a>(&'a mut self, quiet: Duration, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(async move {
            let mut thrown = std::mem::take(&mut self.partial);
            loop {
                match self.sync.next((Instant::now() + quiet).min(deadline)).await {
                    Ok(frame) => {
                        self.delivered |= frame.kind == Kind::DataEnd;
                        thrown.extend(frame.payload);
                    }
                    Err(LinkError::Timeout { .. }) => return Ok(thrown),
                    Err(other) => return Err(other),
                }
                thrown.truncate(self.framing.longest);
                if Instant::now() >= deadline {
                    return Ok(thrown);
                }
            }
        })
    }

    fn unasked(&mut self) -> Vec<u8> {
        let mut thrown = std::mem::take(&mut self.partial);
        // What fails here fails at the next call, too.
        while let Ok(Some(frame)) = self.sync.at_once() {
            thrown.extend(frame.payload);
        }
        thrown
    }

    fn clear(&mut self, deadline: Instant) -> Pending<'_, bool> {
        Box::pin(self.clear_device(deadline))
    }

    fn status_byte(&mut self, deadline: Instant) -> Pending<'_, Option<u8>> {
        Box::pin(async move {
            let query = Frame::new(Kind::AsyncStatusQuery, u8::from(self.delivered), self.last);
            Ok(Some(ask(&mut self.beside, &query, Kind::AsyncStatusResponse, deadline).await?.control))
        })
    }

    fn lock(&mut self, wait: Duration, deadline: Instant) -> Pending<'_, Locked> {
        let wait = u32::try_from(wait.as_millis()).unwrap_or(u32::MAX);
        Box::pin(self.ask_lock(1, wait, deadline))
    }

    fn unlock(&mut self, deadline: Instant) -> Pending<'_, Locked> {
        let last = self.last;
        Box::pin(self.ask_lock(0, last, deadline))
    }
}
