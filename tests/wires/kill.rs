//! SIGKILL at a random moment: the record opens and holds all but the last 100 ms.

use crate::support::{Running, StandIn, only_run, signal};
use crate::texts::unit;
use rampart::record::Run;
use rand::{RngExt, SeedableRng};
use rustix::process::Signal;
use std::time::{Duration, Instant};

const PLAN: &str = r#"title = "Killed"
[unit]
name    = "gate opener"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.2 W" }
[[stage]]
do      = "log"
voltage = "9 V"
limit   = "60 mA"
for     = "10 min"
every   = "20 ms"
"#;

/// What may be missing.
const LOST: Duration = Duration::from_millis(100);

#[test]
fn all_but_the_last_100_ms() {
    let seed = 20_261_125;
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    for round in 0..6 {
        let standin = StandIn::start(&unit(""), "1");
        standin.write("plan.toml", PLAN);
        let hand = standin.through_a_hand();
        let mut run = Running::start(standin.path(), &["run", "plan.toml"]);
        run.until("stage 1/1");
        let moment = Instant::now() + Duration::from_millis(random.random_range(300..1500));
        while Instant::now() < moment {
            std::thread::sleep(moment - Instant::now());
        }
        let killed = Instant::now();
        signal(&run.child, Signal::KILL);
        let (code, text) = run.end();
        assert_eq!(code, None, "{text}");

        // What the meter had answered in time, by whoever stood at the wire.
        let folder = only_run(standin.path());
        let record = Run::open(&folder).unwrap();
        let kept: Vec<f64> = record.readings(1).unwrap().iter().filter(|r| r.role == "meter").filter_map(|r| r.value).collect();
        let answered: Vec<f64> = hand
            .lines()
            .iter()
            .filter(|(at, _)| *at + LOST < killed)
            .filter_map(|(_, line)| line.trim().parse().ok())
            // The range that was read back is no reading of the unit's 12 mA.
            .filter(|value: &f64| *value < 0.05)
            .collect();
        let what = format!("seed {seed}, round {round}: {} kept of {} answered in time", kept.len(), answered.len());
        assert!(answered.len() > 5, "{what}");
        assert!(kept.len() >= answered.len(), "{what}");
        assert_eq!(kept[..answered.len()], answered[..], "{what}");
        outside_witness(&folder.join("run.sqlite"), kept.len());
    }
}

/// The same count from SQLite's own shell, where the machine has it (`tests/all`
/// installs it, or says that it could not).
fn outside_witness(file: &std::path::Path, kept: usize) {
    let query = "PRAGMA integrity_check; SELECT count(*) FROM reading WHERE role = 'meter' AND kind = 'value';";
    if let Ok(said) = std::process::Command::new("sqlite3").arg(file).arg(query).output() {
        assert_eq!(String::from_utf8_lossy(&said.stdout), format!("ok\n{kept}\n"));
    }
}
