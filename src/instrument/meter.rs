//! A meter, driven by its profile: one function, one fixed range, one rate at a
//! time. Never auto-range: a range that changes disturbs the node.

use super::error::{Fault, InstrumentError};
use super::profile::{Function, MeterProfile, Profile, Range, Rate};
use super::reading::{Measurand, Reading, Regulation, Role, Sample};
use super::reply::{Said, said, sample};
use super::session::Session;
use super::supply::missing;
use super::template::fill;
use crate::clock::Clock;
use crate::units::Seconds;
use std::sync::Arc;

/// A meter.
pub struct Meter {
    session: Session,
    profile: MeterProfile,
    local: Vec<String>,
    clock: Clock,
    set: Option<Arc<Set>>,
}

/// What the meter is set to.
#[derive(Debug)]
struct Set {
    measurand: Measurand,
    function: Function,
    range: Range,
    rate: Rate,
}

impl Meter {
    /// Drives the meter at the end of `session`.
    ///
    /// # Errors
    /// [`Fault::Order`] when the profile is not a meter's.
    pub fn new(session: Session, profile: &Profile, clock: Clock) -> Result<Self, InstrumentError> {
        let Some(meter) = profile.meter() else {
            return Err(Fault::Order(format!("the profile {} is not a meter's", profile.name)).of(Role::Meter));
        };
        Ok(Self { session, profile: meter.clone(), local: profile.local.clone(), clock, set: None })
    }

    /// The profile that it is driven by.
    pub fn profile(&self) -> &MeterProfile {
        &self.profile
    }

    /// The conversation, for identity and errors.
    pub fn session(&mut self) -> &mut Session {
        &mut self.session
    }

    /// What it is set to measure, and its range's full scale.
    pub fn watches(&self) -> Option<(Measurand, f64)> {
        self.set.as_ref().map(|s| (s.measurand, s.range.full))
    }

    /// Sets function, range and rate (by their places in the profile), and reads the range back.
    ///
    /// # Errors
    /// A refusal; a range that reads back as another; [`Fault::Order`] when the
    /// profile has no such function, range or rate.
    pub async fn configure(&mut self, of: Measurand, range: usize, rate: usize) -> Result<(), InstrumentError> {
        self.configure_surely(of, range, rate).await.map_err(|f| f.of(Role::Meter))
    }

    async fn configure_surely(&mut self, of: Measurand, range: usize, rate: usize) -> Result<(), Fault> {
        let function = match of {
            Measurand::Current => self.profile.current.clone(),
            Measurand::Voltage => self.profile.voltage.clone(),
        };
        let no = |what: &str| Fault::Order(format!("the meter's profile has no such {what} for {}", of.name()));
        let function = function.ok_or_else(|| no("function"))?;
        let range = function.ranges.get(range).cloned().ok_or_else(|| no("range"))?;
        let rate = self.profile.rates.get(rate).cloned().ok_or_else(|| no("rate"))?;
        let values = [("range", range.send.as_str()), ("rate", rate.send.as_str()), ("function", function.function.as_str())];
        self.set = None;
        for template in function.configure.iter().chain(&self.profile.rate) {
            self.session.command(&fill(template, &values)).await?;
        }
        if let Some(ask) = &function.range_ask {
            let reply = self.session.query(ask).await?;
            if !is_range(&reply, &function, &range, of) {
                return Err(Fault::Mismatch { what: "the meter's range".into(), wanted: range.send, found: reply });
            }
        }
        self.set = Some(Arc::new(Set { measurand: of, function, range, rate }));
        Ok(())
    }

    /// Asks for the range, and says in words where it is no longer what it was set to.
    ///
    /// # Errors
    /// Those of a query.
    pub async fn audit(&mut self) -> Result<Option<String>, InstrumentError> {
        self.try_audit().await.map_err(|f| f.of(Role::Meter))
    }

    async fn try_audit(&mut self) -> Result<Option<String>, Fault> {
        let Some(set) = self.set.clone() else { return Ok(None) };
        let Some(ask) = &set.function.range_ask else { return Ok(None) };
        let reply = self.session.query(ask).await?;
        Ok((!is_range(&reply, &set.function, &set.range, set.measurand))
            .then(|| format!("the meter's range was set to {}, and is {} now", set.range.send, reply.trim())))
    }

    /// Takes one fresh reading with the settings in force.
    ///
    /// # Errors
    /// The link's alone, or [`Fault::Order`] when nothing has been configured:
    /// what is wrong with an answer stands in the reading.
    pub async fn read(&mut self) -> Result<Reading, Fault> {
        let Some(set) = self.set.clone() else {
            return Err(Fault::Order("the meter is read before it is configured".into()));
        };
        let asked = self.clock.now();
        let result = self.ask(&set).await;
        let answered = self.clock.now();
        let sample = match result {
            Ok(reply) => {
                let said =
                    said(&reply, &set.function.reply, &set.function.reply.prefix, set.measurand.unit(), &self.profile.overload);
                if let (Said::Garbled, Some(read)) = (said, &set.function.read) {
                    self.session.doubt(read);
                }
                sample(said, &set.range.accuracy, set.range.full, set.range.resolution, set.range.floor)
            }
            Err(fault) => missing(fault)?,
        };
        // A value far beyond the range in force is no reading of it.
        let sample = match sample {
            Sample::Value { value, .. } if value.abs() > 1.25 * set.range.full => Sample::Garbled,
            other => other,
        };
        Ok(Reading { role: Role::Meter, measurand: set.measurand, asked, answered, sample, regulation: Regulation::Unknown })
    }

    async fn ask(&mut self, set: &Set) -> Result<String, Fault> {
        if let Some(trigger) = &set.function.trigger {
            self.session.command(trigger).await?;
        }
        let timeout = self.session.timeout() + Seconds(set.rate.period.0 * 2.0);
        let Some(read) = &set.function.read else {
            // What comes may be old by as much; a line that came later was measured later, whole.
            let flush = self.profile.stream.unwrap_or_default();
            let fresh_from = self.clock.now() + flush + set.rate.integration;
            return self.session.listen(fresh_from, timeout).await;
        };
        self.session.query_within(&fill(read, &[("range", &set.range.send)]), timeout).await
    }

    /// Gives it back to its front panel.
    ///
    /// # Errors
    /// Those of a write.
    pub async fn release(&mut self) -> Result<(), InstrumentError> {
        self.session.unlock().await.map_err(|f| f.of(Role::Meter))?;
        for message in self.local.clone() {
            self.session.command(&message).await.map_err(|f| f.of(Role::Meter))?;
        }
        Ok(())
    }
}

/// Whether an answer names this range: as it was sent, as text or as a number; or as a
/// value of the range, with its unit.
fn is_range(reply: &str, function: &Function, range: &Range, of: Measurand) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() <= a.abs() * 1e-6;
    let found = reply.trim().parse::<f64>().ok();
    let as_sent = range.send.parse::<f64>().ok().zip(found).is_some_and(|(a, b)| near(a, b)) || reply.trim() == range.send;
    let said = said(reply, &function.reply, &function.reply.prefix, of.unit(), &[]);
    as_sent || matches!(said, Said::Number(value) if near(range.full, value))
}
