//! What is written is read back; what is missing stays missing; what is there is
//! never written over.

use super::*;
use crate::analysis::Level;
use crate::analysis::finding::{Figure, Finding, Severity};
use crate::analysis::inspection::decision::{Count, Decision};
use crate::analysis::inspection::{Charted, Measure, Outcome, Seen};
use crate::analysis::leakage::decay::{Decay, Told};
use crate::analysis::leakage::reform::Reform;
use crate::analysis::leakage::wander::Wander;
use crate::analysis::leakage::{Drift, Soak};
use crate::analysis::marks::Mark;
use crate::analysis::uncertainty::{Guard, Limit, Standing};
use crate::instrument::{Measurand, Reading, Regulation, Role, Sample};
use crate::units::{Amperes, Coulombs, Seconds, Unit, Volts};

pub(super) fn header() -> Header {
    Header {
        kind: "rehearsal",
        title: "A title".into(),
        unit: "a unit".into(),
        seed: u64::MAX,
        began: "2000-01-01T00:00:00Z".into(),
        cautions: String::new(),
        files: vec![FileRow { kind: "plan".into(), name: "plan.toml".into(), text: "abc".into() }],
    }
}

fn reading(sample: Sample) -> Reading {
    Reading {
        role: Role::Meter,
        measurand: Measurand::Current,
        asked: Seconds(1.0),
        answered: Seconds(1.02),
        sample,
        regulation: Regulation::Voltage,
    }
}

pub(super) fn filled(folder: &std::path::Path) -> Record {
    let mut record = Record::create(folder, &header(), Durability::Rehearsal).unwrap();
    record
        .instrument(&InstrumentRow {
            role: "supply".into(),
            identity: Some("X,Y,1,2".into()),
            profile: "p".into(),
            address: None,
            calibration_due: None,
        })
        .unwrap();
    record.begin_stage(1, "start", "two starts", Seconds(0.5)).unwrap();
    record.preflight(1, Seconds(0.55), "supply: output", "off", true).unwrap();
    record.setting(1, "voltage", Unit::Volt, 9.0, Some(9.001), Seconds(0.6)).unwrap();
    for sample in [
        Sample::Value { value: 0.012, u: 1e-5 },
        Sample::BelowFloor { floor: 2e-3 },
        Sample::Overload,
        Sample::NoReply,
        Sample::Late,
        Sample::Garbled,
        Sample::Stale,
        Sample::NotANumber,
    ] {
        record.reading(1, Some(1), None, &reading(sample)).unwrap();
    }
    for number in [1, 2] {
        record
            .begin_start(1, number, &StartBegin { off_wanted: Seconds(1.0), off_note: None, residual: Some(Sample::NoReply) })
            .unwrap();
    }
    record
        .end_start(
            1,
            1,
            &StartEnd {
                off: Some(Seconds(1.01)),
                on: Some(Seconds(2.0)),
                outcome: "started".into(),
                counts: "good",
                state: Some("running".into()),
                reached: Some(Seconds(0.2)),
                plateau: Level::Known { value: Amperes(0.012), u: Amperes(1e-5) },
                peak: Some(Amperes(0.1)),
                limited: Seconds(0.01),
                held: Some((Volts(1.0), Volts(1.05))),
                reason: "in the good state".into(),
            },
        )
        .unwrap();
    let row = LeakageRow { step: 1, part: "C7".into(), set: Volts(6.0), limit: Amperes(1e-6), soak: soak(Level::Overload) };
    record.leakage(1, &row).unwrap();
    let finding = Finding::new("code", Severity::Anomaly, "A sentence.".into()).figure(Figure::quantity(
        "leakage",
        151e-6,
        Unit::Ampere,
        Some(1e-6),
    ));
    record.finding(Some(1), &finding).unwrap();
    record.event(Seconds(3.0), "off", "output off").unwrap();
    record.mark(&Mark { at: Seconds(3.5), text: "sprayed U7 cold".into() }).unwrap();
    with_a_lot(&mut record);
    record
}

pub(super) fn lot_row() -> LotRow {
    LotRow {
        number: "K-2291".into(),
        supplier: Some("a drawer".into()),
        part: "bead 10 uF 16 V".into(),
        date_code: None,
        quantity: 3,
        operator: "M. Lind".into(),
        fixture: Some("spring clips".into()),
        sample: 3,
        accept: 0,
        reject: 1,
        stops: "at the end".into(),
        sampled: "every part".into(),
        rule: "w = U".into(),
        counting: "worst".into(),
        overdue: None,
    }
}

