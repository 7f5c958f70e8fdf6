//! The conversation with one instrument: one query at a time, in step.
//!
//! Leaves to others: what the messages mean (`supply`, `meter`), bytes (`link`).
//! Holds always: between two messages the profile's gap has passed; after a
//! time-out, or when a query was given up half-way, nothing else is sent as a
//! query until the conversation is back in step, so that an answer that comes
//! late is never taken for the next one; the error queue is drained after every
//! message that sets something.

mod checksum;
mod joined;
mod listen;
mod opening;

use super::error::Fault;
use super::profile::{Errors, Identity, LockRequest, Profile, Wire, fits};
use crate::clock::Clock;
use crate::link::{Framing, Link, LinkError, ReceiveEnd};
use crate::scpi::error_queue::ErrorReport;
use crate::units::Seconds;
use tokio::time::{Duration, Instant};

/// The longest message that an instrument may send, in bytes.
const LONGEST_REPLY: usize = 1 << 20;
/// Shortest silence that counts as "nothing more comes" when throwing away.
const QUIET: Duration = Duration::from_millis(20);
/// Lines that may stand in front of an answer (prompts, late answers) before it counts as garbled.
const STRAY_LINES: usize = 50;

/// A conversation.
pub struct Session {
    link: Box<dyn Link>,
    wire: Wire,
    errors: Errors,
    identity: Identity,
    lock: Option<LockRequest>,
    clock: Clock,
    /// The link was opened, and nothing has been sent yet.
    fresh: bool,
    /// What was thrown away last ended in the middle of a line.
    amid: bool,
    /// Nothing is sent before this.
    free_at: Instant,
    /// The query whose answer may still come.
    open: Option<String>,
    /// When the last message had been sent.
    sent_at: Seconds,
    /// The identity as first heard, by which the conversation gets back into step.
    known: Option<String>,
    /// The link has failed for good, or nothing comes through it: only another one helps.
    broken: bool,
    /// A query was given up half-way; what the error queue says of that belongs to no command.
    given_up: bool,
}

/// The framing that a profile's wire part asks for.
pub fn framing(wire: &Wire) -> Framing {
    Framing {
        send_end: wire.send_end.clone().into_bytes(),
        receive_end: if wire.receive_end.is_empty() {
            ReceiveEnd::Silence(wire.silence.duration())
        } else {
            ReceiveEnd::Bytes { end: wire.receive_end.clone().into_bytes(), scan: crate::scpi::message_end }
        },
        longest: LONGEST_REPLY,
    }
}

impl Session {
    /// Takes over a link that was just opened, to an instrument of this profile.
    pub fn new(link: Box<dyn Link>, profile: &Profile, clock: Clock) -> Self {
        Self {
            link,
            wire: profile.wire.clone(),
            errors: profile.errors.clone(),
            identity: profile.identity.clone(),
            lock: profile.lock.clone(),
            clock,
            fresh: true,
            amid: false,
            free_at: Instant::now(),
            open: None,
            sent_at: clock.now(),
            known: None,
            broken: false,
            given_up: false,
        }
    }

    /// When the last message had been sent.
    pub fn last_sent(&self) -> Seconds {
        self.sent_at
    }

    /// How long an answer may take.
    pub fn timeout(&self) -> Seconds {
        self.wire.timeout
    }

    /// Whether the link has failed, or nothing comes through it, so that only another helps.
    pub fn is_broken(&self) -> bool {
        self.broken
    }

    /// Speaks over another link from now on.
    pub fn relink(&mut self, link: Box<dyn Link>) {
        self.link = link;
        self.open = None;
        self.broken = false;
        (self.fresh, self.amid) = (true, false);
    }

    /// After [`Session::relink`]: remote control, and the same instrument as before.
    ///
    /// # Errors
    /// [`Fault::Identity`] when it is another; those of a query.
    pub async fn take_remote(&mut self, remote: &[String], serial: Option<&str>) -> Result<(), Fault> {
        let before = self.known.clone();
        let (now, _) = self.greet(remote, serial).await?;
        match (before, now) {
            (Some(expected), Some(found)) if found.trim() != expected => {
                self.known = Some(expected.clone());
                Err(Fault::Identity { found, expected: format!("{expected:?}, as before its link dropped") })
            }
            _ => Ok(()),
        }
    }

