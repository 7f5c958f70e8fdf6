//! What a supply reads back: voltage, current, and whether it limits.

use super::{Supply, same_word};
use crate::instrument::error::Fault;
use crate::instrument::profile::{ModeForm, Readback};
use crate::instrument::reading::{Measurand, Reading, Regulation, Role, Sample, Snapshot};
use crate::instrument::reply::{Said, said, sample};
use crate::units::Seconds;

/// An answer with its times, or why there is none.
struct Answer {
    asked: Seconds,
    answered: Seconds,
    reply: Result<String, Sample>,
}

impl<K> Supply<K> {
    /// Reads voltage, current and regulation, one after the other.
    ///
    /// # Errors
    /// The link's alone: what is wrong with an answer stands in its reading.
    pub async fn snapshot(&mut self) -> Result<Snapshot, Fault> {
        if let Some(snapshot) = self.snapshot_at_once().await? {
            return Ok(snapshot);
        }
        let regulation = self.regulation().await?;
        let profile = self.profile.clone();
        let (v, i) = (&profile.measured_voltage, &profile.measured_current);
        let first = self.answer(&v.ask).await?;
        let voltage = self.reading(&first, v, Measurand::Voltage, regulation);
        // Where one question answers both, it is asked once.
        let second = if i.ask == v.ask { first } else { self.answer(&i.ask).await? };
        let current = self.reading(&second, i, Measurand::Current, regulation);
        Ok(Snapshot { voltage, current, regulation })
    }

    /// The same by one message, where the dialect answers several questions in one.
    async fn snapshot_at_once(&mut self) -> Result<Option<Snapshot>, Fault> {
        let profile = self.profile.clone();
        let (v, i) = (&profile.measured_voltage, &profile.measured_current);
        let mut asks: Vec<String> = profile.mode.iter().map(|mode| self.fill(&mode.ask)).collect();
        asks.push(self.fill(&v.ask));
        if i.ask != v.ask {
            asks.push(self.fill(&i.ask));
        }
        let select = self.select.as_ref().map(|select| self.fill(&select.send));
        let asks: Vec<&str> = asks.iter().map(String::as_str).collect();
        let asked = self.clock.now();
        let replies = match self.session.query_joined(select.as_deref(), &asks).await {
            Ok(None) => return Ok(None),
            Ok(Some(replies)) => Ok(replies),
            Err(fault) => Err(missing(fault)?),
        };
        let answered = self.clock.now();
        let mut replies = replies.map(Vec::into_iter);
        let mut next = || Answer {
            asked,
            answered,
            reply: match &mut replies {
                Ok(replies) => replies.next().ok_or(Sample::Garbled),
                Err(sample) => Err(*sample),
            },
        };
        let mode = profile.mode.as_ref().map(|mode| (mode, next().reply));
        let voltage = next();
        let current = if i.ask == v.ask { None } else { Some(next()) };
        let regulation = match mode {
            Some((mode, Ok(reply))) => understood(&reply, &mode.form),
            _ => Regulation::Unknown,
        };
        Ok(Some(Snapshot {
            current: self.reading(current.as_ref().unwrap_or(&voltage), i, Measurand::Current, regulation),
            voltage: self.reading(&voltage, v, Measurand::Voltage, regulation),
            regulation,
        }))
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
                let said = said(reply, &readback.reply, &prefix, of.unit(), &[]);
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
        let profile = self.profile.clone();
        let Some(mode) = &profile.mode else { return Ok(Regulation::Unknown) };
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
}

/// What a fault says of a reading; a fault of the link is no reading at all.
pub(in crate::instrument) fn missing(fault: Fault) -> Result<Sample, Fault> {
    match fault {
        Fault::NoReply { .. } | Fault::OutOfStep { .. } => Ok(Sample::NoReply),
        Fault::Late { .. } => Ok(Sample::Late),
        Fault::Garbled { .. } | Fault::Refused { .. } => Ok(Sample::Garbled),
        other => Err(other),
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
            let Some(register) = reply.trim().parse::<f64>().ok().filter(|r| r.fract() == 0.0 && (0.0..=65535.0).contains(r))
            else {
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
        let words = |voltage: &str, current: &str| ModeForm::Words {
            voltage: vec![voltage.into()],
            current: vec![current.into()],
            fault: vec!["3".into()],
        };
        assert_eq!(understood("1", &words("2", "1")), Regulation::Current);
        assert_eq!(understood("1", &words("1", "2")), Regulation::Voltage);
        assert_eq!(understood("+1", &words("1", "2")), Regulation::Voltage);
        assert_eq!(understood("cc", &words("CV", "CC")), Regulation::Current);
        assert_eq!(understood("3", &words("1", "2")), Regulation::Fault);
        assert_eq!(understood("", &words("1", "2")), Regulation::Unknown);
    }
}