fn measured(seen: Seen, limit: Limit) -> Measure {
    let (what, unit) = ("leakage at 16 V".to_owned(), Some(Unit::Ampere));
    Measure { stage: 1, step: Some(2), what, unit, seen, limit, charted: Charted::Yes }
}

fn begun(number: u32, kind: &'static str, name: &str) -> TrialBegin {
    let position = name.parse().ok();
    TrialBegin { number, kind, name: name.into(), position, retest_of: None, why: None, stages: (number, number) }
}

fn control_row() -> ControlRow {
    ControlRow {
        trial: 1,
        name: "G1".into(),
        kind: "good control".into(),
        what: "leakage at 16 V".into(),
        unit: Some(Unit::Ampere),
        value: Some((5e-8, 1e-10)),
        centre: None,
        sigma: None,
        basis: "none".into(),
        points: 0,
        signals: String::new(),
        state: "in control".into(),
    }
}

fn with_a_lot(record: &mut Record) {
    record.lot(&lot_row()).unwrap();
    record.drawn(&DrawnRow { turn: 1, position: 2, name: "2".into() }).unwrap();
    record.begin_trial(&begun(1, "good control", "G1"), Seconds(3.1)).unwrap();
    record.acknowledged(Some(1), "inserted", "(Enter)", Seconds(3.1)).unwrap();
    let seen = Seen::Value { value: 5e-8, u: 1e-10 };
    record.measure(1, 1, &measured(seen, Limit::Upper(1.6e-6)), Guard::Full).unwrap();
    record.control(&control_row()).unwrap();
    record.end_trial(1, Outcome::Judged(Standing::Pass), "5 nA", Seconds(3.2)).unwrap();
    record.begin_trial(&begun(2, "part", "2"), Seconds(3.3)).unwrap();
    record.doubted(Doubtful { trial: 2, control: 1 }).unwrap();
    record.skipped(&SkipRow { position: 3, name: "3".into(), at: Seconds(3.4), why: "a bent lead".into() }).unwrap();
    let count = Count { judged: 1, skipped: 1, open: 1, ..Count::default() };
    let end = LotEnd { at: Seconds(3.5), decision: Decision::OnHold, why: "1 part not measured yet".into(), count };
    record.end_lot(&end).unwrap();
}

#[test]
fn a_lot_is_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    record
        .begin_trial(&TrialBegin { retest_of: Some(2), why: Some("it failed".into()), ..begun(3, "part", "2") }, Seconds(3.6))
        .unwrap();
    let kinds = [
        (Seen::BelowFloor { floor: 1e-9 }, Limit::Upper(1e-6)),
        (Seen::Overload, Limit::Between(1e-3, 2e-3)),
        (Seen::Missing, Limit::Lower(1e-3)),
    ];
    for (seen, limit) in kinds {
        record.measure(3, 3, &measured(seen, limit), Guard::Wide).unwrap();
    }
    record.end_trial(3, Outcome::Judged(Standing::ConditionalFail), "near", Seconds(3.7)).unwrap();
    let run = Run::open(folder.path()).unwrap();
    assert_eq!(run.lot().unwrap(), Some(lot_row()));
    assert_eq!(run.drawn().unwrap()[0].position, 2);
    let trials = run.trials().unwrap();
    let told: Vec<_> =
        trials.iter().map(|t| (t.name.as_str(), t.outcome.word(), t.retest_of, t.doubted, t.ended.is_some())).collect();
    assert_eq!(
        told,
        [("G1", "pass", None, None, true), ("2", "void", None, Some(1), false), ("2", "conditional fail", Some(2), None, true)],
        "what has no end is void, and a retest stands beside it"
    );
    let measures = run.measures().unwrap();
    assert_eq!(measures[0].guard, Some(2e-10), "U is twice the standard uncertainty");
    assert_eq!(measures[1..].iter().map(|m| (m.seen, m.limit)).collect::<Vec<_>>(), kinds);
    assert_eq!(run.controls().unwrap(), [control_row()]);
    assert_eq!(run.skips().unwrap()[0].why, "a bent lead");
    assert_eq!(run.lot_end().unwrap().unwrap().count.open, 1);
    assert!(whole(folder.path()).is_empty());
}