    fn heard<T>(&mut self, result: Result<T, LinkError>) -> Result<T, LinkError> {
        self.broken |= matches!(result, Err(LinkError::Closed { .. } | LinkError::Io(_)));
        result
    }

    /// Whether the dialect has an error queue to ask.
    pub fn has_error_queue(&self) -> bool {
        self.errors.ask.is_some()
    }

    /// An answer was not what it should be: before anything else is asked, the
    /// conversation is brought back into step.
    pub fn doubt(&mut self, message: &str) {
        self.open = Some(message.to_owned());
    }

    /// Sends a message that sets something, and collects what the instrument says to it.
    ///
    /// # Errors
    /// The link's, [`Fault::Refused`] with the instrument's words, or a missing acknowledgement.
    pub async fn command(&mut self, message: &str) -> Result<(), Fault> {
        self.back_in_step().await?;
        // A query that was interrupted leaves an error (-410), as IEEE 488.2 6.3.2.3 wants it.
        if std::mem::take(&mut self.given_up)
            && let Err(fault) = self.drain_errors("a query that was given up").await
        {
            match fault {
                Fault::Refused { report, .. } => tracing::info!("after a query that was given up: {report}"),
                other => return Err(other),
            }
        }
        if let Some(joined) = self.joined_with_errors(message) {
            return self.command_joined(message, &joined).await;
        }
        self.command_at_once(message).await?;
        self.drain_errors(message).await
    }

    /// Sends a message without first getting back into step, and without asking
    /// for errors: for switching off, which does not wait.
    ///
    /// # Errors
    /// The link's, or a missing acknowledgement.
    pub async fn command_at_once(&mut self, message: &str) -> Result<(), Fault> {
        let waits_for_line = self.wire.echo || self.wire.acknowledge.is_some();
        let in_step = self.open.is_none();
        self.send(message, self.wire.write_gap, waits_for_line.then_some(message)).await?;
        if waits_for_line && in_step {
            self.settle_write(message).await?;
        }
        Ok(())
    }

    /// Reads echo and acknowledgement of a message that sets something.
    async fn settle_write(&mut self, message: &str) -> Result<(), Fault> {
        let deadline = self.clock.deadline(self.wire.timeout);
        if self.wire.echo {
            self.expect_line(message, message, deadline).await?;
        }
        if let Some(word) = self.wire.acknowledge.clone() {
            self.expect_line(message, &word, deadline).await?;
        }
        self.open = None;
        Ok(())
    }

    async fn expect_line(&mut self, message: &str, expected: &str, deadline: Instant) -> Result<(), Fault> {
        let line = match self.line(deadline).await {
            Err(Fault::Link(LinkError::Timeout { .. })) => return Err(Fault::NoReply { command: message.into() }),
            other => other?,
        };
        if line.trim() == expected.trim() {
            return Ok(());
        }
        if self.is_in_band_error(&line) {
            self.open = None;
            return Err(Fault::Refused { command: message.into(), report: line });
        }
        Err(Fault::Garbled { command: message.into(), reply: line, expected: format!("{expected:?}") })
    }

    /// Asks, and returns the answer without terminator, echo, prompt and acknowledgement.
    ///
    /// # Errors
    /// The link's; [`Fault::NoReply`] or [`Fault::Late`] when no answer came in
    /// time; [`Fault::Refused`] when the answer is one of the dialect's errors.
    pub async fn query(&mut self, message: &str) -> Result<String, Fault> {
        self.query_within(message, self.wire.timeout).await
    }

    /// Like [`Session::query`], with another time-out.
    ///
    /// # Errors
    /// As there.
    pub async fn query_within(&mut self, message: &str, timeout: Seconds) -> Result<String, Fault> {
        // What has arrived unasked must not be taken for the answer to this. (A prompt comes
        // unasked after every exchange.)
        if self.wire.prompt.is_none() && !self.link.unasked().is_empty() {
            self.doubt(message);
        }
        self.back_in_step().await?;
        self.send(message, self.wire.gap, Some(message)).await?;
        let deadline = self.clock.deadline(timeout);
        match self.answer(message, deadline).await {
            Ok(text) => {
                self.open = None;
                Ok(text)
            }
            Err(Fault::Link(LinkError::Timeout { .. })) => self.after_timeout(message).await,
            Err(other) => Err(other),
        }
    }

