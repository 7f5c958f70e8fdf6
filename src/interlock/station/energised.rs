//! An output that is on: every reading through the gate, off when it goes.

use super::{Observation, Permit, Request, Station, Supply, told};
use crate::clock::Clock;
use crate::instrument::{Belief, Fault, Measurand, OffProof, Reading, Regulation, Role, Snapshot};
use crate::interlock::gate::Gate;
use crate::interlock::journal::Journal;
use crate::interlock::trip::{Cause, Halt, Trip};
use crate::plan::Limits;
use crate::units::{Amperes, Seconds, Volts};
use tokio::sync::OwnedMutexGuard;

/// An output that is on. Going, it switches the output off.
pub struct Energised<'s> {
    /// Held until the output is off; `None` only while being dropped.
    supply: Option<OwnedMutexGuard<Supply>>,
    station: &'s mut Station,
    permit: Permit,
    gate: Gate,
    highest: Volts,
    limits: Limits,
    voltage: Volts,
    start: Option<u32>,
    on_at: Seconds,
    /// When the settings were last compared with what they were set to.
    audited: Seconds,
}

/// While an output is on, its settings are asked for again this often.
const AUDIT: Seconds = Seconds(2.0);

/// What one look has brought: an answer or a failure of each, or a trip on the way.
struct Looked {
    snapshot: Option<Result<Snapshot, Fault>>,
    meter: Option<Result<Reading, Fault>>,
    trip: Option<Trip>,
}

impl<'s> Energised<'s> {
    /// Switches on. Where that fails the value goes at once, and the output with it.
    pub(super) async fn begin(
        supply: OwnedMutexGuard<Supply>,
        station: &'s mut Station,
        request: Request,
        gate: Gate,
        permit: Permit,
        start: Option<u32>,
    ) -> Result<Self, Halt> {
        let Request { voltage, highest, limits, .. } = request;
        let mut energised = Self {
            supply: Some(supply),
            station,
            permit,
            gate,
            highest,
            limits,
            voltage,
            start,
            on_at: Seconds(0.0),
            audited: Seconds(0.0),
        };
        energised.station.looked()?;
        let within = energised.station.watchdog();
        if let Some(supply) = energised.supply.as_deref_mut() {
            if let Some(set) = supply.arm(within).await? {
                let (stage, now) = (energised.station.stage, energised.station.clock.now());
                energised.station.journal.write(|r| r.setting(stage, set.what, set.unit, set.wanted, set.read_back, now))?;
            }
            energised.on_at = supply.switch_on(&energised.permit).await?;
            energised.audited = energised.on_at;
        }
        Ok(energised)
    }
}

