//! What each command prints when all is well.

use crate::support::{Place, SHORT, unit};

/// A folder with a short plan and its unit.
fn short(more: &str) -> Place {
    let place = Place::new();
    place.write("gate.toml", SHORT).write("gate.unit.toml", &unit(more));
    place
}

#[test]
fn help() {
    let place = Place::new();
    let mut text = place.run(&["--help"]).shown();
    for verb in [
        "rehearse", "run", "resume", "check", "calc", "off", "standin", "runs", "report", "history", "handover", "export",
        "verify",
    ] {
        text.push_str(&format!("=== {verb}\n{}", place.run(&[verb, "--help"]).shown()));
    }
    insta::assert_snapshot!(text);
}

#[test]
fn the_shipped_plan_is_checked() {
    insta::assert_snapshot!(Place::new().run(&["check", "frost-alarm.toml"]).shown());
}

#[test]
fn every_command_that_would_be_sent() {
    let place = short("");
    insta::assert_snapshot!(place.run(&["check", "gate.toml", "--commands"]).shown());
    assert!(!place.path().join("logs").exists(), "a check leaves no record");
}

#[test]
fn the_estimate_as_json() {
    let said = short("").run(&["check", "gate.toml", "--json"]);
    let value: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(value["starts"], 10);
    assert_eq!(value["stages"].as_array().unwrap().len(), 3);
}

#[test]
fn a_good_unit_then_its_list_and_its_report() {
    let place = short("");
    insta::assert_snapshot!("good_rehearsal", place.run(&["rehearse", "gate.toml", "--seed", "7"]).shown());
    insta::assert_snapshot!("good_runs", place.run(&["runs"]).shown());
    let listed: serde_json::Value = serde_json::from_str(&place.run(&["runs", "--json"]).out).unwrap();
    assert_eq!(listed[0]["exit_code"], 0);
    let report = place.only_run().join("report.html");
    let first = std::fs::read(&report).unwrap();
    std::fs::remove_file(&report).unwrap();
    insta::assert_snapshot!("good_report", place.run(&["report", "last"]).shown());
    assert_eq!(std::fs::read(&report).unwrap(), first, "the record alone gives the report");
    insta::assert_snapshot!("no_such_run", place.run(&["report", "1999"]).shown());
}

#[test]
fn a_unit_that_fails_once_in_a_while() {
    let place = short(
        "arming = { resistor = \"100 kohm\", capacitor = \"C2\", threshold = \"50 %\" }\n[part.C2]\ncapacitance = \"1 uF\"\ninsulation = \"80 kohm\"",
    );
    let said = place.run(&["rehearse", "gate.toml", "--seed", "7"]);
    insta::assert_snapshot!("failing_rehearsal", said.shown());
    let json = place.run(&["rehearse", "gate.toml", "--seed", "7", "--json"]);
    let value: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(value["off"], true);
    assert!(value["findings"].as_array().unwrap().iter().any(|f| f["code"] == "starts-fail"), "{value}");
}

#[test]
fn over_current_trips() {
    let said = short("latch_up = { chance = \"100 %\", current = \"300 mA\" }").run(&["rehearse", "gate.toml", "--seed", "7"]);
    assert_eq!(said.code, Some(3), "{}", said.shown());
    insta::assert_snapshot!(said.shown());
}

#[test]
fn an_empty_list() {
    insta::assert_snapshot!(Place::new().run(&["runs"]).shown());
}

#[test]
fn a_record_is_verified() {
    let place = short("");
    let ended = place.run(&["rehearse", "gate.toml", "--seed", "7"]).out;
    let told = ended.lines().find_map(|l| l.strip_prefix("Fingerprint: ")).unwrap();
    let said = place.run(&["verify", "last", "--fingerprint", &told[..16]]);
    assert_eq!(said.code, Some(0), "{}", said.shown());
    insta::assert_snapshot!("verified", place.run(&["verify", "last"]).shown());
    let other = place.run(&["verify", "last", "--fingerprint", "0123456789"]);
    assert!(other.code == Some(1) && other.out.contains("its fingerprint is"), "{}", other.shown());
    // One that was noted earlier is found, and what came since is told.
    let store = rusqlite::Connection::open(place.only_run().join("run.sqlite")).unwrap();
    let sql = "SELECT sha256 FROM batch WHERE number = (SELECT max(number) - 2 FROM batch)";
    let earlier: String = store.query_row(sql, [], |r| r.get(0)).unwrap();
    drop(store);
    let said = place.run(&["verify", "last", "--fingerprint", &earlier]);
    assert!(said.code == Some(0) && said.out.contains("2 batches ago"), "{}", said.shown());
    assert_eq!(place.run(&["verify", "last", "--fingerprint", "last"]).code, Some(2));
    assert_eq!(place.run(&["verify", "1999"]).code, Some(2));

    let store = rusqlite::Connection::open(place.only_run().join("run.sqlite")).unwrap();
    store.execute_batch("UPDATE reading SET value = value * 1.01 WHERE rowid = 40").unwrap();
    drop(store);
    insta::assert_snapshot!("changed_reading", place.run(&["verify", "last"]).shown());
    place.run(&["report", "last"]);
    let page = std::fs::read_to_string(place.only_run().join("report.html")).unwrap();
    assert!(page.contains("This record is NOT as it was written"), "the report says so, too");
    std::fs::write(place.only_run().join("run.sqlite"), b"coffee").unwrap();
    let said = place.run(&["verify", "last"]);
    assert!(said.code == Some(1) && said.err.contains("not a database"), "{}", said.shown());
}

#[test]
fn a_rehearsal_is_not_gone_on_with() {
    let place = short("");
    place.run(&["rehearse", "gate.toml", "--seed", "7"]);
    insta::assert_snapshot!(place.run(&["resume", "last"]).shown());
}
