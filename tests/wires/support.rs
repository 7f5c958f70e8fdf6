//! A run of the binary against `rampart standin`, over real TCP, with a hand on
//! the wire: what passes is noted with its time, and can be cut.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tempfile::TempDir;

/// Longest that anything here may take.
pub const PATIENCE: Duration = Duration::from_secs(60);

pub fn rampart(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rampart"));
    command.args(arguments).current_dir(folder).env_remove("RAMPART_LOG").stdin(Stdio::null());
    command
}

/// Stand-ins on TCP, in a folder of their own.
pub struct StandIn {
    pub folder: TempDir,
    child: Child,
    output: BufReader<ChildStdout>,
}

impl StandIn {
    pub fn start(unit: &str, pace: &str) -> Self {
        Self::start_with(unit, pace, &[])
    }

    pub fn start_with(unit: &str, pace: &str, more: &[&str]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("unit.toml"), unit).unwrap();
        let arguments = ["standin", "--unit", "unit.toml", "--seed", "1", "--pace", pace, "--write", "bench.toml"];
        let mut child = rampart(folder.path(), &[&arguments[..], more].concat())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        output.read_line(&mut line).unwrap();
        assert!(line.starts_with("Stand-ins are ready"), "{line:?}");
        Self { folder, child, output }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn write(&self, name: &str, text: &str) {
        std::fs::write(self.path().join(name), text).unwrap();
    }

    /// Puts a hand on the meter's wire: the bench file leads through it from now on.
    pub fn through_a_hand(&self) -> Hand {
        let bench = std::fs::read_to_string(self.path().join("bench.toml")).unwrap();
        let (before, meter) = bench.split_once("[meter]").unwrap();
        let at = meter.find("TCPIP::127.0.0.1::").unwrap() + "TCPIP::127.0.0.1::".len();
        let port: u16 = meter[at..].split("::").next().unwrap().parse().unwrap();
        let hand = Hand::on(port);
        let meter = meter.replacen(&port.to_string(), &hand.port.to_string(), 1);
        self.write("bench.toml", &format!("{before}[meter]{meter}"));
        hand
    }

    /// What it says of the supply's own state, now.
    pub fn state(&mut self) -> String {
        let mut line = String::new();
        self.child.stdin.as_mut().unwrap().write_all(b"?\n").unwrap();
        self.output.read_line(&mut line).unwrap();
        line
    }

    /// Waits until its output is off, and says how long that took.
    pub fn until_off(&mut self) -> Duration {
        let began = Instant::now();
        while self.state().contains("output 1 ON") {
            assert!(began.elapsed() < PATIENCE, "never off");
            std::thread::yield_now();
        }
        began.elapsed()
    }

    /// Stops it from answering, or lets it go on.
    pub fn signal(&self, number: rustix::process::Signal) {
        signal(&self.child, number);
    }

    /// Ends it; what it says of the supply's own state.
    pub fn end(mut self) -> String {
        signal(&self.child, rustix::process::Signal::INT);
        let mut text = String::new();
        self.output.read_to_string(&mut text).unwrap();
        self.child.wait().unwrap();
        text
    }
}

impl Drop for StandIn {
    fn drop(&mut self) {
        self.child.kill().ok();
        self.child.wait().ok();
    }
}

pub fn signal(child: &Child, signal: rustix::process::Signal) {
    rustix::process::kill_process(rustix::process::Pid::from_child(child), signal).unwrap();
}

/// A wire to the meter that notes what comes from it.
pub struct Hand {
    port: u16,
    inner: Arc<Mutex<Noted>>,
}

#[derive(Default)]
struct Noted {
    lines: Vec<(Instant, String)>,
    wires: Vec<TcpStream>,
    is_cut: bool,
}

impl Hand {
    fn on(port: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let inner = Arc::new(Mutex::new(Noted::default()));
        let hand = Self { port: listener.local_addr().unwrap().port(), inner: inner.clone() };
        std::thread::spawn(move || {
            for near in listener.incoming().map_while(Result::ok) {
                let far = TcpStream::connect(("127.0.0.1", port)).unwrap();
                for stream in [&near, &far] {
                    stream.set_nodelay(true).unwrap();
                }
                let mut noted = inner.lock().unwrap();
                if noted.is_cut {
                    continue;
                }
                noted.wires.extend([near.try_clone().unwrap(), far.try_clone().unwrap()]);
                let (mut to_far, mut from_near) = (far.try_clone().unwrap(), near.try_clone().unwrap());
                std::thread::spawn(move || std::io::copy(&mut from_near, &mut to_far));
                let inner = inner.clone();
                std::thread::spawn(move || note(&far, near, &inner));
            }
        });
        hand
    }

    /// What the meter has answered so far, and when.
    pub fn lines(&self) -> Vec<(Instant, String)> {
        self.inner.lock().unwrap().lines.clone()
    }

    /// Cuts the wire once: who comes back is let through.
    pub fn cut_once(&self) {
        for wire in self.inner.lock().unwrap().wires.drain(..) {
            wire.shutdown(std::net::Shutdown::Both).ok();
        }
    }

    /// Cuts the wire for good.
    pub fn cut(&self) {
        let mut noted = self.inner.lock().unwrap();
        noted.is_cut = true;
        for wire in &noted.wires {
            wire.shutdown(std::net::Shutdown::Both).ok();
        }
    }
}

/// Passes lines on from the meter, and notes them once they are passed on.
fn note(far: &TcpStream, mut near: TcpStream, inner: &Mutex<Noted>) {
    for line in BufReader::new(far).lines().map_while(Result::ok) {
        if near.write_all(format!("{line}\n").as_bytes()).is_err() {
            return;
        }
        inner.lock().unwrap().lines.push((Instant::now(), line));
    }
}

/// A run that is under way.
pub struct Running {
    pub child: Child,
    errors: BufReader<std::process::ChildStderr>,
    pub seen: String,
}

impl Running {
    pub fn start(folder: &Path, arguments: &[&str]) -> Self {
        let mut child = rampart(folder, arguments).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let errors = BufReader::new(child.stderr.take().unwrap());
        Self { child, errors, seen: String::new() }
    }

    /// Waits until it has printed a line with these words.
    pub fn until(&mut self, words: &str) {
        let began = Instant::now();
        loop {
            let from = self.seen.len();
            let read = self.errors.read_line(&mut self.seen).unwrap();
            assert!(read > 0 && began.elapsed() < PATIENCE, "never said {words:?}: {}", self.seen);
            if self.seen[from..].contains(words) {
                return;
            }
        }
    }

    /// Waits for its end: exit code (`None`: killed), output and errors.
    pub fn end(mut self) -> (Option<i32>, String) {
        let mut text = String::new();
        self.errors.read_to_string(&mut self.seen).unwrap();
        self.child.stdout.take().unwrap().read_to_string(&mut text).unwrap();
        let code = self.child.wait().unwrap().code();
        (code, format!("{text}{}", self.seen))
    }
}

/// The folder of the only run.
pub fn only_run(folder: &Path) -> PathBuf {
    let mut runs = std::fs::read_dir(folder.join("logs")).unwrap();
    let run = runs.next().unwrap().unwrap().path();
    assert!(runs.next().is_none(), "one run and no more");
    run
}
