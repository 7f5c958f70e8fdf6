//! Readings that come unasked.
//!
//! Holds always: what came before it is wanted is thrown away, and a line of which the
//! beginning was thrown away is no line.

use super::Session;
use crate::instrument::error::Fault;
use crate::link::LinkError;
use crate::units::Seconds;

impl Session {
    /// Notes whether what was thrown away ended in the middle of a line.
    pub(super) fn note_thrown(&mut self, thrown: &[u8]) {
        if !thrown.is_empty() {
            self.amid = !thrown.ends_with(self.wire.receive_end.as_bytes());
        }
    }

    /// The first whole line that comes at `fresh_from` or later; it may take `patience` more.
    ///
    /// # Errors
    /// The link's; [`Fault::NoReply`] when nothing comes.
    pub async fn listen(&mut self, fresh_from: Seconds, patience: Seconds) -> Result<String, Fault> {
        if std::mem::take(&mut self.fresh) {
            self.wait_until_it_hears().await?;
        }
        let deadline = self.clock.deadline((fresh_from - self.clock.now()).max(Seconds(0.0)) + patience);
        let thrown = self.link.unasked();
        self.note_thrown(&thrown);
        loop {
            match self.line(deadline).await {
                Ok(_) if std::mem::take(&mut self.amid) => {}
                Ok(_) if self.clock.now() < fresh_from => {}
                Ok(line) => return Ok(line),
                Err(Fault::Link(LinkError::Timeout { partial })) => {
                    self.amid |= !partial.is_empty();
                    return Err(Fault::NoReply { command: "its next reading".into() });
                }
                // Spoilt, and old: the next one counts.
                Err(Fault::Garbled { .. }) if self.clock.now() < fresh_from => {}
                Err(other) => return Err(other),
            }
        }
    }
}
