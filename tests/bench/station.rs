//! The powered place by itself, without a run around it: what it refuses, and
//! that an energised output that is let go of switches off without anyone's help.

use crate::support::{BENCH, SHORT, passed, unit};
use rampart::clock::Clock;
use rampart::document::Document;
use rampart::instrument::Role;
use rampart::instrument::session::framing;
use rampart::interlock::{Halt, Journal, Request, Station, open_supply};
use rampart::link::memory;
use rampart::plan::Limits;
use rampart::record::{Durability, Header, Record, RoleTraffic, TrafficLog};
use rampart::rehearsal::{Rig, UnitFile, serve};
use rampart::units::{Amperes, Seconds, Volts};
use std::future::Future;
use std::sync::Arc;

/// A station with a supply alone, and the bench behind it, in virtual time.
fn with_station<F: Future<Output = ()>>(unit: String, work: impl FnOnce(Station, Rig) -> F) {
    let folder = tempfile::tempdir().unwrap();
    let passed = passed(SHORT, BENCH);
    let unit = UnitFile::read(&Document::new("unit.toml", unit)).unwrap_or_else(|p| panic!("{p}"));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().start_paused(true).build().unwrap();
    runtime.block_on(async {
        let clock = Clock::start(1.0);
        let rig = Rig::build(passed.bench(), &unit, "unit", 1, clock).unwrap();
        let seat = &passed.bench().supply;
        let (near, far) = memory::pair(framing(&seat.profile.wire));
        let served = rig.clone();
        tokio::spawn(async move { serve(&served, Role::Supply, far).await });
        let header = Header {
            kind: "rehearsal",
            title: String::new(),
            unit: String::new(),
            seed: 1,
            began: "2000-01-01T00:00:00Z".into(),
            cautions: String::new(),
            files: Vec::new(),
        };
        let record = Record::create(folder.path(), &header, Durability::Rehearsal).unwrap();
        let log = Arc::new(TrafficLog::create(folder.path()).unwrap());
        let journal = Journal::new(record, log.clone(), clock);
        let sink = Arc::new(RoleTraffic { log, clock, role: Role::Supply });
        let supply = open_supply(Box::new(near), seat, clock, sink).await.unwrap();
        work(Station::new(&passed, supply.instrument, None, clock, journal), rig).await;
    });
}

fn request(voltage: f64, limit: f64) -> Request {
    Request {
        voltage: Volts(voltage),
        highest: Volts(voltage),
        limits: Limits::same(Amperes(limit)),
        residual_below: None,
        patience: Seconds(1.0),
        in_limit: None,
    }
}

#[test]
fn an_energised_output_that_is_let_go_of_switches_off_by_itself() {
    with_station(unit(""), |mut station, rig| async move {
        let prepared = station.prepare(request(9.0, 0.06)).await.unwrap();
        let energised = prepared.switch_on(None).await.unwrap();
        assert!(rig.supply_state().on);
        drop(energised);
        // Nobody asks for it: time alone passes.
        rig.clock().sleep(Seconds(2.0)).await;
        assert!(!rig.supply_state().on);
    });
}

#[test]
fn a_future_that_is_dropped_while_it_observes_switches_off_too() {
    with_station(unit(""), |mut station, rig| async move {
        let clock = rig.clock();
        let watched = async {
            let prepared = station.prepare(request(9.0, 0.06)).await.unwrap();
            let mut energised = prepared.switch_on(None).await.unwrap();
            loop {
                energised.observe(None).await.unwrap();
            }
        };
        tokio::select! {
            () = watched => {}
            () = clock.sleep(Seconds(3.0)) => {}
        }
        clock.sleep(Seconds(2.0)).await;
        assert!(!rig.supply_state().on);
        assert_eq!(rig.supply_state().switches.len(), 2, "on once, off once");
    });
}

#[test]
fn nothing_is_energised_above_the_ceiling() {
    with_station(unit(""), |mut station, rig| async move {
        let low = Request { voltage: Volts(1.0), ..request(11.0, 0.06) };
        for beyond in [request(10.1, 0.06), request(9.0, 0.121), low] {
            let refused = station.prepare(beyond).await.err();
            assert!(matches!(&refused, Some(Halt::NoPermit(why)) if why.contains("ceiling")), "{refused:?}");
        }
        assert!(rig.supply_state().switches.is_empty());
        assert!(!station.ever_energised());
    });
}

#[test]
fn a_span_does_not_go_beyond_what_it_asked_for() {
    with_station(unit(""), |mut station, rig| async move {
        let prepared = station.prepare(request(5.0, 0.06)).await.unwrap();
        let mut energised = prepared.switch_on(None).await.unwrap();
        let refused = energised.set_voltage(Volts(5.5)).await.err();
        assert!(matches!(refused, Some(Halt::NoPermit(_))), "{refused:?}");
        assert_eq!(rig.supply_state().voltage, Volts(5.0));
        energised.off().await.unwrap();
        assert!(!rig.supply_state().on);
    });
}

#[test]
fn after_a_trip_nothing_is_energised_again() {
    with_station(unit("latch_up = { chance = \"100 %\", current = \"300 mA\" }"), |mut station, rig| async move {
        let prepared = station.prepare(request(9.0, 0.06)).await.unwrap();
        let mut energised = prepared.switch_on(None).await.unwrap();
        let halt = loop {
            if let Err(halt) = energised.observe(None).await {
                break halt;
            }
        };
        assert!(matches!(halt, Halt::Tripped(_)), "{halt}");
        assert!(!rig.supply_state().on, "off before the trip is told");
        drop(energised);
        let refused = station.prepare(request(1.0, 0.06)).await.err();
        assert!(matches!(&refused, Some(Halt::NoPermit(why)) if why.contains("latched")), "{refused:?}");
        assert_eq!(rig.supply_state().switches.iter().filter(|s| s.on).count(), 1);
    });
}

#[test]
fn a_ceiling_far_above_the_supply_does_not_ask_for_a_protection_that_it_lacks() {
    let plan = SHORT.replace("voltage = \"10 V\"", "voltage = \"58 V\"");
    let outcome = crate::support::rehearse(crate::support::Setup { plan: &plan, ..Default::default() });
    assert_eq!(outcome.ended.exit, rampart::runner::Exit::Within, "{}", outcome.ended.how);
}
