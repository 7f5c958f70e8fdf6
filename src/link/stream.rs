//! A link over any byte stream: TCP, a serial port, memory.
//!
//! Holds always: a `receive` that is given up half-way loses no bytes; a read of
//! nothing means that the far end is gone (on a serial port whose cable is out
//! the system gives nothing for ever).

use super::{Framing, Link, LinkError, Pending, ReceiveEnd};
use std::mem::MaybeUninit;
use std::pin::Pin;
use std::task::{Context, Poll, Waker};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, ReadBuf};
use tokio::time::{Instant, timeout_at};

/// A link over a byte stream.
pub struct StreamLink<S> {
    stream: S,
    framing: Framing,
    /// What has arrived and belongs to no message that was handed out.
    arrived: Vec<u8>,
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> StreamLink<S> {
    /// Over an open stream.
    pub fn new(stream: S, framing: Framing) -> Self {
        Self { stream, framing, arrived: Vec::new() }
    }

    /// Reads once; cancel-safe, since `read_buf` is.
    async fn more(&mut self, deadline: Instant) -> Result<(), LinkError> {
        match timeout_at(deadline, self.stream.read_buf(&mut self.arrived)).await {
            Err(_) => Err(LinkError::Timeout { partial: self.arrived.clone() }),
            Ok(Ok(0)) => Err(LinkError::Closed { partial: std::mem::take(&mut self.arrived) }),
            Ok(Ok(_)) => Ok(()),
            Ok(Err(error)) if is_gone(&error) => Err(LinkError::Closed { partial: std::mem::take(&mut self.arrived) }),
            Ok(Err(error)) => Err(error.into()),
        }
    }

    /// The first message in what has arrived, if it is whole.
    fn take_message(&mut self) -> Option<Vec<u8>> {
        let ReceiveEnd::Bytes { end, scan } = &self.framing.receive_end else { return None };
        let at = scan(&self.arrived, end)?;
        let after = (at + end.len()).min(self.arrived.len());
        let mut message: Vec<u8> = self.arrived.drain(..after).collect();
        message.truncate(at);
        Some(message)
    }

    async fn receive_message(&mut self, deadline: Instant) -> Result<Vec<u8>, LinkError> {
        let silence = match &self.framing.receive_end {
            ReceiveEnd::Silence(silence) => Some(*silence),
            ReceiveEnd::Bytes { .. } => None,
        };
        loop {
            if let Some(message) = self.take_message() {
                return Ok(message);
            }
            if self.arrived.len() > self.framing.longest {
                self.arrived.clear();
                return Err(LinkError::TooLong { limit: self.framing.longest });
            }
            match silence {
                Some(silence) if !self.arrived.is_empty() => match self.more(Instant::now() + silence).await {
                    Ok(()) => {}
                    Err(LinkError::Timeout { .. }) => return Ok(std::mem::take(&mut self.arrived)),
                    Err(other) => return Err(other),
                },
                _ => self.more(deadline).await?,
            }
        }
    }

    async fn drain_all(&mut self, quiet: Duration, deadline: Instant) -> Result<Vec<u8>, LinkError> {
        let mut thrown = std::mem::take(&mut self.arrived);
        loop {
            match self.more((Instant::now() + quiet).min(deadline)).await {
                Ok(()) => thrown.append(&mut self.arrived),
                Err(LinkError::Timeout { .. }) => return Ok(thrown),
                Err(other) => return Err(other),
            }
            // What is kept for the trace is bounded; the rest is thrown away all the same.
            thrown.truncate(self.framing.longest);
            if Instant::now() >= deadline {
                return Ok(thrown);
            }
        }
    }
}

impl<S: AsyncRead + AsyncWrite + Unpin + Send> Link for StreamLink<S> {
    fn send<'a>(&'a mut self, message: &'a [u8], deadline: Instant) -> Pending<'a, ()> {
        Box::pin(async move {
            let mut whole = Vec::with_capacity(message.len() + self.framing.send_end.len());
            whole.extend_from_slice(message);
            whole.extend_from_slice(&self.framing.send_end);
            // No flush: TCP and memory need none, and on a serial port it blocks the thread.
            match timeout_at(deadline, self.stream.write_all(&whole)).await {
                Err(_) => Err(LinkError::Timeout { partial: Vec::new() }),
                Ok(Ok(())) => Ok(()),
                Ok(Err(error)) if is_gone(&error) => Err(LinkError::Closed { partial: std::mem::take(&mut self.arrived) }),
                Ok(Err(error)) => Err(error.into()),
            }
        })
    }

    fn receive<'a>(&'a mut self, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(self.receive_message(deadline))
    }

    fn drain<'a>(&'a mut self, quiet: Duration, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(self.drain_all(quiet, deadline))
    }

    fn unasked(&mut self) -> Vec<u8> {
        let mut chunk = [MaybeUninit::uninit(); 4096];
        let mut buffer = ReadBuf::uninit(&mut chunk);
        // Asked once, and woken by nobody: what has arrived is there at once.
        let mut context = Context::from_waker(Waker::noop());
        let mut thrown = std::mem::take(&mut self.arrived);
        if let Poll::Ready(Ok(())) = Pin::new(&mut self.stream).poll_read(&mut context, &mut buffer) {
            thrown.extend_from_slice(buffer.filled());
        }
        thrown
    }
}

/// Errors that mean that the far end is gone. A terminal whose other side was
/// closed gives error 5 (EIO).
pub(super) fn is_gone(error: &std::io::Error) -> bool {
    use std::io::ErrorKind::{BrokenPipe, ConnectionAborted, ConnectionReset, NotConnected, UnexpectedEof};
    const INPUT_OUTPUT_ERROR: i32 = 5;
    matches!(error.kind(), BrokenPipe | ConnectionAborted | ConnectionReset | NotConnected | UnexpectedEof)
        || error.raw_os_error() == Some(INPUT_OUTPUT_ERROR)
}
