//! What an earlier run has seen, stage by stage, with the plan that it followed: what a
//! run is compared with.

mod conditions;
mod flat;

pub(crate) use conditions::off_times_in_words;
pub use conditions::{MARKS, between, merged, of_bench, of_kind, of_stage, of_starts};

use super::judge::end_of_ramp;
use super::resume::{judged, looks_of_log};
use crate::analysis::Level;
use crate::analysis::compare::rate::Group;
use crate::analysis::finding::LeakageStep;
use crate::analysis::ramp::compare::Good;
use crate::analysis::ramp::{Leg, Step};
use crate::analysis::series::average::average;
use crate::analysis::series::{self, Point};
use crate::analysis::signature::kept::Kept;
use crate::analysis::start::Look;
use crate::analysis::starts as many;
use crate::document::Document;
use crate::plan::{OnFault, Plan, Ramp, StageKind, Start};
use crate::record::{FileRow, InstrumentRow, ReadingRow, RecordError, Run, verify};
use crate::units::{Amperes, Seconds, Volts};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A run that was made.
#[derive(Clone, Debug)]
pub struct Past {
    /// The folder's name.
    pub name: String,
    /// The folder.
    pub folder: PathBuf,
    /// Which unit; of a stored good unit as its list says, else as the plan names it.
    pub unit: String,
    /// The plan's title.
    pub title: String,
    /// On stand-in instruments.
    pub is_rehearsal: bool,
    /// Wall clock at its beginning.
    pub began: String,
    /// The tool that wrote it.
    pub tool: String,
    /// Its seed.
    pub seed: u64,
    /// The record's last hash.
    pub fingerprint: String,
    /// What is not as it was written, the first of it.
    pub damage: Option<String>,
    /// The plan that it followed last.
    pub plan: Plan,
    /// The texts that it followed.
    pub files: Vec<FileRow>,
    /// The instruments.
    pub instruments: Vec<InstrumentRow>,
    /// What the self-checks said.
    pub self_checks: Vec<String>,
    /// The operator's marks.
    pub marks: Vec<String>,
    /// What it has seen, of the stages that were begun.
    pub stages: Vec<Seen>,
}

/// A stage of a run that was made.
#[derive(Clone, Debug)]
pub struct Seen {
    /// Its number in the plan.
    pub number: u32,
    /// What the plan says of it.
    pub kind: StageKind,
    /// What was seen.
    pub what: What,
}

/// What was seen in a stage.
#[derive(Clone, Debug)]
pub enum What {
    /// The steps of a ramp.
    Ramp(Vec<Step>),
    /// The readings of a log, without the unit's own start.
    Log(Vec<Point>),
    /// Starts.
    Starts(Starts),
    /// The voltages of a sweep.
    Sweep(Vec<LeakageStep>),
}

/// What was seen of starts.
#[derive(Clone, Debug, Default)]
pub struct Starts {
    /// How many.
    pub group: Group,
    /// Time without power before each that counts, and whether it failed.
    pub off: Vec<(Seconds, bool)>,
    /// What was left at the unit before each that counts.
    pub left: Vec<Volts>,
    /// The courses of good ones, spread evenly over all.
    pub good: Vec<Vec<Look>>,
    /// The courses of failing ones.
    pub failed: Vec<Vec<Look>>,
    /// What good ones draw at their end.
    pub plateau: Option<Level>,
}

/// The plan that a run followed last, where it can be read.
///
/// # Errors
/// The record's.
pub fn plan_of(run: &Run) -> Result<Option<Plan>, RecordError> {
    let files = run.files()?;
    Ok(files.iter().rfind(|f| f.kind == "plan").and_then(|f| Plan::read(&Document::new(&f.name, &f.text)).ok()))
}

impl Past {
    /// Reads a run's record; `most` is the number of courses of each kind that are kept.
    ///
    /// # Errors
    /// The record's; its plan can no longer be read; it is the inspection of a lot.
    pub fn read(folder: &Path, unit: Option<&str>, most: usize) -> Result<Self, RecordError> {
        let run = Run::open(folder)?;
        let name = run.folder().file_name().map_or_else(|| folder.display().to_string(), |n| n.to_string_lossy().into_owned());
        if run.lot()?.is_some() {
            return Err(RecordError::NoRun(format!(
                "{name} is the inspection of a lot: its own report compares it with earlier lots"
            )));
        }
        let Some(plan) = plan_of(&run)? else {
            return Err(RecordError::NoRun(format!("the plan in the record {name} cannot be read by this tool")));
        };
        let mut stages = Vec::new();
        for row in run.stages()? {
            let Some(stage) = plan.stages.iter().find(|s| s.number == row.number) else { continue };
            if let Some(what) = What::read(&run, row.number, &stage.kind, most)? {
                stages.push(Seen { number: row.number, kind: stage.kind.clone(), what });
            }
        }
        let mut instruments: Vec<InstrumentRow> = Vec::new();
        for instrument in run.instruments()? {
            if !instruments.contains(&instrument) {
                instruments.push(instrument);
            }
        }
        let checks = run.findings()?.into_iter().filter(|f| f.code.starts_with("self-check"));
        Ok(Self {
            unit: unit.map_or_else(|| run.unit.clone(), str::to_owned),
            title: run.title.clone(),
            is_rehearsal: run.is_rehearsal(),
            began: run.began.clone(),
            tool: run.tool.clone(),
            seed: run.seed,
            fingerprint: run.fingerprint()?,
            damage: verify(folder)?.damage.into_iter().next(),
            files: run.files()?,
            instruments,
            self_checks: checks.map(|f| f.sentence).collect(),
            marks: run.marks()?.into_iter().map(|m| m.text).collect(),
            stages,
            name,
            folder: folder.to_owned(),
            plan,
        })
    }

