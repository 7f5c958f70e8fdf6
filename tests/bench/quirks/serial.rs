//! Rows 46 to 48: the settings of a serial line, its handshake, its control lines.
//!
//! Over pseudo-terminals, whose device looks at what the program has set; over a port of the
//! test's own where a pseudo-terminal has no such lines. Data bits and parity cannot be shown:
//! a pseudo-terminal keeps eight and none, whatever is set.

use super::*;
use rampart::clock::Clock;
use rampart::document::Document;
use rampart::instrument::Role;
use rampart::instrument::profile::find;
use rampart::instrument::session::{Session, framing};
use rampart::interlock::{open_supply, reach};
use rampart::link::serial::{ControlLines, Flow, Level, Line, over};
use rampart::link::trace::{Direction, TrafficSink};
use rampart::link::{Address, LinkError, open};
use rampart::plan::Bench;
use rampart::rehearsal::{Rig, UnitFile, serve, serve_terminal};
use rampart::sys::Terminal;
use rampart::units::Seconds;
use std::io;
use std::path::Path;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite, AsyncWriteExt, DuplexStream, ReadBuf};
use tokio::time::Instant;

struct Deaf;

impl TrafficSink for Deaf {
    fn message(&self, _: Direction, _: &[u8]) {}
}

fn bench(more: &str) -> Bench {
    let text = format!("[supply]\nprofile = {ACKNOWLEDGED:?}\nstandin = {{ minds_line = true }}\n{more}");
    Bench::read(&Document::new("bench.toml", text)).unwrap_or_else(|p| panic!("{p}"))
}

fn rig(bench: &Bench) -> Rig {
    let file = UnitFile::read(&Document::new("unit.toml", unit(""))).unwrap_or_else(|p| panic!("{p}"));
    Rig::build(bench, &file, "unit", 1, Clock::start(1.0)).unwrap()
}

fn on_the_wall<F: Future>(work: F) -> F::Output {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(work)
}

/// Opens the supply at a terminal whose device wants 9600 baud and two stop bits.
async fn opened(line: &str) -> Result<(), String> {
    let bench = bench(line);
    let terminal = Terminal::open().unwrap();
    let address = format!("ASRL{}::INSTR", terminal.path());
    let rig = rig(&bench);
    tokio::spawn(serve_terminal(rig.clone(), Role::Supply, terminal));
    let clock = Clock::start(1.0);
    let mut seat = bench.supply.clone();
    seat.address = Some(address.clone());
    // Nobody need wait for as long as a real one may take.
    seat.profile.wire.timeout = Seconds(0.3);
    let link = reach(Some(&address), &seat.line, &seat.profile, clock).await.map_err(|e| e.to_string())?;
    let opened = open_supply(link, &seat, clock, Arc::new(Deaf)).await.map_err(|e| e.to_string());
    assert!(!rig.supply_state().switches.iter().any(|s| s.on));
    opened.map(|_| ())
}

/// Row 46.
#[test]
fn a_line_that_is_set_as_the_device_is_is_heard_and_another_is_told_with_its_settings() {
    on_the_wall(async {
        opened("").await.unwrap();
        for (line, said) in [
            ("line = { baud = 19200 }", "19200 baud, 8 data bits, no parity, stop bits 2"),
            ("line = { stop_bits = 1 }", "9600 baud, 8 data bits, no parity, stop bits 1"),
            ("line = { flow = \"hardware\" }", "RTS/CTS"),
        ] {
            let why = opened(line).await.unwrap_err();
            assert!(why.contains("no answer") && why.contains(said) && why.contains("own settings"), "{line}: {why}");
        }
    });
}

