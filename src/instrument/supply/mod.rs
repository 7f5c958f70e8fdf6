//! A supply, driven by its profile.
//!
//! `K` is the key without which nothing is energised: [`Supply::switch_on`] and
//! [`Supply::adjust`] want a reference to one. The interlock opens supplies with a
//! key type of its own that it alone can make; this module neither makes nor
//! knows keys. Leaves to others: whether switching on is allowed.
//!
//! Holds always: a set value is read back and compared within the instrument's
//! resolution; the limit is set before the voltage; "off" was seen, not assumed.

use super::error::{Fault, InstrumentError};
use super::profile::{Delay, Profile, Protection, Setting, SupplyProfile, fits};
use super::reading::{Reading, Role};
use super::reply::{Said, said};
use super::session::Session;
use super::template::{fill, sent};
use crate::clock::Clock;
use crate::link::Link;
use crate::units::{Amperes, Seconds, Unit, Volts};
use std::marker::PhantomData;
use std::sync::Arc;

mod audit;
mod off;
mod preflight;
mod read;

pub use preflight::{Asked, Found};

pub(in crate::instrument) use read::missing;

/// A supply. See the module's text for `K`.
pub struct Supply<K> {
    session: Session,
    profile: Arc<SupplyProfile>,
    select: Option<super::profile::Select>,
    remote: Vec<String>,
    local: Vec<String>,
    channel: String,
    clock: Clock,
    output: Belief,
    switched_on: bool,
    off_since: Option<Seconds>,
    /// Voltage and limit as they were set and read back last.
    expected: (Option<f64>, Option<f64>),
    /// Why its word for the output counts for nothing any more.
    disbelieved: Option<String>,
    key: PhantomData<fn(&K)>,
}

/// What the driver knows of the output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Belief {
    /// Verified off, and not switched on since.
    Off,
    /// Switched on, or perhaps so.
    MaybeOn,
}

/// A setting as wanted and as read back.
#[derive(Clone, Debug, PartialEq)]
pub struct SetPoint {
    /// What was set: `voltage`, `current limit`, `over-voltage protection`.
    pub what: &'static str,
    /// The value that was sent, in its unit.
    pub wanted: f64,
    /// The value that was read back; `None` where the dialect cannot ask.
    pub read_back: Option<f64>,
    /// Its unit.
    pub unit: Unit,
}

/// That the output was seen to be off.
#[derive(Clone, Debug, PartialEq)]
pub struct OffProof {
    /// What the supply says of its output, where it can be asked.
    pub state: Option<String>,
    /// The current that it still delivers: none that can be told from zero.
    pub current: Reading,
    /// The voltage that is left at its terminals.
    pub voltage: Reading,
    /// How often it had to be told.
    pub tries: u32,
    /// When it was first told.
    pub at: Seconds,
}

impl<K> Supply<K> {
    /// Drives the supply at the end of `session`.
    ///
    /// # Errors
    /// [`Fault::Order`] when the profile is not a supply's.
    pub fn new(session: Session, profile: &Profile, channel: u32, clock: Clock) -> Result<Self, InstrumentError> {
        let Some(supply) = profile.supply() else {
            return Err(Fault::Order(format!("the profile {} is not a supply's", profile.name)).of(Role::Supply));
        };
        Ok(Self {
            session,
            profile: Arc::new(supply.clone()),
            select: profile.select.clone(),
            remote: profile.remote.clone(),
            local: profile.local.clone(),
            channel: channel.to_string(),
            clock,
            output: Belief::MaybeOn,
            switched_on: false,
            off_since: None,
            expected: (None, None),
            disbelieved: None,
            key: PhantomData,
        })
    }

    /// The profile that it is driven by.
    pub fn profile(&self) -> &SupplyProfile {
        &self.profile
    }

    /// The conversation, for identity and errors.
    pub fn session(&mut self) -> &mut Session {
        &mut self.session
    }

    /// Speaks over another link from now on: nothing is known of the output.
    pub fn relink(&mut self, link: Box<dyn Link>) {
        self.session.relink(link);
        self.output = Belief::MaybeOn;
        // Since when it has been off is not known, whoever switched it on.
        (self.switched_on, self.off_since) = (false, None);
    }

    /// What is known of the output.
    pub fn belief(&self) -> Belief {
        self.output
    }

    /// When an output that this driver had switched on was told to go off; `None`
    /// before the first time, and while it may be on.
    pub fn off_since(&self) -> Option<Seconds> {
        self.off_since
    }

    /// Its word for the output has been seen to be wrong: from now on its "off" proves
    /// nothing, and [`Supply::off`] says why.
    pub fn disbelieve(&mut self, why: String) -> InstrumentError {
        self.output = Belief::MaybeOn;
        self.disbelieved = Some(why.clone());
        Fault::NotOff { why }.of(Role::Supply)
    }

