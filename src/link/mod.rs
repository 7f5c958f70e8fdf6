//! Bytes to and from an address. Knows no SCPI.
//!
//! A link carries whole messages: over a byte stream (TCP, serial, memory) the
//! end of a message is found by a [`Framing`]; a transport that marks message
//! ends itself needs none. Every call has a deadline, so nothing blocks for
//! ever. A link is never used for two messages at once: the session above sends
//! one and reads one.
//!
//! Holds always: what was thrown away is returned to the caller, never lost in
//! silence; a closed connection is an error that says so.

mod address;
pub mod fault;
pub mod hislip;
pub mod memory;
pub mod serial;
mod stream;
mod tcp;
#[cfg(test)]
mod tests;
pub mod trace;
mod usbtmc;
mod vxi11;

pub use address::{Address, Usb};
pub use stream::StreamLink;

use std::future::Future;
use std::pin::Pin;
use tokio::time::Instant;

/// Opens the link to an address. `line` counts for serial ports alone.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason, [`LinkError::Timeout`].
pub async fn open(
    address: &Address,
    line: &serial::Line,
    framing: Framing,
    deadline: Instant,
) -> Result<Box<dyn Link>, LinkError> {
    match address {
        Address::Tcp { .. } => tcp::open(address, framing, deadline).await,
        Address::Serial { path } => serial::open(address, path, line, framing),
        Address::Hislip { host, device, port } => {
            hislip::open(&address.to_string(), host, port.unwrap_or(hislip::PORT), device, framing, deadline).await
        }
        Address::Vxi11 { host, device, port } => vxi11::open(&address.to_string(), host, *port, device, framing, deadline).await,
        Address::Usb(usb) => usbtmc::open(address, usb, framing, deadline).await,
    }
}

/// What a link's calls return: a boxed future, so that links can be stacked at run time.
pub type Pending<'a, T> = Pin<Box<dyn Future<Output = Result<T, LinkError>> + Send + 'a>>;

/// A way to one instrument, and back.
pub trait Link: Send {
    /// Sends one message. The link adds the terminator.
    ///
    /// # Errors
    /// [`LinkError::Timeout`] when not everything was taken by `deadline`;
    /// [`LinkError::Closed`] when the far end is gone.
    fn send<'a>(&'a mut self, message: &'a [u8], deadline: Instant) -> Pending<'a, ()>;

    /// Receives one message, without its terminator.
    ///
    /// Bytes of an unfinished message stay in the link: a later call goes on
    /// with them, and [`Link::drain`] throws them away.
    ///
    /// # Errors
    /// [`LinkError::Timeout`] with what had arrived, [`LinkError::Closed`],
    /// [`LinkError::TooLong`] when a message exceeds the link's bound.
    fn receive<'a>(&'a mut self, deadline: Instant) -> Pending<'a, Vec<u8>>;

    /// Throws away everything that has arrived or arrives until the line has
    /// been silent for `quiet`, or `deadline` has come, and returns it.
    fn drain<'a>(&'a mut self, quiet: std::time::Duration, deadline: Instant) -> Pending<'a, Vec<u8>>;

    /// Throws away what has arrived by now, without waiting, and returns it.
    fn unasked(&mut self) -> Vec<u8>;

    /// Device clear, as IEEE 488.2 5.8 has it: the instrument's buffers are empty
    /// afterwards, and its settings as they were. False where the link has none.
    ///
    /// # Errors
    /// As of [`Link::send`].
    fn clear(&mut self, deadline: Instant) -> Pending<'_, bool> {
        let _ = deadline;
        Box::pin(std::future::ready(Ok(false)))
    }

    /// The status byte, read beside the messages. `None` where the link has no way to it.
    ///
    /// # Errors
    /// As of [`Link::send`].
    fn status_byte(&mut self, deadline: Instant) -> Pending<'_, Option<u8>> {
        let _ = deadline;
        Box::pin(std::future::ready(Ok(None)))
    }

    /// Keeps all others from the instrument, waiting up to `wait` for one that holds it.
    /// A run does not use this: its guard must get in when the run has died.
    ///
    /// # Errors
    /// As of [`Link::send`].
    fn lock(&mut self, wait: std::time::Duration, deadline: Instant) -> Pending<'_, Locked> {
        let _ = (wait, deadline);
        Box::pin(std::future::ready(Ok(Locked::Impossible)))
    }

    /// Lets others in again.
    ///
    /// # Errors
    /// As of [`Link::send`]; that it was not held.
    fn unlock(&mut self, deadline: Instant) -> Pending<'_, Locked> {
        let _ = deadline;
        Box::pin(std::future::ready(Ok(Locked::Impossible)))
    }
}

