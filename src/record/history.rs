//! What many runs say of one unit, one part or one kind of part, each at its date.

use super::catalogue::{self, Entry, Filter, Refresh, State};
use super::{RecordError, Run, TrialRow};
use crate::analysis::Level;
use crate::units::{Amperes, Volts};
use std::path::Path;

/// What runs say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Told {
    /// Run by run, oldest first.
    pub visits: Vec<Visit>,
    /// Runs that cannot be told from, and why.
    pub left: Vec<(String, String)>,
}

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

/// What the runs say that a filter lets through.
///
/// # Errors
/// The folder's.
pub fn history(logs: &Path, filter: &Filter) -> Result<Told, RecordError> {
    let mut all = Told::default();
    for entry in catalogue::runs(logs, Refresh::Changed, filter)? {
        let told = match &entry.state {
            State::Unreadable(why) => Err(why.clone()),
            State::Open => Err("it is going on".to_owned()),
            State::Ended(_) | State::CutOff => visit(logs, &entry, filter.part.as_deref()).map_err(|e| e.to_string()),
        };
        match told {
            Ok(visit) => all.visits.push(visit),
            Err(why) => all.left.push((entry.name, why)),
        }
    }
    Ok(all)
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
    /// Stages from, to, of a trial, and how its part is called; `None`: of a control, or in
    /// doubt, or another part than the one that is meant.
    trials: Vec<(u32, u32, Option<String>)>,
}

impl Asked {
    fn of(run: &Run, part: Option<&str>) -> Result<Self, RecordError> {
        let trials = run.trials()?;
        let same = |text: &str| part.is_some_and(|part| text.to_lowercase() == part.to_lowercase());
        let is_part = |t: &TrialRow| t.kind == "part" && t.doubted.is_none();
        let by_serial = trials.iter().any(|t| is_part(t) && same(&t.name));
        let meant = |t: &TrialRow| is_part(t) && (!by_serial || same(&t.name));
        let stages = trials.iter().map(|t| (t.stages.0, t.stages.1, meant(t).then(|| t.name.clone()))).collect();
        let all = part.is_none() || by_serial || run.lot()?.is_some_and(|lot| same(&lot.part));
        let plan = run.files()?.into_iter().rfind(|f| f.kind == "plan");
        let named = plan.map(|f| catalogue::parts(&f.text)).unwrap_or_default();
        let names = named.into_iter().filter(|p| same(&p.name) || same(&p.kind)).map(|p| p.name).collect();
        Ok(Self { names: (!all).then_some(names), trials: stages })
    }