impl Energised<'_> {
    fn supply(&mut self) -> Result<&mut Supply, Halt> {
        // `None` only after `off` or in `drop`, and both consume the value.
        self.supply.as_deref_mut().ok_or_else(|| Fault::Order("the output is off already".into()).of(Role::Supply).into())
    }

    /// When the output was switched on.
    pub fn on_at(&self) -> Seconds {
        self.on_at
    }

    /// The current limit in force.
    pub fn limit(&self) -> Amperes {
        self.gate.limit()
    }

    /// The longest stretch in limiting so far.
    pub fn limited_for(&self) -> Seconds {
        self.gate.limited_for()
    }

    /// The bench's clock.
    pub fn clock(&self) -> Clock {
        self.station.clock
    }

    /// The record.
    pub fn journal(&self) -> Journal {
        self.station.journal.clone()
    }

    /// Looks once: supply and meter at the same time, each through the gate as soon
    /// as it has answered; into the record, and only then returned. `step` is kept
    /// beside the readings.
    ///
    /// # Errors
    /// A trip, after the output has been switched off; those of the instruments and the record.
    pub async fn observe(&mut self, step: Option<u32>) -> Result<Observation, Halt> {
        let Looked { snapshot, meter, trip } = self.look().await?;
        let guarded = self.station.looked();
        // Nobody has looked for as long as that: off, whatever is there now.
        let slept = match self.station.slept() {
            Ok(slept) => slept.map(Halt::Slept),
            Err(halt) => Some(halt),
        };
        let off = match &trip {
            None if slept.is_some() => {
                self.station.let_go();
                Some(self.supply()?.off().await)
            }
            None => None,
            Some(trip) => {
                self.station.latch(trip);
                Some(self.supply()?.off_for_trip().await)
            }
        };
        // What could be read is recorded even when the other instrument failed.
        let supply_readings = snapshot.iter().flatten().flat_map(|s| [&s.voltage, &s.current]);
        for reading in supply_readings.chain(meter.iter().flatten()) {
            let (stage, start) = (self.station.stage, self.start);
            self.station.journal.write(|record| record.reading(stage, start, step, reading))?;
        }
        match (trip, slept, off) {
            (Some(trip), _, Some(off)) => return Err(self.station.told(trip, off)),
            (_, Some(halt), Some(off)) => {
                self.station.journal.event("off", &told(&off?))?;
                return Err(halt);
            }
            _ => {}
        }
        guarded?;
        let meter = meter.transpose().map_err(|f| f.of(Role::Meter))?;
        let lacking = || Fault::Order("the supply was not asked".into());
        let supply = snapshot.unwrap_or_else(|| Err(lacking())).map_err(|f| f.of(Role::Supply))?;
        if self.clock().now() - self.audited > AUDIT {
            self.audit().await?;
        }
        // Neither voltage nor current is held: has the supply itself switched off?
        if matches!(supply.regulation, Regulation::Neither | Regulation::Fault) {
            self.own_protection().await?;
            self.audit().await?;
        }
        Ok(Observation { supply, meter })
    }

    /// Asks both, and lets the gate judge each answer when it comes. Ends when both
    /// have answered or failed, or with the first trip; an instrument may take longer
    /// to fail than the interlock allows it to be silent.
    async fn look(&mut self) -> Result<Looked, Halt> {
        let Self { supply, station, gate, .. } = self;
        let Some(supply) = supply.as_deref_mut() else {
            return Err(Fault::Order("the output is off already".into()).of(Role::Supply).into());
        };
        let clock = station.clock;
        let metered = station.meter.is_some();
        let mut made = Looked { snapshot: None, meter: None, trip: None };
        let meter = &mut station.meter;
        let mut ask_meter = std::pin::pin!(async {
            match meter {
                Some(meter) => meter.read().await,
                None => std::future::pending().await,
            }
        });
        let mut ask_supply = std::pin::pin!(supply.snapshot());
        while made.trip.is_none() && (made.snapshot.is_none() || (metered && made.meter.is_none())) {
            tokio::select! {
                biased;
                snapshot = &mut ask_supply, if made.snapshot.is_none() => {
                    if let Ok(seen) = &snapshot {
                        made.trip = gate.admit(&seen.voltage).and_then(|()| gate.admit(&seen.current)).err();
                    }
                    made.snapshot = Some(snapshot);
                }
                reading = &mut ask_meter, if made.meter.is_none() => {
                    if let Ok(seen) = &reading {
                        made.trip = gate.admit(seen).err();
                    }
                    made.meter = Some(reading);
                }
                () = clock.sleep_until(gate.patience()) => made.trip = Some(gate.silence(clock.now())),
            }
        }
        Ok(made)
    }

    /// Trips where a setting is no longer what it was set to.
    async fn audit(&mut self) -> Result<(), Halt> {
        let mut changed = self.supply()?.audit().await?;
        if let Some(meter) = &mut self.station.meter {
            changed.extend(meter.audit().await?);
        }
        self.audited = self.clock().now();
        if changed.is_empty() {
            return Ok(());
        }
        Err(self.switch_off_for(Trip::changed(self.audited, &changed)).await)
    }

    /// Trips where the supply says that a protection of its own has.
    async fn own_protection(&mut self) -> Result<(), Halt> {
        let Some(what) = self.supply()?.tripped().await? else { return Ok(()) };
        let trip = Trip {
            cause: Cause::SupplyProtection,
            at: self.station.clock.now(),
            limit: "what the protection was set to".into(),
            reading: format!("the supply says that its {what} has tripped"),
        };
        Err(self.switch_off_for(trip).await)
    }

    /// Latches a trip, switches off, and then records it. Returns what ends the run.
    async fn switch_off_for(&mut self, trip: Trip) -> Halt {
        self.station.latch(&trip);
        let off = match self.supply() {
            Ok(supply) => supply.off_for_trip().await,
            Err(halt) => return halt,
        };
        self.station.told(trip, off)
    }

    /// Sets the meter to another range while the output is on: disturbs the node,
    /// for sweeps that have to.
    ///
    /// # Errors
    /// Those of the meter.
    pub async fn configure_meter(&mut self, of: Measurand, range: usize, rate: usize) -> Result<(), Halt> {
        let Some(meter) = &mut self.station.meter else { return Ok(()) };
        meter.configure(of, range, rate).await?;
        self.gate.meter_changed(meter.watches());
        Ok(())
    }

    /// Sets another voltage, within what was asked for.
    ///
    /// # Errors
    /// Those of the supply; above what was asked for it is refused.
    pub async fn set_voltage(&mut self, voltage: Volts) -> Result<(), Halt> {
        if voltage > self.highest {
            return Err(Halt::NoPermit(format!("{voltage} is above the {} that this stage asked for", self.highest)));
        }
        let Some(supply) = self.supply.as_deref_mut() else { return Ok(()) };
        supply.adjust_voltage(&self.permit, voltage).await?;
        self.voltage = voltage;
        Ok(())
    }

    /// Hands over from the limit while starting to the limit while running, if
    /// they differ, at the supply and at the gate.
    ///
    /// # Errors
    /// Those of the supply and the record.
    pub async fn hand_over(&mut self) -> Result<(), Halt> {
        let limits = self.limits;
        if limits.starting == limits.running || self.gate.limit() == limits.running {
            return Ok(());
        }
        let Some(supply) = self.supply.as_deref_mut() else { return Ok(()) };
        supply.adjust(&self.permit, self.voltage, limits.running).await?;
        self.gate.hand_over();
        Ok(())
    }

    /// Waits until a moment. An output that is on is never left unwatched: where
    /// the wait is longer than half of the allowed silence, looks come in between.
    ///
    /// # Errors
    /// As [`Energised::observe`].
    pub async fn wait_until(&mut self, moment: Seconds) -> Result<(), Halt> {
        let clock = self.station.clock;
        let unwatched = self.station.interlock.no_reading * 0.5;
        while clock.now() + unwatched < moment {
            clock.sleep(unwatched).await;
            self.observe(None).await?;
        }
        clock.sleep_until(moment).await;
        Ok(())
    }

    /// Switches off and verifies; then asks whether the supply had done it by itself.
    ///
    /// # Errors
    /// That the output could not be verified off; a trip of the supply's own; the record's.
    pub async fn off(mut self) -> Result<OffProof, Halt> {
        self.station.let_go();
        let proof = self.supply()?.off().await?;
        self.own_protection().await?;
        // What was seen since the last look at the settings holds only if they still are.
        self.audit().await?;
        self.supply()?.disarm().await?;
        self.supply = None;
        Ok(proof)
    }
}

impl Drop for Energised<'_> {
    fn drop(&mut self) {
        self.station.spent = self.gate.spent();
        self.station.let_go();
        self.station.slept_when_off = self.station.slept_in_all();
        let Some(mut supply) = self.supply.take() else { return };
        if supply.belief() == Belief::Off {
            return;
        }
        let journal = self.station.journal.clone();
        // The lock goes with the task: whoever wants the supply next waits until it is off.
        let Ok(runtime) = tokio::runtime::Handle::try_current() else {
            tracing::error!("an output may be on, and there is no runtime left to switch it off");
            return;
        };
        runtime.spawn(async move {
            let text = match supply.off().await {
                Ok(proof) => told(&proof),
                Err(error) => error.to_string(),
            };
            // Where even this cannot be recorded, the end of the run says so.
            if let Err(error) = journal.event("off", &text) {
                tracing::error!("{error}");
            }
        });
    }
}
