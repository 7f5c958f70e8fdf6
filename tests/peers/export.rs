//! A record as other programs read it: CSV by Python's csv module, JSON Lines by its json
//! module, Parquet by pyarrow, JUnit XML by its XML parser. Every reading, bit by bit.

use crate::support::python;
use rampart::record::{Durability, FileRow, Header, InstrumentRow, ReadingRow, Record, Run};
use rampart::units::{Amperes, Seconds, Volts};
use rampart::{analysis, instrument};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use std::path::Path;
use std::process::Command;

const SEED: u64 = 20_261_125;

fn rampart(folder: &Path, arguments: &[&str]) -> String {
    let said = Command::new(env!("CARGO_BIN_EXE_rampart")).args(arguments).current_dir(folder).output().unwrap();
    let words = String::from_utf8_lossy(&said.stderr).into_owned();
    assert_eq!(said.status.code(), Some(0), "{arguments:?}: {words}");
    String::from_utf8(said.stdout).unwrap()
}

/// A double of any bits that is a number.
fn any(random: &mut ChaCha8Rng) -> f64 {
    loop {
        let value = f64::from_bits(random.random());
        // SQLite keeps neither NaN nor the sign of nought.
        if !value.is_nan() && value != 0.0 {
            return value;
        }
    }
}

/// A text of letters that writers stumble over.
fn text(random: &mut ChaCha8Rng) -> String {
    const LETTERS: [char; 20] =
        ['=', '+', '-', '@', '\'', '"', ',', ';', '\t', '\r', '\n', ' ', '<', '&', ']', '>', '\u{1}', 'µ', '\u{fffe}', 'x'];
    (0..random.random_range(0..9)).map(|_| LETTERS[random.random_range(0..LETTERS.len())]).collect()
}

/// A record with 3000 readings of every kind and awkward texts, in two stretches.
fn made(folder: &Path) -> Vec<String> {
    use instrument::{Measurand, Reading, Regulation, Role, Sample};
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let header = Header {
        kind: "run",
        title: "=1+1, \"a title\"".into(),
        unit: "bee\u{7}hive\r\nscale".into(),
        seed: u64::MAX,
        began: "2026-03-29T00:59:59Z".into(),
        cautions: String::new(),
        files: vec![FileRow { kind: "plan".into(), name: "p.toml".into(), text: "title = \"x\"\r\n".into() }],
    };
    let mut record = Record::create(folder, &header, Durability::Rehearsal).unwrap();
    let identity = Some("=cmd|' /C calc'!A0,M,1,2".into());
    record
        .instrument(&InstrumentRow {
            role: "supply".into(),
            identity,
            profile: "p".into(),
            address: None,
            calibration_due: Some("2027-03-31".into()),
        })
        .unwrap();
    record.begin_stage(1, "log", "a log", Seconds(0.0)).unwrap();
    for number in 0..3000 {
        let value = any(&mut random);
        let sample = match random.random_range(0..12) {
            0 => Sample::BelowFloor { floor: value },
            1 => Sample::Overload,
            2 => Sample::NoReply,
            3 => Sample::Late,
            4 => Sample::Garbled,
            5 => Sample::Stale,
            6 => Sample::NotANumber,
            _ => Sample::Value { value, u: any(&mut random) },
        };
        let (role, measurand) =
            if number % 2 == 0 { (Role::Supply, Measurand::Voltage) } else { (Role::Meter, Measurand::Current) };
        let asked = Seconds(f64::from(number) * 0.123_456_7 + random.random_range(0.0..0.1));
        let answered = Seconds(asked.0 + random.random_range(0.0..0.02));
        let reading = Reading { role, measurand, asked, answered, sample, regulation: Regulation::Voltage };
        record.reading(1, (number % 3 == 0).then_some(number), (number % 5 == 0).then_some(4), &reading).unwrap();
    }
    let row = rampart::record::LeakageRow {
        step: 1,
        part: "C7".into(),
        set: Volts(6.0),
        limit: Amperes(1e-6),
        soak: analysis::leakage::Soak {
            leakage: analysis::Level::Known { value: Amperes(2e-6), u: Amperes(1e-8) },
            at_part: None,
            at_part_u: None,
            change: None,
            electrified: Seconds(180.0),
            drift: None,
            decay: None,
            wander: None,
            reform: None,
        },
    };
    record.leakage(1, &row).unwrap();
    let texts: Vec<String> = (0..300).map(|_| text(&mut random)).collect();
    for (place, text) in texts.iter().enumerate() {
        record.event(Seconds(place as f64), "answer", text).unwrap();
    }
    record.end_stage(1, "done", Seconds(400.0)).unwrap();
    record.finish("done", 1, Seconds(400.0)).unwrap();
    texts
}

/// A reading as the script prints it: numbers by their bits, in hexadecimal.
fn row(r: &ReadingRow) -> Value {
    let bits = |value: Option<f64>| value.map(|v| format!("{:016x}", v.to_bits()));
    let of = |measurand: &str, value: Option<f64>| bits(value.filter(|_| r.measurand == measurand));
    json!([
        r.stage,
        r.start,
        r.step,
        r.role,
        r.measurand,
        r.kind,
        r.regulation,
        bits(Some(r.asked.0)),
        bits(Some(r.answered.0)),
        of("voltage", r.value),
        of("voltage", r.u),
        of("voltage", r.floor),
        of("current", r.value),
        of("current", r.u),
        of("current", r.floor),
    ])
}

fn exported(folder: &Path, run: &str) {
    for format in ["csv", "jsonl", "parquet", "junit", "html"] {
        rampart(folder, &["export", run, "--format", format, "--out", "out"]);
    }
}

