//! A campaign: seeded rehearsals, each with faults drawn from the seed. After each,
//! whatever happened, the same things must hold.
//!
//! `RAMPART_CAMPAIGN_RUNS=10000 cargo test --test campaign -- --nocapture` makes a
//! long one and prints what was really injected. `RAMPART_CAMPAIGN_SEED` repeats one;
//! without it the seed is fresh, and is printed with the failure.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test that cannot go on stops"
)]

mod draw;
#[path = "../bench/support.rs"]
#[allow(dead_code, reason = "the whole runs of the other tests use the rest")]
mod support;

use draw::{Act, Computer, Scenario};
use rampart::link::fault::Kind;
use rampart::rehearsal::Rig;
use rampart::runner::{Exit, Progress};
use rampart::units::Seconds;
use std::collections::BTreeMap;
use std::path::Path;
use support::{Outcome, Setup, dump, rehearse_with};

/// Runs where nobody asks for more.
const RUNS: u64 = 1000;
/// From so many on every kind of fault must have fired: fewer may miss one by chance.
const ENOUGH: u64 = 4000;
/// How much longer than planned a run may take in bench time, whatever goes wrong.
const LONGEST: f64 = 200.0;

struct Seen {
    outcome: Outcome,
    acted: Vec<Act>,
    looks: usize,
}

fn carry_out(scenario: &Scenario) -> Seen {
    let (mut looks, mut acted) = (0, Vec::new());
    let mut computer = Computer::default();
    let (slept, set_back) = (computer.slept.clone(), computer.set_back.clone());
    let mut hook = |progress: &Progress<'_>, rig: &Rig, folder: &Path| {
        if !matches!(progress, Progress::Live { .. }) {
            return;
        }
        looks += 1;
        for (at, act) in &scenario.acts {
            if *at == looks {
                act.perform(rig, folder, &mut computer);
                acted.push(*act);
            }
        }
    };
    let setup = Setup {
        plan: scenario.plan,
        bench: &scenario.bench,
        unit: scenario.unit.clone(),
        seed: scenario.seed,
        supply: scenario.supply.clone(),
        meter: scenario.meter.clone(),
        load: None,
        stranger: false,
        reopen: scenario.refusals,
        slept,
        set_back,
        logs: None,
        lot: None,
        used: 0,
        says: Vec::new(),
    };
    let stop = scenario.stop;
    let outcome = rehearse_with(setup, &mut hook, |clock| async move {
        match stop {
            Some(at) => clock.sleep_until(Seconds(at)).await,
            None => std::future::pending().await,
        }
        "the campaign".into()
    });
    Seen { outcome, acted, looks }
}

