//! Everything is ready for switching on, and the output still off: waiting, looking at
//! what is left at the unit, and the one door to power.

use super::{Energised, Permit, Request, Station, Supply};
use crate::instrument::{Meter, Reading, Role};
use crate::interlock::gate::{Bounds, Gate};
use crate::interlock::trip::Halt;
use crate::units::{Amperes, Seconds, Volts};
use tokio::sync::OwnedMutexGuard;

/// Between looks at an output that should stay off.
const REST_LOOK: Seconds = Seconds(5.0);
/// How long an output may take to follow its set voltage, beyond its fall.
const SETTLE: Seconds = Seconds(0.5);
/// Between looks at a voltage that has to fall.
const FALL_LOOK: Seconds = Seconds(0.05);

/// Everything is ready for switching on; the output is off.
pub struct Prepared<'s> {
    pub(super) supply: OwnedMutexGuard<Supply>,
    pub(super) station: &'s mut Station,
    pub(super) request: Request,
}

impl<'s> Prepared<'s> {
    pub(super) async fn wait_for_residual(&mut self) -> Result<Option<Reading>, Halt> {
        let Some(below) = self.request.residual_below else { return Ok(None) };
        let give_up = self.station.clock.now() + self.request.patience;
        loop {
            let reading = self.residual(None).await?;
            match reading.volts() {
                Some(v) if v > below && self.station.clock.now() > give_up => {
                    return Err(self.fed(v, below).await);
                }
                Some(v) if v > below => self.station.clock.sleep(FALL_LOOK).await,
                Some(_) => return Ok(Some(reading)),
                None if reading.sample.is_known() => return Ok(Some(reading)),
                None if self.station.clock.now() > give_up => {
                    return Err(Halt::NoPermit(format!(
                        "the voltage left at the unit cannot be read: {}",
                        reading.sample.word()
                    )));
                }
                None => self.station.clock.sleep(FALL_LOOK).await,
            }
        }
    }

    /// A voltage stands at an output that is said to be off. Where it goes when the set
    /// voltage does, it is the output that feeds it, whatever the supply says.
    async fn fed(&mut self, before: Volts, below: Volts) -> Halt {
        if let Err(error) = self.supply.off_for_trip().await {
            return error.into();
        }
        self.station.clock.sleep(self.supply.profile().output.fall + SETTLE).await;
        match self.residual(None).await {
            Ok(after)
                if after.volts().is_some_and(|v| v.0 < before.0 / 2.0) || after.volts().is_none() && after.sample.is_known() =>
            {
                let why = format!(
                    "it says that its output is off, but {before} stood at its terminals, and went when its voltage was set to zero: are on and off the other way round in its profile?"
                );
                self.supply.disbelieve(why).into()
            }
            Ok(_) => Halt::NoPermit(format!(
                "the output is off, but {before} stand at its terminals and do not fall below {below}: is the unit fed from elsewhere?"
            )),
            Err(halt) => halt,
        }
    }

    /// Since when the unit has been without power; `None` where it has had none in this run.
    pub fn off_since(&self) -> Option<Seconds> {
        self.supply.off_since()
    }

    /// Waits with the output off, and looks now and then that it stays so.
    ///
    /// # Errors
    /// A trip where it does not; those of the instruments and the record.
    pub async fn rest_until(&mut self, moment: Seconds) -> Result<(), Halt> {
        let clock = self.station.clock;
        while clock.now() + REST_LOOK < moment {
            clock.sleep(REST_LOOK).await;
            self.stays_off().await?;
        }
        clock.sleep_until(moment).await;
        Ok(())
    }

    async fn stays_off(&mut self) -> Result<(), Halt> {
        if self.supply.says_off().await? != Some(false) {
            return Ok(());
        }
        Err(self.station.came_on(&mut self.supply).await)
    }

    /// How long the computer has slept since the output was last on.
    ///
    /// # Errors
    /// The record's.
    pub fn slept(&mut self) -> Result<Seconds, Halt> {
        self.station.slept()?;
        Ok(self.station.slept_in_all() - self.station.slept_when_off)
    }

    /// Reads what is left at the terminals, and records it.
    ///
    /// # Errors
    /// The link's or the record's.
    pub async fn residual(&mut self, start: Option<u32>) -> Result<Reading, Halt> {
        let reading = self.supply.terminal_voltage().await.map_err(|f| f.of(Role::Supply))?;
        self.station.journal.write(|record| record.reading(self.station.stage, start, None, &reading))?;
        Ok(reading)
    }

    /// Switches on: here and nowhere else.
    ///
    /// # Errors
    /// The supply's; the output is then being switched off again.
    pub async fn switch_on(self, start: Option<u32>) -> Result<Energised<'s>, Halt> {
        let Prepared { supply, station, request } = self;
        // What it slept before this was with the output off.
        station.slept()?;
        let rated = (supply.profile().rated_voltage, supply.profile().rated_current);
        let bounds = Bounds {
            ceiling: station.ceiling,
            limits: request.limits,
            in_limit: request.in_limit.unwrap_or(station.interlock.in_limit),
            no_reading: station.interlock.no_reading,
            energy: station.interlock.energy,
            rated,
            limit_step: Amperes(supply.profile().current.resolution),
            meter: station.meter.as_ref().and_then(Meter::watches),
        };
        station.ever_energised = true;
        let permit = Permit { _made_by_the_interlock: () };
        let gate = Gate::new(bounds, station.clock.now(), station.spent);
        Energised::begin(supply, station, request, gate, permit, start).await
    }
}
