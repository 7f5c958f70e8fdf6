//! `rampart check --profile`: what is wrong with a profile, what it leaves open, and what
//! each operation would send.
//!
//! Nothing real is asked: the drivers talk to a stand-in that speaks the profile.

use super::common::{refuse, wrong};
use crate::clock::Clock;
use crate::document::Document;
use crate::instrument::profile::{Kind, Profile, find};
use crate::instrument::session::framing;
use crate::instrument::{Asked, InstrumentError, Measurand, Role};
use crate::interlock::{open_meter, open_supply};
use crate::link::memory;
use crate::link::trace::{Direction, Escaped, TrafficSink};
use crate::plan::{Bench, MeterSeat, SupplySeat};
use crate::rehearsal::{Rig, UnitFile, serve};
use crate::runner::Exit;
use crate::units::{Amperes, Seconds, Volts};
use crate::view::outln;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// What was sent since it was looked at last.
#[derive(Default)]
struct Sent(Mutex<Vec<String>>);

impl TrafficSink for Sent {
    fn message(&self, direction: Direction, bytes: &[u8]) {
        if direction == Direction::Sent {
            self.0.lock().unwrap_or_else(PoisonError::into_inner).push(Escaped(bytes).to_string());
        }
    }
}

impl Sent {
    /// Prints an operation, and how it ended.
    fn tell<T>(&self, operation: &str, done: Result<T, InstrumentError>) -> Option<T> {
        outln!("  {operation}");
        let sent = std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner));
        for message in &sent {
            outln!("      {message}");
        }
        if sent.is_empty() {
            outln!("      (nothing)");
        }
        match done {
            Ok(done) => Some(done),
            Err(error) => {
                outln!("      -> {error}");
                None
            }
        }
    }
}

pub(super) fn check(named: &str) -> Exit {
    let profile = match find(named, Path::new("")) {
        Ok(profile) => profile,
        Err(problems) => return wrong(&problems),
    };
    outln!("{}: {}", profile.name, profile.about);
    outln!("No mistake found.");
    let open = profile.leaves_open();
    if !open.is_empty() {
        outln!("\nWhat it leaves open:");
        for what in open {
            outln!("  {what}");
        }
    }
    outln!("\nWhat each operation sends (to a stand-in that speaks this profile; nothing real was asked):");
    match tried(named, &profile) {
        Ok(()) => Exit::Within,
        Err(why) => refuse(&why),
    }
}

/// A bench on which the profile has a seat.
fn bench(named: &str, profile: &Profile) -> Result<Bench, String> {
    let text = match profile.kind {
        Kind::Supply(_) => format!("[supply]\nprofile = {named:?}\n"),
        Kind::Meter(_) => format!("[supply]\nprofile = \"supply-plain\"\n[meter]\nprofile = {named:?}\nwired = \"in series\"\n"),
    };
    Bench::read(&Document::new("", text)).map_err(|problems| problems.to_string())
}

fn tried(named: &str, profile: &Profile) -> Result<(), String> {
    let bench = bench(named, profile)?;
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().start_paused(true).build().map_err(|e| e.to_string())?;
    runtime.block_on(async {
        let clock = Clock::start(1.0);
        let rig = Rig::build(&bench, &UnitFile::plain(Amperes(0.012)), super::common::UNIT, 1, clock)?;
        let role = if profile.meter().is_some() { Role::Meter } else { Role::Supply };
        let (near, far) = memory::pair(framing(&profile.wire));
        tokio::spawn(async move { serve(&rig, role, far).await });
        let sent = Arc::new(Sent::default());
        match &bench.meter {
            Some(seat) => meter(Box::new(near), seat, clock, &sent).await,
            None => supply(Box::new(near), &bench.supply, clock, &sent).await,
        }
        Ok(())
    })
}

async fn supply(link: Box<dyn crate::link::Link>, seat: &SupplySeat, clock: Clock, sent: &Arc<Sent>) {
    let opened = open_supply(link, seat, clock, sent.clone()).await;
    let Some(opened) = sent.tell("opening: who it is, old errors, output off", opened) else { return };
    let mut supply = opened.instrument;
    let profile = supply.profile().clone();
    for what in Asked::ALL {
        let found = supply.found(what, false).await;
        if !matches!(found, Ok(None)) {
            sent.tell(&format!("before power: {}", what.name()), found);
        }
    }
    let (volts, amperes) = (Volts(5.0).min(profile.rated_voltage), Amperes(0.1).min(profile.rated_current));
    sent.tell(&format!("setting {volts} and {amperes}"), supply.program(volts, amperes).await);
    if profile.over_voltage.is_some() || profile.over_current.is_some() {
        let done = supply.protect(volts * 1.2, Seconds(0.5)).await;
        sent.tell(&format!("protecting at {} and after {}", volts * 1.2, Seconds(0.5)), done);
        sent.tell("whether it has tripped", supply.tripped().await);
    }
    if profile.watchdog.is_some() {
        sent.tell("arming its timer", supply.arm(Seconds(4.0)).await);
        sent.tell("disarming it", supply.disarm().await);
    }
    // Not sent, not even to a stand-in: only a run with a permit switches on.
    outln!("  on (not sent here)");
    outln!("      {}", profile.output.on.replace("{channel}", &seat.channel.to_string()));
    let reading = supply.snapshot().await.map_err(|fault| fault.of(Role::Supply));
    sent.tell("reading", reading);
    sent.tell("off", supply.off().await);
    let protections = [&profile.over_voltage, &profile.over_current];
    let clears: Vec<&String> = protections.into_iter().flatten().filter_map(|p| p.clear.as_ref()).collect();
    if !clears.is_empty() {
        outln!("  clearing a trip, after off and zero volts (not sent here)");
        clears.iter().for_each(|clear| outln!("      {}", clear.replace("{channel}", &seat.channel.to_string())));
    }
    sent.tell("off after a trip", supply.off_for_trip().await);
    sent.tell("giving it back", supply.release().await);
}

async fn meter(link: Box<dyn crate::link::Link>, seat: &MeterSeat, clock: Clock, sent: &Arc<Sent>) {
    let opened = open_meter(link, seat, clock, sent.clone()).await;
    let Some(opened) = sent.tell("opening: who it is, old errors", opened) else { return };
    let mut meter = opened.instrument;
    let profile = meter.profile().clone();
    for (of, function) in [(Measurand::Current, &profile.current), (Measurand::Voltage, &profile.voltage)] {
        let Some(function) = function else { continue };
        let (range, rate) = (function.ranges.len() - 1, profile.rates.len() - 1);
        sent.tell(&format!("{}, its highest range, its slowest rate", of.name()), meter.configure(of, range, rate).await);
        let reading = meter.read().await.map_err(|fault| fault.of(Role::Meter));
        if let Some(reading) = sent.tell("reading", reading) {
            outln!("      -> {}", reading.sample.word());
        }
        sent.tell("whether the range is still so", meter.audit().await);
    }
    sent.tell("giving it back", meter.release().await);
}
