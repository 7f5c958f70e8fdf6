//! A rehearsal bench: the circuit with its two stand-ins, in one place.

use super::message::{self, Device, Does};
use super::meter::MeterDevice;
use super::panel::Panel;
use super::supply::SupplyDevice;
pub use super::supply::Switch;
use super::unit::UnitFile;
use super::world::World;
use crate::clock::Clock;
use crate::instrument::Role;
use crate::instrument::profile::Wire;
use crate::plan::{Bench, Quirks, Turn};
use crate::units::{Amperes, Ohms, Seconds, Volts};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use tokio::sync::Notify;

/// A rehearsal bench. Copies are the same bench.
#[derive(Clone)]
pub struct Rig {
    inner: Arc<Mutex<Inner>>,
    clock: Clock,
    unit: String,
    wires: (Wire, Option<Wire>),
    /// How old the readings are that its meter sends unasked, where it does.
    stream: Option<Seconds>,
    /// Told when the circuit cannot be solved any more.
    stuck: Arc<Notify>,
}

pub(super) struct Inner {
    pub(super) world: World,
    pub(super) supply: SupplyDevice,
    pub(super) meter: Option<MeterDevice>,
    /// Whether the supply's and the meter's cable is out.
    unplugged: (bool, bool),
}

/// The supply's own state, for tests and for `standin`.
#[derive(Clone, Debug)]
pub struct SupplyState {
    /// Whether the output that feeds the unit is on.
    pub on: bool,
    /// Whether each output is on, from channel 1.
    pub outputs: Vec<bool>,
    /// Its set voltage.
    pub voltage: Volts,
    /// Its limit.
    pub limit: Amperes,
    /// Every switching so far.
    pub switches: Vec<Switch>,
    /// What is connected.
    pub connected: String,
    /// Voltage at the unit.
    pub unit: Volts,
}

impl Rig {
    /// Builds the bench with the unit `name` connected.
    ///
    /// # Errors
    /// In words: the bench's profiles are not a supply's and a meter's.
    pub fn build(bench: &Bench, unit: &UnitFile, name: &str, seed: u64, clock: Clock) -> Result<Self, String> {
        let seat = &bench.supply;
        let profile = seat.profile.supply().ok_or("the bench's supply has no supply's profile")?;
        let supply = SupplyDevice::new(&seat.profile, profile, seat, seed ^ 0x51);
        let meter = match &bench.meter {
            Some(seat) => {
                let profile = seat.profile.meter().ok_or("the bench's meter has no meter's profile")?;
                Some(MeterDevice::new(&seat.profile, profile, seat, seed ^ 0x3E))
            }
            None => None,
        };
        let source = supply.source();
        let mut world = World::new(unit.things(name, seed), name, bench.leads.resistance, supply.electrics(), source, seed);
        world.set_fixture(unit.fixture);
        if let Some(meter) = &meter {
            meter.wire(&mut world);
        }
        let wires = (seat.profile.wire.clone(), bench.meter.as_ref().map(|m| m.profile.wire.clone()));
        Ok(Self {
            inner: Arc::new(Mutex::new(Inner { world, supply, meter, unplugged: (false, false) })),
            clock,
            unit: name.to_owned(),
            wires,
            stream: bench.meter.as_ref().and_then(|m| m.profile.meter()).and_then(|m| m.stream),
            stuck: Arc::default(),
        })
    }

    /// The bench's clock.
    pub fn clock(&self) -> Clock {
        self.clock
    }

    /// How the messages of a stand-in travel.
    pub fn wire(&self, role: Role) -> Option<&Wire> {
        match role {
            Role::Supply => Some(&self.wires.0),
            Role::Meter => self.wires.1.as_ref(),
        }
    }

