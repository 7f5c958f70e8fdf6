//! A link that goes wrong on purpose, at set moments: the same trait as the real
//! thing, so that tests and rehearsals meet what a bench meets.

use super::{Link, LinkError, Pending};
use std::collections::{BTreeMap, VecDeque};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;
use tokio::time::{Instant, sleep_until};

/// What goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// One byte of the reply is missing.
    ByteDropped,
    /// One byte of the reply is another.
    ByteChanged,
    /// One byte of the reply comes twice.
    ByteDoubled,
    /// The reply comes this long after it was due, and meanwhile nothing.
    Late(Duration),
    /// The reply never comes.
    Lost,
    /// The reply comes joined with the one after it.
    Joined,
    /// Other bytes come in its place.
    Garbled,
    /// The reply comes twice.
    Doubled,
    /// The reply comes in two pieces, each with its own end.
    Split,
    /// The reply to an earlier question comes in its place.
    FromAnother,
    /// The connection is closed, now and for good.
    Closed,
    /// The connection is reset, now and for good.
    Reset,
    /// From now on nothing arrives, in either direction, and nobody says so.
    HalfOpen,
    /// A message that is sent never arrives.
    Unsent,
}

/// A fault and the number of the reply (from 1) that it befalls; for `Unsent`
/// the number of the message that is sent.
pub type Schedule = BTreeMap<u64, Kind>;

/// Which faults really fired, and how often. Copies count together.
#[derive(Clone, Debug, Default)]
pub struct Fired(Arc<Mutex<Vec<Kind>>>);

impl Fired {
    /// All that fired, in order.
    pub fn all(&self) -> Vec<Kind> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn note(&self, kind: Kind) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).push(kind);
    }
}

/// A link with faults.
pub struct Faulty<L> {
    inner: L,
    schedule: Schedule,
    fired: Fired,
    sent: u64,
    received: u64,
    closed: Option<Kind>,
    /// The reply before, for one that comes in the place of another.
    before: Vec<u8>,
    /// Replies that are held back, with the moment from which they can be read.
    held: VecDeque<(Instant, Vec<u8>)>,
}

impl<L: Link> Faulty<L> {
    /// Lets `inner` go wrong by `schedule`.
    pub fn new(inner: L, schedule: Schedule) -> (Self, Fired) {
        let fired = Fired::default();
        (
            Self {
                inner,
                schedule,
                fired: fired.clone(),
                sent: 0,
                received: 0,
                closed: None,
                before: Vec::new(),
                held: VecDeque::new(),
            },
            fired,
        )
    }

    fn check_open(&self) -> Result<(), LinkError> {
        match self.closed {
            Some(Kind::Reset) => Err(LinkError::Io(std::io::ErrorKind::ConnectionReset.into())),
            Some(Kind::Closed) => Err(LinkError::Closed { partial: Vec::new() }),
            _ => Ok(()),
        }
    }

    async fn receive_one(&mut self, deadline: Instant) -> Result<Vec<u8>, LinkError> {
        loop {
            self.check_open()?;
            if self.closed == Some(Kind::HalfOpen) {
                sleep_until(deadline).await;
                return Err(LinkError::Timeout { partial: Vec::new() });
            }
            if let Some((due, _)) = self.held.front() {
                let due = *due;
                if due > deadline {
                    sleep_until(deadline).await;
                    return Err(LinkError::Timeout { partial: Vec::new() });
                }
                sleep_until(due).await;
                if let Some((_, message)) = self.held.pop_front() {
                    return Ok(message);
                }
            }
            let mut message = self.inner.receive(deadline).await?;
            self.received += 1;
            let before = std::mem::replace(&mut self.before, message.clone());
            let Some(kind) = self.schedule.remove(&self.received) else { return Ok(message) };
            self.fired.note(kind);
            let middle = message.len() / 2;
            match kind {
                Kind::ByteDropped if !message.is_empty() => drop(message.remove(middle)),
                Kind::ByteChanged if !message.is_empty() => message[middle] ^= 0x01,
                Kind::ByteDoubled if !message.is_empty() => message.insert(middle, message[middle]),
                Kind::Late(by) => {
                    self.held.push_back((Instant::now() + by, message));
                    continue;
                }
                Kind::Lost => continue,
                Kind::Joined => {
                    let mut joined = message;
                    joined.extend(self.inner.receive(deadline).await?);
                    return Ok(joined);
                }
                Kind::Garbled => message = b"\x7f?!\xff".to_vec(),
                Kind::Doubled => self.held.push_back((Instant::now(), message.clone())),
                Kind::Split => {
                    let rest = message.split_off(middle);
                    self.held.push_back((Instant::now(), rest));
                }
                Kind::FromAnother => message = before,
                Kind::Closed | Kind::Reset | Kind::HalfOpen => {
                    self.closed = Some(kind);
                    continue;
                }
                Kind::ByteDropped | Kind::ByteChanged | Kind::ByteDoubled | Kind::Unsent => {}
            }
            return Ok(message);
        }
    }
}

impl<L: Link> Link for Faulty<L> {
    fn send<'a>(&'a mut self, message: &'a [u8], deadline: Instant) -> Pending<'a, ()> {
        Box::pin(async move {
            self.check_open()?;
            if self.closed.is_some() {
                return Ok(());
            }
            self.sent += 1;
            if self.schedule.get(&self.sent) == Some(&Kind::Unsent) {
                self.schedule.remove(&self.sent);
                self.fired.note(Kind::Unsent);
                return Ok(());
            }
            self.inner.send(message, deadline).await
        })
    }

    fn receive<'a>(&'a mut self, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(self.receive_one(deadline))
    }

    fn drain<'a>(&'a mut self, quiet: Duration, deadline: Instant) -> Pending<'a, Vec<u8>> {
        Box::pin(async move {
            self.check_open()?;
            if self.closed.is_some() {
                return Ok(Vec::new());
            }
            let until = (Instant::now() + quiet).min(deadline);
            let mut thrown = Vec::new();
            // A held reply that is due within the silence arrives and is thrown away, like any other.
            while self.held.front().is_some_and(|(due, _)| *due <= until) {
                if let Some((_, message)) = self.held.pop_front() {
                    thrown.extend(message);
                }
            }
            thrown.extend(self.inner.drain(quiet, deadline).await?);
            Ok(thrown)
        })
    }

    fn unasked(&mut self) -> Vec<u8> {
        if self.closed.is_some() {
            return Vec::new();
        }
        let mut thrown = Vec::new();
        while self.held.front().is_some_and(|(due, _)| *due <= Instant::now()) {
            if let Some((_, message)) = self.held.pop_front() {
                thrown.extend(message);
            }
        }
        thrown.extend(self.inner.unasked());
        thrown
    }
}
