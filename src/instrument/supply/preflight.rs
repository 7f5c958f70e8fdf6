//! What is made sure of before a supply is energised, beside limits and off.

use super::{SetPoint, Supply, same_word};
use crate::instrument::error::{Fault, InstrumentError};
use crate::instrument::profile::{Condition, Delay, SupplyProfile};
use crate::instrument::reading::Role;
use crate::units::{Seconds, Unit};

/// What can be asked of some supplies, and of the others not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Asked {
    /// Whether its channels are coupled.
    Coupling,
    /// What its output does when its mains come back.
    PowerOn,
    /// Where it senses the voltage.
    Sense,
}

impl Asked {
    /// All.
    pub const ALL: [Asked; 3] = [Asked::Coupling, Asked::PowerOn, Asked::Sense];

    /// As bench files and records name it.
    pub fn name(self) -> &'static str {
        match self {
            Asked::Coupling => "channel coupling",
            Asked::PowerOn => "power-on state",
            Asked::Sense => "remote sense",
        }
    }

    /// How it should be, to somebody who looks; `remote` sense or not.
    pub fn wanted(self, remote: bool) -> &'static str {
        match (self, remote) {
            (Asked::Coupling, _) => "its channels are not coupled, not in series and not in parallel",
            (Asked::PowerOn, _) => "its output stays off when its mains come back",
            (Asked::Sense, false) => "it senses the voltage at its own terminals",
            (Asked::Sense, true) => "its sense leads are at the unit, and sensing through them is on",
        }
    }
}

impl SupplyProfile {
    /// Whether something has to be looked at by a person, because it cannot be asked.
    /// A supply of one channel has none to couple.
    pub fn needs_a_look(&self, what: Asked) -> bool {
        match what {
            Asked::Coupling => self.coupling.is_none() && self.channels > 1,
            Asked::PowerOn => self.power_on.is_none(),
            Asked::Sense => self.sense.is_none(),
        }
    }
}

/// How something was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// What it answered.
    pub reply: String,
    /// Whether that is good.
    pub good: bool,
    /// Whether it had to be put right.
    pub put_right: bool,
}

impl<K> Supply<K> {
    /// Asks how something is, and puts it right where the dialect can; `None` where it
    /// cannot be asked.
    ///
    /// # Errors
    /// Those of a query, or a refusal.
    pub async fn found(&mut self, what: Asked, remote: bool) -> Result<Option<Found>, InstrumentError> {
        let condition = match what {
            Asked::Coupling => self.profile.coupling.clone(),
            Asked::PowerOn => self.profile.power_on.clone(),
            Asked::Sense => self.profile.sense.clone().map(|s| Condition {
                ask: s.ask,
                good: if remote { s.remote } else { s.local },
                set: None,
            }),
        };
        let Some(condition) = condition else { return Ok(None) };
        self.condition(&condition).await.map(Some).map_err(|f| f.of(Role::Supply))
    }

    async fn condition(&mut self, condition: &Condition) -> Result<Found, Fault> {
        let reply = self.ask(&condition.ask).await?;
        let is_good = |reply: &str| condition.good.iter().any(|word| same_word(reply, word));
        let Some(set) = condition.set.as_ref().filter(|_| !is_good(&reply)) else {
            return Ok(Found { good: is_good(&reply), reply, put_right: false });
        };
        let set = self.fill(set);
        self.session.command(&set).await?;
        let reply = self.ask(&condition.ask).await?;
        Ok(Found { good: is_good(&reply), reply, put_right: true })
    }

    /// Arms the supply's own timer, where it has one: it switches off by itself when
    /// it hears nothing for `within`. Returns what was set.
    ///
    /// # Errors
    /// A refusal, or a time that reads back as another.
    pub async fn arm(&mut self, within: Seconds) -> Result<Option<SetPoint>, InstrumentError> {
        self.try_arm(within).await.map_err(|f| f.of(Role::Supply))
    }

    async fn try_arm(&mut self, within: Seconds) -> Result<Option<SetPoint>, Fault> {
        let Some(watchdog) = self.profile.watchdog.clone() else { return Ok(None) };
        if let Some(clear) = &watchdog.clear {
            let clear = self.fill(clear);
            self.session.command(&clear).await?;
        }
        let Delay { setting, longest } = &watchdog.delay;
        let time = setting.upwards(within.0).min(longest.0);
        let set = self.set("watchdog", setting, time, Unit::Second).await?;
        for message in &watchdog.enable {
            let message = self.fill(message);
            self.session.command(&message).await?;
        }
        Ok(Some(set))
    }

    /// Disarms it: with the output off nobody has to speak.
    ///
    /// # Errors
    /// A refusal.
    pub async fn disarm(&mut self) -> Result<(), InstrumentError> {
        let Some(watchdog) = self.profile.watchdog.clone() else { return Ok(()) };
        for message in &watchdog.disable {
            let message = self.fill(message);
            self.session.command(&message).await.map_err(|f| f.of(Role::Supply))?;
        }
        Ok(())
    }
}