/// What must hold after every run. `Err` says what did not.
fn judge(scenario: &Scenario, seen: &Seen) -> Result<(), String> {
    let Outcome { ended, supply, fired, run, folder, .. } = &seen.outcome;
    let ensure = |holds: bool, what: &str| if holds { Ok(()) } else { Err(format!("{what}: {} {:?}", ended.how, ended.exit)) };
    let fired: Vec<Kind> = fired.0.all().into_iter().chain(fired.1.all()).collect();
    let at_supply =
        !seen.outcome.fired.0.all().is_empty() || scenario.supply_misbehaves() || seen.acted.iter().any(|a| a.is_at_supply());

    // Off was seen, or it is not called off, and then something was in the way.
    match &ended.off {
        Ok(_) => {
            ensure(!supply.on, "called off, but on")?;
            ensure(ended.exit != Exit::NotOff, "off, but the exit code denies it")?;
        }
        Err(why) if why.contains("nothing was energised") => {
            ensure(!supply.on && supply.switches.is_empty(), "something was energised")?
        }
        Err(_) => {
            ensure(ended.exit == Exit::NotOff, "not verified off, and the exit code does not say so")?;
            ensure(at_supply, "nothing was wrong with the supply, and off was not verified")?;
        }
    }
    // Nothing is energised after a trip, but by a hand.
    let events = run.events().unwrap();
    let by_hand = seen.acted.iter().any(|a| matches!(a, Act::PressOn | Act::RestartOn));
    if let Some(trip) = events.iter().find(|e| e.kind == "trip").filter(|_| !by_hand) {
        let later = supply.switches.iter().filter(|s| s.on && s.at > trip.at.0).count();
        ensure(later == 0, "energised after a trip")?;
        ensure(
            matches!(ended.exit, Exit::Tripped | Exit::Instrument | Exit::NotOff | Exit::Stopped),
            "a trip with another exit code",
        )?;
    }
    ensure(ended.exit != Exit::Wrong || supply.switches.is_empty(), "energised, and called a wrong plan")?;
    // Without a fault the run ends as planned; what stopped it is named.
    if fired.is_empty() && seen.acted.is_empty() && !scenario.supply_misbehaves() && !scenario.meter_misbehaves() {
        let unit_trips = scenario.unit.contains("latch_up") || scenario.unit.contains("short");
        let fine = matches!(ended.exit, Exit::Within | Exit::Anomaly | Exit::Undecided)
            || (ended.exit == Exit::Tripped && unit_trips)
            || (ended.exit == Exit::Stopped && scenario.stop.is_some());
        ensure(fine, "nothing went wrong, but")?;
    }
    // Every look that was seen is in the record, and no reading is false.
    let stages = run.stages().unwrap();
    let readings: Vec<_> = stages.iter().flat_map(|s| run.readings(s.number).unwrap()).collect();
    let watched = readings.iter().filter(|r| r.role == "supply" && r.measurand == "current").count();
    let broken = seen.acted.contains(&Act::BreakRecord);
    ensure(watched >= seen.looks || broken, "a look is not in the record")?;
    // What an instrument really says cannot be told from what it should say.
    let lies =
        |k: &Kind| matches!(k, Kind::ByteDropped | Kind::ByteDoubled | Kind::ByteChanged | Kind::Split | Kind::FromAnother);
    let altered = fired.iter().any(lies);
    // With the limits of power-on it really flows.
    let unlimited = seen.acted.iter().any(|a| matches!(a, Act::Restart | Act::RestartOn | Act::PressOn));
    for reading in readings.iter().filter(|_| !altered && !unlimited) {
        let Some(value) = reading.value else { continue };
        let most = if reading.measurand == "voltage" { 9.1 } else { 0.11 };
        ensure(value.abs() <= most, &format!("a false reading, {reading:?}"))?;
    }
    // The record is whole, and the run came to an end.
    let store = rusqlite::Connection::open(folder.path().join("run.sqlite")).unwrap();
    let whole: String = store.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    ensure(whole == "ok", "the record is damaged")?;
    let damage = rampart::record::verify(folder.path()).unwrap().damage;
    ensure(damage.is_empty(), &format!("the record is not as it was written, {damage:?}"))?;
    let took = run.ended.or(broken.then_some(Seconds(0.0))).ok_or("the run has no end")?.0;
    ensure(took < scenario.planned + LONGEST, &format!("it took {took} s of bench time"))?;
    right_exit(scenario, seen, &fired)?;
    for start in stages.iter().flat_map(|s| run.starts(s.number).unwrap()) {
        ensure(start.counts != "good" || start.outcome == "started", "a good start that did not start")?;
    }
    Ok(())
}

