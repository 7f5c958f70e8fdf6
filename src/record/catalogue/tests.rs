//! The catalogue says what the records say, whatever has become of its index.

use super::super::tests::header;
use super::super::{Durability, FILE, FileRow, Header, Record};
use super::*;
use crate::units::Seconds;
use std::path::PathBuf;

const PLAN: &str = "title = \"x\"\n[[stage]]\ndo = \"leakage\"\npart = { name = \"C7\", kind = \"solid tantalum\" }\n";

/// Five runs: two units, one day apart; the last without an end.
fn five(logs: &Path) {
    for number in 0..5u8 {
        let folder = logs.join(format!("2026112{number}T100000-run"));
        std::fs::create_dir_all(&folder).unwrap();
        let head = Header {
            kind: if number == 3 { "rehearsal" } else { "run" },
            title: format!("Plan {number}"),
            unit: if number < 2 { "Frost alarm".into() } else { "gate opener".into() },
            began: if number == 3 { "2000-01-01T00:00:00Z".into() } else { format!("2026-11-2{number}T10:00:00Z") },
            files: vec![FileRow {
                kind: "plan".into(),
                name: "p.toml".into(),
                text: if number == 1 { PLAN.into() } else { String::new() },
            }],
            ..header()
        };
        let mut record = Record::create(&folder, &head, Durability::Rehearsal).unwrap();
        if number < 4 {
            record.finish("done", number, Seconds(1.0)).unwrap();
        }
    }
}

fn place() -> (tempfile::TempDir, PathBuf) {
    let place = tempfile::tempdir().unwrap();
    let logs = place.path().join("logs");
    five(&logs);
    (place, logs)
}

/// The days of the runs found, without changing the index.
fn days(logs: &Path, filter: Filter) -> Vec<String> {
    let found = runs(logs, Refresh::Changed, &filter).unwrap();
    found.iter().map(|e| e.moment[8..10].to_owned()).collect()
}

fn all(logs: &Path) -> Vec<Entry> {
    runs(logs, Refresh::Changed, &Filter::default()).unwrap()
}

fn some(text: &str) -> Option<String> {
    Some(text.to_owned())
}

#[test]
fn runs_are_found_by_what_they_were() {
    let (_place, logs) = place();
    let open = Filter::default;
    assert_eq!(days(&logs, open()), ["20", "21", "22", "23", "24"]);
    assert_eq!(days(&logs, Filter { unit: some("FROST"), ..open() }), ["20", "21"]);
    assert_eq!(days(&logs, Filter { part: some("c7"), ..open() }), ["21"]);
    assert_eq!(days(&logs, Filter { part: some("Solid tantalum"), ..open() }), ["21"]);
    assert_eq!(days(&logs, Filter { part: some("C"), ..open() }), [""; 0]);
    assert_eq!(days(&logs, Filter { plan: some("plan 2"), ..open() }), ["22"]);
    assert_eq!(days(&logs, Filter { kind: some("rehearsal"), ..open() }), ["23"], "by its folder's date, not by its made-up one");
    assert_eq!(days(&logs, Filter { since: some("2026-11-22"), until: some("2026-11-23"), ..open() }), ["22", "23"]);
    assert_eq!(days(&logs, Filter { since: some("2026-11"), until: some("2026-11"), ..open() }).len(), 5);
    assert_eq!(days(&logs, Filter { until: some("2025"), ..open() }), [""; 0]);
    let states = Some(vec![State::Ended(1), State::CutOff]);
    assert_eq!(days(&logs, Filter { states, ..open() }), ["21", "24"]);
}

#[test]
fn the_index_is_never_needed() {
    let (_place, logs) = place();
    let expected = all(&logs);
    assert_eq!(expected.len(), 5);
    let index = logs.join(INDEX);
    let other_version = |path: &Path| {
        let store = rusqlite::Connection::open(path).unwrap();
        store.execute_batch("PRAGMA user_version = 1").unwrap();
    };
    type Spoil<'s> = (&'s str, &'s dyn Fn(&Path));
    let spoils: [Spoil<'_>; 5] = [
        ("deleted", &|path| std::fs::remove_file(path).unwrap()),
        ("no database", &|path| std::fs::write(path, b"coffee").unwrap()),
        ("torn", &|path| std::fs::write(path, &std::fs::read(path).unwrap()[..5000]).unwrap()),
        ("of another version", &other_version),
        ("empty", &|path| std::fs::write(path, b"").unwrap()),
    ];
    for (what, spoil) in spoils {
        spoil(&index);
        assert_eq!(all(&logs), expected, "{what}");
        assert_eq!(all(&logs), expected, "{what}, looked at again");
    }
    // Where it cannot be written at all it is done without.
    std::fs::remove_file(&index).unwrap();
    std::fs::create_dir(&index).unwrap();
    assert_eq!(all(&logs), expected);
}

#[test]
fn the_index_follows_the_records() {
    let (_place, logs) = place();
    all(&logs);
    std::fs::remove_dir_all(logs.join("20261120T100000-run")).unwrap();
    std::fs::rename(logs.join("20261121T100000-run"), logs.join("renamed")).unwrap();
    let mut record = Record::append(&logs.join("20261124T100000-run"), Durability::Rehearsal).unwrap();
    record.resumed(Seconds(2.0), Seconds(1.0), "2026-11-24T10:01:00Z", "", &[]).unwrap();
    record.finish("done", 5, Seconds(3.0)).unwrap();
    drop(record);
    std::fs::create_dir(logs.join("no-run")).unwrap();
    let now = all(&logs);
    let names: Vec<&str> = now.iter().map(|e| e.name.as_str()).collect();
    assert_eq!(names, ["renamed", "20261122T100000-run", "20261123T100000-run", "20261124T100000-run"]);
    assert_eq!(now[3].state, State::Ended(5));
    assert_eq!(days(&logs, Filter { part: some("C7"), ..Filter::default() }), ["21"], "its part went with it");
    assert_eq!(runs(&logs, Refresh::All, &Filter::default()).unwrap(), now, "made anew it says the same");
}

#[test]
fn a_record_that_cannot_be_read_is_told_with_its_reason() {
    let (_place, logs) = place();
    let file = |day: u8| logs.join(format!("2026112{day}T100000-run")).join(FILE);
    let whole = std::fs::read(file(0)).unwrap();
    std::fs::write(file(0), &whole[..whole.len() - 4096]).unwrap();
    std::fs::write(file(1), b"").unwrap();
    std::fs::write(file(2), vec![7; 100_000]).unwrap();
    let found = all(&logs);
    assert_eq!(found.len(), 5);
    let why = |place: usize| match &found[place].state {
        State::Unreadable(why) => why.clone(),
        other => panic!("{other:?}"),
    };
    assert!(why(0).contains("is shorter than it was written"), "{}", why(0));
    assert!(why(1).contains("0 bytes"), "{}", why(1));
    assert!(!why(2).is_empty());
    let unreadable = Filter { states: Some(vec![State::Unreadable(String::new())]), ..Filter::default() };
    assert_eq!(days(&logs, unreadable), ["20", "21", "22"]);
    // Put back, it is there again.
    std::fs::write(file(0), whole).unwrap();
    assert_eq!(all(&logs)[0].state, State::Ended(0));
}