    fn fill(&self, template: &str) -> String {
        fill(template, &[("channel", &self.channel)])
    }

    async fn select(&mut self) -> Result<(), Fault> {
        if let Some(select) = &self.select {
            let message = self.fill(&select.send);
            self.session.command_at_once(&message).await?;
        }
        Ok(())
    }

    /// Chooses the channel and makes sure that it is chosen: before anything is set.
    async fn select_surely(&mut self) -> Result<(), Fault> {
        let Some(select) = self.select.clone() else { return Ok(()) };
        let send = self.fill(&select.send);
        self.session.command(&send).await?;
        if let Some(ask) = &select.ask {
            let reply = self.session.query(ask).await?;
            if !same_word(&reply, &self.channel) {
                return Err(Fault::Mismatch { what: "the channel".into(), wanted: self.channel.clone(), found: reply });
            }
        }
        Ok(())
    }

    async fn ask(&mut self, template: &str) -> Result<String, Fault> {
        self.select().await?;
        let message = self.fill(template);
        self.session.query(&message).await
    }

    /// Sets voltage and limit while the output is off: the limit first.
    ///
    /// # Errors
    /// [`Fault::Order`] when the output may be on; a refusal; a value that reads
    /// back as another.
    pub async fn program(&mut self, voltage: Volts, limit: Amperes) -> Result<Vec<SetPoint>, InstrumentError> {
        if self.output != Belief::Off {
            return Err(Fault::Order("voltage and limit are programmed while the output is verified off".into()).of(Role::Supply));
        }
        self.write(voltage, limit).await.map_err(|f| f.of(Role::Supply))
    }

    /// Sets voltage and limit while the output is on.
    ///
    /// # Errors
    /// A refusal; a value that reads back as another.
    pub async fn adjust(&mut self, _key: &K, voltage: Volts, limit: Amperes) -> Result<Vec<SetPoint>, InstrumentError> {
        self.write(voltage, limit).await.map_err(|f| f.of(Role::Supply))
    }

    /// Sets the voltage alone while the output is on.
    ///
    /// # Errors
    /// A refusal; a value that reads back as another.
    pub async fn adjust_voltage(&mut self, _key: &K, voltage: Volts) -> Result<SetPoint, InstrumentError> {
        let setting = self.profile.voltage.clone();
        self.set("voltage", &setting, voltage.0, Unit::Volt).await.map_err(|f| f.of(Role::Supply))
    }

    async fn write(&mut self, voltage: Volts, limit: Amperes) -> Result<Vec<SetPoint>, Fault> {
        let (volts, amperes) = (self.profile.voltage.clone(), self.profile.current.clone());
        let Some(both) = self.profile.both.clone() else {
            let limit = self.set("current limit", &amperes, limit.0, Unit::Ampere).await?;
            let voltage = self.set("voltage", &volts, voltage.0, Unit::Volt).await?;
            return Ok(vec![limit, voltage]);
        };
        self.select_surely().await?;
        let (v, i) = (sent(voltage.0, &volts)?, sent(limit.0, &amperes)?);
        let message = fill(&both, &[("voltage", &v.0), ("current", &i.0), ("channel", &self.channel)]);
        self.session.command(&message).await?;
        Ok(vec![
            self.read_back("current limit", &amperes, i.1, Unit::Ampere).await?,
            self.read_back("voltage", &volts, v.1, Unit::Volt).await?,
        ])
    }

    async fn set(&mut self, what: &'static str, setting: &Setting, value: f64, of: Unit) -> Result<SetPoint, Fault> {
        self.select_surely().await?;
        let (text, wanted) = sent(value, setting)?;
        let message = fill(&setting.set, &[("value", &text), ("channel", &self.channel)]);
        self.session.command(&message).await?;
        self.read_back(what, setting, wanted, of).await
    }

    /// Asks for a setting; `None` where the dialect cannot.
    async fn stands_at(&mut self, what: &str, setting: &Setting, of: Unit) -> Result<Option<f64>, Fault> {
        let Some(ask) = setting.ask.clone() else { return Ok(None) };
        let reply = self.ask(&ask).await?;
        let prefix = self.fill(&setting.reply.prefix);
        if let Said::Number(found) = said(&reply, &setting.reply, &prefix, of, &[]) {
            return Ok(Some(found));
        }
        self.session.doubt(&ask);
        Err(Fault::Garbled { command: ask, reply, expected: format!("the {what} that was set") })
    }

