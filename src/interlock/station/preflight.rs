//! What is made sure of before a stage is energised, each with its line in the record.

use super::{Station, Supply};
use crate::instrument::{Asked, Reading, Role, SetPoint};
use crate::interlock::trip::Halt;
use crate::units::{Seconds, engineering};
use std::sync::Arc;

/// One thing that was made sure of, or could not be.
#[derive(Clone, Debug, PartialEq)]
pub struct Assured {
    /// What.
    pub what: String,
    /// How it was found.
    pub found: String,
    /// Whether that lets the stage be energised.
    pub good: bool,
}

impl Assured {
    /// A line.
    pub fn new(what: impl Into<String>, found: impl Into<String>, good: bool) -> Self {
        Self { what: what.into(), found: found.into(), good }
    }
}

/// What is to be said of the computer and of papers: asked before every stage.
pub type Papers = Arc<dyn Fn() -> Vec<Assured> + Send + Sync>;

/// The supply's own timer goes off after this many times the longest silence that the
/// plan allows: later than the interlock, which says why.
const WATCHDOG: f64 = 2.0;

fn queue(there: bool) -> &'static str {
    if there { "empty" } else { "it has none" }
}

impl Station {
    /// From now on these are asked, too.
    #[must_use]
    pub fn papers(mut self, papers: Option<Papers>) -> Self {
        self.papers = papers;
        self
    }

    /// How long the supply may hear nothing before it switches off by itself.
    pub(super) fn watchdog(&self) -> Seconds {
        self.interlock.no_reading * WATCHDOG
    }

    /// Makes sure of everything before the first permit of a stage. The output is off;
    /// `set` was set and read back, and `left` is the voltage at the unit.
    pub(super) async fn preflight(&mut self, supply: &mut Supply, set: &[SetPoint], left: Option<Reading>) -> Result<(), Halt> {
        let mut lines = self.papers.as_ref().map_or_else(Vec::new, |papers| papers());
        let of = |fault: crate::instrument::Fault| fault.of(Role::Supply);
        let identity = supply.session().identify(self.seat.serial.as_deref()).await.map_err(of)?;
        lines.push(Assured::new("supply: identity", identity.unwrap_or_else(|| "cannot be asked".into()), true));
        supply.session().drain_errors("what was sent before this stage").await.map_err(of)?;
        lines.push(Assured::new("supply: error queue", queue(supply.session().has_error_queue()), true));
        for asked in Asked::ALL {
            lines.push(self.asked(supply, asked).await?);
        }
        let spell = |s: &SetPoint| {
            let back = s.read_back.map_or("not to be read back".into(), |v| format!("reads {}", engineering(v, s.unit, 5)));
            format!("{} {} ({back})", s.what, engineering(s.wanted, s.unit, 5))
        };
        // As they stand now: some were set on the way.
        let stands = |(at, s): &(usize, &SetPoint)| !set.iter().skip(at + 1).any(|later| later.what == s.what);
        let words: Vec<String> = set.iter().enumerate().filter(stands).map(|(_, s)| spell(s)).collect();
        lines.push(Assured::new("supply: limits and protection", words.join(", "), true));
        let watchdog = match &supply.profile().watchdog {
            Some(_) => format!("armed while the output is on, {}", self.watchdog()),
            None => "it has none".into(),
        };
        lines.push(Assured::new("supply: watchdog", watchdog, true));
        let state = supply.says_off().await?;
        let words = match state {
            Some(true) => "off, by its own word and its current",
            Some(false) => "ON",
            None => "off, by its current",
        };
        lines.push(Assured::new("supply: output", words, state != Some(false)));
        if let Some(left) = left {
            let found = left.volts().map_or_else(|| left.sample.word().to_owned(), |v| v.to_string());
            lines.push(Assured::new("voltage left at the unit", found, true));
        }
        if let Some(meter) = &mut self.meter {
            let of = |fault: crate::instrument::Fault| fault.of(Role::Meter);
            let identity = meter.session().identify(self.meter_serial.as_deref()).await.map_err(of)?;
            lines.push(Assured::new("meter: identity", identity.unwrap_or_else(|| "cannot be asked".into()), true));
            meter.session().drain_errors("what was sent before this stage").await.map_err(of)?;
            lines.push(Assured::new("meter: error queue", queue(meter.session().has_error_queue()), true));
        }
        let now = self.clock.now();
        self.journal.write(|r| lines.iter().try_for_each(|l| r.preflight(self.stage, now, &l.what, &l.found, l.good)))?;
        match lines.iter().find(|l| !l.good) {
            Some(wrong) => Err(Halt::NoPermit(format!("{}: {}", wrong.what, wrong.found))),
            None => Ok(()),
        }
    }

    async fn asked(&self, supply: &mut Supply, asked: Asked) -> Result<Assured, Halt> {
        let remote = self.seat.remote_sense;
        let what = format!("supply: {}", asked.name());
        let wanted = asked.wanted(remote);
        Ok(match supply.found(asked, remote).await? {
            Some(found) if found.good => {
                let put_right = if found.put_right { ", after it was put right" } else { "" };
                Assured::new(what, format!("answers {}{put_right}: {wanted}", found.reply), true)
            }
            Some(found) => Assured::new(what, format!("answers {}; wanted is that {wanted}", found.reply), false),
            None if !supply.profile().needs_a_look(asked) => Assured::new(what, "one channel: there is none", true),
            None if self.seat.looked_at.contains(&asked) => {
                Assured::new(what, format!("looked at, says the bench file: {wanted}"), true)
            }
            None => Assured::new(what, format!("cannot be asked; the operator was: {wanted}"), true),
        })
    }
}