pub(super) fn soak(leakage: Level) -> Soak {
    Soak {
        leakage,
        at_part: Some(Volts(5.99)),
        at_part_u: Some(Volts(0.01)),
        change: Some(-0.07),
        electrified: Seconds(180.0),
        drift: Some(Drift { current: Amperes(1e-9), u: Amperes(2e-9) }),
        decay: Some(Decay {
            told: Told::Apart,
            leakage: Amperes(1e-6),
            low: Amperes(0.9e-6),
            high: Amperes(1.1e-6),
            absorbed: Amperes(4e-6),
            exponent: 0.9,
            scatter: Amperes(1e-9),
        }),
        wander: Some(Wander::Telegraph { step: Amperes(5e-8), u: Amperes(1e-9), switches: 7, stay: None }),
        reform: Some(Reform {
            from: Amperes(8e-6),
            at: Seconds(2.0),
            charge: Coulombs(3e-4),
            absorbed: Coulombs(4e-6),
            pace: 1e-3,
        }),
    }
}

#[test]
fn every_kind_of_wander_is_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    let a = Amperes;
    let kinds = [
        Wander::Quiet { least: a(1e-9) },
        Wander::Telegraph { step: a(2e-9), u: a(1e-10), switches: 4, stay: Some(Seconds(8.0)) },
        Wander::Jumps { step: a(-3e-9), u: a(1e-10), at: Seconds(40.0), jumps: 2 },
        Wander::Rises { by: a(4e-9), u: a(1e-10) },
    ];
    for (step, kind) in (2..).zip(kinds) {
        let soak = Soak { wander: Some(kind), decay: None, drift: None, ..soak(Level::Missing) };
        record.leakage(1, &LeakageRow { step, part: "C7".into(), set: Volts(1.0), limit: a(1e-6), soak }).unwrap();
    }
    record.finish("done", 1, Seconds(5.0)).unwrap();
    let back = Run::open(folder.path()).unwrap().leakages(1).unwrap();
    let wanders: Vec<Wander> = back.iter().skip(1).filter_map(|r| r.soak.wander).collect();
    assert_eq!(wanders, kinds);
    assert!(back.iter().skip(1).all(|r| r.soak.decay.is_none() && r.soak.drift.is_none()));
}

#[test]
fn what_is_written_is_read_back() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    record.end_stage(1, "done", Seconds(4.0)).unwrap();
    record.finish("done", 1, Seconds(5.0)).unwrap();
    let run = Run::open(folder.path()).unwrap();
    assert_eq!((run.seed, run.ended, run.exit_code), (u64::MAX, Some(Seconds(5.0)), Some(1)));
    assert_eq!(run.files().unwrap()[0].text, "abc");
    assert_eq!(run.instruments().unwrap()[0].identity.as_deref(), Some("X,Y,1,2"));
    assert_eq!(run.stages().unwrap()[0].how.as_deref(), Some("done"));
    assert_eq!(run.settings().unwrap()[0].read_back, Some(9.001));
    assert_eq!(run.leakages(1).unwrap()[0].soak, soak(Level::Overload));
    let findings = run.findings().unwrap();
    assert_eq!(findings[0].figures, [("leakage".to_owned(), "(151.0 ± 1.0) uA".to_owned())]);
    assert_eq!(run.events().unwrap()[0].kind, "off");
    assert_eq!(run.marks().unwrap(), [Mark { at: Seconds(3.5), text: "sprayed U7 cold".into() }]);
}

#[test]
fn a_missing_reading_is_null_and_never_a_number() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).commit().unwrap();
    let run = Run::open(folder.path()).unwrap();
    let rows = run.readings(1).unwrap();
    let kinds: Vec<&str> = rows.iter().map(|r| r.kind.as_str()).collect();
    assert_eq!(kinds, ["value", "below floor", "overload", "no reply", "late", "garbled", "stale", "not a number"]);
    assert_eq!(rows.iter().filter(|r| r.value.is_some()).count(), 1);
    assert_eq!(rows.iter().filter(|r| r.floor.is_some()).count(), 1);
    let levels: Vec<Level> = run.currents(1).unwrap().iter().map(|p| p.current).collect();
    assert_eq!(levels[1], Level::BelowFloor { floor: Amperes(2e-3) });
    assert!(levels[3..].iter().all(|l| *l == Level::Missing));
}

#[test]
fn a_start_without_an_end_is_void() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).commit().unwrap();
    let starts = Run::open(folder.path()).unwrap().starts(1).unwrap();
    assert_eq!(starts[0].counts, "good");
    assert_eq!((starts[1].counts.as_str(), starts[1].reason.as_str()), ("void", "the run ended during it"));
}

