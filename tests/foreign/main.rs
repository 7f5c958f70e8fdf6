//! The binary drives instruments of another code base, in dialects that are not
//! shipped: two profiles as TOML, and nothing compiled.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test that cannot go on stops")]

mod instruments;

use instruments::{Bench, start};
use rampart::record::Run;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use tempfile::TempDir;

const PLAN: &str = r#"title = "Vent relay"

[unit]
name    = "greenhouse vent relay"
ceiling = { voltage = "8 V", current = "60 mA", power = "0.5 W" }

[[stage]]
do     = "ramp"
to     = "5.6 V"
rate   = "8 V/s"
step   = "0.7 V"
hold   = "300 ms"
limit  = "30 mA"
expect = { current = ["9 mA", "11 mA"] }

[[stage]]
do      = "start"
voltage = "5.6 V"
limit   = { starting = "50 mA", running = "30 mA", after = "200 ms" }
times   = 4
off     = "200 ms"
watch   = "500 ms"
states  = { running = ["9 mA", "11 mA"] }
"#;

struct Place {
    folder: TempDir,
    bench: Arc<Mutex<Bench>>,
}

impl Place {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let bench = Bench::new();
        let (supply, meter) = start(&bench);
        let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
        write("vent-supply.toml", include_str!("supply.toml"));
        write("vent-meter.toml", include_str!("meter.toml"));
        write("plan.toml", PLAN);
        write(
            "bench.toml",
            &format!(
                "[supply]\naddress = \"TCPIP::127.0.0.1::{supply}::SOCKET\"\nprofile = \"vent-supply.toml\"\nchannel = 2\nserial = \"G-17\"\nlooked_at = [\"channel coupling\", \"power-on state\", \"remote sense\"]\n\
                 [meter]\naddress = \"TCPIP::127.0.0.1::{meter}::SOCKET\"\nprofile = \"vent-meter.toml\"\nwired = \"in series\"\n"
            ),
        );
        Self { folder, bench }
    }

    fn start(&self) -> Child {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rampart"));
        command.args(["run", "plan.toml"]).current_dir(self.folder.path());
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
    }

    /// Exit code and everything that was said.
    fn end(child: Child) -> (Option<i32>, String) {
        let said = child.wait_with_output().unwrap();
        (said.status.code(), String::from_utf8_lossy(&said.stdout).into_owned() + &String::from_utf8_lossy(&said.stderr))
    }

    fn run(&self) -> (Option<i32>, String) {
        Self::end(self.start())
    }

    fn record(&self) -> (Run, PathBuf) {
        let folder = std::fs::read_dir(self.folder.path().join("logs")).unwrap().next().unwrap().unwrap().path();
        (Run::open(&folder).unwrap(), folder)
    }

    /// What is read of the unit is what its 560 ohm (and the shunt) draw, and nothing else.
    fn is_true(&self) {
        let (record, _) = self.record();
        for reading in (1..=2).flat_map(|stage| record.readings(stage).unwrap()) {
            let Some(value) = reading.value else { continue };
            let most = if reading.measurand == "voltage" { 5.62 } else { 0.0101 };
            assert!((0.0..=most).contains(&value), "{reading:?}");
        }
    }
}

#[test]
fn a_good_unit() {
    let place = Place::new();
    let (code, text) = place.run();
    assert_eq!(code, Some(0), "{text}");
    let (record, folder) = place.record();
    assert_eq!(record.starts(2).unwrap().iter().filter(|s| s.counts == "good").count(), 4, "{text}");
    assert!(folder.join("report.html").exists());
    assert!(record.instruments().unwrap()[0].identity.as_deref().unwrap().contains("G-17"));
    place.is_true();
    let bench = place.bench.lock().unwrap();
    assert!(!bench.is_live());
    assert_eq!(bench.times_live, 5, "a ramp and four starts");
    assert!(bench.levels.iter().all(|v| *v <= 5.6), "{:?}", bench.levels);
    assert!(bench.ceilings.iter().all(|i| *i <= 0.05), "{:?}", bench.ceilings);
}

#[test]
fn a_unit_that_breaks_down() {
    let place = Place::new();
    place.bench.lock().unwrap().breaks_at = Some(3);
    let (code, text) = place.run();
    assert_eq!(code, Some(3), "{text}");
    assert!(text.contains("time in limiting"), "{text}");
    let bench = place.bench.lock().unwrap();
    assert!(!bench.is_live());
    assert_eq!(bench.times_live, 3, "never again after the trip");
}

#[test]
fn a_meter_whose_cable_is_pulled_in_a_start() {
    let place = Place::new();
    let child = place.start();
    let mut child = child;
    while place.bench.lock().unwrap().times_live < 3 {
        assert!(child.try_wait().unwrap().is_none(), "{:?}", Place::end(child));
        std::thread::yield_now();
    }
    place.bench.lock().unwrap().cut_meter();
    let (code, text) = Place::end(child);
    // It is there again at the first try: the start in hand is void, and one of four is many.
    assert_eq!(code, Some(5), "{text}");
    assert!(text.contains("the link is there again") && text.contains("Output off, verified"), "{text}");
    assert!(!place.bench.lock().unwrap().is_live());
    let starts = place.record().0.starts(2).unwrap();
    assert_eq!(starts.iter().map(|s| s.counts.as_str()).collect::<Vec<_>>(), ["good", "void", "good", "good"]);
}

#[test]
fn an_answer_that_comes_late_is_not_taken_for_the_next() {
    for late in [25, 60, 61, 62, 200] {
        let place = Place::new();
        place.bench.lock().unwrap().late = Some(late);
        let (code, text) = place.run();
        assert!(matches!(code, Some(0 | 4)), "answer {late}: {text}");
        assert!(text.contains("Output off, verified"), "answer {late}: {text}");
        assert!(!place.bench.lock().unwrap().is_live(), "answer {late}");
        place.is_true();
    }
}

#[test]
fn another_instrument_at_the_address_is_refused() {
    let place = Place::new();
    let path = place.folder.path().join("bench.toml");
    let text = std::fs::read_to_string(&path).unwrap().replace("G-17", "G-19");
    std::fs::write(path, text).unwrap();
    let (code, said) = place.run();
    assert_eq!(code, Some(4), "{said}");
    assert!(said.contains("G-19") && said.contains("G-17"), "{said}");
    assert_eq!(place.bench.lock().unwrap().times_live, 0);
}
