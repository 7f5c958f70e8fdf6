//! `compare` and `good`: what a person reads, and with which exit code.

use crate::support::{Place, SHORT, unit};

/// A capacitor of the arming delay that leaks so much that some starts do not come.
const LEAKING: &str = "arming = { resistor = \"100 kohm\", capacitor = \"C2\", threshold = \"50 %\" }\n[part.C2]\ncapacitance = \"1 uF\"\ninsulation = \"80 kohm\"";

/// The names of the runs, oldest first.
fn runs(place: &Place) -> Vec<String> {
    let entries = std::fs::read_dir(place.path().join("logs")).unwrap();
    let mut names: Vec<String> = entries
        .map(|e| e.unwrap())
        .filter(|e| e.path().join("run.sqlite").is_file())
        .map(|e| e.file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

fn rehearsed(units: &[(&str, &str)]) -> (Place, Vec<String>) {
    let place = Place::new();
    place.write("gate.toml", SHORT);
    for (seed, more) in units {
        place.write("gate.unit.toml", &unit(more));
        assert_eq!(place.run(&["rehearse", "gate.toml", "--seed", seed]).code, Some(0));
    }
    let runs = runs(&place);
    assert_eq!(runs.len(), units.len());
    (place, runs)
}

#[test]
fn before_and_after() {
    let (place, runs) = rehearsed(&[("7", LEAKING), ("8", "")]);
    let said = place.run(&["compare", &runs[0], &runs[1]]);
    insta::assert_snapshot!("before_and_after", said.shown());
    let json = place.run(&["compare", &runs[0], &runs[1], "--json", "--page", "page.html"]);
    let value: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(value["exit_code"].as_i64(), json.code.map(i64::from));
    assert_eq!(value["rates"][0]["second"]["failed"], 0);
    assert!(value["proved"].as_array().unwrap().len() > 1, "{value}");
    let page = std::fs::read_to_string(place.path().join("page.html")).unwrap();
    assert!(page.contains("Before and after") && !page.contains("NaN"));
}

#[test]
fn a_good_unit_is_stored_shown_and_used() {
    let (place, runs) = rehearsed(&[("1", ""), ("2", ""), ("3", ""), ("9", LEAKING)]);
    insta::assert_snapshot!("no_good_unit", place.run(&["good"]).shown());
    for (run, name) in runs.iter().zip(["A1", "A2", "A3"]) {
        let said = place.run(&["good", "gate", run, "--unit", name]);
        assert_eq!(said.code, Some(0), "{}", said.shown());
    }
    insta::assert_snapshot!("good_unit", place.run(&["good", "gate"]).shown());
    insta::assert_snapshot!("good_unit_again", place.run(&["good", "gate", &runs[0]]).shown());
    assert_eq!(place.run(&["good"]).out, "gate\n");
    let said = place.run(&["compare", &runs[3], "gate"]);
    assert_eq!(said.code, Some(1), "{}", said.shown());
    assert!(said.out.contains("It fails more often than good ones"), "{}", said.shown());
    // In a plan: what is other than it was with the good units is said before power.
    let plan = SHORT
        .replace("do      = \"start\"", "do      = \"start\"\ngood    = \"gate\"")
        .replace("off     = \"500 ms\"", "off     = \"2 s\"");
    place.write("other.toml", &plan);
    insta::assert_snapshot!("good_unit_checked", place.run(&["check", "other.toml"]).shown());
    place.write("none.toml", &SHORT.replace("do     = \"ramp\"", "do     = \"ramp\"\ngood   = \"door\""));
    insta::assert_snapshot!("good_unit_missing", place.run(&["check", "none.toml"]).shown());
}

#[test]
fn what_cannot_be_compared() {
    let place = Place::new();
    insta::assert_snapshot!("nothing_to_compare", place.run(&["compare", "last", "frost-alarm"]).shown());
    assert_eq!(place.run(&["compare", "last"]).code, Some(2));
    let said = place.run(&["compare", "a", "b", "--confidence", "100 %"]);
    assert_eq!(said.code, Some(2), "{}", said.shown());
}