    /// How the part of a sweep is called, where it is meant.
    fn called(&self, stage: u32, part: &str) -> Option<String> {
        if self.names.as_ref().is_some_and(|names| !names.iter().any(|n| n == part)) {
            return None;
        }
        match self.trials.iter().find(|(first, last, _)| (*first..=*last).contains(&stage)) {
            Some((.., name)) => name.clone(),
            None => Some(part.to_owned()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{filled, header, lot_row, soak};
    use super::super::{Durability, FileRow, Header, LeakageRow, Record, TrialBegin};
    use super::*;
    use crate::units::Seconds;

    const PLAN: &str = "title = \"x\"\n[[stage]]\ndo = \"leakage\"\npart = { name = \"C7\", kind = \"solid tantalum\" }\n";

    fn of(logs: &Path, part: Option<&str>) -> Told {
        history(logs, &Filter { part: part.map(str::to_owned), ..Filter::default() }).unwrap()
    }

    #[test]
    fn starts_and_leakages_come_with_their_dates() {
        let place = tempfile::tempdir().unwrap();
        let logs = place.path();
        let folder = |name: &str| {
            let folder = logs.join(name);
            std::fs::create_dir(&folder).unwrap();
            folder
        };
        // `filled` has a good start, one that was cut off, and a sweep of C7 without a plan that says what it is.
        let mut record = filled(&folder("20261125T100000-a"));
        record.finish("done", 0, Seconds(9.0)).unwrap();
        let files = vec![FileRow { kind: "plan".into(), name: "p.toml".into(), text: PLAN.into() }];
        let head = Header { kind: "run", began: "2026-12-24T10:00:00Z".into(), files, ..header() };
        let mut record = Record::create(&folder("20261224T100000-b"), &head, Durability::Rehearsal).unwrap();
        let read = soak(Level::Known { value: Amperes(2e-6), u: Amperes(1e-8) });
        for (stage, part) in [(1, "C7"), (2, "C9")] {
            record.begin_stage(stage, "leakage", "a sweep", Seconds(0.0)).unwrap();
            let row = LeakageRow { step: 1, part: part.into(), set: Volts(6.0), limit: Amperes(1e-6), soak: read.clone() };
            record.leakage(stage, &row).unwrap();
        }
        record.finish("done", 1, Seconds(9.0)).unwrap();
        std::fs::write(folder("20261225T100000-c").join(super::super::FILE), b"coffee").unwrap();

        let all = of(logs, None);
        assert_eq!(
            all.visits.iter().map(|v| v.starts).collect::<Vec<_>>(),
            [Some((0, 1)), None],
            "a void start counts for nothing"
        );
        assert_eq!(all.visits.iter().map(|v| v.moment.get(..10).unwrap()).collect::<Vec<_>>(), ["2026-11-25", "2026-12-24"]);
        assert_eq!(all.visits.iter().map(|v| v.leakages.len()).collect::<Vec<_>>(), [0, 2], "nor does a control");
        assert_eq!(all.left.len(), 1);
        let kind = of(logs, Some("Solid Tantalum"));
        assert_eq!(kind.visits.len(), 1);
        assert_eq!(kind.visits[0].leakages.iter().map(|l| l.part.as_str()).collect::<Vec<_>>(), ["C7"]);
    }

    #[test]
    fn a_part_of_a_lot_is_found_by_its_serial_number() {
        let place = tempfile::tempdir().unwrap();
        let folder = place.path().join("20261224T100000-lot");
        std::fs::create_dir(&folder).unwrap();
        let files = vec![FileRow { kind: "plan".into(), name: "p.toml".into(), text: PLAN.into() }];
        let mut record = Record::create(&folder, &Header { kind: "run", files, ..header() }, Durability::Rehearsal).unwrap();
        record.lot(&lot_row()).unwrap();
        for (number, name) in [(1, "S1"), (2, "S2")] {
            record.begin_stage(number, "leakage", "a sweep", Seconds(0.0)).unwrap();
            let stages = (number, number);
            let (name, kind) = (name.to_owned(), "part");
            let begin = TrialBegin { number, kind, name, position: Some(number), retest_of: None, why: None, stages };
            record.begin_trial(&begin, Seconds(0.0)).unwrap();
            let soak = soak(Level::Known { value: Amperes(2e-6), u: Amperes(1e-8) });
            let row = LeakageRow { step: 1, part: "C7".into(), set: Volts(6.0), limit: Amperes(1e-6), soak };
            record.leakage(number, &row).unwrap();
        }
        record.finish("done", 1, Seconds(9.0)).unwrap();
        let names = |part: &str| {
            let told = of(place.path(), Some(part));
            told.visits.iter().flat_map(|v| v.leakages.iter().map(|l| l.part.clone())).collect::<Vec<_>>()
        };
        assert_eq!(names("s2"), ["S2"]);
        assert_eq!(names("Bead 10 uF 16 V"), ["S1", "S2"]);
        assert_eq!(names("solid tantalum"), ["S1", "S2"]);
        let of_lot = catalogue::runs(place.path(), Refresh::Changed, &Filter { lot: Some("k-2291".into()), ..Filter::default() });
        assert_eq!(of_lot.unwrap().len(), 1);
    }
}
