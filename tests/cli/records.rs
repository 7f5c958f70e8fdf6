//! Records as other programs and the catalogue have them.

use crate::support::{Place, SHORT, unit};
use rampart::record::{Durability, FILE, Header, Record, Run};

/// A folder with one rehearsed run.
fn one() -> Place {
    let place = Place::new();
    place.write("gate.toml", SHORT).write("gate.unit.toml", &unit(""));
    place.run(&["rehearse", "gate.toml", "--seed", "7"]);
    place
}

#[test]
fn a_run_as_csv() {
    let place = one();
    insta::assert_snapshot!("exported_csv", place.run(&["export", "last", "--format", "csv", "--out", "tables"]).shown());
    insta::assert_snapshot!(
        "exported_starts",
        place.run(&["export", "last", "--format", "csv", "--table", "starts", "--out", "-"]).shown().replace('\r', "")
    );
    let left: Vec<String> = std::fs::read_dir(place.path().join("tables"))
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.ends_with(".csv"))
        .collect();
    assert!(left.is_empty(), "nothing half written is left: {left:?}");
    insta::assert_snapshot!("no_such_table", place.run(&["export", "last", "--format", "csv", "--table", "volts"]).shown());
    insta::assert_snapshot!("many_tables_to_one_output", place.run(&["export", "last", "--format", "csv", "--out", "-"]).shown());
}

#[test]
fn a_run_for_a_build_server() {
    let place = one();
    let shown = place.run(&["export", "last", "--format", "junit", "--out", "-"]).shown();
    let fingerprint = Run::open(&place.only_run()).unwrap().fingerprint().unwrap();
    insta::assert_snapshot!("exported_junit", shown.replace(&fingerprint, "<fingerprint>"));
}

#[test]
fn the_report_is_exported_as_it_stands() {
    let place = one();
    let said = place.run(&["export", "last", "--format", "html", "--out", "paper"]);
    assert_eq!(said.code, Some(0), "{}", said.shown());
    let exported = std::fs::read(place.path().join("paper/report.html")).unwrap();
    assert_eq!(exported, std::fs::read(place.only_run().join("report.html")).unwrap());
}

#[test]
fn runs_are_filtered() {
    let place = one();
    let made = |name: &str, unit: &str| {
        let folder = place.path().join("logs").join(name);
        std::fs::create_dir(&folder).unwrap();
        let header = Header {
            kind: "run",
            title: "A title".into(),
            unit: unit.into(),
            seed: 1,
            began: "2026-03-29T01:00:00Z".into(),
            cautions: String::new(),
            files: Vec::new(),
        };
        Record::create(&folder, &header, Durability::Full).unwrap()
    };
    // This test writes it while the binary, another process, lists it.
    let going_on = made("20260329T010000-a", "rain gauge");
    drop(made("20260329T010000-b", "rain gauge"));
    drop(made("20260329T010000-c", "rain gauge"));
    std::fs::write(place.path().join("logs/20260329T010000-c").join(FILE), b"coffee").unwrap();
    insta::assert_snapshot!("filtered_runs", place.run(&["runs", "--until", "2026-03"]).shown());
    insta::assert_snapshot!("going_on", place.run(&["runs", "--outcome", "open"]).shown());
    drop(going_on);
    insta::assert_snapshot!("rebuilt_runs", place.run(&["runs", "--unit", "rain", "--rebuild"]).shown());
    insta::assert_snapshot!("no_such_runs", place.run(&["runs", "--unit", "cuckoo clock"]).shown());
    insta::assert_snapshot!("no_date", place.run(&["runs", "--since", "yesterday"]).shown());
    std::fs::remove_dir_all(place.path().join("logs/20260329T010000-b")).unwrap();
    let left: serde_json::Value = serde_json::from_str(&place.run(&["runs", "--unit", "rain", "--json"]).out).unwrap();
    assert_eq!(left.as_array().unwrap().len(), 1, "{left}");
    assert_eq!(left[0]["state"], "not ended");
}
