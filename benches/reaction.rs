//! How fast an over-limit reading becomes a message that switches off:
//! `cargo bench --bench reaction`.
//!
//! Over TCP on loopback, from the last byte of the reading to the first byte of the
//! off command, both taken at the supply's end of the wire by a small device of
//! this file's own, while every reading is recorded and committed as in a run. Beside
//! it, in the same run and on the same wire: the bare round trip, a byte there and
//! a byte back between two plain sockets. The profile's pause between messages is set
//! to zero for both: with one, the reaction waits for it, as the instrument needs.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout, missing_docs, reason = "a measurement, not the tool")]

#[path = "../tests/bench/support.rs"]
#[allow(dead_code, reason = "the tests use the rest of it")]
mod support;

use rampart::clock::Clock;
use rampart::instrument::Role;
use rampart::interlock::{Halt, Journal, Request, Station, open_supply, reach};
use rampart::plan::{Bench, Limits, Plan, check};
use rampart::record::{Durability, Header, Record, RoleTraffic, TrafficLog};
use rampart::units::{Amperes, Seconds, Volts};
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Runs, and trips in each: as many as a plan may go on after.
const RUNS: usize = 40;
const TRIPS: usize = 101;
/// Looks before each: the record is written at full rate meanwhile.
const LOOKS: u32 = 40;

const PLAN: &str = r#"
title = "reaction"
[unit]
name = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[interlock]
retry = { times = 100, after = ["over-current"], pause = "1 ms" }
[[stage]]
do = "log"
voltage = "9 V"
limit = "60 mA"
for = "1 s"
every = "200 ms"
"#;

/// A supply that draws too much at the look that it is told of. Answers by the bytes
/// that come, and shares nothing with the tool.
fn device(listener: TcpListener, times: Arc<Mutex<Vec<Duration>>>) {
    let (mut stream, _) = listener.accept().unwrap();
    stream.set_nodelay(true).unwrap();
    let (mut buffer, mut pending) = ([0; 4096], Vec::new());
    let (mut on, mut looks, mut over) = (false, 0, None::<Instant>);
    let (mut volts, mut limit) = ("0.000".to_owned(), "0.000".to_owned());
    loop {
        let read = stream.read(&mut buffer).unwrap_or(0);
        let arrived = Instant::now();
        if read == 0 {
            return;
        }
        pending.extend_from_slice(&buffer[..read]);
        while let Some(end) = pending.iter().position(|b| *b == b'\n') {
            let line = String::from_utf8(pending.drain(..=end).collect()).unwrap();
            let line = line.trim();
            if let Some(since) = over.take_if(|_| line.starts_with("OUTP OFF")) {
                times.lock().unwrap().push(arrived - since);
            }
            let mut answer = |text: &str| stream.write_all(format!("{text}\n").as_bytes()).unwrap();
            match line.split(' ').next().unwrap() {
                "*IDN?" => answer("X,Y,1,2"),
                "SYST:ERR?" => answer("0,\"No error\""),
                "VOLT?" => answer(&volts),
                "CURR?" => answer(&limit),
                "OUTP?" => answer(if on { "1" } else { "0" }),
                "MEAS:VOLT?" => answer(if on { "9.000" } else { "0.000" }),
                "MEAS:CURR?" if on => {
                    looks += 1;
                    answer(if looks % LOOKS == 0 { "0.500" } else { "0.012" });
                    if looks % LOOKS == 0 {
                        over = Some(Instant::now());
                    }
                }
                "MEAS:CURR?" => answer("0.000"),
                "VOLT" => volts = line["VOLT ".len()..].to_owned(),
                "CURR" => limit = line["CURR ".len()..].to_owned(),
                "OUTP" => on = line == "OUTP ON",
                other => panic!("{other}"),
            }
        }
    }
}

const PROFILE: &str = r#"
kind = "supply"
about = "for the measurement alone"
[identity]
ask = "*IDN?"
[wire]
send_end = "\n"
receive_end = "\n"
gap = "0 s"
timeout = "1 s"
[errors]
ask = "SYST:ERR?"
depth = 10
[supply]
rated = { voltage = "30 V", current = "3 A", power = "90 W" }
[supply.voltage]
set = "VOLT {value}"
ask = "VOLT?"
resolution = "1 mV"
[supply.current]
set = "CURR {value}"
ask = "CURR?"
resolution = "1 mA"
[supply.output]
on = "OUTP ON"
off = "OUTP OFF"
ask = "OUTP?"
[supply.measured.voltage]
ask = "MEAS:VOLT?"
accuracy = { reading = "0.05 %", offset = "5 mV" }
resolution = "1 mV"
[supply.measured.current]
ask = "MEAS:CURR?"
accuracy = { reading = "0.2 %", offset = "1 mA" }
resolution = "1 mA"
"#;

