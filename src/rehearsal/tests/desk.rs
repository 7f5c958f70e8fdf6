//! A meter on a desk: its stand-in and a circuit, without a bench around them, and a
//! meter so exact that closed forms show.

use super::physics::{FREE, electrics, source};
use super::*;
use crate::instrument::profile::{OffState, Profile};
use crate::rehearsal::circuit::Solid;
use crate::rehearsal::message::{self, Does};
use crate::rehearsal::meter::MeterDevice;
use crate::rehearsal::world::{Electrics, Thing, World};
use crate::units::{Farads, Ohms};
use std::collections::BTreeMap;

/// Every rate that rows are about, and ranges whose errors are below what they ask for.
fn exact() -> Profile {
    let mut text = String::from(
        "kind = \"meter\"\nabout = \"exact\"\n[identity]\nask = \"*IDN?\"\n[wire]\nsend_end = \"\\n\"\nreceive_end = \"\\n\"\n\
         [errors]\nask = \"SYST:ERR?\"\n[meter]\nrate = [\"{function}:NPLC {rate}\"]\n",
    );
    for cycles in [0.02, 0.2, 1.0, 1.5, 2.0, 5.0, 10.0, 100.0] {
        let (integration, period) = (cycles * 20.0, cycles * 20.0 + 1.0);
        text += &format!("[[meter.rates]]\nintegration = \"{integration} ms\"\nperiod = \"{period} ms\"\nsend = \"{cycles}\"\n");
    }
    let ending = "accuracy = { range = \"0.00000002 %\" }\n";
    for (function, name, of, ranges) in [
        (
            "current",
            "CURR:DC",
            "shunt",
            [("100 uA", "100 ohm"), ("1 mA", "100 ohm"), ("10 mA", "2 ohm"), ("100 mA", "2 ohm"), ("1 A", "0.5 ohm")].as_slice(),
        ),
        ("voltage", "VOLT:DC", "input", &[("1 V", "10 Gohm"), ("10 V", "10 Mohm"), ("100 V", "10 Mohm")]),
    ] {
        text += &format!(
            "[meter.{function}]\nfunction = \"{name}\"\nconfigure = [\"CONF:{name} {{range}}\"]\nrange_ask = \"{name}:RANG?\"\nread = \"READ?\"\n"
        );
        let (unit, fuse) = if of == "shunt" { ("A", "fuse = \"500 mA\"\nterminal = \"mA\"\n") } else { ("V", "") };
        for (full, inside) in ranges {
            let (number, prefix) = full.split_once(' ').unwrap();
            let power = match prefix.strip_suffix(unit).unwrap() {
                "u" => -6,
                "m" => -3,
                _ => 0,
            };
            text += &format!(
                "[[meter.{function}.ranges]]\nfull = \"{full}\"\nsend = \"{number}E{power}\"\n{of} = \"{inside}\"\n{fuse}{ending}resolution = \"10 p{unit}\"\n"
            );
        }
    }
    Profile::read("exact", Document::new("exact.toml", text)).unwrap_or_else(|p| panic!("{p}"))
}

/// What the output has inside, in ohms: a load's resistance is told with it.
pub const INSIDE: f64 = 0.01;

/// A desk.
pub struct Desk {
    pub meter: MeterDevice,
    pub world: World,
    pub now: f64,
}

impl Desk {
    /// An exact meter with these switches; a resistor is connected.
    pub fn new(wired: &str, standin: &str, load: f64) -> Self {
        Self::with(wired, standin, Thing::Resistor(Ohms(load - INSIDE)), 7)
    }

    /// The same, and what is connected.
    pub fn with(wired: &str, standin: &str, thing: Thing, seed: u64) -> Self {
        let text = format!(
            "[supply]\nprofile = \"supply-channel-list\"\n[meter]\nprofile = \"meter-plain\"\nwired = {wired:?}\nstandin = {{ {standin} }}\n"
        );
        let mut seat = Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}")).meter.unwrap();
        seat.profile = exact();
        let meter = MeterDevice::new(&seat.profile, seat.profile.meter().unwrap(), &seat, seed);
        let electrics = Electrics { capacitance: 1e-9, preload: 1e9, crossover: 0.0, recovery: 0.0, ..electrics() };
        let things = BTreeMap::from([("unit".to_owned(), thing)]);
        let world = World::new(things, "unit", Ohms(0.0), electrics, source(false, 0.0, 3.0, OffState::Open), 7);
        let mut desk = Self { meter, world, now: 0.0 };
        desk.meter.wire(&mut desk.world);
        desk
    }

    /// A capacitor behind a resistor.
    pub fn part(series: f64, capacitance: f64, absorption: Vec<(crate::units::Ratio, crate::units::Seconds)>) -> Thing {
        let solid = Solid {
            capacitance: Farads(capacitance),
            insulation: Ohms(1e15),
            field: None,
            after_rest: None,
            telegraph: None,
            absorption,
        };
        Thing::Part(Box::new(solid), Ohms(series - INSIDE))
    }

    /// An output that rises at once.
    pub fn on(&mut self, volts: f64) {
        self.world.set_output(source(true, volts, 3.0, OffState::Open), FREE);
    }

    /// Time goes on.
    pub fn pass(&mut self, seconds: f64) {
        self.now += seconds;
        self.meter.catch_up(self.now, &mut self.world);
        self.world.advance(self.now);
        assert_eq!(self.world.failure(), None);
    }

    /// Everything that is answered to a message, and how long that takes.
    pub fn bytes(&mut self, message: &str) -> (Vec<u8>, f64) {
        let began = self.now;
        let mut does = message::handle(&mut self.meter, message.as_bytes(), &mut self.world);
        loop {
            let answer = match does {
                Does::Measures { first, .. } => {
                    self.pass(first);
                    does = message::finish(&mut self.meter, &mut self.world);
                    continue;
                }
                Does::Answers(text) => text.into_bytes(),
                Does::Sends(bytes) => bytes,
                Does::Sets => Vec::new(),
                other => panic!("{message}: {other:?}"),
            };
            return (answer, self.now - began);
        }
    }

    pub fn ask(&mut self, message: &str) -> String {
        String::from_utf8(self.bytes(message).0).unwrap()
    }

    /// A reading, and how long it took.
    pub fn read(&mut self) -> (f64, f64) {
        let (answer, took) = self.bytes("READ?");
        (String::from_utf8(answer).unwrap().parse().unwrap(), took)
    }
}
