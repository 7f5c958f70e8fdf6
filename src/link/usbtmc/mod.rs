//! A link over USBTMC 1.0 with its subclass USB488. No instrument of this kind has
//! been at the end of it yet: the frames are held to the standard, the exchange to a
//! stand-in of the bus.
//!
//! Holds always: while an answer that was asked for has not come, nothing else is
//! asked; what waits in the instrument is thrown away by its device clear.

mod bus;
mod frame;
#[cfg(test)]
mod tests;

use super::address::Usb;
use super::{Address, Framing, Link, LinkError, Pending, without_end};
use frame::{HEADER, Tag};
use std::time::Duration;
use tokio::time::Instant;

/// Class requests (USBTMC 1.0, table 15; USB488, table 9) that are used here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Request {
    InitiateClear,
    CheckClearStatus,
    GetCapabilities,
    ReadStatusByte,
    RemoteEnable,
}

impl Request {
    /// Its number, and how many bytes come back.
    fn number(self) -> (u8, u16) {
        match self {
            Self::InitiateClear => (5, 1),
            Self::CheckClearStatus => (6, 2),
            Self::GetCapabilities => (7, 0x18),
            Self::ReadStatusByte => (128, 3),
            Self::RemoteEnable => (160, 1),
        }
    }
}

/// What a request answers first.
const SUCCESS: u8 = 1;
const PENDING: u8 = 2;
/// In the capabilities of USB488: it can be put under remote control.
const TAKES_REMOTE: u8 = 1 << 1;
/// Between two looks whether a clear is over.
const BETWEEN_LOOKS: Duration = Duration::from_millis(10);
/// The most bytes of one piece.
const PIECE: usize = 16 * 1024;

/// The way to one interface: transfers on its two bulk pipes, and class requests.
trait Pipes: Send {
    /// One transfer out.
    fn write<'a>(&'a mut self, bytes: &'a [u8], deadline: Instant) -> Pending<'a, ()>;
    /// One transfer in, of at most `most` bytes; what a call brings that was given up
    /// is there at the next.
    fn read(&mut self, most: usize, deadline: Instant) -> Pending<'_, Vec<u8>>;
    /// A class request to the interface.
    fn request(&mut self, request: Request, value: u16, deadline: Instant) -> Pending<'_, Vec<u8>>;
    /// The pipe out takes transfers again.
    fn clear_halt(&mut self, deadline: Instant) -> Pending<'_, ()>;
    /// The status byte comes by a pipe of its own, which is not read here.
    fn interrupts(&self) -> bool;
}

/// An instrument on the bus.
struct Usbtmc<P> {
    pipes: P,
    framing: Framing,
    tag: Tag,
    partial: Vec<u8>,
    /// The answer that was asked for and has not come whole.
    asked: Option<Asked>,
}

/// An answer under way.
struct Asked {
    tag: Tag,
    bytes: Vec<u8>,
}

/// Opens the instrument of this address, and puts it under remote control.
///
/// # Errors
/// [`LinkError::Open`] with the system's reason.
pub(super) async fn open(address: &Address, usb: &Usb, framing: Framing, deadline: Instant) -> Result<Box<dyn Link>, LinkError> {
    let failed = |source| LinkError::Open { address: address.to_string(), source };
    let pipes = bus::open(usb).await.map_err(failed)?;
    let mut link = Usbtmc::new(pipes, framing);
    link.take_remote(deadline).await.map_err(|error| failed(std::io::Error::other(error.to_string())))?;
    Ok(Box::new(link))
}

fn other(words: impl Into<String>) -> LinkError {
    LinkError::Io(std::io::Error::other(words.into()))
}

impl<P: Pipes> Usbtmc<P> {
    fn new(pipes: P, framing: Framing) -> Self {
        Self { pipes, framing, tag: Tag::FIRST, partial: Vec::new(), asked: None }
    }

    /// Under remote control, where it can be put there; some do not have the request.
    async fn take_remote(&mut self, deadline: Instant) -> Result<(), LinkError> {
        let capabilities = self.pipes.request(Request::GetCapabilities, 0, deadline).await?;
        if capabilities.get(14).is_some_and(|of_488| of_488 & TAKES_REMOTE != 0) {
            self.pipes.request(Request::RemoteEnable, 1, deadline).await?;
        }
        Ok(())
    }

