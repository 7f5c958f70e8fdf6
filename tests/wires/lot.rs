//! A lot of 125 over real TCP, killed at part 60 and gone on with: the outliers and the
//! drift are found, no good part is refused, no result is lost.

use crate::support::{Running, StandIn, only_run, signal};
use rampart::analysis::inspection::decision::Decision;
use rampart::document::Document;
use rampart::record::{Run, verify};
use rampart::rehearsal::UnitFile;
use rustix::process::Signal;
use std::collections::BTreeSet;

const PLAN: &str = include_str!("../../scripts/tantalum-tray.toml");
const LOT: &str = include_str!("../../scripts/tantalum-tray.lot.toml");
const UNIT: &str = include_str!("../../scripts/tantalum-tray.unit.toml");
const PACE: &str = "40";
/// Of the stand-ins, as `support` starts them.
const SEED: u64 = 1;

#[test]
fn a_lot_that_was_killed_at_part_60_goes_on() {
    let mut standin = StandIn::start(UNIT, PACE);
    // A short soak, and room for a loaded machine: at this pace a second is 25 ms.
    let plan = PLAN.replace("electrify = \"1 min\"", "electrify = \"4 s\"\nevery = \"500 ms\"");
    standin.write("plan.toml", &plan.replace("[inspection]", "[interlock]\nno_reading = \"40 s\"\n\n[inspection]"));
    standin.write("lot.toml", LOT);
    let mut run = Running::start(standin.path(), &["run", "plan.toml", "--lot", "lot.toml", "--pace", PACE]);
    run.until("part 60 of 125: ");
    signal(&run.child, Signal::KILL);
    let (code, text) = run.end();
    assert_eq!(code, None, "{text}");
    standin.until_off();
    let folder = only_run(standin.path());
    let before = Run::open(&folder).unwrap().trials().unwrap();
    assert!(before.iter().any(|t| t.name == "60" && t.ended.is_some()), "what was judged is kept: {:?}", before.last());

    let (code, text) = Running::start(standin.path(), &["resume", "last", "--pace", PACE]).end();
    assert_eq!(code, Some(1), "{text}");
    assert!(text.contains("the run goes on with its lot after"), "{text}");
    let run = Run::open(&folder).unwrap();
    let trials = run.trials().unwrap();
    assert_eq!(trials[..before.len() - 1], before[..before.len() - 1], "nothing was written over");
    let parts: BTreeSet<u32> = trials.iter().filter_map(|t| t.position).collect();
    assert_eq!(parts.len(), 125);
    let unit = UnitFile::read(&Document::new("unit.toml", UNIT)).unwrap();
    let bad: BTreeSet<u32> = unit.outliers(SEED).into_iter().collect();
    let refused: BTreeSet<u32> =
        trials.iter().filter(|t| t.doubted.is_none() && t.outcome.is_nonconforming()).filter_map(|t| t.position).collect();
    assert_eq!(refused, bad);
    for position in &bad {
        let results = trials.iter().filter(|t| t.position == Some(*position) && t.ended.is_some()).count();
        assert!(results > 1, "part {position}: its retest stands beside the first");
    }
    let end = run.lot_end().unwrap().unwrap();
    assert_eq!((end.decision, end.count.judged, end.count.doubtful), (Decision::Refused, 125, 0), "{}", end.why);
    let codes: Vec<String> = run.findings().unwrap().into_iter().map(|f| f.code).collect();
    assert!(["lot-refused", "lot-outliers-found", "control-out"].iter().all(|c| codes.iter().any(|f| f == c)), "{codes:?}");
    assert!(verify(&folder).unwrap().damage.is_empty());
    assert!(!standin.state().contains("output 1 ON"));
}
