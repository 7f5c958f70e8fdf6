//! Overload of every range, hands at the meter, and mistakes in what a bench file says
//! of it.

use super::desk::Desk;
use super::*;
use crate::instrument::profile::{OffState, SHIPPED};
use crate::rehearsal::meter::MeterDevice;
use crate::rehearsal::tests::physics::{FREE, electrics, source};
use crate::rehearsal::world::{Electrics, Thing, World};
use crate::units::Ohms;
use std::collections::BTreeMap;

#[test]
fn every_range_of_every_shipped_meter_is_overloaded_above_120_percent() {
    let mut tried = 0;
    for (name, _) in SHIPPED.iter().filter(|(name, _)| name.starts_with("meter")) {
        for wired in ["in series", "across"] {
            let seat = bench("supply-channel-list", name, wired).meter.unwrap();
            let profile = seat.profile.meter().unwrap();
            let function = if wired == "across" { &profile.voltage } else { &profile.current };
            for range in function.iter().flat_map(|f| &f.ranges) {
                for (share, overloaded) in [(1.17, false), (1.23, true)] {
                    // A source of 100 V and so much resistance that this flows; or so much voltage.
                    let (volts, load) = if wired == "across" {
                        (share * range.full, 1e6)
                    } else {
                        (100.0, 100.0 / (share * range.full) - range.resistance.0 - super::desk::INSIDE)
                    };
                    let electrics = Electrics { preload: 1e9, ..electrics() };
                    let things = BTreeMap::from([("unit".to_owned(), Thing::Resistor(Ohms(load)))]);
                    let mut world = World::new(things, "unit", Ohms(0.0), electrics, source(false, 0.0, 3.0, OffState::Open), 7);
                    let mut meter = MeterDevice::new(&seat.profile, profile, &seat, 1);
                    world.set_output(source(true, volts, 3.0, OffState::Open), FREE);
                    for message in seat.profile.remote.iter().chain(&function.as_ref().unwrap().configure) {
                        crate::rehearsal::message::handle(
                            &mut meter,
                            message.replace("{range}", &range.send).as_bytes(),
                            &mut world,
                        );
                    }
                    world.advance(1.0);
                    meter.trigger(&world);
                    meter.catch_up(3.0, &mut world);
                    let Some(crate::rehearsal::message::Does::Answers(text)) = meter.answer() else {
                        panic!("{name}: no answer")
                    };
                    let says = text.contains("OL") || text.contains("OVER") || text.ends_with("9.90000000E+37");
                    assert_eq!(says, overloaded, "{name}, {wired}, {} at {share}: {text}", range.send);
                    tried += 1;
                }
            }
        }
    }
    assert!(tried > 20, "{tried}");
}

#[test]
fn hands_come_at_their_moment_though_nobody_looks() {
    let script = "hands = [{ after = \"1 s\", range = \"100 uA\" }, { after = \"2 s\", range = \"highest\" }, \
                  { after = \"3 s\", function = \"voltage\" }, { after = \"4 s\", function = \"current\" }, \
                  { after = \"5 s\", jack = \"nowhere\" }, { after = \"6 s\", jack = \"mA\" }, { after = \"7 s\", fuse = \"melts\" }]";
    let mut desk = Desk::new("in series", script, 1e3);
    desk.ask("CONF:CURR:DC 0.1");
    desk.on(1.0);
    let before = |desk: &mut Desk, at: f64| {
        desk.pass(at - desk.now);
        (desk.world.see().current, desk.world.charge())
    };
    let (_, charge) = before(&mut desk, 0.9);
    let (after, more) = before(&mut desk, 1.9);
    // 1.002 kohm for a tenth of a second, then 1.1 kohm.
    assert!((more - charge - (0.1 / 1002.0 + 0.9 / 1100.0)).abs() < 1e-9, "{}", more - charge);
    assert!((after - 1.0 / 1100.0).abs() < 1e-9, "{after}");
    let (highest, _) = before(&mut desk, 2.9);
    assert!((highest - 1.0 / 1000.5).abs() < 1e-8 && desk.ask("CURR:RANG?") == "1E0", "{highest}");
    let (voltage, _) = before(&mut desk, 3.9);
    assert!(voltage < 2e-7 && desk.ask("FUNC?") == "\"VOLT\"", "10 Mohm are in the lead: {voltage}");
    let (current, _) = before(&mut desk, 4.9);
    assert!((current - 1.0 / 1000.5).abs() < 1e-8, "{current}");
    let (nowhere, _) = before(&mut desk, 5.9);
    assert!(nowhere < 1e-11 && desk.read().0.abs() < 1e-9, "{nowhere}");
    let (back, _) = before(&mut desk, 6.9);
    assert!((back - 1.0 / 1000.5).abs() < 1e-8, "{back}");
    let (melted, _) = before(&mut desk, 7.1);
    assert!(melted < 1e-11, "{melted}");
}

