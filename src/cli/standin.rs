//! `rampart standin`: stand-in instruments on TCP ports, serial terminals, VXI-11 and HiSLIP.

use super::common::{UNIT, any_seed, refuse, rehearsal_bench, wrong};
use crate::clock::Clock;
use crate::document::Document;
use crate::instrument::Role;
use crate::plan::Bench;
use crate::rehearsal::{Rig, UnitFile, patch, serve_hislip, serve_portmapper, serve_tcp, serve_terminal, serve_vxi11};
use crate::runner::Exit;
use crate::sys::Terminal;
use crate::units::{Amperes, Ohms, parse_as};
use crate::view::{errln, outln};
use std::path::PathBuf;
use tokio::io::{AsyncBufReadExt, BufReader};
use tokio::net::TcpListener;

/// How a stand-in is reached.
#[derive(Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Way {
    /// A TCP port
    Tcp,
    /// A serial terminal
    Serial,
    /// VXI-11
    Vxi11,
    /// HiSLIP
    Hislip,
}

/// Arguments of `standin`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The bench file whose profiles they speak; without it the bench made for rehearsals
    #[arg(long)]
    bench: Option<PathBuf>,
    /// The made-up unit; without it a plain load
    #[arg(long)]
    unit: Option<PathBuf>,
    /// How the supply is reached
    #[arg(long, value_enum, default_value_t = Way::Tcp)]
    supply: Way,
    /// How the meter is reached
    #[arg(long, value_enum, default_value_t = Way::Tcp)]
    meter: Way,
    /// The supply's TCP port; 0 takes any that is free
    #[arg(long, default_value_t = 0)]
    supply_port: u16,
    /// The meter's TCP port; 0 takes any that is free
    #[arg(long, default_value_t = 0)]
    meter_port: u16,
    /// A portmapper for VXI-11 on this port; 111 is the registered one. Without it the address names the port
    #[arg(long)]
    portmapper_port: Option<u16>,
    /// Let bench time run this much faster; give `run` the same
    #[arg(long, default_value_t = 1.0)]
    pace: f64,
    /// One seed, one unit
    #[arg(long)]
    seed: Option<u64>,
    /// A known load that can be connected, for a plan's self-check
    #[arg(long, value_parser = ohms)]
    load: Option<Ohms>,
    /// Write the bench file to connect with here, instead of printing it
    #[arg(long)]
    write: Option<PathBuf>,
}

/// What a plan calls it that gives it no other name.
const KNOWN_LOAD: &str = "known load";

fn ohms(text: &str) -> Result<Ohms, String> {
    match parse_as(text, Ohms::UNIT) {
        Ok(value) if value > 0.0 => Ok(Ohms(value)),
        Ok(_) => Err("a load is above zero".into()),
        Err(error) => Err(error.to_string()),
    }
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let bench = match rehearsal_bench(arguments.bench.as_deref()) {
        Ok(bench) => bench,
        Err(problems) => return wrong(&problems),
    };
    let unit = match &arguments.unit {
        Some(path) => match Document::open(path).and_then(|d| UnitFile::read(&d)) {
            Ok(unit) => unit,
            Err(problems) => return wrong(&problems),
        },
        None => UnitFile::plain(Amperes(0.012)),
    };
    let runtime = match tokio::runtime::Builder::new_current_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => return refuse(&error.to_string()),
    };
    let result = runtime.block_on(stand_in(arguments, &bench, &unit));
    runtime.shutdown_background();
    match result {
        Ok(()) => Exit::Within,
        Err(why) => refuse(&why),
    }
}

async fn stand_in(arguments: &Arguments, bench: &Bench, unit: &UnitFile) -> Result<(), String> {
    let seed = arguments.seed.unwrap_or_else(any_seed);
    let rig = Rig::build(bench, unit, UNIT, seed, Clock::start(arguments.pace))?;
    if let Some(load) = arguments.load {
        rig.add_load(KNOWN_LOAD, load);
    }
    let supply = start(&rig, Role::Supply, arguments.supply, arguments.supply_port, arguments.portmapper_port).await?;
    let meter = match &bench.meter {
        Some(_) => Some(start(&rig, Role::Meter, arguments.meter, arguments.meter_port, arguments.portmapper_port).await?),
        None => None,
    };
    let listener = TcpListener::bind("127.0.0.1:0").await.map_err(|e| e.to_string())?;
    let panel = listener.local_addr().map_err(|e| e.to_string())?.to_string();
    tokio::spawn(patch(rig.clone(), listener));
    let text = bench_text(bench, &supply, meter.as_deref(), &panel);
    match &arguments.write {
        Some(path) => {
            std::fs::write(path, &text).map_err(|e| format!("{}: {e}", path.display()))?;
            outln!("Stand-ins are ready; the bench file to connect with: {}", path.display());
        }
        None => outln!("{text}"),
    }
    errln!("Seed {seed}. Typed here, the name of a part, or `unit`, connects it; `?` asks for the state; Ctrl-C ends.");
    tokio::select! {
        stop = crate::sys::stop_signal() => stop.map_err(|e| e.to_string())?,
        never = hands(&rig) => match never {},
        why = rig.failed() => return Err(why),
    };
    outln!("{}", state(&rig));
    Ok(())
}