    /// The text of a file that it followed last.
    pub fn text(&self, kind: &str) -> Option<&str> {
        self.files.iter().rfind(|f| f.kind == kind).map(|f| f.text.as_str())
    }

    /// The stage that is to be compared with one of another plan: of the same kind, the same
    /// part where it is a sweep, the same conditions as far as there are, the same place.
    pub fn partner(&self, kind: &StageKind, place: usize) -> Option<&Seen> {
        let part = |k: &StageKind| if let StageKind::Leakage(l) = k { Some(l.part.name.clone()) } else { None };
        let alike = self.stages.iter().filter(|s| s.kind.word() == kind.word()).enumerate();
        let nearest = alike.min_by_key(|(i, s)| {
            let forbidding = of_stage(kind, &s.kind).iter().filter(|c| !c.forbids.is_empty()).count();
            (part(kind) != part(&s.kind), forbidding, i.abs_diff(place))
        });
        nearest.map(|(_, seen)| seen)
    }

    /// Its stages, each with its place among those of its kind.
    pub fn placed(&self) -> impl Iterator<Item = (usize, &Seen)> {
        self.stages.iter().enumerate().map(|(i, seen)| {
            let before = self.stages.iter().take(i).filter(|s| s.kind.word() == seen.kind.word()).count();
            (before, seen)
        })
    }
}

impl Seen {
    /// Starts of several runs as those of one; of other kinds of stage the first alone.
    pub fn joined(&self, others: &[&Seen]) -> Self {
        let mut made = self.clone();
        let What::Starts(all) = &mut made.what else { return made };
        let mut plateaus: Vec<Level> = all.plateau.into_iter().collect();
        for other in others {
            let What::Starts(more) = &other.what else { continue };
            all.group.failed += more.group.failed;
            all.group.counted += more.group.counted;
            all.group.void += more.group.void;
            all.group.until_decided |= more.group.until_decided;
            all.off.extend(&more.off);
            all.left.extend(&more.left);
            all.good.extend(more.good.iter().cloned());
            all.failed.extend(more.failed.iter().cloned());
            plateaus.extend(more.plateau);
        }
        all.plateau = level(&plateaus);
        made
    }
}

impl What {
    /// Of a stage of a record; `None` for one in which nothing is read.
    fn read(run: &Run, number: u32, kind: &StageKind, most: usize) -> Result<Option<Self>, RecordError> {
        Ok(Some(match kind {
            StageKind::Ramp(ramp) => Self::Ramp(steps(ramp, &run.readings(number)?)),
            StageKind::Log(log) => {
                let looks = looks_of_log(run, number, log)?.0;
                let settled = looks.iter().filter(|l| l.at >= log.settled());
                Self::Log(settled.map(|l| Point { at: l.at, current: l.current }).collect())
            }
            StageKind::Start(start) => Self::Starts(starts(run, number, start, most)?),
            StageKind::Leakage(_) => Self::Sweep(sweep(run, number)?),
            StageKind::Ask(_) => return Ok(None),
        }))
    }

    /// The current that is drawn in the end: of good starts, of a log, at the end of a ramp.
    pub fn current(&self, kind: &StageKind) -> Option<Level> {
        match (self, kind) {
            (Self::Ramp(steps), StageKind::Ramp(ramp)) => end_of_ramp(steps, ramp),
            (Self::Log(points), _) => of_log(points),
            (Self::Starts(starts), _) => starts.plateau,
            _ => None,
        }
    }
}

fn of_log(points: &[Point]) -> Option<Level> {
    let summary = series::summarise(points);
    if summary.below_floor * 2 > points.len() {
        return points.iter().map(|p| p.current).find(|c| matches!(c, Level::BelowFloor { .. }));
    }
    let values: Vec<f64> = points.iter().filter_map(|p| p.current.value()).map(|a| a.0).collect();
    let scatter = average(&values).map_or(0.0, |a| a.u);
    Some(Level::Known { value: summary.mean?, u: Amperes(summary.u?.0.hypot(scatter)) })
}

/// The way up of a ramp, as a good unit's is kept.
pub fn way_up(steps: &[Step]) -> Vec<Good> {
    let up = steps.iter().filter(|s| s.leg == Leg::Up);
    up.filter_map(|s| Some(Good { volts: s.voltage?, current: s.current })).collect()
}

