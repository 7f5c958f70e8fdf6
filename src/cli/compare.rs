//! `rampart compare`: two runs, or a run and a good unit, against each other.

use super::calc::options::quantity;
use super::common::complaint;
use crate::analysis::compare::condition::Condition;
use crate::analysis::compare::text::Line;
use crate::analysis::finding::Finding;
use crate::record::{self, RecordError};
use crate::report::compare::{Compared, Pair, Side, compare};
use crate::runner::Exit;
use crate::runner::good::{COURSES, runs};
use crate::runner::past::Past;
use crate::units::Ratio;
use crate::view::outln;
use std::path::{Path, PathBuf};

/// Arguments of `compare`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The first: a run, or a good unit
    a: String,
    /// The second: a run, or a good unit; of two runs the one after the repair
    b: String,
    /// A further run after the repair, whose starts count together with those of the second; may be given again
    #[arg(long = "and", value_name = "RUN")]
    further: Vec<String>,
    /// The confidence that a proof must have
    #[arg(long, value_parser = quantity::<Ratio>, allow_hyphen_values = true, default_value = "95 %")]
    confidence: Ratio,
    /// Take the second for a good unit, though it is a run: any difference counts, not only one for the worse
    #[arg(long)]
    good: bool,
    /// Where the page is written; without it into the folder of runs, named by both sides
    #[arg(long)]
    page: Option<PathBuf>,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    if !(0.5..1.0).contains(&arguments.confidence.0) {
        return complaint(&format!("--confidence {}: a proof has 50 % at least, and less than 100 %", arguments.confidence));
    }
    let sides =
        side(&arguments.logs, &arguments.a, false).and_then(|a| Ok((a, side(&arguments.logs, &arguments.b, arguments.good)?)));
    let sides = sides.and_then(|(a, mut b)| {
        for further in &arguments.further {
            b.runs.extend(side(&arguments.logs, further, false)?.runs);
        }
        Ok((a, b))
    });
    let (a, b) = match sides {
        Ok(sides) => sides,
        Err(error) => return complaint(&error.to_string()),
    };
    if b.is_good && !arguments.further.is_empty() {
        return complaint(
            "--and adds a run to the one after a repair, and the second is a good unit: `rampart good` adds to that",
        );
    }
    let all = || a.runs.iter().chain(&b.runs);
    if let Some(twice) = all().find(|run| all().filter(|other| other.fingerprint == run.fingerprint).count() > 1) {
        return complaint(&format!(
            "{} is there twice: the same starts would count twice, or be compared with themselves",
            twice.name
        ));
    }
    let names =
        [&a, &b].map(|s| s.name.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { '_' }).collect::<String>());
    let compared = match compare(a, b, arguments.confidence.0) {
        Ok(compared) => compared,
        Err(why) => return complaint(&why.to_string()),
    };
    let path = arguments.page.clone().unwrap_or_else(|| arguments.logs.join(format!("compare-{}-{}.html", names[0], names[1])));
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).map_or(Ok(()), std::fs::create_dir_all);
    if let Err(error) = folder.and_then(|()| std::fs::write(&path, compared.page())) {
        return complaint(&format!("{}: {error}", path.display()));
    }
    let exit = compared.exit();
    if arguments.json {
        outln!("{}", json(&compared, &path, exit));
    } else {
        print(&compared);
        outln!("Page: {}", path.display());
    }
    exit
}

/// A side by its name: a good unit that has been stored, or a run.
fn side(logs: &Path, name: &str, as_good: bool) -> Result<Side, RecordError> {
    let named = record::good(logs, name)?;
    if named.stored {
        return Ok(Side { name: named.name.clone(), runs: runs(&named)?, is_good: true });
    }
    let runs = named.runs.iter().map(|run| Past::read(&run.folder, None, COURSES)).collect::<Result<Vec<_>, _>>()?;
    Ok(Side { name: named.name, runs, is_good: as_good })
}

