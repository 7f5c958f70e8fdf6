//! What circuits cost: `cargo bench --bench circuit`. Each figure is a ratio to
//! something that was measured in the same run, because machines are noisy:
//!
//! - a netlist in this process, and in a process of its own (`rampart calc circuit`),
//!   over ngspice on the same netlist with its default options, the start of its
//!   process included;
//! - a start of a unit like the frost alarm, over the evaluation of as many
//!   exponentials.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout, missing_docs, reason = "a measurement, not the tool")]

use rampart::document::Document;
use rampart::rehearsal::circuit::*;
use rampart::units::{Amperes, Farads, Ohms, Ratio, Seconds, Volts};
use std::fmt::Write;
use std::hint::black_box;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// The median of rounds.
fn median(rounds: usize, mut round: impl FnMut()) -> Duration {
    let mut times: Vec<Duration> = (0..rounds)
        .map(|_| {
            let began = Instant::now();
            round();
            began.elapsed()
        })
        .collect();
    times.sort_unstable();
    times[rounds / 2]
}

fn netlists() -> Vec<(&'static str, String)> {
    let mut line = String::from("v1 n0 0 pulse(0 5 0 1n 1n 1u 2u)\n");
    for i in 1..=60 {
        writeln!(line, "r{i} n{} n{i} 10\nc{i} n{i} 0 100p", i - 1).unwrap();
    }
    let mut diodes = String::from(".model dm d(is=1e-14 cjo=4p)\nv1 n0 0 sin(0 12 10k)\n");
    for i in 1..=20 {
        writeln!(diodes, "r{i} n{} n{i} 100\nd{i} n{i} 0 dm\nc{i} n{i} 0 1n", i - 1).unwrap();
    }
    vec![
        ("RC", "v1 in 0 pulse(0 5 0 1n 1n 1m 2m)\nr1 in out 1k\nc1 out 0 0.1u\n.tran 2u 4m".into()),
        ("RLC, ringing", "v1 in 0 pulse(0 1 10u 10n 10n 1 2)\nr1 in a 2\nl1 a b 1m\nc1 b 0 1u\n.tran 1u 3m".into()),
        (
            "full-wave rectifier",
            "v1 a b sin(0 17 50)\nd1 a p dm\nd2 b p dm\nd3 0 a dm\nd4 0 b dm\nrb b 0 1meg\nc1 p 0 1000u\nr1 p 0 47\n.model dm d(is=2.5e-9 n=1.75 rs=0.04 cjo=20p tt=5u)\n.tran 50u 80m".into(),
        ),
        (
            "step-down converter",
            "vin in 0 12\nvg g 0 pulse(0 5 0 20n 20n 4u 10u)\ns1 in sw g 0 sm\nd1 0 sw dm\nl1 sw out 47u\nc1 out 0 22u\nr1 out 0 5\n.model sm sw(vt=2.5 vh=0.5 ron=0.05 roff=10meg)\n.model dm d(is=1e-8 n=1.05 rs=0.02 cjo=100p)\n.tran 0.2u 400u".into(),
        ),
        (
            "charge pump",
            "v1 in 0 pulse(0 5 0 100n 100n 5u 10u)\nc1 in a 100n\nd1 0 a dm\nd2 a out dm\nc2 out 0 1u\nr1 out 0 10k\n.model dm d(is=1e-9 n=1.05 rs=1 cjo=10p)\n.tran 0.5u 500u".into(),
        ),
        (
            "absorption, 100 s",
            "v1 in 0 pulse(0 10 0 1m 1m 30 200)\nr0 in a 1k\nc0 a 0 47u\nr1 a b1 10meg\nc1 b1 0 0.1u\nr2 a b2 100meg\nc2 b2 0 0.1u\n.tran 0.1 100".into(),
        ),
        ("line of 60 RC", line + ".tran 10n 4u"),
        ("20 diodes", diodes + ".tran 1u 300u"),
    ]
}

fn against_ngspice() {
    println!("{:22} {:>10} {:>10} {:>12} {:>12}", "over ngspice's process", "ngspice", "here", "in process", "own process");
    let folder = tempfile::tempdir().unwrap();
    let (source, raw) = (folder.path().join("in.cir"), folder.path().join("out.raw"));
    for (name, body) in netlists() {
        let text = format!("{name}\n{body}\n.end\n");
        std::fs::write(&source, &text).unwrap();
        let document = Document::new(name, text);
        let here = median(21, || {
            black_box(run(&document).unwrap());
        });
        let run_one = |mut command: Command| {
            assert!(command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).status().unwrap().success());
        };
        let theirs = median(21, || {
            let mut command = Command::new("ngspice");
            command.arg("-b").arg("-r").arg(&raw).arg(&source);
            run_one(command);
        });
        let own = median(21, || {
            let mut command = Command::new(env!("CARGO_BIN_EXE_rampart"));
            command.args(["calc", "circuit"]).arg(&source);
            run_one(command);
        });
        println!(
            "{name:22} {:7.2} ms {:7.2} ms {:12.3} {:12.3}",
            theirs.as_secs_f64() * 1e3,
            here.as_secs_f64() * 1e3,
            here.as_secs_f64() / theirs.as_secs_f64(),
            own.as_secs_f64() / theirs.as_secs_f64()
        );
    }
}