#[test]
fn a_hand_in_a_measurement_begins_it_anew() {
    let mut desk = Desk::new("in series", "hands = [{ after = \"1.01 s\", range = \"100 mA\" }]", 1e3);
    desk.ask("CONF:CURR:DC 1");
    desk.ask("CURR:NPLC 1");
    desk.on(1.0);
    desk.pass(1.0);
    let (current, took) = desk.read();
    // 10 ms of the first, the time of a change, and a whole one.
    assert!((took - 0.08).abs() < 1e-9 && (current - 1.0 / 1002.0).abs() < 1e-8, "{current} after {took}");
}

#[test]
fn a_lead_in_a_terminal_for_currents_is_a_short_across_the_unit() {
    let mut desk = Desk::new("across", "hands = [{ after = \"1 s\", jack = \"mA\" }]", 1e3);
    desk.ask("CONF:CURR:DC 1");
    desk.on(0.4);
    desk.pass(0.5);
    assert!(desk.read().0.abs() < 1e-8 && (desk.world.see().current - 0.4e-3).abs() < 1e-8);
    desk.pass(1.0);
    let (current, _) = desk.read();
    // 0.4 V over the shunt of 0.5 ohm, a lead of 1 mohm and the output.
    assert!((current - 0.4 / 0.511).abs() < 2e-5 && (desk.world.see().current - current - 0.4e-3).abs() < 2e-5, "{current}");
}

#[test]
fn what_no_meter_can_be_is_pointed_at() {
    for (meter, standin, says) in [
        ("meter-plain", "hum = { frequency = \"50 Hz\" }", "a current, a voltage or both"),
        ("meter-plain", "hum = { current = \"1 mA\", frequency = \"2 kHz\" }", "between 10 Hz and 1 kHz"),
        ("meter-plain", "hum = { current = \"-1 mA\" }", "cannot be below zero"),
        ("meter-plain", "hum = { current = \"1 mA\", off_by = \"30 %\" }", "20 % at most"),
        ("meter-plain", "hum = { current = 1 }", "bare number"),
        ("meter-plain", "hum = { curent = \"1 mA\" }", "current"),
        ("meter-plain", "line = \"0 Hz\"", "between 10 Hz and 1 kHz"),
        ("meter-units-in-reply", "line = \"60 Hz\"", "not line cycles"),
        ("meter-plain", "auto_range = { up = \"90 %\" }", "between 100 % and 200 %"),
        ("meter-plain", "auto_range = { down = \"0 %\" }", "above 0 %"),
        ("meter-plain", "auto_range = { holds = \"never\" }", "\"until told\", \"always\""),
        ("meter-plain", "auto_range = true", "expected a table"),
        ("meter-plain", "zero = { drift = \"-1 %\" }", "cannot be below zero"),
        ("meter-plain", "input = { delay = \"-1 s\" }", "cannot be below zero"),
        ("meter-plain", "noise = \"-1 %\"", "cannot be below zero"),
        ("meter-plain", "memory = 0", "memory"),
        ("meter-plain", "hands = [{ range = \"1 mA\" }]", "after"),
        ("meter-plain", "hands = [{ after = \"1 s\" }]", "turns one thing"),
        ("meter-plain", "hands = [{ after = \"1 s\", range = \"1 mA\", fuse = \"melts\" }]", "turns one thing"),
        ("meter-plain", "hands = [{ after = \"1 s\", range = \"3 A\" }]", "no range of 3 A"),
        ("meter-plain", "hands = [{ after = \"1 s\", range = \"much\" }]", "is no range"),
        ("meter-echo", "hands = [{ after = \"1 s\", function = \"voltage\" }]", "measures no voltage"),
        ("meter-plain", "hands = [{ after = \"1 s\", jack = \"10 A\" }]", "known are mA, nowhere"),
    ] {
        let text = format!(
            "[supply]\nprofile = \"supply-channel-list\"\n[meter]\nprofile = {meter:?}\nwired = \"in series\"\nstandin = {{ {standin} }}\n"
        );
        let problems = Bench::read(&Document::new("bench.toml", text)).map(|_| ()).unwrap_err().to_string();
        assert!(problems.contains(says) && problems.contains("bench.toml:6:"), "{standin}: {problems}");
    }
}
