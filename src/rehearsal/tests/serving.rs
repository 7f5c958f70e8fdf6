//! The same stand-in over memory, TCP and a serial terminal; gaps, cables, seeds.

use super::*;
use crate::instrument::Role;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

const LONG: Duration = Duration::from_secs(20);

/// Sends a message and reads one line, with its end.
async fn ask<S: AsyncRead + AsyncWrite + Unpin>(stream: &mut S, message: &str) -> Option<String> {
    stream.write_all(message.as_bytes()).await.ok()?;
    let mut line = Vec::new();
    while !line.ends_with(b"\n") {
        match tokio::time::timeout(LONG, stream.read_u8()).await {
            Ok(Ok(byte)) => line.push(byte),
            _ => return None,
        }
    }
    String::from_utf8(line).ok()
}

/// Sets, switches on, reads back, switches off.
async fn converse<S: AsyncRead + AsyncWrite + Unpin>(rig: &Rig, stream: &mut S) {
    assert_eq!(ask(stream, "*IDN?\n").await.unwrap(), "STAND-IN,supply-channel-list,S0001,1.0\n");
    stream.write_all(b"VOLT 9,(@1)\n").await.unwrap();
    assert_eq!(ask(stream, "VOLT? (@1)\n").await.unwrap(), "9.000\n");
    assert_eq!(ask(stream, "OUTP ON,(@1)\nOUTP? (@1)\n").await.unwrap(), "1\n");
    assert!(rig.supply_state().on);
    assert_eq!(ask(stream, "OUTP OFF,(@1)\nOUTP? (@1)\n").await.unwrap(), "0\n");
    let state = rig.supply_state();
    assert!(!state.on);
    assert!(state.switches.iter().any(|s| s.on));
}

#[tokio::test(start_paused = true)]
async fn over_memory() {
    let rig = rig("supply-channel-list", "meter-plain", UNIT, 1);
    let (mut near, far) = tokio::io::duplex(4096);
    let serving = rig.clone();
    tokio::spawn(async move { serve(&serving, Role::Supply, far).await });
    converse(&rig, &mut near).await;
}

#[tokio::test]
async fn over_tcp_one_client_after_the_other() {
    let rig = rig("supply-channel-list", "meter-plain", UNIT, 1);
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(serve_tcp(rig.clone(), Role::Supply, listener));
    for _ in 0..3 {
        let mut stream = TcpStream::connect(address).await.unwrap();
        converse(&rig, &mut stream).await;
    }
}

#[cfg(unix)]
#[tokio::test]
async fn over_a_serial_terminal_one_client_after_the_other() {
    let rig = rig("supply-channel-list", "meter-plain", UNIT, 1);
    let terminal = crate::sys::Terminal::open().unwrap();
    let path = terminal.path().to_owned();
    tokio::spawn(serve_terminal(rig.clone(), Role::Supply, terminal));
    for _ in 0..2 {
        let mut port = tokio_serial::SerialStream::open(&tokio_serial::new(&path, 9600)).unwrap();
        converse(&rig, &mut port).await;
    }
}

#[tokio::test]
async fn the_patch_panel_connects_what_is_named() {
    let text = format!("{UNIT}[part.C1]\ncapacitance = \"1 uF\"\ninsulation = \"1 Mohm\"\n");
    let rig = rig("supply-channel-list", "meter-plain", &text, 1);
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    tokio::spawn(patch(rig.clone(), listener));
    let mut stream = TcpStream::connect(address).await.unwrap();
    assert_eq!(ask(&mut stream, "C1\n").await.unwrap(), "ok\n");
    assert_eq!(rig.supply_state().connected, "C1");
    assert_eq!(ask(&mut stream, "C9\n").await.unwrap(), "there is no \"C9\" to connect; known: unit, C1, nothing\n");
    assert_eq!(ask(&mut stream, "unit\n").await.unwrap(), "ok\n");
    assert_eq!(rig.supply_state().connected, "unit");
}