#[test]
fn what_was_committed_survives_a_writer_that_is_gone() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    record.commit().unwrap();
    record.event(Seconds(9.0), "lost", "never committed").unwrap();
    // As after a kill: no destructor runs.
    std::mem::forget(record);
    let run = Run::open(folder.path()).unwrap();
    assert_eq!(run.ended, None);
    assert_eq!(run.events().unwrap().len(), 1);
    assert_eq!(run.readings(1).unwrap().len(), 8);
}

#[test]
fn a_record_is_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path()));
    let again = Record::create(folder.path(), &header(), Durability::Full);
    assert!(matches!(again, Err(RecordError::Exists(_))));
    let missing = Record::create(&folder.path().join("nowhere"), &header(), Durability::Full);
    assert!(missing.is_err());
}

#[test]
fn after_a_failed_write_every_call_fails() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    // A second start of the same number breaks the table's key.
    let begin = StartBegin { off_wanted: Seconds(1.0), off_note: None, residual: None };
    let error = record.begin_start(1, 1, &begin).unwrap_err().to_string();
    assert_eq!(record.event(Seconds(1.0), "x", "y").unwrap_err().to_string(), error);
    assert_eq!(record.commit().unwrap_err().to_string(), error);
}

fn whole(folder: &std::path::Path) -> Vec<String> {
    verify(folder).unwrap().damage
}

/// A record with an end, and `sql` done to it by somebody else.
fn after(sql: &str) -> Vec<String> {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    record.end_stage(1, "done", Seconds(3.2)).unwrap();
    record.event(Seconds(3.5), "note", "a batch of its own").unwrap();
    record.finish("done", 0, Seconds(4.0)).unwrap();
    let (fingerprint, before) = (record.fingerprint(), verify(folder.path()).unwrap());
    drop(record);
    assert_eq!((before.damage.len(), before.fingerprint()), (0, fingerprint.clone()));
    let other = rusqlite::Connection::open(folder.path().join(FILE)).unwrap();
    other.execute_batch(sql).unwrap();
    drop(other);
    let now = verify(folder.path()).unwrap();
    assert!(!now.damage.is_empty() || now.fingerprint() != fingerprint, "not noticed: {sql}");
    now.damage
}

#[test]
fn a_changed_row_is_named() {
    let named = after("UPDATE reading SET value = 0.013 WHERE kind = 'value'");
    assert_eq!(
        named,
        ["reading, row 1 (stage 1, start 1, role meter, measurand current, kind value, asked_s 1): it is not what was recorded"]
    );
    // Every column of every table, by its own type.
    let store = rusqlite::Connection::open_in_memory().unwrap();
    store.execute_batch(SCHEMA).unwrap();
    for table in seal::TABLES {
        let mut columns = store.prepare(&format!("SELECT name, type FROM pragma_table_info('{table}')")).unwrap();
        let columns: Vec<(String, String)> =
            columns.query_map([], |r| Ok((r.get(0)?, r.get(1)?))).unwrap().map(Result::unwrap).collect();
        for (column, kind) in columns.iter().filter(|(name, _)| name != "batch") {
            let other = match kind.as_str() {
                "INTEGER" => "77",
                "REAL" => "77.5",
                "TEXT" => "'77'",
                _ => "x'77'",
            };
            if table != "resumed" {
                let named = after(&format!("UPDATE {table} SET {column} = {other} WHERE rowid = 1"));
                assert!(named[0].starts_with(&format!("{table}, row 1")), "{table}.{column}: {named:?}");
            }
        }
    }
}

#[test]
fn rows_that_are_missing_added_or_sealed_anew_are_noticed() {
    let said = |sql: &str, what: &str| {
        let damage = after(sql);
        assert!(damage.iter().any(|d| d.contains(what)), "{sql}: {damage:?}");
    };
    said("DELETE FROM reading WHERE rowid = 3", "1 of its");
    said("DELETE FROM event", "rows missing");
    said("INSERT INTO event SELECT 9.0, kind, text, batch, seal FROM event WHERE rowid = 1", "not what was recorded");
    said("INSERT INTO event SELECT at_s, kind, text, batch, seal FROM event WHERE rowid = 1", "stands among those of batch");
    said("UPDATE event SET batch = 9 WHERE rowid = 2", "never committed");
    said("DELETE FROM batch WHERE number = 2", "not there");
    said("UPDATE batch SET sha256 = '00' WHERE number = 2", "does not follow");
    // Two rows that change places keep their seals, and not their order.
    let swap = "UPDATE event SET rowid = 7 WHERE rowid = 1; UPDATE event SET rowid = 1 WHERE rowid = 2;
                UPDATE event SET rowid = 2 WHERE rowid = 7";
    assert!(!after(swap).is_empty());
    said("DROP VIEW stage; CREATE VIEW stage AS SELECT 1 AS number", "are not those that this tool makes");
    // Whoever cuts the end off leaves a chain that is whole: the fingerprint tells.
    let cut = "DELETE FROM ended; DELETE FROM batch WHERE number = (SELECT max(number) FROM batch);
               DELETE FROM event WHERE rowid = 2";
    assert!(after(cut).is_empty());
}

