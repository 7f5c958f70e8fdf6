//! Switching a supply's output off, and making sure of it.

use super::{Belief, OffProof, Supply, same_word};
use crate::instrument::error::{Fault, InstrumentError};
use crate::instrument::reading::{Role, Sample, Snapshot};
use crate::instrument::template::{fill, sent};
use crate::units::{Amperes, Seconds};

/// How often switching off is tried before the driver gives up.
const OFF_TRIES: u32 = 3;

impl<K> Supply<K> {
    /// Whether the supply says that its output is off; `None` where it cannot be asked.
    ///
    /// # Errors
    /// Those of a query, or an answer that means neither.
    pub async fn says_off(&mut self) -> Result<Option<bool>, InstrumentError> {
        self.output_state().await.map(|s| s.map(|(off, _)| off)).map_err(|f| f.of(Role::Supply))
    }

    pub(super) async fn output_state(&mut self) -> Result<Option<(bool, String)>, Fault> {
        let Some(ask) = self.profile.output.ask.clone() else { return Ok(None) };
        let reply = self.ask(&ask).await?;
        let output = &self.profile.output;
        if output.reads_off.iter().any(|word| same_word(&reply, word)) {
            return Ok(Some((true, reply)));
        }
        if output.reads_on.iter().any(|word| same_word(&reply, word)) {
            return Ok(Some((false, reply)));
        }
        self.session.doubt(&ask);
        Err(Fault::Garbled { command: ask, reply, expected: "on or off".into() })
    }

    /// Switches the output off and makes sure of it: by the supply's own word
    /// where it can be asked, and by a current that cannot be told from zero.
    /// Sent at once, whatever the state of the conversation; tried three times,
    /// the later ones after asking for remote control again, with the message that
    /// switches every output off, and with the voltage set to zero.
    ///
    /// # Errors
    /// [`Fault::NotOff`] with what was seen, or why nothing could be seen.
    pub async fn off(&mut self) -> Result<OffProof, InstrumentError> {
        self.off_surely(false).await
    }

    /// The same after a trip: off, voltage to zero, the supply's own trip cleared, and
    /// only then verified, since clearing gives the output back on some supplies.
    ///
    /// # Errors
    /// As [`Supply::off`].
    pub async fn off_for_trip(&mut self) -> Result<OffProof, InstrumentError> {
        self.off_surely(true).await
    }

    async fn off_surely(&mut self, trip: bool) -> Result<OffProof, InstrumentError> {
        let mut why = String::new();
        let mut first = None;
        for attempt in 1..=OFF_TRIES {
            match self.try_off(attempt, trip || self.disbelieved.is_some(), &mut first).await {
                Ok(_) if let Some(seen) = &self.disbelieved => why.clone_from(seen),
                Ok(proof) => {
                    self.output = Belief::Off;
                    if std::mem::take(&mut self.switched_on) {
                        self.off_since = Some(proof.at);
                    }
                    return Ok(proof);
                }
                Err(fault) => why = fault.to_string(),
            }
        }
        Err(Fault::NotOff { why }.of(Role::Supply))
    }

    /// Clears what the supply's own protections have latched. What cannot be asked or
    /// cleared stays: the next switching on asks again, and the verification of off
    /// does not wait for it.
    async fn clear_trips(&mut self) {
        for protection in [self.profile.over_voltage.clone(), self.profile.over_current.clone()].into_iter().flatten() {
            let (Some((ask, yes)), Some(clear)) = (protection.tripped, protection.clear) else { continue };
            if !self.ask(&ask).await.is_ok_and(|reply| yes.iter().any(|word| same_word(&reply, word))) {
                continue;
            }
            let clear = self.fill(&clear);
            if let Err(fault) = self.session.command_at_once(&clear).await {
                tracing::warn!("{clear}: {fault}");
            }
        }
    }

    /// Sends a message on the way to off. What the supply says to it is not waited for:
    /// the stronger messages follow, and the verification decides.
    async fn tell(&mut self, message: &str) -> Result<(), Fault> {
        passed_over(self.session.command_at_once(message).await)
    }

    async fn try_off(&mut self, attempt: u32, trip: bool, first: &mut Option<Seconds>) -> Result<OffProof, Fault> {
        let output = self.profile.output.clone();
        if attempt > 1 {
            // One that has restarted obeys nobody before it is told to.
            for message in self.remote.clone() {
                self.tell(&message).await?;
            }
        }
        // Select-dialects: off must reach the right channel; a wrong one is found by the verification.
        passed_over(self.select().await)?;
        let off = self.fill(&output.off);
        self.tell(&off).await?;
        let at = *first.get_or_insert(self.session.last_sent());
        if attempt > 1
            && let Some(all) = &output.all_off
        {
            self.tell(&self.fill(all)).await?;
        }
        if attempt > 1 || trip {
            let (zero, _) = sent(0.0, &self.profile.voltage)?;
            let message = fill(&self.profile.voltage.set, &[("value", &zero), ("channel", &self.channel)]);
            passed_over(self.select().await)?;
            self.tell(&message).await?;
            // Not read back: nothing is known of it until it is set again.
            self.expected.0 = None;
        }
        if trip {
            self.clear_trips().await;
        }
        // Errors in the queue belong to the past or to this; the verification decides.
        if let Err(fault) = self.session.drain_errors(&off).await
            && !matches!(fault, Fault::Refused { .. })
        {
            return Err(fault);
        }
        let state = match self.output_state().await? {
            Some((false, reply)) => {
                return Err(Fault::NotOff {
                    why: format!("{off:?} was sent, but the supply says that its output is on ({reply})"),
                });
            }
            Some((true, reply)) => Some(reply),
            None => None,
        };
        let give_up = self.clock.now() + output.fall + Seconds(0.5);
        loop {
            let Snapshot { voltage, current, .. } = self.snapshot().await?;
            match current.sample {
                Sample::BelowFloor { .. } => return Ok(OffProof { state, current, voltage, tries: attempt, at }),
                // A bleeder or a discharging unit may push a little for a while.
                Sample::Value { .. } if self.clock.now().0 < give_up.0 => self.clock.sleep(Seconds(0.02)).await,
                Sample::Value { value, .. } => {
                    return Err(Fault::NotOff { why: format!("the output is said to be off, but {} flows", Amperes(value)) });
                }
                other => return Err(Fault::NotOff { why: format!("the current cannot be read: {}", other.word()) }),
            }
        }
    }
}

/// A link that fails ends a try; a refusal does not.
fn passed_over(told: Result<(), Fault>) -> Result<(), Fault> {
    match told {
        Err(fault @ Fault::Link(_)) => Err(fault),
        _ => Ok(()),
    }
}
