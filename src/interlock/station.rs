//! The powered place: supply and meter behind the gate, and the permit.
//!
//! The only way to an energised output is [`Station::prepare`], then
//! [`Prepared::switch_on`], which gives an [`Energised`]. While it lives, every
//! reading goes through the gate and into the record before anyone else sees
//! it. When it goes, whatever the reason, the output is switched off and verified.
//!
//! ```compile_fail
//! // A permit cannot be made elsewhere …
//! let permit = rampart::interlock::Permit { _made_by_the_interlock: () };
//! ```
//! ```compile_fail
//! // … and without one a supply does not switch on.
//! async fn energise(mut supply: rampart::interlock::Supply) {
//!     supply.switch_on(&()).await.ok();
//! }
//! ```

pub use energised::Energised;
pub use preflight::{Assured, Papers};
pub use prepared::Prepared;
pub use recover::{Opening, Reopen};

mod energised;
mod preflight;
mod prepared;
mod recover;

use super::guard::Guard;
use super::journal::Journal;
use super::trip::{Halt, Trip};
use super::wake::{Clocks, Wake};
use crate::clock::Clock;
use crate::instrument::{self, Belief, InstrumentError, Measurand, Meter, OffProof, Reading, Snapshot};
use crate::plan::{Ceiling, Interlock, Limits, Passed, SupplySeat};
use crate::units::{Joules, Seconds, Volts};
use std::sync::{Arc, Mutex as PlainMutex, PoisonError};
use tokio::sync::Mutex;

/// The key to an energised output. Only the interlock makes one.
#[derive(Debug)]
pub struct Permit {
    _made_by_the_interlock: (),
}

/// A supply that switches on with a [`Permit`] and not otherwise.
pub type Supply = instrument::Supply<Permit>;

/// The supply's over-voltage protection stands this much above the ceiling (or above
/// its own rating, where that is less), for its accuracy and for the overshoot of switching on.
const PROTECTION_MARGIN: f64 = 1.05;

/// Supply and meter behind the gate.
pub struct Station {
    supply: Arc<Mutex<Supply>>,
    meter: Option<Meter>,
    clock: Clock,
    journal: Journal,
    ceiling: Ceiling,
    interlock: Interlock,
    latched: Arc<PlainMutex<Option<Trip>>>,
    /// The process that switches off if this one dies; none in rehearsal.
    guard: Option<Guard>,
    /// What the bench file says of the supply, and of the meter's serial number.
    seat: SupplySeat,
    meter_serial: Option<String>,
    meter_remote: Vec<String>,
    reopen: Option<Reopen>,
    /// How many links have dropped.
    drops: u32,
    papers: Option<Papers>,
    /// The stage for which everything has been made sure of.
    preflown: Option<u32>,
    stage: u32,
    /// How often the plan has let the run go on after a trip.
    retried: u32,
    /// Whether the computer slept; not looked at in rehearsal.
    wake: Option<Wake>,
    /// How long it had slept in all when the output was last on.
    slept_when_off: Seconds,
    protected: Option<Volts>,
    ever_energised: bool,
    /// Energy that went into the unit in this stage.
    spent: Joules,
}

/// What is asked for when power is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Request {
    /// The voltage that is switched on; zero for a ramp.
    pub voltage: Volts,
    /// The highest voltage that this span will go to.
    pub highest: Volts,
    /// Current while starting and while running.
    pub limits: Limits,
    /// The unit must not stand above this before; `None` where the plan wants a residual.
    pub residual_below: Option<Volts>,
    /// Longest wait for that.
    pub patience: Seconds,
    /// Longest time in limiting, where it differs from the plan's.
    pub in_limit: Option<Seconds>,
}

/// Everything that was read at one look.
#[derive(Clone, Copy, Debug)]
pub struct Observation {
    /// The supply's read-back.
    pub supply: Snapshot,
    /// The meter's reading, where a meter watches.
    pub meter: Option<Reading>,
}

impl Observation {
    /// The current by the best instrument that watches it: a meter in series, else the supply.
    pub fn current(&self) -> &Reading {
        self.meter.as_ref().filter(|m| m.measurand == Measurand::Current).unwrap_or(&self.supply.current)
    }
}

