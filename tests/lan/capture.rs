//! Ten thousand messages of each protocol on loopback, listened to by tshark: nothing
//! is malformed, and its fields are those that were meant.

use crate::support::{StandIns, ask, deadline, open, say};
use rampart::link::{Link, Locked};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::net::UdpSocket;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

/// A tshark that writes what passes on loopback.
struct Listener {
    child: Child,
    seen: BufReader<std::process::ChildStdout>,
    mark: UdpSocket,
    folder: tempfile::TempDir,
}

impl Listener {
    /// Listens to `port`; `None`, loudly, where there is no tshark or it may not listen.
    fn start(port: u16) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mark = UdpSocket::bind("127.0.0.1:0").unwrap();
        let at = mark.local_addr().unwrap().port();
        let child = Command::new("tshark")
            .args(["-n", "-l", "-P", "-i", "lo", "-B", "64", "-w", "seen.pcapng", "-f"])
            .arg(format!("tcp port {port} or udp port {at}"))
            .args(["-T", "fields", "-e", "udp.dstport"])
            .current_dir(folder.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn();
        let Ok(mut child) = child else {
            eprintln!("NOT CHECKED: frames by tshark (it is not installed)");
            return None;
        };
        let mut seen = BufReader::new(child.stdout.take().unwrap());
        // It listens once it has seen the mark; until then the mark is sent again.
        let (shown, heard) = std::sync::mpsc::channel();
        let waits = std::thread::spawn(move || {
            let mut line = String::new();
            let found = seen.read_line(&mut line).is_ok_and(|n| n > 0);
            shown.send(found).ok();
            seen
        });
        let found = loop {
            mark.send_to(b"mark", ("127.0.0.1", at)).unwrap();
            match heard.recv_timeout(Duration::from_millis(100)) {
                Err(std::sync::mpsc::RecvTimeoutError::Timeout) => {}
                other => break other.unwrap_or(false),
            }
        };
        seen = waits.join().unwrap();
        if !found {
            child.wait().ok();
            eprintln!("NOT CHECKED: frames by tshark (it may not listen on loopback)");
            return None;
        }
        Some(Self { child, seen, mark, folder })
    }

    /// Ends it when all that was sent before is in the file; the file's folder.
    fn end(mut self) -> tempfile::TempDir {
        // A mark of another length: the first kind may be under way still.
        let at = self.mark.local_addr().unwrap().port();
        let last = UdpSocket::bind("127.0.0.1:0").unwrap();
        let to = last.local_addr().unwrap().port();
        self.mark.send_to(b"end", ("127.0.0.1", to)).unwrap();
        self.mark.send_to(b"end", ("127.0.0.1", at)).unwrap();
        let end = to.to_string();
        let mut line = String::new();
        while self.seen.read_line(&mut line).unwrap() > 0 && line.trim() != end {
            line.clear();
        }
        rustix::process::kill_process(rustix::process::Pid::from_child(&self.child), rustix::process::Signal::INT).unwrap();
        self.child.wait().unwrap();
        self.folder
    }
}

/// What tshark makes of a capture: these fields of each frame that the filter lets through.
fn dissect(folder: &Path, port: u16, protocol: &str, filter: &str, fields: &[&str]) -> Vec<Vec<String>> {
    let mut command = Command::new("tshark");
    command.args(["-n", "-r", "seen.pcapng", "-d", &format!("tcp.port=={port},{protocol}"), "-Y", filter, "-T", "fields"]);
    command.args(["-E", "occurrence=a", "-E", "aggregator=,"]);
    for field in fields {
        command.args(["-e", field]);
    }
    let said = command.current_dir(folder).output().unwrap();
    assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
    let text = String::from_utf8_lossy(&said.stdout).into_owned();
    text.lines().map(|l| l.split('\t').map(str::to_owned).collect()).collect()
}

fn count(rows: &[Vec<String>], field: usize) -> BTreeMap<String, usize> {
    let mut counts = BTreeMap::new();
    for value in rows.iter().flat_map(|row| row[field].split(',').filter(|v| !v.is_empty())) {
        *counts.entry(value.to_owned()).or_default() += 1;
    }
    counts
}

