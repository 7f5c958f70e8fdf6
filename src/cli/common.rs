//! What several verbs need: files, runtimes, the words at the end of a run.

use crate::document::{Document, Problems};
use crate::plan::{Bench, Checked, Lot, Passed, Plan, check_lot};
use crate::record::{FileRow, Header, Run, new_folder};
use crate::rehearsal::UnitFile;
use crate::runner::good::{Where, look};
use crate::runner::{Ended, Exit};
use crate::units::Amperes;
use crate::view::{errln, outln};
use std::path::{Path, PathBuf};

/// The bench of a rehearsal where no file says otherwise.
const REHEARSAL_BENCH: &str = include_str!("../../scripts/bench-rehearsal.toml");
/// The bench file that is taken where none is named.
pub(super) const BENCH: &str = "bench.toml";

/// What the unit is called at a patch panel, whatever the plan calls it.
pub(super) const UNIT: &str = "unit";

/// Prints problems to standard error.
pub(super) fn complain(problems: &Problems) {
    crate::view::say(std::io::stderr().lock(), format_args!("{problems}"));
}

/// Prints problems and gives the exit code for a wrong file.
pub(super) fn wrong(problems: &Problems) -> Exit {
    complain(problems);
    errln!("Nothing was energised.");
    Exit::Wrong
}

/// Prints one line and gives the exit code for a wrong command line.
pub(super) fn refuse(why: &str) -> Exit {
    complaint(&format!("{why}\nNothing was energised."))
}

/// The same where power is no question.
pub(super) fn complaint(why: &str) -> Exit {
    errln!("error: {why}");
    Exit::Wrong
}

/// The exit code of something that holds or not.
pub(super) fn whether(holds: bool) -> Exit {
    if holds { Exit::Within } else { Exit::Anomaly }
}

pub(super) fn plan(path: &Path) -> Result<Plan, Problems> {
    Plan::read(&Document::open(path)?)
}

/// The bench file that is named, or `bench.toml` here, or none.
pub(super) fn bench(named: Option<&Path>) -> Result<Option<Bench>, Problems> {
    match named {
        Some(path) => Bench::read(&Document::open(path)?).map(Some),
        None if Path::new(BENCH).is_file() => Bench::read(&Document::open(Path::new(BENCH))?).map(Some),
        None => Ok(None),
    }
}

/// The bench for a rehearsal.
pub(super) fn rehearsal_bench(named: Option<&Path>) -> Result<Bench, Problems> {
    match named {
        Some(path) => Bench::read(&Document::open(path)?),
        None => Bench::read(&Document::new("(the bench for rehearsals)", REHEARSAL_BENCH)),
    }
}

/// The unit file that is named, or that stands beside the plan, or a plain load.
pub(super) fn unit(named: Option<&Path>, plan: &Path) -> Result<UnitFile, Problems> {
    let beside = plan.with_extension("unit.toml");
    let path: PathBuf = match named {
        Some(path) => path.to_owned(),
        None if beside.is_file() => beside,
        None => return Ok(UnitFile::plain(Amperes(0.012))),
    };
    UnitFile::read(&Document::open(&path)?)
}

/// Reads and checks, with the lot where one is named and with the good units that the plan
/// names in the folder of logs; prints what is wrong, and gives the exit code then.
pub(super) fn checked(plan: &Path, lot: Option<&Path>, bench: Bench, good: Where<'_>) -> Result<Checked, Exit> {
    let plan = self::plan(plan).map_err(|p| wrong(&p))?;
    let lot = lot.map(|path| Document::open(path).and_then(|d| Lot::read(&d))).transpose().map_err(|p| wrong(&p))?;
    let good = look(&plan, &bench, good);
    let mut checked = check_lot(plan, lot, bench, &today());
    checked.problems.extend(good);
    if checked.passed.is_none() || checked.problems.any_errors() {
        return Err(wrong(&checked.problems));
    }
    Ok(checked)
}

/// What the record may need: the estimate is one, so half as much again, and something
/// for the report.
pub(super) fn needed_space(checked: &Checked) -> f64 {
    checked.estimate.bytes * 1.5 + 1e6
}

/// Makes the run's folder, on a disk that has room for what the run will leave.
pub(super) fn folder(logs: &Path, began: &str, title: &str, checked: &Checked) -> Result<PathBuf, String> {
    let folder = new_folder(logs, began, title).map_err(|e| e.to_string())?;
    let needed = needed_space(checked);
    match crate::sys::free_space(&folder) {
        Some(free) if (free as f64) < needed => {
            // Nothing is in it yet.
            std::fs::remove_dir(&folder).unwrap_or_default();
            let (needed, free) = (needed / 1e6, free as f64 / 1e6);
            Err(format!("the record may need {needed:.0} MB, and {} has {free:.0} MB left", logs.display()))
        }
        _ => Ok(folder),
    }
}