/// Where one thing alone went wrong, the exit code is known.
fn right_exit(scenario: &Scenario, seen: &Seen, fired: &[Kind]) -> Result<(), String> {
    const CARRIED_OUT: [Exit; 3] = [Exit::Within, Exit::Anomaly, Exit::Undecided];
    let exit = seen.outcome.ended.exit;
    let misbehaves = scenario.supply_misbehaves() || scenario.meter_misbehaves();
    let unit_trips = scenario.unit.contains("latch_up") || scenario.unit.contains("short");
    if fired.len() + seen.acted.len() != 1 || misbehaves || unit_trips || exit == Exit::Stopped {
        return Ok(());
    }
    let at_supply = !seen.outcome.fired.0.all().is_empty();
    let comes_back = scenario.refusals.is_some_and(|refusals| refusals < 5);
    let energised = !seen.outcome.supply.switches.is_empty();
    // What else it may be than carried out; and whether it may be carried out.
    let (codes, carried_out): (&[Exit], bool) = match (seen.acted.first(), fired.first()) {
        (Some(Act::SetClock | Act::Sleep | Act::IgnoreOffOnce), _) => (&[], true),
        (Some(Act::IgnoreOff | Act::UnplugSupply), _) => (&[Exit::NotOff], false),
        // Some dialects cannot say that it has: they refuse to switch on.
        (Some(Act::TripProtection), _) => (&[Exit::Tripped, Exit::Instrument], false),
        (Some(Act::UnplugMeter), _) => (&[Exit::Instrument], true),
        (Some(Act::BreakRecord), _) => (&[Exit::Instrument], true),
        (Some(Act::TurnVoltage | Act::TurnLimit | Act::PressOff), _) => (&[Exit::Tripped], true),
        (Some(Act::FloodErrors | Act::Clip), _) => (&[Exit::Instrument], true),
        (None, Some(Kind::Closed | Kind::Reset)) if !energised => (&[Exit::Instrument, Exit::NotOff], false),
        (None, Some(Kind::Closed | Kind::Reset)) if comes_back => (&[], true),
        (None, Some(Kind::Closed | Kind::Reset)) if at_supply => (&[Exit::NotOff], false),
        (None, Some(Kind::Closed | Kind::Reset)) => (&[Exit::Instrument], true),
        _ => return Ok(()),
    };
    if codes.contains(&exit) || (carried_out && CARRIED_OUT.contains(&exit)) {
        return Ok(());
    }
    Err(format!("the wrong exit code, {exit:?}: {}", seen.outcome.ended.how))
}

#[test]
fn whatever_goes_wrong_the_same_things_hold() {
    let setting = |name: &str| std::env::var(name).ok().and_then(|v| v.parse::<u64>().ok());
    let runs = setting("RAMPART_CAMPAIGN_RUNS").unwrap_or(RUNS);
    let fresh = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs();
    let (first, runs) = setting("RAMPART_CAMPAIGN_SEED").map_or((fresh * 1_000_000, runs), |seed| (seed, 1));
    println!("{runs} runs from seed {first}");
    let (mut injected, mut exits) = (BTreeMap::new(), BTreeMap::new());
    let mut violations = Vec::new();
    for seed in first..first + runs {
        let scenario = Scenario::draw(seed);
        let seen = carry_out(&scenario);
        for kind in seen.outcome.fired.0.all() {
            *injected.entry(format!("supply's wire: {kind:?}")).or_insert(0) += 1;
        }
        for kind in seen.outcome.fired.1.all() {
            *injected.entry(format!("meter's wire: {kind:?}")).or_insert(0) += 1;
        }
        for act in &seen.acted {
            *injected.entry(format!("bench: {act:?}")).or_insert(0) += 1;
        }
        *exits.entry(format!("{:?}", seen.outcome.ended.exit)).or_insert(0) += 1;
        if let Err(what) = judge(&scenario, &seen) {
            violations.push(format!("RAMPART_CAMPAIGN_SEED={seed}: {what}\n{scenario:#?}\nacted {:?}", seen.acted));
        }
        // Now and then: the same seed is the same run.
        if seed % 50 == 0 {
            let again = carry_out(&scenario);
            if dump(seen.outcome.folder.path()) != dump(again.outcome.folder.path()) {
                violations.push(format!("RAMPART_CAMPAIGN_SEED={seed}: the same seed gave another record"));
            }
        }
    }
    for (what, count) in injected.iter().chain(&exits) {
        println!("{count:>7}  {what}");
    }
    println!("{} violations in {runs} runs", violations.len());
    assert!(violations.is_empty(), "{}", violations.iter().take(8).cloned().collect::<Vec<_>>().join("\n"));
    if runs >= ENOUGH {
        assert!(injected.len() >= draw::KINDS, "a fault that never fired is no test: {injected:?}");
    }
}
