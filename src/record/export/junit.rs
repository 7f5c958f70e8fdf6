//! What was judged as JUnit XML, for those who run inspection from a build server.
//!
//! In the form that build servers read: `testsuites`, a `testsuite` a stage, or of a lot a
//! `testsuite` a part; a `testcase` a judgement; `failure` is an anomaly, `error` what could not be decided or carried out,
//! `skipped` what was not reached. Times are in UTC without an offset, as that form has
//! them. Characters that XML 1.0 (fifth edition, 2.2) does not allow become U+FFFD.

use super::super::{FindingRow, LeakageRow, RecordError, Run, StageRow};
mod lot;

use super::columns::{Clock, moment};
use crate::analysis::Level;
use crate::analysis::finding::standing;
use crate::analysis::uncertainty::Standing;
use crate::units::{Unit, engineering};
use std::fmt::Write;

/// How a case came out.
enum Outcome {
    Passed,
    Failed(&'static str, String),
    Undecided(&'static str, String),
    Skipped(String),
}

struct Case {
    name: String,
    outcome: Outcome,
    seconds: f64,
    out: String,
}

impl Case {
    fn of(name: &str, outcome: Outcome, out: String) -> Self {
        Self { name: name.to_owned(), outcome, seconds: 0.0, out }
    }
}

struct Suite {
    name: String,
    /// Servers sort by it, and part it at dots: the plan's title, then the stage.
    class: String,
    stamp: String,
    seconds: f64,
    cases: Vec<Case>,
}

/// The whole text, in UTF-8.
///
/// # Errors
/// SQLite's.
pub fn junit(run: &Run) -> Result<String, RecordError> {
    let clock = Clock::of(run)?;
    let stamp = |at: f64| -> String { clock.at(at).map(|at| moment(at).chars().take(19).collect()).unwrap_or_default() };
    let findings = run.findings()?;
    let title = run.title.replace('.', " ");
    let mut suites: Vec<Suite> = Vec::new();
    suites.extend(lot::suites(run, &title, &stamp)?);
    let of_parts: Vec<(u32, u32)> = run.trials()?.iter().map(|t| t.stages).collect();
    for stage in run.stages()? {
        if of_parts.iter().any(|(first, last)| (*first..=*last).contains(&stage.number)) {
            continue;
        }
        let seconds = stage.ended.map_or(0.0, |e| (e - stage.began).0);
        let mut cases = vec![carried_out(&stage, seconds)];
        let adequate = !findings.iter().any(|f| f.stage == Some(stage.number) && f.code == "leakage-not-adequate");
        cases.extend(run.leakages(stage.number)?.iter().map(|row| leakage(row, adequate)));
        cases.extend(findings.iter().filter(|f| f.stage == Some(stage.number)).map(finding));
        let name = format!("{}. {}: {}", stage.number, stage.kind, stage.what);
        let class = format!("{title}.{} {}", stage.number, stage.kind);
        suites.push(Suite { name, class, stamp: stamp(stage.began.0), seconds, cases });
    }
    let mut whole = vec![ended(run)];
    whole.extend(findings.iter().filter(|f| f.stage.is_none()).map(finding));
    let seconds = run.ended.map_or(0.0, |e| e.0);
    suites.insert(
        0,
        Suite { name: "the whole run".into(), class: format!("{title}.run"), stamp: stamp(0.0), seconds: 0.0, cases: whole },
    );
    let folder = run.folder().file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let properties = [
        ("unit", run.unit.clone()),
        ("kind", run.kind.clone()),
        ("began", clock.at(0.0).map(moment).unwrap_or_default()),
        ("tool", run.tool.clone()),
        ("record", folder),
        ("fingerprint", run.fingerprint()?),
    ];
    Ok(written(&run.title, seconds, &suites, &properties))
}

fn ended(run: &Run) -> Case {
    let (how, code) = (run.how.clone().unwrap_or_else(|| "cut off: it has no end".into()), run.exit_code);
    let outcome = match code {
        // 1 and 5 are told by the findings.
        Some(0 | 1 | 5) => Outcome::Passed,
        Some(3) => Outcome::Failed("tripped", how.clone()),
        _ => Outcome::Undecided("not ended", how.clone()),
    };
    let out = format!("ended: {how}; exit code {}", code.map_or("none".into(), |c| c.to_string()));
    Case { name: "run".into(), outcome, seconds: 0.0, out }
}

fn carried_out(stage: &StageRow, seconds: f64) -> Case {
    let outcome = match stage.how.as_deref() {
        Some("done") => Outcome::Passed,
        Some(how) => Outcome::Undecided("not carried out", format!("the stage ended: {how}")),
        None => Outcome::Skipped("the stage was cut off".into()),
    };
    Case { name: "carried out".into(), outcome, seconds, out: stage.what.clone() }
}

/// A step as the findings judge it. `adequate`: they did not say that the meter was none for it.
fn leakage(row: &LeakageRow, adequate: bool) -> Case {
    let limit = engineering(row.limit.0, Unit::Ampere, 3);
    let found = format!("{} at the electrification time; the limit is {limit}", row.soak.leakage);
    let outcome = match row.soak.leakage {
        // The record has no floor of it, which may lie above the limit.
        Level::BelowFloor { .. } if adequate => Outcome::Passed,
        Level::BelowFloor { .. } => Outcome::Undecided("not adequate", found.clone()),
        leakage => match standing(leakage, row.limit) {
            Standing::Pass => Outcome::Passed,
            Standing::Fail | Standing::ConditionalFail => Outcome::Failed("leakage", found.clone()),
            stands => Outcome::Undecided("leakage", format!("{found}: {}", stands.name())),
        },
    };
    let name = format!("{} at {}", row.part, engineering(row.set.0, Unit::Volt, 3));
    Case { name, outcome, seconds: row.soak.electrified.0, out: found }
}

fn finding(row: &FindingRow) -> Case {
    let outcome = match row.severity.as_str() {
        "anomaly" => Outcome::Failed("anomaly", row.sentence.clone()),
        "undecided" => Outcome::Undecided("undecided", row.sentence.clone()),
        _ => Outcome::Passed,
    };
    let mut out = row.sentence.clone();
    row.advice.iter().for_each(|advice| out.push_str(&format!("\n→ {advice}")));
    row.figures.iter().for_each(|(name, value)| out.push_str(&format!("\n{name}: {value}")));
    Case { name: row.code.clone(), outcome, seconds: 0.0, out }
}

fn written(title: &str, seconds: f64, suites: &[Suite], properties: &[(&str, String)]) -> String {
    let mut text = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let all = || suites.iter().flat_map(|s| &s.cases);
    let head = format!("<testsuites name=\"{}\" {} time=\"{seconds:.3}\">\n", legal(title), counts(all()));
    text.push_str(&head);
    for (place, suite) in suites.iter().enumerate() {
        add(
            &mut text,
            format_args!(
                "  <testsuite name=\"{}\" {} time=\"{:.3}\" timestamp=\"{}\">\n",
                legal(&suite.name),
                counts(suite.cases.iter()),
                suite.seconds,
                suite.stamp
            ),
        );
        if place == 0 {
            text.push_str("    <properties>\n");
            for (name, value) in properties {
                add(&mut text, format_args!("      <property name=\"{name}\" value=\"{}\"/>\n", legal(value)));
            }
            text.push_str("    </properties>\n");
        }
        for case in &suite.cases {
            self::case(&mut text, &suite.class, case);
        }
        text.push_str("  </testsuite>\n");
    }
    text.push_str("</testsuites>\n");
    text
}

fn case(text: &mut String, class: &str, case: &Case) {
    let (name, class) = (legal(&case.name), legal(class));
    add(text, format_args!("    <testcase name=\"{name}\" classname=\"{class}\" time=\"{:.3}\">\n", case.seconds));
    let mut told = |word: &str, kind: &str, why: &str| {
        let why = legal(why);
        add(text, format_args!("      <{word} message=\"{why}\" type=\"{kind}\">{why}</{word}>\n"));
    };
    match &case.outcome {
        Outcome::Passed => {}
        Outcome::Failed(kind, why) => told("failure", kind, why),
        Outcome::Undecided(kind, why) => told("error", kind, why),
        Outcome::Skipped(why) => add(text, format_args!("      <skipped message=\"{}\"/>\n", legal(why))),
    }
    add(text, format_args!("      <system-out>{}</system-out>\n    </testcase>\n", legal(&case.out)));
}

fn add(text: &mut String, more: std::fmt::Arguments<'_>) {
    // Writing to a text cannot fail.
    text.write_fmt(more).unwrap_or_default();
}

fn counts<'c>(cases: impl Iterator<Item = &'c Case>) -> String {
    let (mut tests, mut failures, mut errors, mut skipped) = (0, 0, 0, 0);
    for case in cases {
        tests += 1;
        match case.outcome {
            Outcome::Passed => {}
            Outcome::Failed(..) => failures += 1,
            Outcome::Undecided(..) => errors += 1,
            Outcome::Skipped(_) => skipped += 1,
        }
    }
    format!("tests=\"{tests}\" failures=\"{failures}\" errors=\"{errors}\" skipped=\"{skipped}\"")
}

/// A text as content or attribute. Line breaks stand as references, which a reader of
/// attributes keeps.
fn legal(text: &str) -> String {
    let mut made = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => made.push_str("&amp;"),
            '<' => made.push_str("&lt;"),
            '>' => made.push_str("&gt;"),
            '"' => made.push_str("&quot;"),
            '\t' | '\n' | '\r' => add(&mut made, format_args!("&#{};", u32::from(c))),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => made.push('\u{fffd}'),
            c => made.push(c),
        }
    }
    made
}