/// Questions, orders, clears, locks, status bytes, long messages: so many messages.
async fn converse(address: &str, messages: usize) {
    let mut link = open(address).await.unwrap();
    let long = format!("{}SYST:VERS?", " ".repeat(1500));
    for number in 0..messages / 2 {
        match number % 500 {
            100 => assert!(link.clear(deadline()).await.unwrap()),
            200 => {
                assert_eq!(link.lock(Duration::ZERO, deadline()).await.unwrap(), Locked::Yes);
                assert_eq!(link.unlock(deadline()).await.unwrap(), Locked::Yes);
            }
            300 => assert!(link.status_byte(deadline()).await.unwrap().is_some()),
            400 => assert_eq!(ask(&mut link, &long).await, "1999.0"),
            450 => {
                say(&mut link, "*IDN?").await;
                assert_eq!(ask(&mut link, "SYST:VERS?").await, "1999.0");
            }
            _ => {
                assert_eq!(ask(&mut link, "SYST:VERS?").await, "1999.0");
            }
        }
    }
    drop::<Box<dyn Link>>(link);
}

#[tokio::test]
async fn nothing_is_malformed_in_ten_thousand_hislip_messages() {
    let stand_ins = StandIns::start();
    let port = StandIns::port(&stand_ins.supply);
    let listener = Listener::start(port);
    converse(&stand_ins.supply, 10_000).await;
    let Some(listener) = listener else { return };
    let folder = listener.end();
    let bad = dissect(folder.path(), port, "hislip", "_ws.malformed || hislip.wrongprologue", &["frame.number"]);
    assert_eq!(bad, Vec::<Vec<String>>::new());
    let rows =
        dissect(folder.path(), port, "hislip", "hislip", &["hislip.messagetype", "hislip.data", "hislip.msgpara.messageid"]);
    let kinds = count(&rows, 0);
    let of = |number: u8| kinds.get(&format!("0x{number:02x}")).copied().unwrap_or(0);
    // Initialize, its answer, and both of the second connection; sizes.
    assert_eq!([of(0), of(1), of(17), of(18), of(15), of(16)], [1; 6], "{kinds:?}");
    // Device clear: four messages, ten times; locks and releases; status bytes.
    assert_eq!([of(19), of(23), of(8), of(9)], [10; 4], "{kinds:?}");
    assert_eq!([of(4), of(5), of(21), of(22)], [20, 20, 10, 10], "{kinds:?}");
    // Questions and answers: 10,000 but for what is counted above; long ones came in two.
    assert!(of(7) >= 9_900, "{kinds:?}");
    assert_eq!(of(6), 10, "{kinds:?}");
    let sent = rows.iter().filter(|row| row[1].contains("SYST:VERS?")).count();
    assert!(sent >= 4_900, "{sent}");
    assert!(rows.iter().any(|row| row[2].contains("0xffffff00")), "the first message's number (IVI-6.1)");
}

#[tokio::test]
async fn nothing_is_malformed_in_ten_thousand_vxi11_messages() {
    let stand_ins = StandIns::start();
    let port = StandIns::port(&stand_ins.meter);
    let listener = Listener::start(port);
    converse(&stand_ins.meter, 10_000).await;
    let Some(listener) = listener else { return };
    let folder = listener.end();
    let bad = dissect(folder.path(), port, "rpc", "_ws.malformed", &["frame.number"]);
    assert_eq!(bad, Vec::<Vec<String>>::new());
    let calls = "vxi11_core && rpc.msgtyp == 0";
    let rows =
        dissect(folder.path(), port, "rpc", calls, &["vxi11_core.procedure_v1", "vxi11_core.device", "vxi11_core.flags.end"]);
    let procedures = count(&rows, 0);
    let of = |number: u32| procedures.get(&number.to_string()).copied().unwrap_or(0);
    // VXI-11, B.6: create_link, readstb, clear, lock, unlock, destroy_link.
    assert_eq!([of(10), of(13), of(15), of(18), of(19), of(23)], [1, 10, 10, 10, 10, 1], "{procedures:?}");
    // Long questions went in two writes; each question was read once.
    assert!(of(11) >= 4_970 && of(12) >= 4_950, "{procedures:?}");
    assert!(rows.iter().any(|row| row[1] == "inst0"));
    let errors = dissect(folder.path(), port, "rpc", "vxi11_core && rpc.msgtyp == 1", &["vxi11_core.error"]);
    assert_eq!(count(&errors, 0).keys().collect::<Vec<_>>(), ["0"]);
}