    fn take_tag(&mut self) -> Tag {
        let tag = self.tag;
        self.tag = tag.next();
        tag
    }

    async fn send_message(&mut self, message: &[u8], deadline: Instant) -> Result<(), LinkError> {
        if self.asked.is_some() {
            self.clear_device(deadline).await?;
        }
        let mut whole = message.to_vec();
        whole.extend_from_slice(&self.framing.send_end);
        self.partial.clear();
        let mut pieces = whole.chunks(PIECE).peekable();
        while let Some(piece) = pieces.next() {
            let tag = self.take_tag();
            self.pipes.write(&frame::out(tag, piece, pieces.peek().is_none()), deadline).await?;
        }
        Ok(())
    }

    async fn receive_message(&mut self, deadline: Instant) -> Result<Vec<u8>, LinkError> {
        loop {
            if self.asked.is_none() {
                let tag = self.take_tag();
                self.pipes.write(&frame::request(tag, PIECE, None), deadline).await?;
                self.asked = Some(Asked { tag, bytes: Vec::new() });
            }
            let Some(asked) = &mut self.asked else { continue };
            match self.pipes.read(PIECE + HEADER + 3, deadline).await {
                Err(LinkError::Timeout { .. }) => return Err(LinkError::Timeout { partial: self.partial.clone() }),
                other => asked.bytes.extend(other?),
            }
            if asked.bytes.len() < HEADER {
                continue;
            }
            let Some(answer) = frame::answer(asked.tag, &asked.bytes) else {
                return Err(other("what arrived is no answer to the request before it"));
            };
            // It may say more than was asked for; more than that is not taken.
            let size = answer.size.min(PIECE);
            if asked.bytes.len() < HEADER + size {
                continue;
            }
            self.partial.extend_from_slice(asked.bytes.get(HEADER..HEADER + size).unwrap_or_default());
            self.asked = None;
            if self.partial.len() > self.framing.longest {
                self.partial.clear();
                return Err(LinkError::TooLong { limit: self.framing.longest });
            }
            if answer.last {
                return Ok(without_end(std::mem::take(&mut self.partial), &self.framing));
            }
        }
    }

    /// USBTMC 1.0, 4.2.1.6 and 4.2.1.7.
    async fn clear_device(&mut self, deadline: Instant) -> Result<bool, LinkError> {
        self.partial.clear();
        self.asked = None;
        let begun = self.pipes.request(Request::InitiateClear, 0, deadline).await?;
        if begun.first() != Some(&SUCCESS) {
            return Err(other("the instrument refused the device clear"));
        }
        loop {
            let status = self.pipes.request(Request::CheckClearStatus, 0, deadline).await?;
            if status.first() != Some(&PENDING) {
                break;
            }
            // It still has something to send: that is thrown away.
            if status.get(1).is_some_and(|clear| clear & 1 == 1) {
                self.pipes.read(PIECE, deadline).await?;
            } else {
                tokio::time::sleep(BETWEEN_LOOKS).await;
            }
            if Instant::now() >= deadline {
                return Err(LinkError::Timeout { partial: Vec::new() });
            }
        }
        self.pipes.clear_halt(deadline).await?;
        Ok(true)
    }
}

impl<P: Pipes> Link for Usbtmc<P> {
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

    /// Where it comes by a pipe of its own there is no way to it here.
    fn status_byte(&mut self, deadline: Instant) -> Pending<'_, Option<u8>> {
        Box::pin(async move {
            if self.pipes.interrupts() {
                return Ok(None);
            }
            // Its tags are 2 to 127 (USB488, 4.3.1).
            let tag = u16::from(self.take_tag().byte() % 126) + 2;
            let answer = self.pipes.request(Request::ReadStatusByte, tag, deadline).await?;
            Ok(answer.get(2).copied().filter(|_| answer.first() == Some(&SUCCESS)))
        })
    }
}