    /// For what does not look at the circuit: it need not move on.
    fn peek(&self) -> MutexGuard<'_, Inner> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        let mut inner = self.peek();
        let now = self.clock.now().0;
        let Inner { world, supply, meter, .. } = &mut *inner;
        while let Some(at) = supply.due(world.time(), now) {
            if let Some(meter) = meter {
                meter.catch_up(at, world);
            }
            world.advance(at);
            supply.tick(world);
        }
        if let Some(meter) = meter {
            meter.catch_up(now, world);
        }
        world.advance(now);
        supply.tick(world);
        if world.failure().is_some() {
            self.stuck.notify_one();
        }
        inner
    }

    /// Waits until the circuit cannot be solved, and says where and why. From then on the
    /// stand-ins answer nothing: a circuit that stands still would look like a dead unit.
    pub async fn failed(&self) -> String {
        loop {
            if let Some(why) = self.failure() {
                return why;
            }
            self.stuck.notified().await;
        }
    }

    /// Where and why the circuit could not be solved.
    pub fn failure(&self) -> Option<String> {
        self.peek().world.failure().map(|why| format!("the rehearsal's circuit could not be solved: {why}"))
    }

    /// What a stand-in does with a message, now.
    pub(super) fn handle(&self, role: Role, message: impl AsRef<[u8]>) -> Does {
        let mut inner = self.lock();
        let Inner { world, supply, meter, .. } = &mut *inner;
        let does = match (role, meter) {
            (Role::Supply, _) => message::handle(supply, message.as_ref(), world),
            (Role::Meter, Some(meter)) => message::handle(meter, message.as_ref(), world),
            (Role::Meter, None) => Does::Ignores,
        };
        if world.failure().is_some() { Does::Ignores } else { does }
    }

    /// How old what a stand-in sends unasked is; `None` where it speaks when it is asked.
    pub(super) fn streams(&self, role: Role) -> Option<Seconds> {
        if role == Role::Meter { self.stream } else { None }
    }

    /// A meter that speaks unasked begins its next measurement.
    pub(super) fn stream(&self) -> Does {
        let mut inner = self.lock();
        let Inner { world, meter, .. } = &mut *inner;
        let does = meter.as_mut().map_or(Does::Ignores, |meter| message::stream(meter, world));
        if world.failure().is_some() { Does::Ignores } else { does }
    }

    /// What a stand-in does when the time of a measurement is over.
    pub(super) fn finish(&self, role: Role) -> Does {
        let mut inner = self.lock();
        let Inner { world, supply, meter, .. } = &mut *inner;
        let does = match (role, meter) {
            (Role::Supply, _) => message::finish(supply, world),
            (Role::Meter, Some(meter)) => message::finish(meter, world),
            (Role::Meter, None) => Does::Ignores,
        };
        if world.failure().is_some() { Does::Ignores } else { does }
    }

    /// A stand-in's status byte, as it is read beside the messages.
    pub(super) fn status_byte(&self, role: Role, message_available: bool) -> u8 {
        let mut inner = self.lock();
        let Inner { world, supply, meter, .. } = &mut *inner;
        match (role, meter) {
            (Role::Supply, _) => message::poll(supply, world, message_available),
            (Role::Meter, Some(meter)) => message::poll(meter, world, message_available),
            (Role::Meter, None) => 0,
        }
    }

    /// Something of a stand-in's end of the conversation.
    pub(super) fn dialogue<T>(&self, role: Role, what: impl FnOnce(&mut message::Dialogue) -> T) -> Option<T> {
        let mut inner = self.peek();
        let Inner { supply, meter, .. } = &mut *inner;
        match role {
            Role::Supply => Some(what(supply.dialogue())),
            Role::Meter => meter.as_mut().map(|meter| what(meter.dialogue())),
        }
    }

    /// Connects a part of the unit file, or the unit again.
    ///
    /// # Errors
    /// In words: there is no such part.
    pub fn connect(&self, what: &str) -> Result<(), String> {
        let unit = self.unit.clone();
        self.lock().world.connect(&unit, what)
    }

    /// How often something was put into the fixture since it was clean.
    pub fn insertions(&self) -> u32 {
        self.lock().world.insertions()
    }

    /// The fixture has been used so often before.
    pub fn used_before(&self, insertions: u32) {
        self.lock().world.used_before(insertions);
    }

    /// A resistor that can be connected, like a part of the unit file.
    pub fn add_load(&self, name: &str, resistance: Ohms) {
        self.lock().world.add_load(name, resistance);
    }

    /// What a stand-in does beside its dialect.
    pub fn quirks(&self, role: Role) -> Arc<Quirks> {
        let inner = self.peek();
        match (role, &inner.meter) {
            (Role::Supply, _) => Arc::clone(&inner.supply.quirks),
            (Role::Meter, Some(meter)) => Arc::clone(&meter.quirks),
            (Role::Meter, None) => Arc::default(),
        }
    }

    /// Turns switches of a stand-in, from now on.
    pub fn quirk(&self, role: Role, turn: impl FnOnce(&mut Quirks)) {
        let mut inner = self.lock();
        match (role, &mut inner.meter) {
            (Role::Supply, _) => turn(Arc::make_mut(&mut inner.supply.quirks)),
            (Role::Meter, Some(meter)) => turn(Arc::make_mut(&mut meter.quirks)),
            (Role::Meter, None) => {}
        }
    }

    /// The supply's error queue fills up with somebody else's errors.
    pub fn flood_errors(&self) {
        let mut inner = self.lock();
        for _ in 0..40 {
            inner.supply.complain(-113);
        }
    }

    /// The supply's own protection trips, for tests.
    pub fn trip_protection(&self) {
        let mut inner = self.lock();
        let Inner { world, supply, .. } = &mut *inner;
        supply.protect(world);
    }

    /// Somebody's hand in the menus of the supply's front panel.
    pub fn by_hand(&self, hand: impl FnOnce(&mut Panel)) {
        let mut inner = self.lock();
        let Inner { world, supply, .. } = &mut *inner;
        supply.by_hand_in_menus(hand, world);
    }

    /// Somebody's hand at the supply's knobs and its output key.
    pub fn turn(&self, voltage: Option<Volts>, limit: Option<Amperes>, on: Option<bool>) {
        let mut inner = self.lock();
        let Inner { world, supply, .. } = &mut *inner;
        supply.by_hand(voltage.map(|v| v.0), limit.map(|i| i.0), on, world);
    }

    /// Somebody's hand at the meter.
    pub fn turn_meter(&self, turn: &Turn) {
        let mut inner = self.lock();
        let Inner { world, meter, .. } = &mut *inner;
        if let Some(meter) = meter {
            meter.by_hand(turn, world);
        }
    }

    /// The supply restarts, as after a dip of its mains: everything as after power-on,
    /// and its output as it was where it remembers that.
    pub fn reboot_supply(&self) {
        let mut inner = self.lock();
        let Inner { world, supply, .. } = &mut *inner;
        supply.reboot(world);
    }

    /// A cable pulled out, or put back: the stand-in hears nothing and says nothing.
    pub fn unplug(&self, role: Role, out: bool) {
        let mut inner = self.lock();
        match role {
            Role::Supply => inner.unplugged.0 = out,
            Role::Meter => inner.unplugged.1 = out,
        }
    }

    pub(super) fn is_unplugged(&self, role: Role) -> bool {
        let inner = self.peek();
        match role {
            Role::Supply => inner.unplugged.0,
            Role::Meter => inner.unplugged.1,
        }
    }

    /// The supply's own state.
    pub fn supply_state(&self) -> SupplyState {
        let inner = self.lock();
        let (voltage, limit) = inner.supply.set_points();
        SupplyState {
            on: inner.supply.is_on(),
            outputs: inner.supply.outputs(),
            voltage: Volts(voltage),
            limit: Amperes(limit),
            switches: inner.supply.switches.clone(),
            connected: inner.world.connected().to_owned(),
            unit: Volts(inner.world.see().unit),
        }
    }

    /// What can be seen of the circuit now, for tests.
    #[cfg(test)]
    pub(super) fn seen(&self) -> super::world::Seen {
        self.lock().world.see()
    }

    /// Bench time now.
    pub fn now(&self) -> Seconds {
        self.clock.now()
    }
}
