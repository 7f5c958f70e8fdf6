//! A supply, driven by its profile.
//!
//! `K` is the key without which nothing is energised: [`Supply::switch_on`] and
//! [`Supply::adjust`] want a reference to one. The interlock opens supplies with a
//! key type of its own that it alone can make; this module neither makes nor
//! knows keys. Leaves to others: whether switching on is allowed.
//!
//! Holds always: a set value is read back and compared within the instrument's
//! resolution; the limit is set before the voltage; "off" was seen, not assumed.

use crate::clock::Clock;
use super::error::{Fault, InstrumentError};
use super::profile::{ModeForm, Profile, Readback, Setting, SupplyProfile, fits};
use super::reading::{Measurand, Reading, Regulation, Role, Sample, Snapshot};
use super::reply::{Said, said, sample};
use super::session::Session;
use super::template::{fill, number};
use crate::units::{Amperes, Seconds, Volts};
use std::marker::PhantomData;

/// How often switching off is tried before the driver gives up.
const OFF_TRIES: u32 = 3;

/// A supply. See the module's text for `K`.
pub struct Supply<K> {
    session: Session,
    profile: SupplyProfile,
    select: Option<super::profile::Select>,
    local: Vec<String>,
    channel: String,
    clock: Clock,
    output: Belief,
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

/// An answer with its times, or why there is none.
struct Answer {
    asked: Seconds,
    answered: Seconds,
    reply: Result<String, Sample>,
}

/// A setting as wanted and as read back.
#[derive(Clone, Debug, PartialEq)]
pub struct SetPoint {
    /// What was set: `voltage`, `current limit`, `over-voltage protection`.
    pub what: &'static str,
    /// The value that was sent, in the measurand's unit.
    pub wanted: f64,
    /// The value that was read back; `None` where the dialect cannot ask.
    pub read_back: Option<f64>,
    /// Its unit.
    pub measurand: Measurand,
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
            profile: supply.clone(),
            select: profile.select.clone(),
            local: profile.local.clone(),
            channel: channel.to_string(),
            clock,
            output: Belief::MaybeOn,
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

    /// What is known of the output.
    pub fn belief(&self) -> Belief {
        self.output
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
        self.set("voltage", &setting, voltage.0, Measurand::Voltage).await.map_err(|f| f.of(Role::Supply))
    }

    async fn write(&mut self, voltage: Volts, limit: Amperes) -> Result<Vec<SetPoint>, Fault> {
        let (volts, amperes) = (self.profile.voltage.clone(), self.profile.current.clone());
        let Some(both) = self.profile.both.clone() else {
            let limit = self.set("current limit", &amperes, limit.0, Measurand::Current).await?;
            let voltage = self.set("voltage", &volts, voltage.0, Measurand::Voltage).await?;
            return Ok(vec![limit, voltage]);
        };
        self.select_surely().await?;
        let (v, i) = (number(voltage.0, volts.resolution), number(limit.0, amperes.resolution));
        let message = fill(&both, &[("voltage", &v), ("current", &i), ("channel", &self.channel)]);
        self.session.command(&message).await?;
        Ok(vec![
            self.read_back("current limit", &amperes, &i, Measurand::Current).await?,
            self.read_back("voltage", &volts, &v, Measurand::Voltage).await?,
        ])
    }

    async fn set(&mut self, what: &'static str, setting: &Setting, value: f64, of: Measurand) -> Result<SetPoint, Fault> {
        self.select_surely().await?;
        let text = number(value, setting.resolution);
        let message = fill(&setting.set, &[("value", &text), ("channel", &self.channel)]);
        self.session.command(&message).await?;
        self.read_back(what, setting, &text, of).await
    }

    async fn read_back(&mut self, what: &'static str, setting: &Setting, sent: &str, of: Measurand) -> Result<SetPoint, Fault> {
        let wanted: f64 = sent.parse().unwrap_or(f64::NAN);
        let Some(ask) = setting.ask.clone() else {
            return Ok(SetPoint { what, wanted, read_back: None, measurand: of });
        };
        let reply = self.ask(&ask).await?;
        let prefix = self.fill(&setting.reply.prefix);
        let Said::Number(found) = said(&reply, &setting.reply, &prefix, of, &[]) else {
            self.session.doubt(&ask);
            return Err(Fault::Garbled { command: ask, reply, expected: format!("the {what} that was set") });
        };
        // Equal within one step: what was sent already is a multiple of it.
        if (found - wanted).abs() > setting.resolution * 0.75 {
            let unit = of.unit();
            return Err(Fault::Mismatch {
                what: format!("the {what}"),
                wanted: crate::units::engineering(wanted, unit, 6),
                found: crate::units::engineering(found, unit, 6),
            });
        }
        Ok(SetPoint { what, wanted, read_back: Some(found), measurand: of })
    }