/// From this voltage on a supply that reads none, and regulates neither, is off.
const GONE: Volts = Volts(0.5);

/// The steps of the last time that the ramp was carried out.
pub fn steps(ramp: &Ramp, readings: &[ReadingRow]) -> Vec<Step> {
    let by = if readings.iter().any(|r| r.role == "meter" && r.measurand == "current") { "meter" } else { "supply" };
    let mut made: Vec<Step> = Vec::new();
    let mut at_supply: Option<&ReadingRow> = None;
    for reading in readings {
        let Some(step) = reading.step else { continue };
        if reading.role == "supply" && reading.measurand == "voltage" {
            at_supply = Some(reading);
        }
        if reading.role != by || reading.measurand != "current" {
            continue;
        }
        let (leg, set) = ramp.leg(step);
        // What is read after the output has gone off by itself is no step of the ramp.
        let gone = |supply: &ReadingRow| supply.regulation == "neither" && supply.value.is_none();
        if set > GONE && at_supply.is_some_and(gone) {
            continue;
        }
        if made.last().is_some_and(|last| last.set > set && leg == Leg::Up) {
            made.clear();
        }
        made.push(Step {
            leg,
            set,
            voltage: at_supply.and_then(|r| r.value).map(Volts),
            u_voltage: Volts(at_supply.and_then(|r| r.u).unwrap_or(0.0)),
            current: reading.level(),
            limiting: match at_supply.map(|r| r.regulation.as_str()) {
                Some("constant current") => Some(true),
                Some("constant voltage") => Some(false),
                _ => None,
            },
        });
    }
    made
}

/// Whether the number of starts hangs on what was seen of them.
pub fn until_decided(start: &Start) -> bool {
    start.until.is_some() || start.on_fault != OnFault::GoOn
}

fn starts(run: &Run, number: u32, start: &Start, most: usize) -> Result<Starts, RecordError> {
    let rows = run.starts(number)?;
    let limited = run.limited_starts(number)?;
    let mut made = Starts { group: Group { until_decided: until_decided(start), ..Group::default() }, ..Starts::default() };
    // Good or failing by number, for the courses, which come one at a time.
    let mut ended: BTreeMap<u32, bool> = BTreeMap::new();
    let mut plateaus = Vec::new();
    for row in &rows {
        let judged = judged(row, start, limited.contains(&row.number));
        let fails = judged.outcome.is_failure();
        if !fails && !judged.outcome.is_good() {
            made.group.void += 1;
            continue;
        }
        ended.insert(row.number, fails);
        if !fails {
            plateaus.push(judged.plateau);
        }
        made.group.failed += u64::from(fails);
        made.group.counted += 1;
        made.off.extend(row.off.map(|off| (off, fails)));
        made.left.extend(row.residual);
    }
    let (mut good, mut failed) = (Kept::at_most(most), Kept::at_most(most));
    let mut floor = None;
    run.each_course(number, |start, looks| {
        match ended.get(&start) {
            Some(false) => good.add(start, looks.iter().copied()),
            Some(true) => failed.add(start, looks.iter().copied()),
            None => return,
        }
        floor = looks.iter().rev().map(|l| l.current).find(|c| matches!(c, Level::BelowFloor { .. })).or(floor);
    })?;
    // The record keeps no floor of a plateau; the readings have it.
    made.plateau = match level(&plateaus) {
        Some(Level::BelowFloor { .. }) => floor,
        other => other,
    };
    made.good = good.courses().into_iter().map(<[Look]>::to_vec).collect();
    made.failed = failed.courses().into_iter().map(<[Look]>::to_vec).collect();
    Ok(made)
}

/// The voltages of a sweep. Of a leakage below the floor the record keeps no floor; the
/// readings of its soak have it.
fn sweep(run: &Run, number: u32) -> Result<Vec<LeakageStep>, RecordError> {
    let points = run.currents(number)?;
    let floor = |step: u32| {
        let below = |l: &Level| matches!(l, Level::BelowFloor { .. });
        points.iter().rev().filter(|p| p.step == Some(step)).map(|p| p.current).find(below)
    };
    let made = run.leakages(number)?.into_iter().map(|row| {
        let mut step = LeakageStep { set: row.set, soak: row.soak };
        if let Level::BelowFloor { .. } = step.soak.leakage {
            step.soak.leakage = floor(row.step).unwrap_or(step.soak.leakage);
        }
        step
    });
    Ok(made.collect())
}

/// What most of some levels are: their mean, or below the floor.
pub(super) fn level(levels: &[Level]) -> Option<Level> {
    let below: Vec<Level> = levels.iter().copied().filter(|l| matches!(l, Level::BelowFloor { .. })).collect();
    if below.len() * 2 > levels.len() {
        return below.last().copied();
    }
    many::middle(levels).map(|(value, u)| Level::Known { value, u })
}