/// The views find starts by an index: one that was changed must not pass.
#[test]
fn a_changed_index_is_noticed() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    record.finish("done", 0, Seconds(4.0)).unwrap();
    drop(record);
    let path = folder.path().join(FILE);
    let store = rusqlite::Connection::open(&path).unwrap();
    let sql =
        "SELECT rootpage, (SELECT page_size FROM pragma_page_size) FROM sqlite_schema WHERE name LIKE '%autoindex_start_begin%'";
    let (page, size): (usize, usize) =
        store.query_row(sql, [], |r| Ok((r.get::<_, i64>(0)? as usize, r.get::<_, i64>(1)? as usize))).unwrap();
    drop(store);
    let mut bytes = std::fs::read(&path).unwrap();
    // The last byte of the first key: a rowid or a number of a start.
    bytes[page * size - 1] ^= 3;
    std::fs::write(&path, bytes).unwrap();
    let damage = verify(folder.path()).unwrap().damage;
    assert!(damage.iter().any(|d| d.starts_with("the file: ")), "{damage:?}");
}

#[test]
fn a_record_goes_on_where_it_stopped() {
    let folder = tempfile::tempdir().unwrap();
    let mut record = filled(folder.path());
    record.end_stage(1, "stopped", Seconds(4.0)).unwrap();
    record.finish("stopped", 130, Seconds(4.0)).unwrap();
    drop(record);
    let mut record = Record::append(folder.path(), Durability::Rehearsal).unwrap();
    record.resumed(Seconds(64.0), Seconds(60.0), "2026-11-25T15:30:12Z", "", &[]).unwrap();
    assert_eq!(Run::open(folder.path()).unwrap().exit_code, None, "it goes on");
    record.begin_stage(1, "start", "two starts", Seconds(64.0)).unwrap();
    record.commit().unwrap();
    let stage = Run::open(folder.path()).unwrap().stages().unwrap()[0].clone();
    assert_eq!((stage.began, stage.ended), (Seconds(0.5), None));
    assert!(Run::open(folder.path()).unwrap().findings().unwrap().is_empty(), "judged anew at the end");
    record.end_stage(1, "done", Seconds(70.0)).unwrap();
    record.finish("done", 0, Seconds(71.0)).unwrap();
    let run = Run::open(folder.path()).unwrap();
    assert_eq!((run.ended, run.exit_code), (Some(Seconds(71.0)), Some(0)));
    assert_eq!(run.stages().unwrap()[0].how.as_deref(), Some("done"));
    assert!(whole(folder.path()).is_empty());
}

#[test]
fn a_damaged_record_is_not_gone_on_with() {
    let folder = tempfile::tempdir().unwrap();
    filled(folder.path()).commit().unwrap();
    let other = rusqlite::Connection::open(folder.path().join(FILE)).unwrap();
    other.execute_batch("UPDATE event SET text = 'nothing'").unwrap();
    let refused = Record::append(folder.path(), Durability::Full).map(|_| ()).unwrap_err();
    assert!(refused.to_string().contains("event, row 1"), "{refused}");
}

#[test]
fn runs_are_found_by_the_beginning_of_their_names() {
    let logs = tempfile::tempdir().unwrap();
    let first = new_folder(logs.path(), "2026-11-25T15:30:12Z", "Frost alarm: does it start?").unwrap();
    let second = new_folder(logs.path(), "2026-11-25T15:30:12Z", "Frost alarm: does it start?").unwrap();
    assert_eq!(first.file_name().unwrap().to_string_lossy(), "20261125T153012-frost-alarm-does");
    assert_ne!(first, second);
    drop(filled(&first));
    drop(filled(&second));
    assert_eq!(find(logs.path(), "last").unwrap(), second);
    assert_eq!(find(logs.path(), "20261125T153012-frost-alarm-does").unwrap(), first);
    assert!(find(logs.path(), "2026").unwrap_err().to_string().contains("2 runs begin with"));
    assert!(find(logs.path(), "1999").unwrap_err().to_string().contains("no run"));
}
