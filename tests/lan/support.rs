//! A stand-in of the binary, and links to it.

use rampart::link::serial::Line;
use rampart::link::{Address, Framing, Link, LinkError, ReceiveEnd};
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;
use tokio::time::Instant;

/// Longest that anything may take; nothing takes a hundredth of it.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// A supply over HiSLIP and a meter over VXI-11, a hundred times as fast as real ones.
pub struct StandIns {
    child: Child,
    pub supply: String,
    pub meter: String,
    _folder: TempDir,
}

impl StandIns {
    pub fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_rampart"))
            .args(["standin", "--supply", "hislip", "--meter", "vxi11", "--seed", "1", "--pace", "100", "--write", "bench.toml"])
            .current_dir(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        assert!(line.starts_with("Stand-ins are ready"), "{line:?}");
        let bench = std::fs::read_to_string(folder.path().join("bench.toml")).unwrap();
        let mut addresses = bench
            .lines()
            .filter_map(|l| l.strip_prefix("address = \"TCPIP"))
            .map(|l| format!("TCPIP{}", l.trim_end_matches('"')));
        let (supply, meter) = (addresses.next().unwrap(), addresses.next().unwrap());
        Self { child, supply, meter, _folder: folder }
    }

    /// The port in an address: `…::inst0,1234::INSTR`.
    pub fn port(address: &str) -> u16 {
        address.split(',').nth(1).unwrap().split("::").next().unwrap().parse().unwrap()
    }
}

impl Drop for StandIns {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// Opens a link with line feeds.
pub async fn open(address: &str) -> Result<Box<dyn Link>, LinkError> {
    let end = ReceiveEnd::Bytes { end: b"\n".to_vec(), scan: rampart::scpi::message_end };
    let framing = Framing { send_end: b"\n".to_vec(), receive_end: end, longest: 1 << 20 };
    rampart::link::open(&address.parse::<Address>()?, &Line::default(), framing, deadline()).await
}

pub fn deadline() -> Instant {
    Instant::now() + PATIENCE
}

pub async fn ask(link: &mut Box<dyn Link>, question: &str) -> String {
    link.send(question.as_bytes(), deadline()).await.unwrap();
    String::from_utf8(link.receive(deadline()).await.unwrap()).unwrap()
}

pub async fn say(link: &mut Box<dyn Link>, order: &str) {
    link.send(order.as_bytes(), deadline()).await.unwrap();
}
