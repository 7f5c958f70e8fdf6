//! One run on the rehearsal bench, with whatever goes wrong.

use rampart::analysis::marks::Mark;
use rampart::clock::Clock;
use rampart::document::Document;
use rampart::instrument::Role;
use rampart::instrument::session::framing;
use rampart::interlock::{Clocks, Reopen};
use rampart::link::fault::{Faulty, Fired, Schedule};
use rampart::link::{Link, LinkError, memory};
use rampart::plan::{Bench, Lot, Passed, Plan, Quirks, check_lot};
use rampart::record::{Durability, FileRow, Header, Run};
use rampart::rehearsal::{Rig, SupplyState, UnitFile, serve};
use rampart::runner::{Answer, Begin, Conduct, Ended, Operator, Progress, Question, Resume, Said, Watcher, conduct};
use rampart::sys::Times;
use rampart::units::{Ohms, Seconds};
use std::future::Future;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use tempfile::TempDir;

pub const BENCH: &str = include_str!("../../scripts/bench-rehearsal.toml");

/// A short plan on a plain unit: every kind of stage that needs no part.
pub const SHORT: &str = r#"
title = "short"
[unit]
name = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[[stage]]
do = "ramp"
to = "5 V"
rate = "5 V/s"
step = "1 V"
hold = "200 ms"
limit = "60 mA"
[[stage]]
do = "log"
voltage = "9 V"
limit = "60 mA"
for = "2 s"
every = "200 ms"
expect = { current = ["8 mA", "20 mA"] }
[[stage]]
do = "start"
voltage = "9 V"
limit = { starting = "100 mA", running = "40 mA", after = "100 ms" }
times = 4
off = "500 ms"
watch = "500 ms"
states = { running = ["8 mA", "20 mA"] }
"#;

/// Every kind of stage, with limits and bands that the coarsest of the dialects can set and see.
pub const EVERY: &str = r#"
title = "every stage"
[unit]
name = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[interlock]
no_reading = "5 s"
[[stage]]
do = "ask"
say = "Is the unit connected?"
connect = "unit"
[[stage]]
do = "ramp"
to = "5 V"
rate = "1 V/s"
step = "1 V"
hold = "2 s"
limit = "60 mA"
expect = { current = ["20 mA", "40 mA"] }
[[stage]]
do = "log"
voltage = "8 V"
limit = "60 mA"
for = "10 s"
every = "1 s"
expect = { current = ["20 mA", "40 mA"] }
[[stage]]
do = "start"
voltage = "8 V"
limit = { starting = "100 mA", running = "50 mA", after = "1 s" }
times = 5
off = "2 s"
watch = "6 s"
states = { running = ["20 mA", "40 mA"] }
[[stage]]
do = "leakage"
part = { name = "C1", kind = "aluminium", capacitance = "10 uF", rated = "16 V" }
voltages = ["2 V", "5 V", "8 V"]
series = "1 kohm"
electrify = "2 min"
every = "2 s"
limit = "20 uA"
"#;

/// A unit of 30 mA, and a part of 40 kohm: 200 uA at 8 V.
pub const EVERY_UNIT: &str = "cause = \"none\"\n[board]\ninput = \"10 uF\"\ndropout = \"2 V\"\nrunning = \"30 mA\"\nasleep = \"50 uA\"\n\
    [part.C1]\ncapacitance = \"10 uF\"\ninsulation = \"40 kohm\"\nseries = \"1 kohm\"\n";

/// A unit that starts at once and draws 12 mA; `more` adds to its [board].
pub fn unit(more: &str) -> String {
    format!("cause = \"none\"\n[board]\ninput = \"10 uF\"\ndropout = \"2 V\"\nrunning = \"12 mA\"\nasleep = \"50 uA\"\n{more}")
}

