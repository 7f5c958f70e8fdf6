//! A client that knows bytes and nothing else, and the stand-ins that it talks to:
//! the binary, on ports of its own choice.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use tempfile::TempDir;

/// Longest that an answer may take; none of them takes a hundredth of it.
const PATIENCE: Duration = Duration::from_secs(20);

/// `rampart standin` with a supply and a meter, each on a TCP port.
pub struct StandIns {
    child: Child,
    /// Ports of the supply and of the meter.
    ports: (u16, u16),
    _folder: TempDir,
}

impl StandIns {
    /// With the bench made for rehearsals.
    pub fn start() -> Self {
        Self::with_bench(include_str!("../../scripts/bench-rehearsal.toml"))
    }

    pub fn with_bench(bench: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("mine.toml"), bench).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_rampart"))
            .args(["standin", "--bench", "mine.toml", "--seed", "1", "--write", "bench.toml"])
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
        let mut ports = bench.split("TCPIP::127.0.0.1::").skip(1).map(|rest| rest.split("::").next().unwrap().parse().unwrap());
        let ports = (ports.next().unwrap(), ports.next().unwrap());
        Self { child, ports, _folder: folder }
    }

    pub fn supply(&self) -> Client {
        Client::new(self.ports.0, "\n")
    }

    pub fn meter(&self) -> Client {
        Client::new(self.ports.1, "\n")
    }
}

impl Drop for StandIns {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

/// One connection.
pub struct Client {
    stream: TcpStream,
    end: &'static str,
}

impl Client {
    fn new(port: u16, end: &'static str) -> Self {
        let stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
        stream.set_nodelay(true).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        Self { stream, end }
    }

    /// With another end of its messages, and of the answers.
    pub fn ending(mut self, end: &'static str) -> Self {
        self.end = end;
        self
    }

    /// Sends these bytes, in one write.
    pub fn send(&mut self, bytes: &[u8]) {
        self.stream.write_all(bytes).unwrap();
    }

    /// The next line, with its end taken off, which has to be there.
    pub fn line(&mut self) -> String {
        let mut bytes = Vec::new();
        while !bytes.ends_with(self.end.as_bytes()) {
            let mut byte = [0];
            let read = self.stream.read(&mut byte);
            assert!(matches!(read, Ok(1)), "no end of line after {:?}: {read:?}", String::from_utf8_lossy(&bytes));
            bytes.push(byte[0]);
        }
        String::from_utf8(bytes).unwrap().strip_suffix(self.end).unwrap().to_owned()
    }

    /// So many bytes, whatever they are, which have to come.
    pub fn bytes(&mut self, count: usize) -> Vec<u8> {
        let mut bytes = vec![0; count];
        self.stream.read_exact(&mut bytes).unwrap();
        bytes
    }

    /// Sends a message and reads the line that answers it.
    pub fn ask(&mut self, message: &str) -> String {
        self.send(format!("{message}{}", self.end).as_bytes());
        self.line()
    }

    /// Sends a message that nothing answers.
    pub fn tell(&mut self, message: &str) {
        self.send(format!("{message}{}", self.end).as_bytes());
    }

    /// Says that nothing more will be sent, and reads what still comes.
    pub fn end(mut self) -> String {
        self.stream.shutdown(std::net::Shutdown::Write).unwrap();
        let mut text = String::new();
        self.stream.read_to_string(&mut text).unwrap();
        text
    }
}

/// Messages and what each is answered with; `""`: nothing. Where the values come from
/// stands in front.
pub type Case<'c> = (&'c str, &'c [(&'c str, &'c str)]);

/// Brings an instrument to where every case begins: nothing enabled, nothing pending.
const FRESH: &str = "*RST;*CLS;STAT:PRES;*ESE 0;*SRE 0";

/// Each case on a fresh instrument. That nothing answered a message is seen at the next
/// question, whose answer stands first in what arrives then.
pub fn holds(client: &mut Client, cases: &[Case<'_>]) {
    for (source, exchange) in cases {
        client.tell(FRESH);
        for (sent, expected) in *exchange {
            if expected.is_empty() {
                client.tell(sent);
            } else {
                let came = client.ask(sent);
                assert_eq!(came, *expected, "{source}: after {sent:?} of {exchange:?}");
            }
        }
        assert_eq!(client.ask("*OPC?"), "1", "{source}: something answered in {exchange:?}");
    }
}

/// Messages, each with the one error that it leaves behind and the event bits that go with it.
pub fn refused(client: &mut Client, source: &str, rows: &[(&str, &str, &str)]) {
    for (sent, error, events) in rows {
        client.tell(FRESH);
        client.tell(sent);
        assert_eq!(client.ask("SYST:ERR?"), *error, "{source}: {sent:?}");
        assert_eq!(client.ask("SYST:ERR?"), "0,\"No error\"", "{source}: {sent:?} leaves more than one error");
        assert_eq!(client.ask("*ESR?"), *events, "{source}: {sent:?}");
    }
}