fn print(it: &Compared) {
    for (first, side) in [(true, &it.a), (false, &it.b)] {
        outln!("{}  {}", it.letter(first), side.name);
        for run in &side.runs {
            let when = if run.is_rehearsal { format!("rehearsal, seed {}", run.seed) } else { run.began.clone() };
            outln!("    {}, {} ({when})", run.unit, run.title);
        }
    }
    outln!("\nConditions that differ");
    let (matter, told) = it.weighed();
    if matter.is_empty() {
        outln!("  None that matters for what follows. Temperature is not measured: see to it that it was the same.");
    }
    for (heading, conditions) in [("  These matter:", &matter), ("  These do not stand in the way:", &told)] {
        if !conditions.is_empty() {
            outln!("{heading}");
        }
        conditions.iter().for_each(|(stage, c)| condition(stage, c));
    }
    for pair in &it.pairs {
        if let Some(told) = &pair.held.off_times {
            outln!("  Stage {}. {told}", pair.subject.number);
        }
    }
    let lines = it.plan_lines();
    match lines.iter().filter(|l| !matches!(l, Line::Both(_))).count() {
        0 => outln!("  The plans have the same text."),
        n => outln!("  The plans differ in {n} lines:"),
    }
    for line in &lines {
        match line {
            Line::A(text) => outln!("    - {text}"),
            Line::B(text) => outln!("    + {text}"),
            Line::Both(_) => {}
        }
    }
    for pair in &it.pairs {
        outln!("\n{}", it.heading(pair));
        pair.held.findings.iter().for_each(finding);
    }
    for alone in &it.alone {
        outln!("\n{alone}");
    }
    outln!("\nWhat has been proved");
    for sentence in &it.conclusion {
        outln!("  {sentence}");
    }
}

fn condition(stage: &str, c: &Condition) {
    outln!("    {stage}{}\n        A  {}\n        B  {}\n        {}", c.what, c.a, c.b, c.means());
}

fn finding(finding: &Finding) {
    outln!("{:>9}  {}", finding.severity.name(), finding.sentence);
    if let Some(advice) = &finding.advice {
        outln!("{:>9}  {advice}", "→");
    }
}

fn json(it: &Compared, path: &Path, exit: Exit) -> serde_json::Value {
    let side = |side: &Side| {
        let runs: Vec<serde_json::Value> = side
            .runs
            .iter()
            .map(|r| serde_json::json!({ "run": r.name, "unit": r.unit, "title": r.title, "fingerprint": r.fingerprint }))
            .collect();
        serde_json::json!({ "name": side.name, "good_unit": side.is_good, "runs": runs })
    };
    let condition = |stage: Option<u32>, c: &Condition| {
        let forbids: Vec<&str> = c.forbids.iter().map(|p| p.name()).collect();
        serde_json::json!({ "stage": stage, "what": c.what, "a": c.a, "b": c.b, "forbids": forbids, "why": c.why })
    };
    let conditions: Vec<serde_json::Value> = it
        .pairs
        .iter()
        .flat_map(|p| p.held.conditions.iter().map(move |c| condition(Some(p.subject.number), c)))
        .chain(it.conditions.iter().map(|c| condition(None, c)))
        .collect();
    let findings: Vec<serde_json::Value> = it.findings().map(|(pair, f)| told(pair, f)).collect();
    let rates: Vec<serde_json::Value> = it
        .pairs
        .iter()
        .filter_map(|p| Some((p.subject.number, p.held.rates?)))
        .map(|(stage, r)| {
            serde_json::json!({
                "stage": stage,
                "first": { "failed": r.a.failed, "starts": r.a.counted, "void": r.a.void },
                "second": { "failed": r.b.failed, "starts": r.b.counted, "void": r.b.void },
                "chance_of_so_few": r.test.map(|t| t.fewer),
                "chance_two_sided": r.test.map(|t| t.two_sided),
                "starts_that_would_be_proof": r.needed.map(|n| n.all),
                "further_starts": r.needed.map(|n| n.further),
            })
        })
        .collect();
    serde_json::json!({
        "a": side(&it.a),
        "b": side(&it.b),
        "confidence": it.confidence,
        "conditions": conditions,
        "same_plan_text": it.plan_lines().is_empty(),
        "rates": rates,
        "findings": findings,
        "proved": it.conclusion,
        "page": path.display().to_string(),
        "exit_code": exit.code(),
    })
}

fn told(pair: &Pair, f: &Finding) -> serde_json::Value {
    let figures: Vec<serde_json::Value> = f
        .figures
        .iter()
        .map(|g| serde_json::json!({ "name": g.name, "value": g.value, "unit": g.unit.map(|u| u.symbol()), "expanded": g.expanded }))
        .collect();
    serde_json::json!({
        "stage": pair.subject.number,
        "code": f.code,
        "severity": f.severity.name(),
        "sentence": f.sentence,
        "advice": f.advice,
        "figures": figures,
    })
}