impl Station {
    /// Takes over supply and meter for a run of a plan that has passed the check.
    pub fn new(passed: &Passed, supply: Supply, meter: Option<Meter>, clock: Clock, journal: Journal) -> Self {
        Self {
            supply: Arc::new(Mutex::new(supply)),
            meter,
            clock,
            journal,
            ceiling: passed.plan().unit.ceiling,
            interlock: passed.plan().interlock.clone(),
            latched: Arc::default(),
            guard: None,
            seat: passed.bench().supply.clone(),
            meter_serial: passed.bench().meter.as_ref().and_then(|m| m.serial.clone()),
            meter_remote: passed.bench().meter.as_ref().map(|m| m.profile.remote.clone()).unwrap_or_default(),
            reopen: None,
            drops: 0,
            papers: None,
            preflown: None,
            stage: 0,
            retried: 0,
            wake: None,
            slept_when_off: Seconds(0.0),
            protected: None,
            ever_energised: false,
            spent: Joules(0.0),
        }
    }

    /// From now on nothing is energised unless this guard stands.
    #[must_use]
    pub fn guarded(mut self, guard: Option<Guard>) -> Self {
        self.guard = guard;
        self
    }

    /// From now on the computer's clocks are compared at every look.
    #[must_use]
    pub fn awake(mut self, clocks: Option<Clocks>) -> Self {
        self.wake = clocks.map(Wake::new);
        self
    }

    /// Compares the computer's clocks, and records where they disagree. Returns how
    /// long it slept since the last look, if it did.
    ///
    /// # Errors
    /// The record's.
    fn slept(&mut self) -> Result<Option<Seconds>, Halt> {
        let Some(wake) = &mut self.wake else { return Ok(None) };
        let shown = wake.look();
        if let Some(by) = shown.set {
            self.journal.event("clock", &format!("the computer's wall clock was set by {by}; the run's time is not by it"))?;
        }
        if let Some(slept) = shown.slept {
            self.journal.event("slept", &format!("the computer slept for {slept}"))?;
        }
        Ok(shown.slept)
    }

    fn slept_in_all(&self) -> Seconds {
        self.wake.as_ref().map(Wake::slept).unwrap_or_default()
    }

    /// An output that is on is being looked at. The guard must stand.
    fn looked(&self) -> Result<(), Halt> {
        let Some(guard) = &self.guard else { return Ok(()) };
        guard.looked();
        guard.stands().map_err(Halt::Unguarded)
    }

    /// The output is being switched off.
    fn let_go(&self) {
        if let Some(guard) = &self.guard {
            guard.let_go();
        }
    }

    /// The bench's clock.
    pub fn clock(&self) -> Clock {
        self.clock
    }

    /// The record.
    pub fn journal(&self) -> &Journal {
        &self.journal
    }

    /// The meter, to be configured while nothing is energised.
    pub fn meter(&mut self) -> Option<&mut Meter> {
        self.meter.as_mut()
    }

    /// Energy that this stage has used.
    pub fn spent(&self) -> Joules {
        self.spent
    }

    /// From now on readings belong to this stage.
    pub fn enter_stage(&mut self, number: u32) {
        self.stage = number;
        self.spent = Joules(0.0);
        // Set and read back anew for every stage.
        self.protected = None;
    }

    /// Energy that this stage had used before the run was cut short.
    pub fn spent_before(&mut self, spent: Joules) {
        self.spent = spent;
    }

    /// Whether anything has been energised in this run.
    pub fn ever_energised(&self) -> bool {
        self.ever_energised
    }