/// What came of asking for a lock, or of giving it back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Locked {
    /// Done.
    Yes,
    /// Somebody else holds it.
    No,
    /// The link has no locks.
    Impossible,
}

/// A message whose end the transport marks, without the terminator that an
/// instrument may send all the same.
fn without_end(mut message: Vec<u8>, framing: &Framing) -> Vec<u8> {
    if let ReceiveEnd::Bytes { end, .. } = &framing.receive_end
        && message.ends_with(end)
    {
        message.truncate(message.len() - end.len());
    }
    message
}

/// A link that has gone: everything fails at once.
#[derive(Clone, Copy, Debug)]
pub struct Gone;

impl Link for Gone {
    fn send<'a>(&'a mut self, _: &'a [u8], _: Instant) -> Pending<'a, ()> {
        Box::pin(std::future::ready(Err(LinkError::Closed { partial: Vec::new() })))
    }
    fn receive<'a>(&'a mut self, _: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(std::future::ready(Err(LinkError::Closed { partial: Vec::new() })))
    }
    fn drain<'a>(&'a mut self, _: std::time::Duration, _: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(std::future::ready(Err(LinkError::Closed { partial: Vec::new() })))
    }
    fn unasked(&mut self) -> Vec<u8> {
        Vec::new()
    }
}

/// How messages are told apart on a byte stream.
#[derive(Clone, Debug)]
pub struct Framing {
    /// Appended to every message that is sent: `\n`, `\r`, `\r\n` or nothing.
    pub send_end: Vec<u8>,
    /// What ends a message that arrives.
    pub receive_end: ReceiveEnd,
    /// The longest message that is accepted, in bytes.
    pub longest: usize,
}

/// What ends a message that arrives on a byte stream.
#[derive(Clone, Debug)]
pub enum ReceiveEnd {
    /// These bytes. `scan` finds the end of the message in what has arrived so
    /// far (the count of bytes before the terminator), so that a terminator
    /// inside binary data is not taken for the end; the layer above supplies it.
    Bytes {
        /// The terminator.
        end: Vec<u8>,
        /// `scan(arrived, end)`: where the message ends, if it has.
        scan: fn(&[u8], &[u8]) -> Option<usize>,
    },
    /// Silence of this length, for instruments that send no terminator.
    Silence(std::time::Duration),
}

/// In words, what a connection took with it.
fn lost(partial: &[u8]) -> String {
    match partial.len() {
        0 => String::new(),
        1 => ", and 1 byte of an unfinished message with it".into(),
        count => format!(", and {count} bytes of an unfinished message with it"),
    }
}

/// Why a message could not be sent or received.
#[derive(Debug, thiserror::Error)]
pub enum LinkError {
    /// The address is not a resource string that this tool knows.
    #[error("{address:?} is not an address: {problem}")]
    Address {
        /// As written.
        address: String,
        /// What is wrong, and what is known.
        problem: String,
    },
    /// The far end could not be reached.
    #[error("cannot open {address}: {source}")]
    Open {
        /// As written.
        address: String,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The deadline came first.
    #[error("no answer in time ({} bytes had arrived)", partial.len())]
    Timeout {
        /// The bytes of the unfinished message.
        partial: Vec<u8>,
    },
    /// The far end closed the connection, or the cable is out.
    #[error("the connection was closed by the far end{}", lost(partial))]
    Closed {
        /// The bytes of the unfinished message.
        partial: Vec<u8>,
    },
    /// The message was longer than the link allows.
    #[error("a message longer than {limit} bytes")]
    TooLong {
        /// The bound in force.
        limit: usize,
    },
    /// The system reported an error on the open connection.
    #[error("the connection failed: {0}")]
    Io(#[from] std::io::Error),
}
