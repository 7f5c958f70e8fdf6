//! A link that dropped: opened again, with the output off before anything else, and
//! everything asked anew.

use super::{Station, told};
use crate::instrument::{Fault, InstrumentError, Role};
use crate::interlock::trip::Halt;
use crate::link::{Gone, Link, LinkError};
use crate::units::Seconds;
use std::future::Future;
use std::pin::Pin;
use std::sync::Arc;

/// A link that is being opened again.
pub type Opening = Pin<Box<dyn Future<Output = Result<Box<dyn Link>, LinkError>> + Send>>;

/// Opens an instrument's link again.
pub type Reopen = Arc<dyn Fn(Role) -> Opening + Send + Sync>;

/// How often a link is tried, each time it drops.
const TRIES: u32 = 6;
/// First and longest pause before a try.
const PAUSE: (Seconds, Seconds) = (Seconds(0.2), Seconds(3.0));
/// After this no further try is begun: an output may be on.
const LONGEST: Seconds = Seconds(12.0);
/// How many dropped links a run survives.
const DROPS: u32 = 10;

impl Station {
    /// From now on a link that drops is opened again by this.
    #[must_use]
    pub fn reopened_by(mut self, reopen: Option<Reopen>) -> Self {
        self.reopen = reopen;
        self
    }

    /// Whose link has dropped, if one has.
    async fn dropped(&mut self) -> Option<Role> {
        if self.supply.lock().await.session().is_broken() {
            return Some(Role::Supply);
        }
        self.meter.as_mut().is_some_and(|m| m.session().is_broken()).then_some(Role::Meter)
    }

    /// Opens dropped links again, the supply's first, and switches off. Returns whether
    /// there was one; what was under way counts for nothing.
    ///
    /// # Errors
    /// The link stays away, it is another instrument, or the output could not be
    /// verified off; the record's.
    pub async fn recover(&mut self) -> Result<bool, Halt> {
        let Some(reopen) = self.reopen.clone() else { return Ok(false) };
        let mut any = false;
        while let Some(role) = self.dropped().await {
            if self.drops >= DROPS {
                self.journal.event("link", &format!("the {}'s link dropped once more; it is not opened again", role.name()))?;
                return Ok(false);
            }
            self.drops += 1;
            any = true;
            if role == Role::Meter {
                self.make_safe().await?;
            }
            self.reopen(&reopen, role).await?;
        }
        Ok(any)
    }

    async fn reopen(&mut self, reopen: &Reopen, role: Role) -> Result<(), Halt> {
        let mut pause = PAUSE.0;
        let mut last = None;
        let give_up = self.clock.now() + LONGEST;
        for attempt in 1..=TRIES {
            if self.clock.now() > give_up {
                break;
            }
            self.clock.sleep(pause).await;
            pause = (pause * 2.0).min(PAUSE.1);
            let tried = match reopen(role).await {
                Ok(link) => self.again(link, role).await,
                Err(error) => Err(Fault::from(error).of(role)),
            };
            if tried.is_err() {
                // It may be another instrument: what it says of its output proves nothing.
                self.disown(role).await;
            }
            match tried {
                Ok(found) => {
                    let text = format!("the {}'s link had dropped; opened again at try {attempt}: {found}", role.name());
                    return Ok(self.journal.event("link", &text)?);
                }
                // Another instrument stays another one.
                Err(error @ InstrumentError { fault: Fault::Identity { .. }, .. }) => return Err(error.into()),
                Err(error) => last = Some(error),
            }
        }
        let why = last.map_or_else(String::new, |e| e.to_string());
        self.journal.event("link", &format!("the {}'s link dropped, and could not be opened again", role.name()))?;
        let fault = match role {
            Role::Supply => Fault::NotOff { why },
            Role::Meter => Fault::Order(format!("its link dropped and could not be opened again: {why}")),
        };
        Err(fault.of(role).into())
    }

    /// From now on nothing is said to whoever is at the end of the link.
    async fn disown(&mut self, role: Role) {
        match (role, &mut self.meter) {
            (Role::Supply, _) => self.supply.lock().await.relink(Box::new(Gone)),
            (Role::Meter, Some(meter)) => meter.session().relink(Box::new(Gone)),
            (Role::Meter, None) => {}
        }
    }

    /// Takes over a new link: off first, then who it is and how it is set.
    async fn again(&mut self, link: Box<dyn Link>, role: Role) -> Result<String, InstrumentError> {
        let of = |fault: Fault| fault.of(role);
        if role == Role::Meter {
            let Some(meter) = &mut self.meter else { return Ok("there is no meter".into()) };
            meter.session().relink(link);
            meter.session().take_remote(&self.meter_remote, self.meter_serial.as_deref()).await.map_err(of)?;
            return Ok("the same instrument; its range is set anew".into());
        }
        let remote = self.seat.profile.remote.clone();
        let serial = self.seat.serial.clone();
        let mut supply = self.supply.clone().lock_owned().await;
        supply.relink(link);
        let first = supply.off().await;
        supply.session().take_remote(&remote, serial.as_deref()).await.map_err(of)?;
        let off = match first {
            Ok(off) => off,
            Err(_) => supply.off().await?,
        };
        let changed = supply.audit().await?;
        let settings = if changed.is_empty() { "set as before".to_owned() } else { changed.join("; ") };
        // Whatever it has kept: everything is set and made sure of anew.
        (self.protected, self.preflown) = (None, None);
        Ok(format!("{}; the same instrument, {settings}", told(&off)))
    }
}