    async fn answer(&mut self, message: &str, deadline: Instant) -> Result<String, Fault> {
        if self.wire.echo {
            self.expect_line(message, message, deadline).await?;
        }
        let text = self.line(deadline).await?;
        if self.is_in_band_error(&text) {
            self.open = None;
            return Err(Fault::Refused { command: message.into(), report: text });
        }
        if let Some(word) = self.wire.acknowledge.clone() {
            self.expect_line(message, &word, deadline).await?;
        }
        Ok(text)
    }

    /// The answer did not come. Gets back into step at once, and tells a late
    /// answer from none.
    async fn after_timeout(&mut self, message: &str) -> Result<String, Fault> {
        let came_late = self.resynchronise().await?;
        Err(if came_late { Fault::Late { command: message.into() } } else { Fault::NoReply { command: message.into() } })
    }

    /// Before anything is sent: nothing may be left open.
    async fn back_in_step(&mut self) -> Result<(), Fault> {
        if self.open.is_some() {
            self.resynchronise().await?;
        }
        Ok(())
    }

    /// Throws away what has arrived, asks who is there, and reads until the
    /// answer to that stands alone. Instruments answer in order, so whatever
    /// was asked before has then been answered or never will be. Returns whether
    /// anything was thrown away.
    async fn resynchronise(&mut self) -> Result<bool, Fault> {
        let command = self.open.clone().unwrap_or_default();
        self.given_up = true;
        let mut stray = !self.throw_away().await?.is_empty();
        let Some(sync) = self.identity.ask.clone() else {
            // Nothing to ask by: wait as long as an answer may take, and hear nothing.
            let deadline = self.clock.deadline(self.wire.timeout * 3.0);
            let drained = self.link.drain(self.wire.timeout.duration(), deadline).await;
            stray |= !self.heard(drained)?.is_empty();
            self.open = None;
            return Ok(stray);
        };
        self.send(&sync, self.wire.gap, Some(&command)).await?;
        let deadline = self.clock.deadline(self.wire.timeout * 2.0);
        for _ in 0..STRAY_LINES {
            match self.line(deadline).await {
                Ok(line) if line.trim() == sync.trim() && self.wire.echo => {}
                Ok(line) if self.is_identity(&line) => {
                    // A second identity would belong to an earlier question.
                    stray |= !self.throw_away().await?.is_empty() && self.wire.acknowledge.is_none();
                    self.open = None;
                    return Ok(stray);
                }
                Ok(_) | Err(Fault::Garbled { .. }) => stray = true,
                Err(Fault::Link(LinkError::Timeout { .. })) => break,
                Err(other) => return Err(other),
            }
        }
        // It may be half-open, with nobody at the other end any more.
        self.broken = true;
        Err(Fault::OutOfStep { command, sync })
    }

    fn is_identity(&self, line: &str) -> bool {
        if let Some(known) = &self.known {
            return line.trim() == known;
        }
        if self.identity.patterns.is_empty() {
            // IEEE 488.2 10.14: four fields separated by commas.
            return line.split(',').count() >= 3;
        }
        self.identity.patterns.iter().any(|p| fits(p, line.trim()))
    }

    fn is_in_band_error(&self, line: &str) -> bool {
        self.errors.in_band.iter().any(|p| fits(p, line.trim()))
    }

    /// Begins the conversation: remote control, identity, the lock, and an error queue that
    /// is empty. Returns the identity, and what was in the queue from before.
    ///
    /// # Errors
    /// Those of a query; [`Fault::Identity`] when it is another instrument.
    pub async fn greet(&mut self, remote: &[String], serial: Option<&str>) -> Result<(Option<String>, Option<String>), Fault> {
        for message in remote {
            self.command_at_once(message).await?;
        }
        let identity = self.identify(serial).await?;
        self.take_lock().await?;
        match self.drain_errors("what was sent before this run").await {
            Ok(()) => Ok((identity, None)),
            Err(Fault::Refused { report, .. }) => Ok((identity, Some(report))),
            Err(other) => Err(other),
        }
    }