    async fn read_back(&mut self, what: &'static str, setting: &Setting, wanted: f64, of: Unit) -> Result<SetPoint, Fault> {
        let Some(found) = self.stands_at(what, setting, of).await? else {
            return Ok(SetPoint { what, wanted, read_back: None, unit: of });
        };
        if !setting.is_same(found, wanted) {
            return Err(Fault::Mismatch {
                what: format!("the {what}"),
                wanted: crate::units::engineering(wanted, of, 6),
                found: crate::units::engineering(found, of, 6),
            });
        }
        match what {
            "voltage" => self.expected.0 = Some(wanted),
            "current limit" => self.expected.1 = Some(wanted),
            _ => {}
        }
        Ok(SetPoint { what, wanted, read_back: Some(found), unit: of })
    }

    /// Sets and enables the supply's own protections, as far as it has them: level
    /// and delay before they are enabled. `delay` is how long the current may stand at
    /// its limit.
    ///
    /// # Errors
    /// A refusal; a level or delay that reads back as another.
    pub async fn protect(&mut self, over_voltage: Volts, delay: Seconds) -> Result<Vec<SetPoint>, InstrumentError> {
        self.try_protect(over_voltage, delay).await.map_err(|f| f.of(Role::Supply))
    }

    async fn try_protect(&mut self, over_voltage: Volts, delay: Seconds) -> Result<Vec<SetPoint>, Fault> {
        let mut set = Vec::new();
        if let Some(protection) = self.profile.over_voltage.clone() {
            if let Some(setting) = &protection.level {
                let level = setting.upwards(over_voltage.0);
                set.push(self.set("over-voltage protection", setting, level, Unit::Volt).await?);
            }
            self.enable(&protection).await?;
        }
        if let Some(protection) = self.profile.over_current.clone() {
            if let Some(Delay { setting, longest }) = &protection.delay {
                let delay = setting.upwards(delay.0).min(longest.0);
                set.push(self.set("over-current delay", setting, delay, Unit::Second).await?);
            }
            self.enable(&protection).await?;
        }
        Ok(set)
    }

    async fn enable(&mut self, protection: &Protection) -> Result<(), Fault> {
        for message in &protection.enable {
            let message = self.fill(message);
            self.session.command(&message).await?;
        }
        Ok(())
    }

    /// Which of the supply's own protections has tripped, if any.
    ///
    /// # Errors
    /// Those of a query.
    pub async fn tripped(&mut self) -> Result<Option<&'static str>, InstrumentError> {
        for (what, protection) in [
            ("over-voltage protection", self.profile.over_voltage.clone()),
            ("over-current protection", self.profile.over_current.clone()),
        ] {
            let Some((ask, yes)) = protection.and_then(|p| p.tripped) else { continue };
            let reply = self.ask(&ask).await.map_err(|f| f.of(Role::Supply))?;
            if yes.iter().any(|word| same_word(&reply, word)) {
                return Ok(Some(what));
            }
        }
        Ok(None)
    }

    /// Switches the output on. Returns when the message was sent.
    ///
    /// # Errors
    /// A refusal, or an output that does not say that it is on. The output may
    /// then be on all the same: [`Supply::belief`] says so.
    pub async fn switch_on(&mut self, _key: &K) -> Result<Seconds, InstrumentError> {
        self.output = Belief::MaybeOn;
        self.switched_on = true;
        self.off_since = None;
        self.switch_on_surely().await.map_err(|f| f.of(Role::Supply))
    }

    async fn switch_on_surely(&mut self) -> Result<Seconds, Fault> {
        self.select_surely().await?;
        let on = self.fill(&self.profile.output.on.clone());
        self.session.command_at_once(&on).await?;
        let at = self.session.last_sent();
        self.session.drain_errors(&on).await?;
        let Some(ask) = self.profile.output.ask.clone() else { return Ok(at) };
        let reply = self.ask(&ask).await?;
        if self.profile.output.reads_on.iter().any(|word| same_word(&reply, word)) {
            return Ok(at);
        }
        Err(Fault::Mismatch { what: "the output".into(), wanted: "on".into(), found: reply })
    }

    /// Gives it back to its front panel.
    ///
    /// # Errors
    /// Those of a write.
    pub async fn release(&mut self) -> Result<(), InstrumentError> {
        self.session.unlock().await.map_err(|f| f.of(Role::Supply))?;
        for message in self.local.clone() {
            self.session.command(&message).await.map_err(|f| f.of(Role::Supply))?;
        }
        Ok(())
    }
}

/// Whether an answer is this word: the same text, or the same number.
fn same_word(reply: &str, word: &str) -> bool {
    let (reply, word) = (reply.trim().trim_matches('"'), word.trim());
    if fits(word, reply) {
        return true;
    }
    match (reply.parse::<f64>(), word.parse::<f64>()) {
        (Ok(a), Ok(b)) => a == b,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_compared_as_text_or_as_numbers() {
        assert!(same_word("1", "1"));
        assert!(same_word("+1", "1"));
        assert!(same_word("1.0", "1"));
        assert!(same_word("on", "ON"));
        assert!(!same_word("10", "1"));
        assert!(!same_word("OFF", "ON"));
    }
}