pub struct Setup<'s> {
    pub plan: &'s str,
    pub bench: &'s str,
    pub unit: String,
    pub seed: u64,
    pub supply: (Quirks, Schedule),
    pub meter: (Quirks, Schedule),
    /// What the known load really is, where it is not what the plan says.
    pub load: Option<Ohms>,
    /// How often a dropped link is refused before it is there again; none: it never is.
    pub reopen: Option<u32>,
    /// Who answers then is another instrument of the same kind.
    pub stranger: bool,
    /// How long the computer has slept, in milliseconds; what the hook adds it notices.
    pub slept: Arc<AtomicU64>,
    /// How far its wall clock was set back, in milliseconds.
    pub set_back: Arc<AtomicU64>,
    /// The folder of logs, with the good units; that of the run's folder where not given.
    pub logs: Option<&'s Path>,
    /// The lot file, where the plan is carried out for each part of a lot.
    pub lot: Option<&'s str>,
    /// How often the fixture was used since it was clean.
    pub used: u32,
    /// What the operator says beside what is asked, at the first question for a part.
    pub says: Vec<(String, String)>,
}

impl Default for Setup<'_> {
    fn default() -> Self {
        let quiet = || (Quirks::default(), Schedule::new());
        Self {
            plan: SHORT,
            bench: BENCH,
            unit: unit(""),
            seed: 1,
            supply: quiet(),
            meter: quiet(),
            load: None,
            reopen: None,
            stranger: false,
            slept: Arc::default(),
            set_back: Arc::default(),
            logs: None,
            lot: None,
            used: 0,
            says: Vec::new(),
        }
    }
}

pub struct Outcome {
    pub ended: Ended,
    /// The stand-in's own state after the run.
    pub supply: SupplyState,
    /// How often the fixture was used since it was clean.
    pub insertions: u32,
    pub fired: (Fired, Fired),
    pub run: Run,
    pub folder: TempDir,
}

/// The texts that a run follows, as the command line keeps them.
fn followed(passed: &Passed) -> Vec<FileRow> {
    let file =
        |kind: &str, document: &Document| FileRow { kind: kind.into(), name: document.name.clone(), text: document.text.clone() };
    let (plan, bench) = (passed.plan(), passed.bench());
    vec![file("plan", &plan.document), file("bench", &bench.document), file("profile", &bench.supply.profile.document)]
}

/// Watches, and may misbehave.
pub trait Hook: FnMut(&Progress<'_>, &Rig, &Path) + Send {}
impl<F: FnMut(&Progress<'_>, &Rig, &Path) + Send> Hook for F {}

struct Watch<'h> {
    hook: &'h mut dyn Hook,
    rig: Rig,
    folder: std::path::PathBuf,
}

impl Watcher for Watch<'_> {
    fn see(&mut self, progress: &Progress<'_>) {
        (self.hook)(progress, &self.rig, &self.folder);
    }
}

/// Does what is asked, but for what it is told to answer; says what the unit file has it say, at its time.
struct Hands(Rig, Vec<(String, String)>, Vec<Mark>);

impl Operator for Hands {
    fn ask<'a>(&'a mut self, question: &'a Question) -> Answer<'a> {
        Box::pin(async move {
            if let Some(what) = &question.connect {
                if let Some(place) = self.1.iter().position(|(part, _)| part == what) {
                    return Ok(self.1.remove(place).1);
                }
                self.0.connect(what)?;
            }
            Ok(question.accept.first().cloned().unwrap_or_default())
        })
    }

    fn says(&mut self) -> Option<Said> {
        let (say, said) = tokio::sync::mpsc::unbounded_channel();
        let (clock, marks) = (self.0.clock(), std::mem::take(&mut self.2));
        tokio::spawn(async move {
            for mark in marks.into_iter().filter(|mark| mark.at >= clock.now()) {
                clock.sleep_until(mark.at).await;
                say.send(mark.text).unwrap_or_default();
            }
        });
        Some(said)
    }
}

