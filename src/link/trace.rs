//! A link that tells of everything that passes, in both directions.

use super::{Link, LinkError, Locked, Pending};
use std::sync::Arc;
use std::time::Duration;
use tokio::time::Instant;

/// Which way bytes went.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    /// To the instrument.
    Sent,
    /// From the instrument.
    Received,
    /// From the instrument, and thrown away.
    ThrownAway,
    /// Nothing: the link failed.
    Failed,
}

/// Whoever keeps the traffic. Adds the time.
pub trait TrafficSink: Send + Sync {
    /// One message, without terminator.
    fn message(&self, direction: Direction, bytes: &[u8]);
}

/// A link with a sink.
pub struct Traced<L> {
    inner: L,
    sink: Arc<dyn TrafficSink>,
}

impl<L: Link> Traced<L> {
    /// Tells `sink` of everything that passes through `inner`.
    pub fn new(inner: L, sink: Arc<dyn TrafficSink>) -> Self {
        Self { inner, sink }
    }
}

impl Link for Box<dyn Link> {
    fn send<'a>(&'a mut self, message: &'a [u8], deadline: Instant) -> Pending<'a, ()> {
        (**self).send(message, deadline)
    }
    fn receive<'a>(&'a mut self, deadline: Instant) -> Pending<'a, Vec<u8>> {
        (**self).receive(deadline)
    }
    fn drain<'a>(&'a mut self, quiet: Duration, deadline: Instant) -> Pending<'a, Vec<u8>> {
        (**self).drain(quiet, deadline)
    }
    fn unasked(&mut self) -> Vec<u8> {
        (**self).unasked()
    }
    fn clear(&mut self, deadline: Instant) -> Pending<'_, bool> {
        (**self).clear(deadline)
    }
    fn status_byte(&mut self, deadline: Instant) -> Pending<'_, Option<u8>> {
        (**self).status_byte(deadline)
    }
    fn lock(&mut self, wait: Duration, deadline: Instant) -> Pending<'_, Locked> {
        (**self).lock(wait, deadline)
    }
    fn unlock(&mut self, deadline: Instant) -> Pending<'_, Locked> {
        (**self).unlock(deadline)
    }
}

impl<L: Link> Link for Traced<L> {
    fn send<'a>(&'a mut self, message: &'a [u8], deadline: Instant) -> Pending<'a, ()> {
        Box::pin(async move {
            self.sink.message(Direction::Sent, message);
            let result = self.inner.send(message, deadline).await;
            self.tell_failure(&result);
            result
        })
    }

    fn receive<'a>(&'a mut self, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(async move {
            let result = self.inner.receive(deadline).await;
            match &result {
                Ok(message) => self.sink.message(Direction::Received, message),
                Err(_) => self.tell_failure(&result),
            }
            result
        })
    }

    fn drain<'a>(&'a mut self, quiet: Duration, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(async move {
            let result = self.inner.drain(quiet, deadline).await;
            match &result {
                Ok(thrown) if thrown.is_empty() => {}
                Ok(thrown) => self.sink.message(Direction::ThrownAway, thrown),
                Err(_) => self.tell_failure(&result),
            }
            result
        })
    }

    fn unasked(&mut self) -> Vec<u8> {
        let thrown = self.inner.unasked();
        if !thrown.is_empty() {
            self.sink.message(Direction::ThrownAway, &thrown);
        }
        thrown
    }

    fn clear(&mut self, deadline: Instant) -> Pending<'_, bool> {
        Box::pin(async move {
            let result = self.inner.clear(deadline).await;
            self.tell_failure(&result);
            result
        })
    }

    fn status_byte(&mut self, deadline: Instant) -> Pending<'_, Option<u8>> {
        self.inner.status_byte(deadline)
    }

    fn lock(&mut self, wait: Duration, deadline: Instant) -> Pending<'_, Locked> {
        self.inner.lock(wait, deadline)
    }

    fn unlock(&mut self, deadline: Instant) -> Pending<'_, Locked> {
        self.inner.unlock(deadline)
    }
}

impl<L> Traced<L> {
    fn tell_failure<T>(&self, result: &Result<T, LinkError>) {
        if let Err(error) = result {
            self.sink.message(Direction::Failed, error.to_string().as_bytes());
        }
    }
}

/// Bytes as one line of text, reversibly: `\n`, `\r`, `\\`, `\xNN`.
pub struct Escaped<'b>(pub &'b [u8]);

impl std::fmt::Display for Escaped<'_> {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let is_plain = |byte: &u8| matches!(byte, 0x20..=0x7e) && *byte != b'\\';
        let mut rest = self.0;
        while let Some(first) = rest.first() {
            // Plain text, and that is nearly all of it, goes out in one piece.
            let plain = rest.iter().take_while(|b| is_plain(b)).count();
            let (piece, after) = rest.split_at(plain.max(1));
            match first {
                b'\n' => out.write_str("\\n")?,
                b'\r' => out.write_str("\\r")?,
                b'\\' => out.write_str("\\\\")?,
                0x20..=0x7e => out.write_str(std::str::from_utf8(piece).unwrap_or_default())?,
                other => write!(out, "\\x{other:02x}")?,
            }
            rest = after;
        }
        Ok(())
    }
}