/// A unit with an input capacitor, an arming delay whose capacitor leaks, and states.
fn unit() -> (Transient, [Part; 4], Node) {
    let mut circuit = Circuit::new();
    let (rail, unit, arm) = (circuit.node("rail"), circuit.node("unit"), circuit.node("arm"));
    let supply = circuit.voltage("supply", rail, GROUND, Volts(0.0));
    let lead = circuit.resistor("lead", rail, unit, Ohms(0.3));
    circuit.capacitor("cin", unit, GROUND, Farads(47e-6));
    circuit.resistor("r1", unit, arm, Ohms(100e3));
    let branch = |seconds: f64| (Ratio(0.002), Seconds(seconds));
    let solid = Solid {
        capacitance: Farads(4.7e-6),
        insulation: Ohms(50e6),
        field: Some(Field { at_one_volt: Amperes(0.372e-6), slope: 2.79 }),
        after_rest: Some(AfterRest { more: Ratio(0.165), time: Seconds(6.0), settles_in: Seconds(25.0) }),
        telegraph: Some(Telegraph { more: Ratio(0.05), stay: Seconds(8.0) }),
        absorption: vec![branch(1.0), branch(10.0), branch(100.0)],
    };
    solid.place(&mut circuit, "c7", arm, GROUND);
    let way = |to: usize, when: Condition| Transition { to, when: vec![when], chance: Ratio(1.0) };
    let state = |name: &str, draws: Draws, transitions: Vec<Transition>| State {
        name: name.into(),
        draws: vec![draws],
        ripple: (name == "running").then_some((Ratio(0.03), Seconds(0.7))),
        transitions,
    };
    let current = |amperes: f64| Draws::Current(Amperes(amperes), Volts(0.2));
    let below = |volts: f64| Condition::Below(0, Volts(volts));
    let states = vec![
        state("off", Draws::Resistance(Ohms(150e3)), vec![way(1, Condition::Above(0, Volts(3.0)))]),
        state("asleep", current(20e-6), vec![way(2, Condition::AboveShare(2, Ratio(0.5), 0)), way(3, below(2.7))]),
        state("running", current(12e-3), vec![way(3, below(2.7))]),
        state("brown-out", Draws::Resistance(Ohms(150e3)), vec![way(0, below(0.7))]),
    ];
    let load = circuit.device("u", &[unit, GROUND, arm], Load::new(states));
    let bleeder = circuit.resistor("bleeder", unit, GROUND, Ohms(200.0));
    (Transient::new(circuit, 1).unwrap(), [supply, lead, bleeder, load], unit)
}

/// Switched on, watched for 1.5 s in 30 looks, switched off, at rest for 0.3 to 6 s.
fn starts() {
    for count in [500_u32, 2000, 8000] {
        let (mut transient, [supply, lead, bleeder, load], node) = unit();
        let (mut now, mut running) = (0.0, 0);
        let began = Instant::now();
        for start in 0..count {
            transient.wire(bleeder, Wired::Disconnected);
            transient.wire(lead, Wired::Connected);
            transient.set_drive(supply, Drive::Points(vec![(now, 0.0), (now + 1e-3, 9.0)]));
            for look in 1..=30 {
                transient.advance(Seconds(now + 0.05 * f64::from(look))).unwrap();
                black_box((transient.voltage(node), transient.charge(lead)));
            }
            running += u32::from(transient.device::<Load>(load).unwrap().state() == "running");
            transient.wire(lead, Wired::Disconnected);
            transient.wire(bleeder, Wired::Connected);
            now += 1.8 + 5.7 * f64::from(start % 7) / 6.0;
            transient.advance(Seconds(now)).unwrap();
        }
        let each = began.elapsed().as_secs_f64() / f64::from(count);
        let exponentials = median(5, || {
            black_box((0..10_000).map(|i| black_box(f64::from(i) * 1e-4).exp()).sum::<f64>());
        });
        let effort = transient.effort();
        println!(
            "{count:5} starts: {:6.1} us each ({:.0} steps each), as {:.0} exponentials; {running} ran",
            each * 1e6,
            effort.steps as f64 / f64::from(count),
            each / (exponentials.as_secs_f64() / 1e4)
        );
    }
}

fn main() {
    starts();
    if Command::new("ngspice").arg("--version").output().is_ok() {
        against_ngspice();
    } else {
        println!("ngspice is not installed: no ratios to it");
    }
}