async fn trips(station: &mut Station) {
    let request = Request {
        voltage: Volts(9.0),
        highest: Volts(9.0),
        limits: Limits::same(Amperes(0.06)),
        residual_below: None,
        patience: Seconds(0.0),
        in_limit: None,
    };
    loop {
        let mut on = station.prepare(request).await.unwrap().switch_on(None).await.unwrap();
        let halt = loop {
            if let Err(halt) = on.observe(None).await {
                break halt;
            }
        };
        drop(on);
        let Halt::Tripped(trip) = halt else { panic!("{halt}") };
        if station.retry(&trip).is_none() {
            return;
        }
    }
}

fn reactions(times: &Arc<Mutex<Vec<Duration>>>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let theirs = times.clone();
    let device = std::thread::spawn(move || device(listener, theirs));
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("p.toml"), PROFILE).unwrap();
    let bench = format!(
        "[supply]\naddress = \"TCPIP::127.0.0.1::{port}::SOCKET\"\nprofile = \"p.toml\"\nlooked_at = [\"power-on state\", \"remote sense\"]\n"
    );
    let name = folder.path().join("bench.toml").display().to_string();
    let document = |name: &str, text: &str| rampart::document::Document::new(name, text);
    let plan = Plan::read(&document("plan.toml", PLAN)).unwrap_or_else(|p| panic!("{p}"));
    let bench = Bench::read(&document(&name, &bench)).unwrap_or_else(|p| panic!("{p}"));
    let checked = check(plan, bench, "2026-11-25");
    let passed = checked.passed.unwrap_or_else(|| panic!("{}", checked.problems));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let clock = Clock::start(1.0);
        let seat = &passed.bench().supply;
        let header = Header {
            kind: "run",
            title: String::new(),
            unit: String::new(),
            seed: 1,
            began: String::new(),
            cautions: String::new(),
            files: Vec::new(),
        };
        let record = Record::create(folder.path(), &header, Durability::Full).unwrap();
        let traffic = Arc::new(TrafficLog::create(folder.path()).unwrap());
        let journal = Journal::new(record, traffic.clone(), clock);
        let link = reach(seat.address.as_deref(), &seat.line, &seat.profile, clock).await.unwrap();
        let sink = Arc::new(RoleTraffic { log: traffic, clock, role: Role::Supply });
        let supply = open_supply(link, seat, clock, sink).await.unwrap().instrument;
        tokio::spawn(journal.clone().keep_committed());
        trips(&mut Station::new(&passed, supply, None, clock, journal)).await;
    });
    drop(runtime);
    device.join().unwrap();
}

/// A byte there and a byte back, as often.
fn round_trips() -> Vec<Duration> {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let echo = std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        stream.set_nodelay(true).unwrap();
        let mut byte = [0; 1];
        while stream.read_exact(&mut byte).is_ok() {
            stream.write_all(&byte).unwrap();
        }
    });
    let mut stream = TcpStream::connect(address).unwrap();
    stream.set_nodelay(true).unwrap();
    let mut times = Vec::new();
    for _ in 0..RUNS * TRIPS {
        let began = Instant::now();
        stream.write_all(b"x").unwrap();
        stream.read_exact(&mut [0; 1]).unwrap();
        times.push(began.elapsed());
    }
    drop(stream);
    echo.join().unwrap();
    times
}

fn shares(name: &str, mut times: Vec<Duration>) -> (Duration, Duration) {
    times.sort_unstable();
    let at = |share: f64| times[((times.len() - 1) as f64 * share) as usize];
    println!("{name}: median {:?}, 99 % {:?}, 99.9 % {:?}, longest {:?}", at(0.5), at(0.99), at(0.999), at(1.0));
    (at(0.5), at(0.999))
}

fn main() {
    let (bare, bare_most) = shares("bare round trip", round_trips());
    let times = Arc::default();
    (0..RUNS).for_each(|_| reactions(&times));
    let times = std::mem::take(&mut *times.lock().unwrap());
    assert_eq!(times.len(), RUNS * TRIPS);
    let (median, most) = shares("reaction", times);
    let (again, again_most) = shares("bare round trip, once more", round_trips());
    // Both before and after: the machine is not the same all the time.
    let (bare, bare_most) = ((bare + again) / 2, (bare_most + again_most) / 2);
    let over = |a: Duration, b: Duration| a.as_secs_f64() / b.as_secs_f64();
    println!("reaction over the median bare round trip: median {:.2}, 99.9 % {:.2}", over(median, bare), over(most, bare));
    println!("99.9 % of the reaction over 99.9 % of the bare round trip: {:.2}", over(most, bare_most));
}
