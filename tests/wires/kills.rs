//! SIGKILL at random moments, of a plan with every kind of stage: the output is off
//! within a second, the record opens and is whole, `resume` carries the plan out, and
//! what it comes to equals what an unbroken run comes to.
//!
//! `RAMPART_KILLS=300 cargo test --test wires kills -- --nocapture` makes many and
//! prints how long it took until the stand-in's output was off.

use crate::guard::{gone, guard_of};
use crate::support::{Running, StandIn, only_run, signal};
use crate::texts::unit;
use rampart::analysis::Level;
use rampart::record::{Run, verify};
use rand::{RngExt, SeedableRng};
use rustix::process::Signal;
use std::path::Path;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// Bench time runs this much faster than real time.
const PACE: &str = "4";
/// At the same time.
const AT_ONCE: usize = 4;

const PLAN: &str = r#"title = "Killed and gone on with"
[unit]
name    = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.2 W" }
[interlock]
no_reading = "8 s"
[[stage]]
do     = "ramp"
to     = "5 V"
rate   = "5 V/s"
step   = "1 V"
hold   = "1 s"
limit  = "60 mA"
[[stage]]
do     = "log"
voltage = "9 V"
limit  = "60 mA"
for    = "5 s"
every  = "200 ms"
[[stage]]
do      = "start"
voltage = "9 V"
limit   = { starting = "100 mA", running = "40 mA", after = "300 ms" }
times   = 6
off     = "500 ms"
watch   = "1.5 s"
states  = { running = ["8 mA", "20 mA"] }
[[stage]]
do     = "leakage"
part   = { name = "C1", kind = "aluminium", capacitance = "10 uF", rated = "16 V" }
voltages = ["2 V", "5 V"]
series = "1 kohm"
electrify = "4 s"
every  = "500 ms"
limit  = "300 uA"
"#;

fn standin() -> StandIn {
    let part = "[part.C1]\ncapacitance = \"10 uF\"\ninsulation = \"40 kohm\"\nseries = \"1 kohm\"\n";
    let standin = StandIn::start(&(unit("") + part), PACE);
    standin.write("plan.toml", PLAN);
    standin
}

/// What a run came to, without what the wall clock and noise make of it: stages, starts
/// that are not void, steps of the sweep with their leakage to two digits, findings.
fn comes_to(folder: &Path) -> (Vec<String>, usize) {
    let run = Run::open(folder).unwrap();
    let mut lines = Vec::new();
    let stages = run.stages().unwrap();
    for stage in &stages {
        lines.push(format!("stage {} {} {} {:?}", stage.number, stage.kind, stage.what, stage.how));
    }
    let starts = run.starts(3).unwrap();
    let void = starts.iter().filter(|s| s.counts == "void").count();
    for s in starts {
        lines.push(match s.counts.as_str() {
            "void" => format!("start {} good started Some(\"running\")", s.number),
            counts => format!("start {} {counts} {} {:?}", s.number, s.outcome, s.state),
        });
    }
    for step in run.leakages(4).unwrap() {
        let Level::Known { value, .. } = step.soak.leakage else { panic!("{step:?}") };
        lines.push(format!("step {} {} {} {:.1e} {}", step.step, step.part, step.set, value.0, step.limit));
    }
    for f in run.findings().unwrap().iter().filter(|f| f.code != "starts-many-void") {
        lines.push(format!("finding {:?} {} {}", f.stage, f.code, f.severity));
    }
    (lines, void)
}

struct Killed {
    off_after: Duration,
    was_on: bool,
}

fn kill_and_resume(seed: u64, unbroken: &[String]) -> Killed {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    let mut standin = standin();
    let mut run = Running::start(standin.path(), &["run", "plan.toml", "--pace", PACE]);
    run.until("stage 1/4");
    let moment = Instant::now() + Duration::from_millis(random.random_range(50..6500));
    while Instant::now() < moment {
        std::thread::sleep(moment - Instant::now());
    }
    signal(&run.child, Signal::KILL);
    let was_on = standin.state().contains("output 1 ON");
    let off_after = standin.until_off();
    assert!(off_after < Duration::from_secs(1), "seed {seed}: {off_after:?}");
    let (code, text) = run.end();
    let folder = only_run(standin.path());
    if code.is_none() {
        gone(guard_of(&standin));
        assert!(standin.state().contains("output 1 off"), "seed {seed}: on again");
        let (seen, record) = (verify(&folder).unwrap(), Run::open(&folder).unwrap());
        assert!(seen.damage.is_empty() && record.exit_code.is_none(), "seed {seed}: {:?}", seen.damage);
        drop(record);
        let (code, text) = Running::start(standin.path(), &["resume", "last", "--pace", PACE]).end();
        // What it is killed in may have been its very end.
        let ended = code == Some(0) || (code == Some(2) && text.contains("carried out to its end"));
        assert!(ended, "seed {seed}: {code:?} {text}");
    } else {
        assert_eq!(code, Some(0), "seed {seed}: {text}");
    }
    let (made, void) = comes_to(&folder);
    assert_eq!(made, unbroken, "seed {seed}");
    assert!(void <= 1 && verify(&folder).unwrap().damage.is_empty(), "seed {seed}: {void} void");
    assert!(standin.end().contains("output 1 off"), "seed {seed}");
    Killed { off_after, was_on }
}

#[test]
fn killed_at_any_moment_it_is_off_within_a_second_and_goes_on() {
    let kills = std::env::var("RAMPART_KILLS").ok().and_then(|n| n.parse().ok()).unwrap_or(6);
    let fresh = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap().as_secs() * 1000;
    let first = std::env::var("RAMPART_KILLS_SEED").ok().and_then(|n| n.parse().ok()).unwrap_or(fresh);
    println!("{kills} kills from seed {first} (RAMPART_KILLS_SEED)");
    let whole = standin();
    let (code, text) = Running::start(whole.path(), &["run", "plan.toml", "--pace", PACE]).end();
    assert_eq!(code, Some(0), "{text}");
    let (unbroken, void) = comes_to(&only_run(whole.path()));
    assert_eq!(void, 0);
    drop(whole);

    let next = AtomicUsize::new(0);
    let worker = || {
        let mut made = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= kills {
                return made;
            }
            made.push(kill_and_resume(first + number as u64, &unbroken));
        }
    };
    let mut made: Vec<Killed> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..AT_ONCE.min(kills)).map(|_| scope.spawn(worker)).collect();
        workers.into_iter().flat_map(|w| w.join().unwrap()).collect()
    });
    made.sort_unstable_by_key(|k| k.off_after);
    let on = made.iter().filter(|k| k.was_on).count();
    let at = |share: f64| made[((made.len() - 1) as f64 * share) as usize].off_after;
    println!(
        "{kills} kills, {on} while the output was on, 0 left on; until off: median {:?}, 90 % {:?}, 99 % {:?}, longest {:?}",
        at(0.5),
        at(0.9),
        at(0.99),
        at(1.0)
    );
}