/// Row 47: the far end says stop, and nothing more can be written. It must not be waited for
/// for ever, and what was not sent is an error; when it says go on, it goes on.
#[test]
fn a_write_that_the_far_end_has_stopped_ends_at_its_deadline() {
    const STOP: &[u8] = b"\x13";
    const GO: &[u8] = b"\x11";
    on_the_wall(async {
        let mut terminal = Terminal::open().unwrap();
        let address: Address = format!("ASRL{}::INSTR", terminal.path()).parse().unwrap();
        let profile = find(ACKNOWLEDGED, Path::new("")).unwrap();
        let line = Line { flow: Flow::Software, ..Line::default() };
        let soon = || Instant::now() + Duration::from_millis(300);
        let mut link = open(&address, &line, framing(&profile.wire), soon()).await.unwrap();
        let mut heard = [0; 6];
        // Until the system has seen the stop every message goes through, and is taken here.
        terminal.write_all(STOP).await.unwrap();
        let mut refused = Ok(());
        for _ in 0..100_000 {
            refused = link.send(b"VSET?", soon()).await;
            if refused.is_err() {
                break;
            }
            terminal.read_exact(&mut heard).await.unwrap();
            assert_eq!(&heard, b"VSET?\r");
        }
        assert!(matches!(refused, Err(LinkError::Timeout { .. })), "{refused:?}");
        terminal.write_all(GO).await.unwrap();
        let mut went = false;
        for _ in 0..50 {
            went = link.send(b"VSET?", soon()).await.is_ok();
            if went {
                break;
            }
        }
        assert!(went, "it does not go on");
        terminal.read_exact(&mut heard).await.unwrap();
    });
}

/// A port of a test: what its control lines are at is what feeds the device's interface.
struct Port {
    near: DuplexStream,
    dtr: Arc<AtomicBool>,
    rts: Arc<AtomicBool>,
}

impl ControlLines for Port {
    fn set_dtr(&mut self, high: bool) -> io::Result<()> {
        self.dtr.store(high, Ordering::Relaxed);
        Ok(())
    }
    fn set_rts(&mut self, high: bool) -> io::Result<()> {
        self.rts.store(high, Ordering::Relaxed);
        Ok(())
    }
}

impl Port {
    /// An isolated interface lives from the current between the two.
    fn is_fed(&self) -> bool {
        self.dtr.load(Ordering::Relaxed) && !self.rts.load(Ordering::Relaxed)
    }
}

impl AsyncRead for Port {
    fn poll_read(mut self: Pin<&mut Self>, context: &mut Context<'_>, buffer: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.near).poll_read(context, buffer)
    }
}

impl AsyncWrite for Port {
    fn poll_write(mut self: Pin<&mut Self>, context: &mut Context<'_>, data: &[u8]) -> Poll<io::Result<usize>> {
        if !self.is_fed() {
            return Poll::Ready(Ok(data.len()));
        }
        Pin::new(&mut self.near).poll_write(context, data)
    }
    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.near).poll_flush(context)
    }
    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.near).poll_shutdown(context)
    }
}

/// Row 48.
#[tokio::test(start_paused = true)]
async fn an_interface_that_is_fed_from_the_line_answers_at_the_right_levels_alone() {
    let bench = bench("");
    let rig = rig(&bench);
    let profile = &bench.supply.profile;
    for (dtr, rts, answers) in [
        // As the profile has it.
        (Level::High, Level::Low, true),
        (Level::High, Level::High, false),
        (Level::Low, Level::Low, false),
        (Level::Leave, Level::Leave, false),
    ] {
        let (near, far) = tokio::io::duplex(1024);
        let serving = rig.clone();
        tokio::spawn(async move { serve(&serving, Role::Supply, far).await });
        // Opening has raised both, as systems do.
        let level = || Arc::new(AtomicBool::new(true));
        let port = Port { near, dtr: level(), rts: level() };
        let line = Line { dtr, rts, ..profile.wire.line.clone() };
        let link = over(port, &line, framing(&profile.wire)).unwrap();
        let mut session = Session::new(Box::new(link), profile, Clock::start(1.0));
        let greeted = session.greet(&profile.remote, None).await;
        assert_eq!(greeted.is_ok(), answers, "{dtr:?} {rts:?}: {greeted:?}");
    }
    assert_eq!((profile.wire.line.dtr, profile.wire.line.rts), (Level::High, Level::Low));
}