fn compared(folder: &Path, run: &Path) -> Option<Value> {
    let back = python("export.py", &json!({ "folder": folder.join("out").display().to_string() }))?;
    let run = Run::open(run).unwrap();
    let stages = run.stages().unwrap();
    let mut rows: Vec<Value> = Vec::new();
    for stage in &stages {
        rows.extend(run.readings(stage.number).unwrap().iter().map(row));
    }
    // Interleaved stages are not: a stage's readings follow one another.
    assert!(rows.len() > 100, "{}", rows.len());
    for format in ["csv", "jsonl", "parquet"] {
        let theirs = back[format]["readings"].as_array().unwrap();
        assert_eq!(theirs.len(), rows.len(), "{format}");
        for (place, (theirs, ours)) in theirs.iter().zip(&rows).enumerate() {
            assert_eq!(theirs, ours, "{format}, reading {place}");
        }
    }
    // What the three say of the moments is one.
    assert_eq!(back["csv"]["moments"], back["jsonl"]["moments"]);
    assert_eq!(back["csv"]["moments"], back["parquet"]["moments"]);
    Some(back)
}

#[test]
fn every_reading_of_an_awkward_record_is_read_back_by_other_programs() {
    println!("seed {SEED}");
    let place = tempfile::tempdir().unwrap();
    let run = place.path().join("logs/awkward");
    std::fs::create_dir_all(&run).unwrap();
    let texts = made(&run);
    exported(place.path(), "awkward");
    let Some(back) = compared(place.path(), &run) else { return };
    for format in ["csv", "jsonl", "parquet"] {
        assert_eq!(back[format]["texts"], json!(texts), "{format}");
    }
    assert_eq!(back["csv"]["computed"], json!([]), "no cell of text begins as a formula does");
    assert_eq!(back["csv"]["every line ends with CRLF"], true);
    assert_eq!(back["csv"]["moments"][0], "2026-03-29T00:59:59");
    let schema = &back["parquet"]["schema"];
    assert_eq!(schema["current_u_A"], json!(["double", "A"]));
    assert_eq!(schema["answered_utc"], json!(["timestamp[us, tz=UTC]", null]));
    assert_eq!(schema["start"], json!(["int64", null]));
    assert_eq!(schema["flag"], json!(["string", null]));
    assert_eq!(back["parquet"]["metadata"]["title"], "=1+1, \"a title\"");
    assert_eq!(back["parquet"]["metadata"]["fingerprint"], json!(Run::open(&run).unwrap().fingerprint().unwrap()));
    let junit = &back["junit"];
    assert_eq!(junit["faults"], json!([]), "{junit}");
    assert_eq!((&junit["failures"], &junit["unit"]), (&json!(1), &json!("bee\u{fffd}hive\r\nscale")));
}

#[test]
fn a_rehearsed_run_is_read_back_by_other_programs() {
    let place = tempfile::tempdir().unwrap();
    let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts");
    for name in ["capacitor-lot.toml", "capacitor-lot.unit.toml"] {
        std::fs::copy(scripts.join(name), place.path().join(name)).unwrap();
    }
    rampart(place.path(), &["rehearse", "capacitor-lot.toml", "--seed", "7"]);
    exported(place.path(), "last");
    let run = std::fs::read_dir(place.path().join("logs")).unwrap().next().unwrap().unwrap().path();
    let Some(back) = compared(place.path(), &run) else { return };
    assert_eq!(back["junit"]["faults"], json!([]), "{}", back["junit"]);
    assert!(back["junit"]["tests"].as_u64().unwrap() > 10);
}

#[test]
fn a_lot_is_read_back_by_other_programs() {
    let place = tempfile::tempdir().unwrap();
    let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts");
    for name in ["tantalum-tray.toml", "tantalum-tray.unit.toml"] {
        std::fs::copy(scripts.join(name), place.path().join(name)).unwrap();
    }
    let lot = std::fs::read_to_string(scripts.join("tantalum-tray.lot.toml")).unwrap();
    std::fs::write(place.path().join("some.lot.toml"), lot.replace("125", "35")).unwrap();
    rampart(place.path(), &["rehearse", "tantalum-tray.toml", "--lot", "some.lot.toml", "--seed", "5"]);
    exported(place.path(), "last");
    let folder = std::fs::read_dir(place.path().join("logs")).unwrap().next().unwrap().unwrap().path();
    let Some(back) = compared(place.path(), &folder) else { return };
    let run = Run::open(&folder).unwrap();
    let bits = |value: Option<f64>| value.map(|v| format!("{:016x}", v.to_bits()));
    let measures: Vec<Value> = run
        .measures()
        .unwrap()
        .iter()
        .map(|m| {
            let u = match m.seen {
                analysis::inspection::Seen::Value { u, .. } => Some(u),
                _ => None,
            };
            json!([m.trial, m.what, m.seen.word(), bits(m.seen.value()), bits(u), m.standing.word()])
        })
        .collect();
    assert!(measures.len() > 35, "{}", measures.len());
    for format in ["csv", "jsonl", "parquet"] {
        assert_eq!(back[format]["measures"], json!(measures), "{format}");
    }
    let junit = &back["junit"];
    assert_eq!(junit["faults"], json!([]), "{junit}");
    // A suite a trial; each part that fails is a failure, and the lot's decision.
    let trials = run.trials().unwrap();
    let suites: Vec<String> = serde_json::from_value(junit["suites"].clone()).unwrap();
    for trial in &trials {
        assert!(suites.contains(&format!("{} {}, trial {}", trial.kind, trial.name, trial.number)), "{suites:?}");
    }
    let failed = trials.iter().filter(|t| t.kind == "part" && t.outcome.is_nonconforming()).count() as u64;
    assert!(failed > 0 && junit["failures"].as_u64().unwrap() > failed, "{junit}");
}
