//! What the operator says meanwhile: stamped, shown, and a condition of the analysis.

use crate::support::{Setup, rehearse, rehearse_in, rehearse_with};
use rampart::record::verify;
use rampart::runner::{Exit, Progress};
use std::path::Path;

/// A unit that starts only while it is cold: from 40 s to 80 s, and from 120 s to 160 s.
/// What makes it cold is told by marks, and by nothing else that is recorded.
const UNIT: &str = r#"
cause = "a joint under U7 that opens when it is warm"
input = "in"
netlist = """
C1 in 0 1u
R1 in 0 100k
S1 in a cold 0 joint
R2 a 0 750
V1 cold 0 PWL(0 0 40 0 40.001 5 80 5 80.001 0 120 0 120.001 5 160 5 160.001 0)
.model joint SW(VT=2.5 VH=0.5 RON=0.1 ROFF=100meg)
"""
[[mark]]
at  = "40 s"
say = "sprayed U7 cold"
[[mark]]
at  = "80 s"
say = "let it warm up"
[[mark]]
at  = "120 s"
say = "Sprayed  U7 cold for 40 s"
"#;

const PLAN: &str = r#"
title = "marks"
[unit]
name = "unit"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.5 W" }
[[stage]]
do = "start"
voltage = "9 V"
limit = "60 mA"
times = 90
off = "500 ms"
watch = "1.5 s"
states = { running = ["8 mA", "20 mA"], asleep = ["20 uA", "200 uA"] }
"#;

fn setup() -> Setup<'static> {
    Setup { plan: PLAN, unit: UNIT.into(), ..Setup::default() }
}

/// Common practice: cold spray on one suspect at a time, there and back, until the fault follows it.
#[test]
fn failures_that_follow_what_was_done_are_put_to_its_mark() {
    let outcome = rehearse(setup());
    let marks = outcome.run.marks().unwrap();
    let said: Vec<(&str, f64)> = marks.iter().map(|m| (m.text.as_str(), (m.at.0 * 10.0).round() / 10.0)).collect();
    assert_eq!(said, [("sprayed U7 cold", 40.0), ("let it warm up", 80.0), ("Sprayed  U7 cold for 40 s", 120.0)]);
    assert_eq!(outcome.ended.marks, marks);
    assert!(verify(outcome.folder.path()).unwrap().damage.is_empty());
    let is_cold = |f: &&rampart::analysis::finding::Finding| {
        f.code == "starts-mark" && f.sentence.starts_with("Under the mark \"sprayed U7 cold\" ")
    };
    let cold: Vec<_> = outcome.ended.findings.iter().filter(is_cold).collect();
    assert_eq!(cold.len(), 1, "{:?}", outcome.ended.findings);
    assert!(cold[0].advice.as_ref().unwrap().contains("to and fro"));
    let figure = |name: &str| cold[0].figures.iter().find(|f| f.name == name).unwrap().value;
    // A start that was switched on just before the unit changed may end the other way.
    assert!(figure("failing rate with it") < 0.1 && figure("failing rate without it") > 0.9, "{}", cold[0].sentence);
    assert!(figure("chance") < 1e-10, "{}", cold[0].sentence);
    let report = rampart::report::render(&outcome.run).unwrap();
    for words in ["Marks of the operator", "let it warm up", ">m1<", ">m3<"] {
        assert!(report.contains(words), "{words}");
    }
}

/// The same starts, and marks that have nothing to do with them.
#[test]
fn a_mark_without_a_consequence_is_no_finding_against_it() {
    let unit = UNIT.replace("sprayed U7 cold", "said one thing").replace("Sprayed  U7 cold for 40 s", "said a third thing");
    let unit = unit.replace("\"40 s\"", "\"61 s\"").replace("\"80 s\"", "\"101 s\"").replace("\"120 s\"", "\"141 s\"");
    let outcome = rehearse(Setup { unit, ..setup() });
    let found: Vec<&str> = outcome.ended.findings.iter().map(|f| &*f.code).collect();
    assert!(!found.contains(&"starts-mark"), "{:?}", outcome.ended.findings);
    assert!(found.contains(&"starts-mark-nothing"), "{found:?}");
}

/// What was marked before a run was cut counts after it, too, and a mark never disturbs a stage.
#[test]
fn marks_outlive_an_interruption_and_change_nothing_else() {
    let quiet =
        rehearse(Setup { unit: UNIT.replace("[[mark]]", "[[hidden]]").split("[[hidden]]").next().unwrap().into(), ..setup() });
    let marked = rehearse(setup());
    let ends = |o: &crate::support::Outcome| o.run.starts(1).unwrap();
    assert_eq!(ends(&quiet), ends(&marked));
    let cut = rehearse_with(setup(), &mut |_: &Progress<'_>, _: &rampart::rehearsal::Rig, _: &Path| {}, |clock| async move {
        clock.sleep(rampart::units::Seconds(100.0)).await;
        "a hand".into()
    });
    assert_eq!((cut.ended.exit, cut.run.marks().unwrap().len()), (Exit::Stopped, 2));
    let on = rehearse_in(cut.folder, setup(), &mut |_: &Progress<'_>, _: &rampart::rehearsal::Rig, _: &Path| {}, |_| {
        std::future::pending()
    });
    assert_eq!(on.ended.marks.iter().take(2).map(|m| m.text.as_str()).collect::<Vec<_>>(), ["sprayed U7 cold", "let it warm up"]);
    assert!(verify(on.folder.path()).unwrap().damage.is_empty());
}
