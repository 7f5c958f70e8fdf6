//! `rampart resume`: goes on with a run that was cut short, in the same record.

use super::common::{checked, followed, now, refuse};
use super::on_bench::{Choices, Work, bench, carry_out, locks, somebody_can_answer};
use crate::record::{self, FileRow, Run, TOOL};
use crate::runner::good::Where;
use crate::runner::{Begin, Exit, Resume};
use crate::units::Seconds;
use crate::view::errln;
use std::path::PathBuf;

/// Arguments of `resume`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// A folder's name, its unambiguous beginning, a path, or `last`
    run: String,
    /// The plan, where it lies elsewhere now
    #[arg(long)]
    plan: Option<PathBuf>,
    /// The lot file, where it lies elsewhere now
    #[arg(long)]
    lot: Option<PathBuf>,
    /// The bench file, where it lies elsewhere now
    #[arg(long)]
    bench: Option<PathBuf>,
    /// Go on although the plan, the bench, a profile or this tool is another than before, and record that
    #[arg(long)]
    changed: bool,
    /// Go on although an interlock had tripped, and record that
    #[arg(long)]
    after_trip: bool,
    #[command(flatten)]
    choices: Choices,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    main_or_exit(arguments).unwrap_or_else(|exit| exit)
}

fn main_or_exit(arguments: &Arguments) -> Result<Exit, Exit> {
    let choices = &arguments.choices;
    let refuse = |why: String| refuse(&why);
    let folder = record::find(&choices.logs, &arguments.run).map_err(|e| refuse(e.to_string()))?;
    let run = Run::open(&folder).map_err(|e| refuse(e.to_string()))?;
    if run.is_rehearsal() {
        return Err(refuse(format!("a rehearsal is not gone on with: its seed gives it again, --seed {}", run.seed)));
    }
    let before = run.files().map_err(|e| refuse(e.to_string()))?;
    let name = |kind: &str| before.iter().rfind(|f| f.kind == kind).map(|f| PathBuf::from(&f.name)).unwrap_or_default();
    let plan = arguments.plan.clone().unwrap_or_else(|| name("plan"));
    let bench_file = arguments.bench.clone().unwrap_or_else(|| name("bench"));
    let lot = arguments.lot.clone().or_else(|| before.iter().rfind(|f| f.kind == "lot").map(|f| PathBuf::from(&f.name)));
    for (what, path) in [("plan", &plan), ("bench", &bench_file)].into_iter().chain(lot.iter().map(|lot| ("lot", lot))) {
        if !path.is_file() {
            let path = path.display();
            return Err(refuse(format!(
                "the run followed the {what} {path}, and that is not here: go to the folder where it was begun, or say --{what} FILE"
            )));
        }
    }
    let checked = checked(
        &plan,
        lot.as_deref(),
        bench(Some(&bench_file), choices)?,
        Where { logs: &choices.logs, rehearsal: Some(false) },
    )?;
    super::common::complain(&checked.problems);
    let Some(passed) = &checked.passed else { return Err(Exit::Wrong) };
    let mut resume = Resume::read(&run, passed, now(), since(&run.began)).map_err(&refuse)?;
    somebody_can_answer(passed, choices, resume.done())?;

    let (mut differs, files) = differences(&run, &before, followed(passed, None));
    if !differs.is_empty() && !arguments.changed {
        return Err(refuse(format!("{}; --changed goes on all the same, and records it", differs.join("; "))));
    }
    // An instrument that fell silent trips as well, and that says nothing of the unit.
    let of_the_unit = |trip: &String| !trip.starts_with("no reading");
    if let Some(trip) = run.tripped().map_err(|e| refuse(e.to_string()))?.filter(of_the_unit) {
        if !arguments.after_trip {
            return Err(refuse(format!(
                "an interlock had tripped: {trip}. Find out why first; --after-trip goes on all the same, and records it"
            )));
        }
        differs.push(format!("gone on with after a trip ({trip})"));
    }
    (resume.differs, resume.files) = (differs.join("; "), files);
    // Whoever reads the record meanwhile keeps it from becoming one file at the end.
    drop(run);
    let _locks = locks(passed, &format!("rampart resume {}", folder.display()))?;
    errln!("{}: {}.", folder.display(), resume.told());
    let origin = resume.at();
    Ok(carry_out(Work { checked: &checked, passed, folder: &folder, choices, origin }, Begin::Again(Box::new(resume))))
}

/// What has passed since the run began, by the wall clock.
fn since(began: &str) -> Seconds {
    let began: Option<jiff::Timestamp> = began.parse().ok();
    began.map_or(Seconds(0.0), |began| Seconds(jiff::Timestamp::now().duration_since(began).as_secs_f64()))
}

/// What is not as before, in words, and the files that are others.
fn differences(run: &Run, before: &[FileRow], now: Vec<FileRow>) -> (Vec<String>, Vec<FileRow>) {
    let mut words = Vec::new();
    let with = run.resumed().ok().and_then(|r| r.last().map(|r| r.tool.clone())).unwrap_or_else(|| run.tool.clone());
    if with != TOOL {
        words.push(format!("the run was carried out by {with}, and this is {TOOL}"));
    }
    // The latest text under a name is what was followed last.
    let same = |file: &FileRow| {
        let was = before.iter().rfind(|f| f.kind == file.kind && f.name == file.name);
        was.or_else(|| before.iter().rfind(|f| f.kind == file.kind)).is_some_and(|f| f.text == file.text)
    };
    let others: Vec<FileRow> = now.into_iter().filter(|file| !same(file)).collect();
    words.extend(others.iter().map(|f| format!("the {} {} is another than the run followed", f.kind, f.name)));
    (words, others)
}