/// The supply's own state, in a line.
fn state(rig: &Rig) -> String {
    let state = rig.supply_state();
    let outputs: Vec<String> =
        state.outputs.iter().zip(1..).map(|(on, n)| format!("output {n} {}", if *on { "ON" } else { "off" })).collect();
    let times = state.switches.iter().filter(|s| s.on).count();
    format!(
        "The supply: {}; switched on {times} times; {:.3} V at the unit; connected: {}",
        outputs.join(", "),
        state.unit.0,
        state.connected
    )
}

/// Connects what is typed; never ends, also when nothing more can be typed.
async fn hands(rig: &Rig) -> std::convert::Infallible {
    if crate::sys::nobody_types() {
        return std::future::pending().await;
    }
    let mut lines = BufReader::new(tokio::io::stdin()).lines();
    while let Ok(Some(line)) = lines.next_line().await {
        if line.trim() == "?" {
            outln!("{}", state(rig));
            continue;
        }
        match rig.connect(line.trim()) {
            Ok(()) => errln!("connected: {}", line.trim()),
            Err(why) => errln!("{why}"),
        }
    }
    std::future::pending().await
}

/// Listens on a port of this machine, any where it is 0.
async fn listen(port: u16) -> Result<(TcpListener, u16), String> {
    let failed = |error: std::io::Error| format!("port {port}: {error}");
    let listener = TcpListener::bind(("127.0.0.1", port)).await.map_err(failed)?;
    let port = listener.local_addr().map_err(failed)?.port();
    Ok((listener, port))
}

/// Starts one stand-in and returns its address.
async fn start(rig: &Rig, role: Role, way: Way, port: u16, portmapper: Option<u16>) -> Result<String, String> {
    let rig = rig.clone();
    match way {
        Way::Tcp => {
            let (listener, port) = listen(port).await?;
            tokio::spawn(serve_tcp(rig, role, listener));
            Ok(format!("TCPIP::127.0.0.1::{port}::SOCKET"))
        }
        Way::Hislip => {
            let (listener, port) = listen(port).await?;
            tokio::spawn(serve_hislip(rig, role, listener));
            Ok(format!("TCPIP::127.0.0.1::hislip0,{port}::INSTR"))
        }
        Way::Vxi11 => {
            let (core, port) = listen(port).await?;
            let (abort, _) = listen(0).await?;
            tokio::spawn(serve_vxi11(rig, role, core, abort));
            let Some(mapper) = portmapper else { return Ok(format!("TCPIP::127.0.0.1::inst0,{port}::INSTR")) };
            let (mapper, at) = listen(mapper).await?;
            tokio::spawn(serve_portmapper(mapper, port));
            // Who asks a portmapper asks the registered one.
            Ok(if at == 111 { "TCPIP::127.0.0.1::inst0::INSTR".into() } else { format!("TCPIP::127.0.0.1::inst0,{port}::INSTR") })
        }
        Way::Serial => {
            let terminal = Terminal::open().map_err(|e| e.to_string())?;
            let address = format!("ASRL{}::INSTR", terminal.path());
            tokio::spawn(serve_terminal(rig, role, terminal));
            Ok(address)
        }
    }
}

/// The bench file to connect with: the same bench, with addresses.
fn bench_text(bench: &Bench, supply: &str, meter: Option<&str>, panel: &str) -> String {
    let mut text = String::from("# Stand-in instruments: nothing real is at these addresses.\n");
    let profile = |name: &str, document: &Document| {
        if std::path::Path::new(&document.name).is_file() { document.name.clone() } else { name.to_owned() }
    };
    let seat = &bench.supply;
    text.push_str(&format!(
        "\n[supply]\naddress = {supply:?}\nprofile = {:?}\nchannel = {}\n",
        profile(&seat.profile.name, &seat.profile.document),
        seat.channel
    ));
    if let Some(serial) = &seat.serial {
        text.push_str(&format!("serial = {serial:?}\n"));
    }
    if let (Some(seat), Some(address)) = (&bench.meter, meter) {
        let wired = match seat.wired {
            crate::plan::Wiring::InSeries => "in series",
            crate::plan::Wiring::Across => "across",
        };
        text.push_str(&format!(
            "\n[meter]\naddress = {address:?}\nprofile = {:?}\nwired = {wired:?}\n",
            profile(&seat.profile.name, &seat.profile.document)
        ));
        if let Some(terminal) = &seat.terminal {
            text.push_str(&format!("terminal = {terminal:?}\n"));
        }
        if let Some(serial) = &seat.serial {
            text.push_str(&format!("serial = {serial:?}\n"));
        }
    }
    text.push_str(&format!("\n[leads]\nresistance = \"{}\"\n\n[patch]\naddress = {panel:?}\n", bench.leads.resistance));
    text
}
