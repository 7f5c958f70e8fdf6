//! What comes before the first message: an interface that starts when it is opened, and
//! a lock that is asked for.

use super::{QUIET, Session};
use crate::instrument::error::Fault;
use crate::instrument::profile::fits;
use crate::link::LinkError;

impl Session {
    /// Nothing is sent to an interface that starts; what it says meanwhile is thrown away.
    pub(super) async fn wait_until_it_hears(&mut self) -> Result<(), Fault> {
        let Some(boot) = self.wire.boot.clone() else { return Ok(()) };
        let deadline = self.clock.deadline(boot.wait);
        let mut quiet = self.clock.real(boot.wait);
        if let Some(ready) = &boot.ready {
            loop {
                let received = self.link.receive(deadline).await;
                match self.heard(received) {
                    Ok(line) if fits(ready, String::from_utf8_lossy(&line).trim()) => {
                        quiet = QUIET;
                        break;
                    }
                    Ok(_) => {}
                    // What it says may have been lost; it hears by now all the same.
                    Err(LinkError::Timeout { .. }) => break,
                    Err(other) => return Err(other.into()),
                }
            }
        }
        let drained = self.link.drain(quiet, deadline.max(tokio::time::Instant::now() + QUIET)).await;
        self.heard(drained)?;
        Ok(())
    }

    /// Asks for the lock, where there is one.
    ///
    /// # Errors
    /// [`Fault::Refused`] when somebody else holds it and the profile needs it.
    pub(super) async fn take_lock(&mut self) -> Result<(), Fault> {
        let Some(lock) = self.lock.clone() else { return Ok(()) };
        let reply = self.query(&lock.ask).await?;
        let answer = reply.trim();
        let number = |text: &str| text.parse::<f64>().ok();
        let is = |word: &String| fits(word, answer) || number(word).is_some_and(|n| number(answer) == Some(n));
        if lock.granted.iter().any(is) {
            return Ok(());
        }
        let report = format!("its lock is not to be had (it answers {answer:?}): somebody else has it");
        if lock.required {
            return Err(Fault::Refused { command: lock.ask, report });
        }
        tracing::warn!("{report}");
        Ok(())
    }

    /// Lets go of the lock.
    ///
    /// # Errors
    /// Those of a command.
    pub async fn unlock(&mut self) -> Result<(), Fault> {
        match self.lock.as_ref().and_then(|lock| lock.release.clone()) {
            Some(release) => self.command(&release).await,
            None => Ok(()),
        }
    }
}
