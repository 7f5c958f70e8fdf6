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

#[test]
fn the_history_of_a_unit() {
    let place = one();
    insta::assert_snapshot!("no_history", place.run(&["history", "--unit", "gate"]).shown());
    let said = place.run(&["history", "--unit", "gate", "--kind", "rehearsal"]).shown();
    // The day on which this test runs.
    let folder = place.only_run().file_name().unwrap().to_string_lossy().into_owned();
    let day = format!("{}-{}-{}", &folder[..4], &folder[4..6], &folder[6..8]);
    insta::assert_snapshot!("history", said.replace(&day, "<the day>."));
    let page = std::fs::read_to_string(place.path().join("history.html")).unwrap();
    assert!(page.contains("REHEARSALS on stand-in instruments") && page.matches("<svg").count() >= 3, "{page}");
    assert_eq!(place.run(&["history", "--at", "6"]).code, Some(2), "a voltage has its unit");
}

#[test]
fn the_sheet_of_a_repair() {
    let place = Place::new();
    let arming =
        "arming = { resistor = \"100 kohm\", capacitor = \"C2\", threshold = \"50 %\" }\n[part.C2]\ncapacitance = \"1 uF\"";
    place.write("gate.toml", SHORT).write("gate.unit.toml", &unit(&format!("{arming}\ninsulation = \"80 kohm\"")));
    place.run(&["rehearse", "gate.toml", "--seed", "7", "--logs", "before"]);
    place.write("gate.unit.toml", &unit(&format!("{arming}\ninsulation = \"1 Gohm\"")));
    place.run(&["rehearse", "gate.toml", "--seed", "8", "--logs", "after"]);
    let folder = |logs: &str| std::fs::read_dir(place.path().join(logs)).unwrap().next().unwrap().unwrap().path();
    let (before, after) = (folder("before"), folder("after"));
    let (before, after) = (before.to_str().unwrap(), after.to_str().unwrap());
    let said = place.run(&["handover", after, "--before", before, "--by", "A. Bauer <x>", "--for", "Hillside orchard"]);
    assert_eq!((said.code, said.out.as_str()), (Some(0), "handover.html\n"), "{}", said.shown());
    let page = std::fs::read_to_string(place.path().join("handover.html")).unwrap();
    for wanted in [
        "Test record after repair",
        "A. Bauer &lt;x&gt;",
        "Hillside orchard",
        "Plan and unit were the same.",
        "Nothing real was measured: this sheet is for nobody.",
        "It is not the document of an accredited laboratory",
        "its values are traceable to nothing",
        "B0417",
        "Annex",
    ] {
        assert!(page.contains(wanted), "{wanted}");
    }
    let fingerprints = [before, after].map(|run| Run::open(run.as_ref()).unwrap().fingerprint().unwrap());
    assert!(fingerprints.iter().all(|f| page.contains(f)));
    assert!(!page.to_lowercase().contains("certificate"), "it does not call itself one");
}
