//! What many runs say of one unit, one part or one kind of part, each at its date.

use super::catalogue::{self, Entry, Filter, Refresh, State};
use super::{RecordError, Run};
use crate::analysis::Level;
use crate::units::{Amperes, Volts};
use std::path::Path;

/// What one run adds.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// The run's folder.
    pub run: String,
    /// When it began, RFC 3339.
    pub moment: String,
    /// Starts that failed, and starts that count; `None`: it made none that count.
    pub starts: Option<(u64, u64)>,
    /// Mean currents of logs and currents at the ends of ramps.
    pub currents: Vec<CurrentSeen>,
    /// Steps of leakage sweeps.
    pub leakages: Vec<LeakageSeen>,
}

/// A current that a finding gives.
#[derive(Clone, Debug, PartialEq)]
pub struct CurrentSeen {
    /// `mean current`, `current at the end`.
    pub what: String,
    /// Its value.
    pub value: Amperes,
    /// Its expanded uncertainty, k = 2.
    pub expanded: Amperes,
}

/// A leakage at a voltage.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakageSeen {
    /// The part; of a lot the serial or position.
    pub part: String,
    /// Voltage that was set.
    pub set: Volts,
    /// What was read.
    pub leakage: Level,
    /// Most that was accepted.
    pub limit: Amperes,
}

/// The runs that a filter lets through and that ended, oldest first; and those that
/// cannot be told from, with the reason.
///
/// # Errors
/// The folder's.
pub fn history(logs: &Path, filter: &Filter) -> Result<(Vec<Visit>, Vec<(String, String)>), RecordError> {
    let (mut visits, mut left) = (Vec::new(), Vec::new());
    for entry in catalogue::runs(logs, Refresh::Changed, filter)? {
        let told = match &entry.state {
            State::Unreadable(why) => Err(why.clone()),
            State::Open => Err("it is going on".to_owned()),
            State::Ended(_) | State::CutOff => visit(logs, &entry, filter.part.as_deref()).map_err(|e| e.to_string()),
        };
        match told {
            Ok(visit) => visits.push(visit),
            Err(why) => left.push((entry.name, why)),
        }
    }
    Ok((visits, left))
}

fn visit(logs: &Path, entry: &Entry, part: Option<&str>) -> Result<Visit, RecordError> {
    let run = Run::open(&logs.join(&entry.name))?;
    let asked = Asked::of(&run, part)?;
    let mut starts = (0, 0);
    let mut leakages = Vec::new();
    for stage in run.stages()? {
        for start in run.starts(stage.number)? {
            starts.0 += u64::from(start.counts == "failed");
            starts.1 += u64::from(start.counts != "void");
        }
        for row in run.leakages(stage.number)? {
            let Some(part) = asked.called(stage.number, &row.part) else { continue };
            leakages.push(LeakageSeen { part, set: row.set, leakage: row.soak.leakage, limit: row.limit });
        }
    }
    let sql = "SELECT j.value ->> 'name', j.value ->> 'value', j.value ->> 'expanded' FROM finding f, json_each(f.figures) j
               WHERE j.value ->> 'name' IN ('mean current', 'current at the end') AND j.value ->> 'unit' = 'A'
               AND j.value ->> 'expanded' IS NOT NULL
               AND f.stretch = (SELECT max(stretch) FROM stage_begin b WHERE b.number = f.stage) ORDER BY f.rowid, j.key";
    let currents =
        run.rows(sql, None, |r| Ok(CurrentSeen { what: r.get(0)?, value: Amperes(r.get(1)?), expanded: Amperes(r.get(2)?) }))?;
    Ok(Visit {
        run: entry.name.clone(),
        moment: entry.moment.clone(),
        starts: (starts.1 > 0).then_some(starts),
        currents: if part.is_none() { currents } else { Vec::new() },
        leakages,
    })
}

/// Which leakages of a run are meant.
struct Asked {
    /// Names of parts in the plan; `None`: all.
    names: Option<Vec<String>>,
    /// Stages of a part of a lot, and how it is called.
    trials: Vec<(u32, u32, String)>,
    /// Whether only those count.
    serial: bool,
}

impl Asked {
    fn of(run: &Run, part: Option<&str>) -> Result<Self, RecordError> {
        let parts_only = run.trials()?.into_iter().filter(|t| t.kind == "part" && t.doubted.is_none());
        let mut trials: Vec<(u32, u32, String)> = parts_only.map(|t| (t.stages.0, t.stages.1, t.name)).collect();
        let Some(part) = part else { return Ok(Self { names: None, trials, serial: false }) };
        let same = |text: &str| text.to_lowercase() == part.to_lowercase();
        if trials.iter().any(|t| same(&t.2)) {
            trials.retain(|t| same(&t.2));
            return Ok(Self { names: None, trials, serial: true });
        }
        let of_the_lot = run.lot()?.is_some_and(|lot| same(&lot.part));
        let plan = run.files()?.into_iter().rfind(|f| f.kind == "plan");
        let named = plan.map(|f| catalogue::parts(&f.text)).unwrap_or_default();
        let names = named.into_iter().filter(|p| same(&p.name) || same(&p.kind)).map(|p| p.name).collect();
        Ok(Self { names: (!of_the_lot).then_some(names), trials, serial: false })
    }

    /// How the part of a sweep is called, where it is meant.
    fn called(&self, stage: u32, part: &str) -> Option<String> {
        let trial = self.trials.iter().find(|(first, last, _)| (*first..=*last).contains(&stage));
        match (trial, &self.names) {
            (Some((.., name)), None) => Some(name.clone()),
            (None, None) => (!self.serial && self.trials.is_empty()).then(|| part.to_owned()),
            (trial, Some(names)) => {
                names.iter().any(|n| n == part).then(|| trial.map_or_else(|| part.to_owned(), |t| t.2.clone()))
            }
        }
    }
}