    /// Sets and enables the supply's own protections, as far as it has them.
    ///
    /// # Errors
    /// A refusal; a level that reads back as another.
    pub async fn protect(&mut self, over_voltage: Volts) -> Result<Vec<SetPoint>, InstrumentError> {
        let mut set = Vec::new();
        for (what, protection, level, of) in [
            ("over-voltage protection", self.profile.over_voltage.clone(), over_voltage.0, Measurand::Voltage),
            ("over-current protection", self.profile.over_current.clone(), f64::NAN, Measurand::Current),
        ] {
            let Some(protection) = protection else { continue };
            if let (Some(setting), true) = (&protection.level, level.is_finite()) {
                // Rounded up to a step: a level below the set-point is refused by many.
                let level = (level / setting.resolution).ceil() * setting.resolution;
                set.push(self.set(what, setting, level, of).await.map_err(|f| f.of(Role::Supply))?);
            }
            for message in &protection.enable {
                let message = self.fill(message);
                self.session.command(&message).await.map_err(|f| f.of(Role::Supply))?;
            }
        }
        Ok(set)
    }

    /// Which of the supply's own protections has tripped, if any.
    ///
    /// # Errors
    /// Those of a query.
    pub async fn tripped(&mut self) -> Result<Option<&'static str>, InstrumentError> {
        for (what, protection) in
            [("over-voltage protection", self.profile.over_voltage.clone()), ("over-current protection", self.profile.over_current.clone())]
        {
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

    /// Whether the supply says that its output is off; `None` where it cannot be asked.
    ///
    /// # Errors
    /// Those of a query, or an answer that means neither.
    pub async fn says_off(&mut self) -> Result<Option<bool>, InstrumentError> {
        self.output_state().await.map(|s| s.map(|(off, _)| off)).map_err(|f| f.of(Role::Supply))
    }

    async fn output_state(&mut self) -> Result<Option<(bool, String)>, Fault> {
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
    /// the later ones with the message that switches every output off, and with
    /// the voltage set to zero.
    ///
    /// # Errors
    /// [`Fault::NotOff`] with what was seen, or why nothing could be seen.
    pub async fn off(&mut self) -> Result<OffProof, InstrumentError> {
        let mut why = String::new();
        let mut first = None;
        for attempt in 1..=OFF_TRIES {
            match self.try_off(attempt, &mut first).await {
                Ok(proof) => {
                    self.output = Belief::Off;
                    return Ok(proof);
                }
                Err(fault) => why = fault.to_string(),
            }
        }
        Err(Fault::NotOff { why }.of(Role::Supply))
    }

    async fn try_off(&mut self, attempt: u32, first: &mut Option<Seconds>) -> Result<OffProof, Fault> {
        let output = self.profile.output.clone();
        // Select-dialects: off must reach the right channel; a wrong one is found by the verification.
        self.select().await?;
        let off = self.fill(&output.off);
        self.session.command_at_once(&off).await?;
        let at = *first.get_or_insert(self.session.last_sent());
        if attempt > 1 {
            if let Some(all) = &output.all_off {
                self.session.command_at_once(&self.fill(all)).await?;
            }
            let zero = number(0.0, self.profile.voltage.resolution);
            let message = fill(&self.profile.voltage.set, &[("value", &zero), ("channel", &self.channel)]);
            self.select().await?;
            self.session.command_at_once(&message).await?;
        }
        // Errors in the queue belong to the past or to this; the verification decides.
        if let Err(fault) = self.session.drain_errors(&off).await
            && !matches!(fault, Fault::Refused { .. })
        {
            return Err(fault);
        }
        let state = match self.output_state().await? {
            Some((false, reply)) => {
                return Err(Fault::NotOff { why: format!("{off:?} was sent, but the supply says that its output is on ({reply})") });
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

    /// Reads voltage, current and regulation, one after the other.
    ///
    /// # Errors
    /// The link's alone: what is wrong with an answer stands in its reading.
    pub async fn snapshot(&mut self) -> Result<Snapshot, Fault> {
        let regulation = self.regulation().await?;
        let (v, i) = (self.profile.measured_voltage.clone(), self.profile.measured_current.clone());
        let first = self.answer(&v.ask).await?;
        let voltage = self.reading(&first, &v, Measurand::Voltage, regulation);
        // Where one question answers both, it is asked once.
        let second = if i.ask == v.ask { first } else { self.answer(&i.ask).await? };
        let current = self.reading(&second, &i, Measurand::Current, regulation);
        Ok(Snapshot { voltage, current, regulation })
    }

    /// Reads the voltage alone: what is left at the terminals.
    ///
    /// # Errors
    /// The link's alone.
    pub async fn terminal_voltage(&mut self) -> Result<Reading, Fault> {
        let v = self.profile.measured_voltage.clone();
        let answer = self.answer(&v.ask).await?;
        Ok(self.reading(&answer, &v, Measurand::Voltage, Regulation::Unknown))
    }

    async fn answer(&mut self, template: &str) -> Result<Answer, Fault> {
        let asked = self.clock.now();
        let result = self.ask(template).await;
        let answered = self.clock.now();
        let reply = match result {
            Ok(reply) => Ok(reply),
            Err(fault) => Err(missing(fault)?),
        };
        Ok(Answer { asked, answered, reply })
    }

    fn reading(&mut self, answer: &Answer, readback: &Readback, of: Measurand, regulation: Regulation) -> Reading {
        let sample = match &answer.reply {
            Ok(reply) => {
                let prefix = self.fill(&readback.reply.prefix);
                let said = said(reply, &readback.reply, &prefix, of, &[]);
                if said == Said::Garbled {
                    self.session.doubt(&readback.ask);
                }
                sample(said, &readback.accuracy, 0.0, readback.resolution, readback.floor)
            }
            Err(sample) => *sample,
        };
        Reading { role: Role::Supply, measurand: of, asked: answer.asked, answered: answer.answered, sample, regulation }
    }

    async fn regulation(&mut self) -> Result<Regulation, Fault> {
        let Some(mode) = self.profile.mode.clone() else { return Ok(Regulation::Unknown) };
        let reply = match self.ask(&mode.ask).await {
            Ok(reply) => reply,
            Err(fault) if fault.is_passing() => return Ok(Regulation::Unknown),
            Err(fault) => return Err(fault),
        };
        let found = understood(&reply, &mode.form);
        if found == Regulation::Unknown {
            self.session.doubt(&mode.ask);
        }
        Ok(found)
    }

    /// Gives it back to its front panel.
    ///
    /// # Errors
    /// Those of a write.
    pub async fn release(&mut self) -> Result<(), InstrumentError> {
        for message in self.local.clone() {
            self.session.command(&message).await.map_err(|f| f.of(Role::Supply))?;
        }
        Ok(())
    }
}

/// What a fault says of a reading; a fault of the link is no reading at all.
pub(super) fn missing(fault: Fault) -> Result<Sample, Fault> {
    match fault {
        Fault::NoReply { .. } | Fault::OutOfStep { .. } => Ok(Sample::NoReply),
        Fault::Late { .. } => Ok(Sample::Late),
        Fault::Garbled { .. } | Fault::Refused { .. } => Ok(Sample::Garbled),
        other => Err(other),
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

fn understood(reply: &str, form: &ModeForm) -> Regulation {
    match form {
        ModeForm::Words { voltage, current, fault } => {
            let is = |words: &[String]| words.iter().any(|word| same_word(reply, word));
            if is(current) {
                Regulation::Current
            } else if is(voltage) {
                Regulation::Voltage
            } else if is(fault) {
                Regulation::Fault
            } else {
                Regulation::Unknown
            }
        }
        ModeForm::Bits { voltage, current } => {
            let Some(register) = reply.trim().parse::<f64>().ok().filter(|r| r.fract() == 0.0 && (0.0..=65535.0).contains(r)) else {
                return Regulation::Unknown;
            };
            let bit = |n: u32| (register / 2f64.powi(i32::try_from(n).unwrap_or(31))).floor() % 2.0 == 1.0;
            match (bit(*voltage), bit(*current)) {
                (true, false) => Regulation::Voltage,
                (false, true) => Regulation::Current,
                (true, true) => Regulation::Fault,
                (false, false) => Regulation::Neither,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn mode_answers_are_understood_by_the_profile_alone() {
        // QUIRKS rows 20 to 22 and CHECKS 1.6 rows 4 and 6: the same answer means opposite things.
        let bits = ModeForm::Bits { voltage: 1, current: 0 };
        assert_eq!(understood("1", &bits), Regulation::Current);
        assert_eq!(understood("2", &bits), Regulation::Voltage);
        assert_eq!(understood("+3", &bits), Regulation::Fault);
        assert_eq!(understood("0", &bits), Regulation::Neither);
        assert_eq!(understood("514", &bits), Regulation::Voltage);
        assert_eq!(understood("CV", &bits), Regulation::Unknown);
        let words = |voltage: &str, current: &str| ModeForm::Words { voltage: vec![voltage.into()], current: vec![current.into()], fault: vec!["3".into()] };
        assert_eq!(understood("1", &words("2", "1")), Regulation::Current);
        assert_eq!(understood("1", &words("1", "2")), Regulation::Voltage);
        assert_eq!(understood("+1", &words("1", "2")), Regulation::Voltage);
        assert_eq!(understood("cc", &words("CV", "CC")), Regulation::Current);
        assert_eq!(understood("3", &words("1", "2")), Regulation::Fault);
        assert_eq!(understood("", &words("1", "2")), Regulation::Unknown);
    }

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
