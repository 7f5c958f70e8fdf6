//! One of the two connections of a HiSLIP session.
//!
//! Holds always: a call that is given up half-way loses no bytes in either
//! direction; a later call goes on with them.

use super::frame::{Arrived, Frame};
use crate::link::LinkError;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;
use tokio::time::{Instant, timeout_at};

/// A connection.
pub struct Channel {
    stream: TcpStream,
    arrived: Vec<u8>,
    unsent: Vec<u8>,
    longest: usize,
}

impl Channel {
    /// Over an open connection; payloads up to `longest` are taken.
    pub fn new(stream: TcpStream, longest: usize) -> Self {
        Self { stream, arrived: Vec::new(), unsent: Vec::new(), longest }
    }

    /// Sends a message, after what was left of the one before.
    pub async fn send(&mut self, frame: &Frame, deadline: Instant) -> Result<(), LinkError> {
        self.unsent.extend(frame.emit());
        while !self.unsent.is_empty() {
            match timeout_at(deadline, self.stream.write(&self.unsent)).await {
                Err(_) => return Err(LinkError::Timeout { partial: Vec::new() }),
                Ok(Ok(0)) => return Err(LinkError::Closed { partial: Vec::new() }),
                Ok(Ok(sent)) => drop(self.unsent.drain(..sent)),
                Ok(Err(error)) => return Err(gone_or(error)),
            }
        }
        Ok(())
    }

    /// The next message. One whose number is not known is passed over (IVI-6.1, 6.2:
    /// what a later version adds is answered with an error, and does no harm).
    pub async fn next(&mut self, deadline: Instant) -> Result<Frame, LinkError> {
        loop {
            if let Some(frame) = self.take()? {
                return Ok(frame);
            }
            match timeout_at(deadline, self.stream.read_buf(&mut self.arrived)).await {
                Err(_) => return Err(LinkError::Timeout { partial: Vec::new() }),
                Ok(Ok(0)) => return Err(LinkError::Closed { partial: std::mem::take(&mut self.arrived) }),
                Ok(Ok(_)) => {}
                Ok(Err(error)) => return Err(gone_or(error)),
            }
        }
    }

    /// What has arrived by now, without waiting.
    pub fn at_once(&mut self) -> Result<Option<Frame>, LinkError> {
        let mut chunk = [0; 4096];
        while let Ok(read) = self.stream.try_read(&mut chunk) {
            self.arrived.extend_from_slice(chunk.get(..read).unwrap_or_default());
            if read == 0 {
                break;
            }
        }
        self.take()
    }

    fn take(&mut self) -> Result<Option<Frame>, LinkError> {
        loop {
            match Frame::parse(&self.arrived, self.longest) {
                Arrived::More => return Ok(None),
                Arrived::Frame(frame, taken) => {
                    self.arrived.drain(..taken);
                    return Ok(Some(frame));
                }
                Arrived::Unknown(_, taken) => drop(self.arrived.drain(..taken)),
                Arrived::TooLong(_) => return Err(LinkError::TooLong { limit: self.longest }),
                Arrived::Garbled => return Err(LinkError::Io(std::io::Error::other("what arrived is no HiSLIP"))),
            }
        }
    }
}

fn gone_or(error: std::io::Error) -> LinkError {
    if crate::link::stream::is_gone(&error) { LinkError::Closed { partial: Vec::new() } } else { error.into() }
}