/// Today as 2026-11-25.
pub(super) fn today() -> String {
    now().chars().take(10).collect()
}

/// Now as 2026-11-25T15:30:12Z.
pub(super) fn now() -> String {
    let now = jiff::Timestamp::now();
    jiff::Timestamp::from_second(now.as_second()).unwrap_or(now).to_string()
}

/// What a record begins with.
pub(super) fn header(
    kind: &'static str,
    checked: &Checked,
    passed: &Passed,
    seed: u64,
    began: String,
    unit: Option<&UnitFile>,
) -> Header {
    let plan = passed.plan();
    Header {
        kind,
        title: plan.title.clone(),
        unit: plan.unit.name.clone(),
        seed,
        began,
        cautions: checked.problems.to_string(),
        files: followed(passed, unit),
    }
}

/// The texts that a run follows.
pub(super) fn followed(passed: &Passed, unit: Option<&UnitFile>) -> Vec<FileRow> {
    let (plan, bench) = (passed.plan(), passed.bench());
    let file =
        |kind: &str, document: &Document| FileRow { kind: kind.into(), name: document.name.clone(), text: document.text.clone() };
    let mut files =
        vec![file("plan", &plan.document), file("bench", &bench.document), file("profile", &bench.supply.profile.document)];
    files.extend(bench.meter.as_ref().map(|m| file("profile", &m.profile.document)));
    files.extend(passed.lot().map(|(lot, _)| file("lot", &lot.document)));
    files.extend(unit.map(|u| file("unit", &u.document)));
    files
}

/// A seed that nobody chose.
pub(super) fn any_seed() -> u64 {
    use std::hash::{BuildHasher, Hasher};
    std::hash::RandomState::new().build_hasher().finish() % 1_000_000
}

/// The words at the end of a run, findings first.
pub(super) fn farewell(ended: &Ended, folder: &Path, report: Result<PathBuf, String>, exit: Exit, json: bool) {
    if json {
        let findings: Vec<serde_json::Value> = ended
            .findings
            .iter()
            .map(|f| serde_json::json!({ "code": f.code, "severity": f.severity.name(), "sentence": f.sentence, "advice": f.advice }))
            .collect();
        let mut value = serde_json::json!({
            "folder": folder.display().to_string(),
            "how": ended.how,
            "off": ended.off.is_ok(),
            "exit_code": exit.code(),
            "findings": findings,
            "marks": ended.marks.iter().map(|m| serde_json::json!({ "at_s": m.at.0, "text": m.text })).collect::<Vec<_>>(),
        });
        // What the record says of a lot; nothing is added where there is none.
        let lot = Run::open(folder).and_then(|run| super::lot::of(&run)).unwrap_or_default();
        if let (false, Some(object)) = (lot.is_null(), value.as_object_mut()) {
            object.insert("lot".into(), lot);
        }
        outln!("{value}");
        return;
    }
    outln!("");
    for finding in &ended.findings {
        outln!("{:>9}  {}", finding.severity.name(), finding.sentence);
        if let Some(advice) = &finding.advice {
            outln!("{:>9}  {advice}", "→");
        }
    }
    outln!("\nEnded: {}.", ended.how);
    match &ended.off {
        Ok(proof) => outln!("{}.", sentence(&crate::interlock::told(proof))),
        Err(why) if exit == Exit::NotOff => shout(why),
        Err(why) => outln!("{}.", sentence(why)),
    }
    let run = Run::open(folder).ok();
    let rehearsal = run.as_ref().is_some_and(Run::is_rehearsal);
    if exit == Exit::Stopped {
        outln!("Nothing that was recorded is lost; what was under way, a start or a step, counts for nothing.");
    }
    if let (Exit::Stopped | Exit::Instrument | Exit::NotOff, false, Some(name)) = (exit, rehearsal, folder.file_name()) {
        outln!("`rampart resume {}` goes on with it.", name.to_string_lossy());
    }
    outln!("Record: {}", folder.display());
    if let Some(fingerprint) = run.and_then(|run| run.fingerprint().ok()) {
        outln!("Fingerprint: {fingerprint}");
    }
    match report {
        Ok(path) => outln!("Report: {}", path.display()),
        Err(why) => outln!("The report could not be written: {why}"),
    }
}

/// The loudest that there is: an output may be on.
pub(super) fn shout(why: &str) {
    let bar = "#".repeat(72);
    errln!(
        "\u{7}{bar}\n#  AN OUTPUT COULD NOT BE VERIFIED OFF. GO AND LOOK: switch the supply\n#  off by hand, at its mains switch if need be, and keep clear of the unit.\n#  {why}\n{bar}"
    );
}

fn sentence(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().collect::<String>() + chars.as_str())
}