    /// Asks for the identity and checks it against the profile's patterns and,
    /// where given, the serial number. Returns it.
    ///
    /// # Errors
    /// [`Fault::Identity`] when it is another instrument; those of a query.
    pub async fn identify(&mut self, serial: Option<&str>) -> Result<Option<String>, Fault> {
        let Some(ask) = self.identity.ask.clone() else { return Ok(None) };
        let found = self.query(&ask).await?;
        self.known = Some(found.trim().to_owned());
        if !self.identity.patterns.is_empty() && !self.identity.patterns.iter().any(|p| fits(p, found.trim())) {
            let expected = format!("one of {}, as the profile says", self.identity.patterns.join(", "));
            return Err(Fault::Identity { found, expected });
        }
        if let Some(serial) = serial {
            let field = found.split(',').nth(self.identity.serial_field - 1).unwrap_or("").trim();
            if field != serial {
                return Err(Fault::Identity { expected: format!("serial number {serial}, as the bench file says"), found });
            }
        }
        Ok(Some(found))
    }

    /// Empties the error queue. What was in it belongs to `message`.
    ///
    /// # Errors
    /// [`Fault::Refused`] with all entries, if there were any.
    pub async fn drain_errors(&mut self, message: &str) -> Result<(), Fault> {
        let Some(ask) = self.errors.ask.clone() else { return Ok(()) };
        self.errors_after(message, ask, Vec::new()).await
    }

    /// `reports`: what of it is known already.
    async fn errors_after(&mut self, message: &str, ask: String, mut reports: Vec<String>) -> Result<(), Fault> {
        for _ in 0..=self.errors.depth {
            let reply = self.query(&ask).await?;
            match ErrorReport::parse(reply.as_bytes()) {
                Ok(report) if report.is_none() => break,
                Ok(report) => reports.push(report.to_string()),
                Err(_) => return Err(no_entry(ask, reply)),
            }
        }
        if reports.is_empty() { Ok(()) } else { Err(Fault::Refused { command: message.into(), report: reports.join("; ") }) }
    }

    /// Sends one message, the gap after the last one having passed. `opens` is
    /// the question that stays open until its answer has been read.
    async fn send(&mut self, message: &str, gap_after: Seconds, opens: Option<&str>) -> Result<(), Fault> {
        if let Some(longest) = self.wire.longest.filter(|longest| message.len() > *longest) {
            let why = format!("{message:?} is longer than the {longest} bytes that the profile allows, and was not sent");
            return Err(Fault::Order(why));
        }
        if std::mem::take(&mut self.fresh) {
            self.wait_until_it_hears().await?;
        }
        // The timer counts in milliseconds, and would wait for the next even when the time has come.
        if self.free_at > Instant::now() {
            tokio::time::sleep_until(self.free_at).await;
        }
        if let Some(question) = opens {
            self.open.get_or_insert_with(|| question.to_owned());
        }
        self.free_at = Instant::now() + self.clock.real(gap_after);
        let deadline = self.clock.deadline(self.wire.timeout);
        let whole = self.with_checksum(message);
        let sent = self.link.send(whole.as_bytes(), deadline).await;
        self.heard(sent)?;
        self.sent_at = self.clock.now();
        self.free_at = Instant::now() + self.clock.real(gap_after);
        Ok(())
    }

    /// One line that is more than a prompt. The gap counts from here, too.
    async fn line(&mut self, deadline: Instant) -> Result<String, Fault> {
        for _ in 0..STRAY_LINES {
            let received = self.link.receive(deadline).await;
            let bytes = self.heard(received)?;
            self.free_at = self.free_at.max(Instant::now() + self.clock.real(self.wire.gap));
            // Not UTF-8 is not an answer; the replacement characters make it unreadable as a number.
            let text = String::from_utf8_lossy(&bytes).into_owned();
            let Some(prompt) = &self.wire.prompt else { return self.checked(text) };
            let rest = text.trim_start().strip_prefix(prompt.as_str()).map_or(text.as_str(), str::trim_start);
            if !rest.trim().is_empty() {
                return self.checked(rest.to_owned());
            }
        }
        Err(LinkError::Timeout { partial: Vec::new() }.into())
    }

    async fn throw_away(&mut self) -> Result<Vec<u8>, Fault> {
        let deadline = self.clock.deadline(self.wire.timeout);
        let drained = self.link.drain(QUIET.max(self.wire.gap.duration()), deadline).await;
        let thrown = self.heard(drained)?;
        self.note_thrown(&thrown);
        Ok(thrown)
    }
}

fn no_entry(ask: String, reply: String) -> Fault {
    Fault::Garbled { command: ask, reply, expected: "an entry of the error queue".into() }
}