/// A strict supply over memory.
fn strict(rig: &Rig) -> tokio::io::DuplexStream {
    let (near, far) = tokio::io::duplex(4096);
    let serving = rig.clone();
    rig.quirk(Role::Supply, |q| q.misses_early = true);
    tokio::spawn(async move { serve(&serving, Role::Supply, far).await });
    near
}

#[tokio::test(start_paused = true)]
async fn a_message_before_the_gap_is_missed_and_one_after_it_is_not() {
    // The profile's gap after a write is 20 ms.
    for (pause, heard) in [(0, "1.000V"), (15, "1.000V"), (21, "5.000V")] {
        let rig = rig("supply-channel-select", "meter-plain", UNIT, 1);
        let mut near = strict(&rig);
        near.write_all(b"VOLT 1\r\n").await.unwrap();
        rig.clock().sleep(crate::units::Seconds(f64::from(pause) * 1e-3)).await;
        near.write_all(b"VOLT 5\r\n").await.unwrap();
        rig.clock().sleep(crate::units::Seconds(1.0)).await;
        assert_eq!(ask(&mut near, "VOLT?\r\n").await.unwrap().trim_end(), heard, "after {pause} ms");
    }
}

#[tokio::test(start_paused = true)]
async fn a_pulled_cable_is_silence_until_it_is_put_back() {
    let rig = rig("supply-channel-list", "meter-plain", UNIT, 1);
    let mut near = strict(&rig);
    assert!(ask(&mut near, "*OPC?\n").await.is_some());
    rig.unplug(Role::Supply, true);
    assert_eq!(ask(&mut near, "OUTP ON,(@1)\n*OPC?\n").await, None);
    assert!(!rig.supply_state().on);
    rig.unplug(Role::Supply, false);
    assert!(ask(&mut near, "*OPC?\n").await.is_some());
}

#[tokio::test(start_paused = true)]
async fn an_output_that_ignores_off_stays_on_and_says_so() {
    let rig = rig("supply-channel-list", "meter-plain", UNIT, 1);
    let mut near = strict(&rig);
    near.write_all(b"OUTP ON,(@1)\n").await.unwrap();
    rig.clock().sleep(crate::units::Seconds(1.0)).await;
    rig.quirk(Role::Supply, |q| q.ignores_off = u32::MAX);
    near.write_all(b"OUTP OFF,(@1)\n").await.unwrap();
    rig.clock().sleep(crate::units::Seconds(1.0)).await;
    assert_eq!(ask(&mut near, "OUTP? (@1)\n").await.unwrap(), "1\n");
    assert!(rig.supply_state().on);
}

/// Twenty readings of both instruments on the leaking frost alarm.
async fn transcript(seed: u64) -> String {
    let rig = rig("supply-channel-list", "meter-plain", include_str!("../../../scripts/frost-alarm.unit.toml"), seed);
    let mut supply = strict(&rig);
    let (mut meter, far) = tokio::io::duplex(4096);
    let serving = rig.clone();
    tokio::spawn(async move { serve(&serving, Role::Meter, far).await });
    let mut text = String::new();
    for message in ["VOLT 9,(@1)\n", "OUTP ON,(@1)\n"] {
        supply.write_all(message.as_bytes()).await.unwrap();
        rig.clock().sleep(crate::units::Seconds(0.01)).await;
    }
    for _ in 0..20 {
        text.push_str(&ask(&mut meter, "READ?\n").await.unwrap());
        text.push_str(&ask(&mut supply, "MEAS:CURR? (@1)\n").await.unwrap());
        rig.clock().sleep(crate::units::Seconds(0.1)).await;
        text.push_str(&format!("{}\n", rig.now()));
    }
    text
}

#[tokio::test(start_paused = true)]
async fn one_seed_one_transcript_and_another_seed_another() {
    let first = transcript(4).await;
    assert!(first.lines().count() == 60);
    assert_eq!(first, transcript(4).await);
    assert_ne!(first, transcript(5).await);
}