pub fn passed(plan: &str, bench: &str) -> Passed {
    passed_with(plan, None, bench)
}

fn passed_with(plan: &str, lot: Option<&str>, bench: &str) -> Passed {
    let plan = Plan::read(&Document::new("plan.toml", plan)).unwrap_or_else(|p| panic!("{p}"));
    let bench = Bench::read(&Document::new("bench.toml", bench)).unwrap_or_else(|p| panic!("{p}"));
    let lot = lot.map(|text| Lot::read(&Document::new("lot.toml", text)).unwrap_or_else(|p| panic!("{p}")));
    let checked = check_lot(plan, lot, bench, "2026-11-25");
    checked.passed.unwrap_or_else(|| panic!("{}", checked.problems))
}

pub fn rehearse(setup: Setup<'_>) -> Outcome {
    rehearse_with(setup, &mut |_: &Progress<'_>, _: &Rig, _: &Path| {}, |_| std::future::pending())
}

/// Runs with a hook on everything that is seen, and a stop.
pub fn rehearse_with<S: Future<Output = String>>(
    setup: Setup<'_>,
    hook: &mut dyn Hook,
    stop: impl FnOnce(Clock) -> S,
) -> Outcome {
    rehearse_in(tempfile::tempdir().unwrap(), setup, hook, stop)
}

/// Runs in a folder; where it holds a record already, the run goes on.
pub fn rehearse_in<S: Future<Output = String>>(
    folder: TempDir,
    setup: Setup<'_>,
    hook: &mut dyn Hook,
    stop: impl FnOnce(Clock) -> S,
) -> Outcome {
    let passed = passed_with(setup.plan, setup.lot, setup.bench);
    let resume = Run::open(folder.path()).ok().map(|run| {
        let gone_on = run.last_moment().unwrap() + Seconds(60.0);
        Box::new(Resume::read(&run, &passed, "2000-01-01T00:01:00Z".into(), gone_on).unwrap())
    });
    let unit = UnitFile::read(&Document::new("unit.toml", setup.unit)).unwrap_or_else(|p| panic!("{p}"));
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().start_paused(true).build().unwrap();
    let (ended, (supply, insertions), fired) = runtime.block_on(async {
        let clock = Clock::start_at(resume.as_ref().map_or(Seconds(0.0), |r| r.at()), 1.0);
        let (plan, bench) = (passed.plan(), passed.bench());
        let rig = Rig::build(bench, &unit, &plan.unit.name, setup.seed, clock).unwrap();
        rig.used_before(setup.used);
        if let Some(check) = &plan.self_check {
            rig.add_load(&check.name, setup.load.unwrap_or(check.load));
        }
        let connect = |role: Role, wire, (quirks, schedule): (Quirks, Schedule)| -> (Box<dyn Link>, Fired) {
            let (near, far) = memory::pair(framing(wire));
            let rig = rig.clone();
            rig.quirk(role, |q| {
                // What the bench file says goes before the usual.
                if *q == Quirks::default() {
                    *q = quirks;
                }
                q.misses_early = true;
            });
            tokio::spawn(async move { serve(&rig, role, far).await });
            let (faulty, fired) = Faulty::new(near, schedule);
            (Box::new(faulty), fired)
        };
        let who_answers = if setup.stranger {
            let mut text = setup.bench.replace("serial  = \"B0417\"\n", "");
            text = text.replacen("[supply]", "[supply]\nserial = \"X0001\"", 1);
            let other = Document::new("bench.toml", text);
            let other = Bench::read(&other).unwrap_or_else(|p| panic!("{p}"));
            Rig::build(&other, &unit, &plan.unit.name, setup.seed, clock).unwrap()
        } else {
            rig.clone()
        };
        let (slept, set_back) = (setup.slept.clone(), setup.set_back.clone());
        let clocks: Option<Clocks> = Some(Arc::new(move || {
            let (monotonic, boot) = (clock.now().0, clock.now().0 + slept.load(Ordering::Relaxed) as f64 * 1e-3);
            Times { monotonic, boot, wall: boot - set_back.load(Ordering::Relaxed) as f64 * 1e-3 }
        }));
        let (supply, supply_fired) = connect(Role::Supply, &bench.supply.profile.wire, setup.supply);
        let (meter, meter_fired) = match &bench.meter {
            Some(seat) => {
                let (link, fired) = connect(Role::Meter, &seat.profile.wire, setup.meter);
                (Some(Ok(link)), fired)
            }
            None => (None, Fired::default()),
        };
        let header = Header {
            kind: "rehearsal",
            title: plan.title.clone(),
            unit: plan.unit.name.clone(),
            seed: setup.seed,
            began: "2000-01-01T00:00:00Z".into(),
            cautions: String::new(),
            files: followed(&passed),
        };
        let mut watch = Watch { hook, rig: rig.clone(), folder: folder.path().to_owned() };
        let work = Conduct {
            passed: &passed,
            folder: folder.path(),
            logs: setup.logs.unwrap_or_else(|| folder.path().parent().unwrap()),
            begin: resume.map_or(Begin::New(header), Begin::Again),
            durability: Durability::Rehearsal,
            clock,
            expected: Vec::new(),
            supply: Ok(supply),
            meter,
            reopen: setup.reopen.map(|refusals| reconnecting(&who_answers, refusals)),
            clocks,
            papers: None,
            guard: None,
            watcher: &mut watch,
            operator: &mut Hands(rig.clone(), setup.says, unit.marks.clone()),
        };
        let stop = async {
            tokio::select! {
                biased;
                why = rig.failed() => why,
                why = stop(clock) => why,
            }
        };
        let ended = conduct(work, stop).await.unwrap();
        assert_eq!(rig.failure(), None);
        (ended, (rig.supply_state(), rig.insertions()), (supply_fired, meter_fired))
    });
    let run = Run::open(folder.path()).unwrap();
    Outcome { ended, supply, insertions, fired, run, folder }
}

/// Everything in the record's tables, as text.
pub fn dump(folder: &Path) -> String {
    let store = rusqlite::Connection::open(folder.join("run.sqlite")).unwrap();
    let mut text = String::new();
    let mut tables = store.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name").unwrap();
    let tables = tables.query_map([], |r| r.get::<_, String>(0)).unwrap();
    for table in tables.map(Result::unwrap) {
        let mut statement = store.prepare(&format!("SELECT * FROM {table} ORDER BY rowid")).unwrap();
        let columns = statement.column_count();
        let mut rows = statement.query([]).unwrap();
        while let Some(row) = rows.next().unwrap() {
            for column in 0..columns {
                text.push_str(&format!("{:?}|", row.get_ref(column).unwrap()));
            }
            text.push('\n');
        }
    }
    text
}

/// Opens a link to the stand-in again, after having been refused so many times.
pub fn reconnecting(rig: &Rig, refusals: u32) -> Reopen {
    let (rig, left) = (rig.clone(), Arc::new(AtomicU64::new(refusals.into())));
    Arc::new(move |role| {
        let (rig, left) = (rig.clone(), left.clone());
        Box::pin(async move {
            if left.load(Ordering::Relaxed) > 0 {
                left.fetch_sub(1, Ordering::Relaxed);
                let source = std::io::Error::from(std::io::ErrorKind::ConnectionRefused);
                return Err(LinkError::Open { address: "the stand-in".into(), source });
            }
            let (near, far) = memory::pair(framing(rig.wire(role).unwrap()));
            rig.quirk(role, |q| {
                q.misses_early = true;
                // It has fallen silent or hung up once; that is over.
                (q.silent_after, q.hangs_up_after) = (None, None);
            });
            tokio::spawn(async move { serve(&rig, role, far).await });
            let near: Box<dyn Link> = Box::new(near);
            Ok(near)
        })
    })
}