    /// The trip that latched, if one has.
    pub fn latched(&self) -> Option<Trip> {
        self.latched.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// From here on the output is being switched off, and not looked at any more.
    fn latch(&self, trip: &Trip) {
        self.let_go();
        *self.latched.lock().unwrap_or_else(PoisonError::into_inner) = Some(trip.clone());
    }

    /// Records a trip and the switching off that it caused.
    fn told(&self, trip: Trip, off: Result<OffProof, InstrumentError>) -> Halt {
        let recorded = self.journal.event("trip", &trip.to_string());
        match off.map(|proof| self.journal.event("off", &told(&proof))) {
            Err(not_off) => not_off.into(),
            Ok(Err(error)) => error.into(),
            Ok(Ok(())) => recorded.map_or_else(Halt::from, |()| Halt::Tripped(trip)),
        }
    }

    /// An output that should be off is on.
    async fn came_on(&self, supply: &mut Supply) -> Halt {
        let trip = Trip::changed(self.clock.now(), &["the output has come on by itself".to_owned()]);
        self.latch(&trip);
        let off = supply.off_for_trip().await;
        self.told(trip, off)
    }

    /// Whether the plan lets the run go on after a trip: then the trip no longer holds,
    /// and the pause comes back that has to pass first. The output is verified off.
    pub fn retry(&mut self, trip: &Trip) -> Option<Seconds> {
        let retry = self.interlock.retry.as_ref()?;
        if self.retried >= retry.times || !retry.after.iter().any(|cause| trip.cause.is(*cause)) {
            return None;
        }
        let pause = retry.pause * 2_f64.powi(i32::try_from(self.retried).unwrap_or(0));
        self.retried += 1;
        *self.latched.lock().unwrap_or_else(PoisonError::into_inner) = None;
        Some(pause)
    }

    /// Makes everything ready for switching on, in this order: no trip is
    /// latched; the guard stands; the output is verified off; limits and protections are programmed
    /// and read back; the unit is not already at a voltage; before the first permit of a
    /// stage, everything that can be asked or has to be looked at.
    ///
    /// # Errors
    /// [`Halt::NoPermit`] with the reason; those of the instruments and the record.
    pub async fn prepare(&mut self, request: Request) -> Result<Prepared<'_>, Halt> {
        if let Some(trip) = self.latched() {
            return Err(Halt::NoPermit(format!("a trip is latched: {trip}")));
        }
        if let Some(guard) = &self.guard {
            guard.stands().map_err(Halt::Unguarded)?;
        }
        self.within_ceiling(&request)?;
        let mut supply = self.supply.clone().lock_owned().await;
        if supply.belief() != Belief::Off {
            supply.off().await?;
        } else if supply.says_off().await? == Some(false) {
            return Err(self.came_on(&mut supply).await);
        }
        if let Some(what) = supply.tripped().await? {
            return Err(Halt::NoPermit(format!(
                "the supply says that its {what} has tripped; clear it by hand after the cause is found"
            )));
        }
        let mut set = Vec::new();
        // A ceiling far above what the supply can give would be refused as a level.
        let level = self.ceiling.voltage.min(supply.profile().rated_voltage) * PROTECTION_MARGIN;
        if self.protected != Some(level) {
            // From zero: some refuse a level below the voltage that is set, some a voltage above the level.
            set.extend(supply.program(Volts(0.0), request.limits.starting).await?);
            // The next line behind this program's own limit, which trips first and says why.
            set.extend(supply.protect(level, self.interlock.in_limit * 2.0).await?);
            self.protected = Some(level);
        }
        set.extend(supply.program(request.voltage, request.limits.starting).await?);
        let now = self.clock.now();
        self.journal.write(|record| {
            set.iter().try_for_each(|s| record.setting(self.stage, s.what, s.unit, s.wanted, s.read_back, now))
        })?;
        let mut prepared = Prepared { supply, station: self, request };
        let left = prepared.wait_for_residual().await?;
        let Prepared { supply, station, .. } = &mut prepared;
        if station.preflown != Some(station.stage) {
            station.preflight(supply, &set, left).await?;
            station.preflown = Some(station.stage);
        }
        Ok(prepared)
    }

    fn within_ceiling(&self, request: &Request) -> Result<(), Halt> {
        let refuse = |what: String| Err(Halt::NoPermit(what));
        if request.highest > self.ceiling.voltage {
            return refuse(format!("{} is above the unit's ceiling of {}", request.highest, self.ceiling.voltage));
        }
        let most = request.limits.starting.max(request.limits.running);
        if most > self.ceiling.current {
            return refuse(format!("a limit of {most} is above the unit's ceiling of {}", self.ceiling.current));
        }
        Ok(())
    }

    /// Switches off and verifies, whatever has happened. Waits for a switching
    /// off that is under way.
    ///
    /// # Errors
    /// That the output could not be verified off.
    pub async fn make_safe(&self) -> Result<OffProof, InstrumentError> {
        self.supply.lock().await.off().await
    }

    /// Gives the instruments back to their front panels.
    ///
    /// # Errors
    /// Those of a write.
    pub async fn release(&mut self) -> Result<(), InstrumentError> {
        let mut supply = self.supply.lock().await;
        supply.disarm().await?;
        supply.release().await?;
        drop(supply);
        if let Some(meter) = &mut self.meter {
            meter.release().await?;
        }
        Ok(())
    }
}

/// How an output was seen to be off, in words.
pub fn told(proof: &OffProof) -> String {
    let state = proof.state.as_ref().map_or(String::new(), |s| format!("the supply answers {s}; "));
    let left = match proof.voltage.volts() {
        Some(v) => format!("{v} left at the terminals"),
        None => format!("voltage at the terminals: {}", proof.voltage.sample.word()),
    };
    format!("output off, verified: {state}no current that can be told from zero; {left}")
}
