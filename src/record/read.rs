//! Reading a record: also one whose run was killed.

use super::RecordError;
use super::open::open_record;
use super::rows::{
    EventRow, FileRow, FindingRow, InstrumentRow, LeakageRow, PreflightRow, ResumedRow, SettingRow, StageRow, StartRow,
};
use super::soak::{decay_of, reform_of, wander_of};
use crate::analysis::Level;
use crate::analysis::leakage::{Drift, Soak};
use crate::units::{Amperes, Seconds, Unit, Volts, engineering, with_uncertainty};
use rusqlite::{Connection, Row};
use std::path::{Path, PathBuf};

/// A record that is read.
pub struct Run {
    pub(super) store: Connection,
    folder: PathBuf,
    /// The tool that wrote it, with its version.
    pub tool: String,
    /// `run` or `rehearsal`.
    pub kind: String,
    /// The plan's title.
    pub title: String,
    /// The unit's name.
    pub unit: String,
    /// The seed.
    pub seed: u64,
    /// Wall clock at its beginning.
    pub began: String,
    /// Warnings of the check.
    pub cautions: String,
    /// Its length; `None`: it was cut off.
    pub ended: Option<Seconds>,
    /// How it ended.
    pub how: Option<String>,
    /// The exit code.
    pub exit_code: Option<u8>,
}

impl Run {
    /// Opens the record in a run's folder, for reading.
    ///
    /// # Errors
    /// SQLite's; a record of another version.
    pub fn open(folder: &Path) -> Result<Self, RecordError> {
        let (store, path) = open_record(folder)?;
        let what = format!("{} cannot be read", path.display());
        let failed = RecordError::store(&what);
        let sql = "SELECT tool, kind, title, unit, seed, began, cautions, ended_s, how, exit_code FROM run";
        let head = store.query_row(sql, [], |r| {
            Ok(Head {
                tool: r.get(0)?,
                kind: r.get(1)?,
                title: r.get(2)?,
                unit: r.get(3)?,
                seed: r.get::<_, i64>(4)?.cast_unsigned(),
                began: r.get(5)?,
                cautions: r.get(6)?,
                ended: r.get::<_, Option<f64>>(7)?.map(Seconds),
                how: r.get(8)?,
                exit_code: r.get(9)?,
            })
        });
        let h = head.map_err(&failed)?;
        Ok(Self {
            store,
            folder: folder.to_owned(),
            tool: h.tool,
            kind: h.kind,
            title: h.title,
            unit: h.unit,
            seed: h.seed,
            began: h.began,
            cautions: h.cautions,
            ended: h.ended,
            how: h.how,
            exit_code: h.exit_code,
        })
    }

    /// The run's folder.
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// Whether it ran on stand-in instruments inside the tool.
    pub fn is_rehearsal(&self) -> bool {
        self.kind == "rehearsal"
    }

    pub(super) fn rows<T>(
        &self,
        sql: &str,
        stage: Option<u32>,
        mut read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, RecordError> {
        let mut made = Vec::new();
        self.visit(sql, stage, |row| {
            made.push(read(row)?);
            Ok(())
        })?;
        Ok(made)
    }

    /// Each row of a query in turn, without keeping any.
    pub(super) fn visit(
        &self,
        sql: &str,
        stage: Option<u32>,
        mut take: impl FnMut(&Row<'_>) -> rusqlite::Result<()>,
    ) -> Result<(), RecordError> {
        let failed = RecordError::store("the record cannot be read");
        let mut statement = self.store.prepare_cached(sql).map_err(&failed)?;
        let mut rows = match stage {
            Some(stage) => statement.query([stage]),
            None => statement.query([]),
        }
        .map_err(&failed)?;
        while let Some(row) = rows.next().map_err(&failed)? {
            take(row).map_err(&failed)?;
        }
        Ok(())
    }

    /// The files that it followed.
    ///
    /// # Errors
    /// SQLite's.
    pub fn files(&self) -> Result<Vec<FileRow>, RecordError> {
        self.rows("SELECT kind, name, text FROM file ORDER BY rowid", None, |r| {
            Ok(FileRow { kind: r.get(0)?, name: r.get(1)?, text: r.get(2)? })
        })
    }

    /// When and how it was taken up again.
    ///
    /// # Errors
    /// SQLite's.
    pub fn resumed(&self) -> Result<Vec<ResumedRow>, RecordError> {
        self.rows("SELECT stretch, at_s, gap_s, wall, tool, differs FROM resumed ORDER BY stretch", None, |r| {
            Ok(ResumedRow {
                stretch: r.get(0)?,
                at: Seconds(r.get(1)?),
                gap: Seconds(r.get(2)?),
                wall: r.get(3)?,
                tool: r.get(4)?,
                differs: r.get(5)?,
            })
        })
    }

    /// When the last thing happened.
    ///
    /// # Errors
    /// SQLite's.
    pub fn last_moment(&self) -> Result<Seconds, RecordError> {
        let sql = "SELECT max(t) FROM (SELECT 0.0 AS t UNION ALL SELECT max(answered_s) FROM reading UNION ALL
                   SELECT max(at_s) FROM event UNION ALL SELECT max(began_s) FROM stage_begin UNION ALL
                   SELECT max(ended_s) FROM stage_end UNION ALL SELECT max(at_s) FROM ended UNION ALL
                   SELECT max(at_s) FROM resumed UNION ALL SELECT max(at_s) FROM setting)";
        let last = self.rows(sql, None, |r| r.get(0))?;
        Ok(Seconds(last.into_iter().next().unwrap_or_default()))
    }

    /// The instruments that took part.
    ///
    /// # Errors
    /// SQLite's.
    pub fn instruments(&self) -> Result<Vec<InstrumentRow>, RecordError> {
        self.rows("SELECT role, identity, profile, address, calibration_due FROM instrument ORDER BY rowid", None, |r| {
            Ok(InstrumentRow {
                role: r.get(0)?,
                identity: r.get(1)?,
                profile: r.get(2)?,
                address: r.get(3)?,
                calibration_due: r.get(4)?,
            })
        })
    }

    /// Its stages.
    ///
    /// # Errors
    /// SQLite's.
    pub fn stages(&self) -> Result<Vec<StageRow>, RecordError> {
        self.rows("SELECT number, kind, what, began_s, ended_s, how FROM stage ORDER BY number", None, |r| {
            Ok(StageRow {
                number: r.get(0)?,
                kind: r.get(1)?,
                what: r.get(2)?,
                began: Seconds(r.get(3)?),
                ended: r.get::<_, Option<f64>>(4)?.map(Seconds),
                how: r.get(5)?,
            })
        })
    }

    /// What was made sure of before the stages.
    ///
    /// # Errors
    /// SQLite's.
    pub fn preflight(&self) -> Result<Vec<PreflightRow>, RecordError> {
        self.rows("SELECT stage, at_s, what, found, good FROM preflight ORDER BY rowid", None, |r| {
            Ok(PreflightRow { stage: r.get(0)?, at: Seconds(r.get(1)?), what: r.get(2)?, found: r.get(3)?, good: r.get(4)? })
        })
    }

    /// What was set and read back, each setting of a stage once.
    ///
    /// # Errors
    /// SQLite's.
    pub fn settings(&self) -> Result<Vec<SettingRow>, RecordError> {
        let sql = "SELECT stage, min(at_s), what, unit, wanted, read_back FROM setting
                   GROUP BY stage, what, unit, wanted, read_back ORDER BY stage, min(at_s), min(rowid)";
        self.rows(sql, None, |r| {
            Ok(SettingRow {
                stage: r.get(0)?,
                at: Seconds(r.get(1)?),
                what: r.get(2)?,
                unit: r.get(3)?,
                wanted: r.get(4)?,
                read_back: r.get(5)?,
            })
        })
    }

    /// The starts of a stage. One without an end is void.
    ///
    /// # Errors
    /// SQLite's.
    pub fn starts(&self, stage: u32) -> Result<Vec<StartRow>, RecordError> {
        let sql = "SELECT number, off_s, residual_V, on_s, outcome, counts, state, reached_s, plateau_A, plateau_u_A, plateau_kind, reason,
                   held_from_V, held_V
                   FROM start WHERE stage = ? ORDER BY number";
        self.rows(sql, Some(stage), |r| {
            let (plateau, u): (Option<f64>, Option<f64>) = (r.get(8)?, r.get(9)?);
            let held: (Option<f64>, Option<f64>) = (r.get(12)?, r.get(13)?);
            Ok(StartRow {
                number: r.get(0)?,
                off: r.get::<_, Option<f64>>(1)?.map(Seconds),
                residual: r.get::<_, Option<f64>>(2)?.map(Volts),
                on: r.get::<_, Option<f64>>(3)?.map(Seconds),
                outcome: r.get::<_, Option<String>>(4)?.unwrap_or_else(|| "void".into()),
                counts: r.get::<_, Option<String>>(5)?.unwrap_or_else(|| "void".into()),
                state: r.get(6)?,
                reached: r.get::<_, Option<f64>>(7)?.map(Seconds),
                plateau: plateau.zip(u).map(|(v, u)| (Amperes(v), Amperes(u))),
                plateau_kind: r.get::<_, Option<String>>(10)?.unwrap_or_default(),
                held: held.0.zip(held.1).map(|(from, to)| (Volts(from), Volts(to))),
                reason: r.get::<_, Option<String>>(11)?.unwrap_or_else(|| "the run ended during it".into()),
            })
        })
    }

    /// The starts of a stage in which the supply said that it limits.
    ///
    /// # Errors
    /// SQLite's.
    pub fn limited_starts(&self, stage: u32) -> Result<Vec<u32>, RecordError> {
        let sql = "SELECT DISTINCT start FROM reading
                   WHERE stage = ? AND start IS NOT NULL AND regulation = 'constant current' ORDER BY start";
        self.rows(sql, Some(stage), |r| r.get(0))
    }

    /// The steps of a leakage sweep.
    ///
    /// # Errors
    /// SQLite's.
    pub fn leakages(&self, stage: u32) -> Result<Vec<LeakageRow>, RecordError> {
        let sql = "SELECT step, part, set_V, limit_A, leakage_kind, leakage_A, leakage_u_A, part_V, part_u_V, change,
                   electrified_s, drift_A, drift_u_A, told, steady_A, steady_low_A, steady_high_A, absorbed_A, exponent,
                   scatter_A, wander, wander_A, wander_u_A, wander_s, wander_n,
                   fell_from_A, fell_from_s, fell_C, absorbed_C, pace_per_s
                   FROM leakage WHERE stage = ? ORDER BY step";
        self.rows(sql, Some(stage), |r| {
            let drift: (Option<f64>, Option<f64>) = (r.get(11)?, r.get(12)?);
            let decay = [r.get(14)?, r.get(15)?, r.get(16)?, r.get(17)?, r.get(18)?, r.get(19)?];
            Ok(LeakageRow {
                step: r.get(0)?,
                part: r.get(1)?,
                set: Volts(r.get(2)?),
                limit: Amperes(r.get(3)?),
                soak: Soak {
                    leakage: level(&r.get::<_, String>(4)?, r.get(5)?, r.get(6)?, Some(0.0)),
                    at_part: r.get::<_, Option<f64>>(7)?.map(Volts),
                    at_part_u: r.get::<_, Option<f64>>(8)?.map(Volts),
                    change: r.get(9)?,
                    electrified: Seconds(r.get(10)?),
                    drift: drift.0.zip(drift.1).map(|(current, u)| Drift { current: Amperes(current), u: Amperes(u) }),
                    decay: decay_of(r.get(13)?, decay),
                    wander: wander_of(r.get(20)?, r.get(21)?, r.get(22)?, r.get(23)?, r.get(24)?),
                    reform: reform_of([r.get(25)?, r.get(26)?, r.get(27)?, r.get(28)?, r.get(29)?]),
                },
            })
        })
    }

    /// The trip in the last stretch, in words.
    ///
    /// # Errors
    /// SQLite's.
    pub fn tripped(&self) -> Result<Option<String>, RecordError> {
        let sql = "SELECT text FROM event WHERE kind = 'trip'
                   AND at_s >= (SELECT coalesce(max(at_s), 0.0) FROM resumed) ORDER BY rowid DESC";
        Ok(self.rows(sql, None, |r| r.get(0))?.into_iter().next())
    }

    /// What happened beside the readings.
    ///
    /// # Errors
    /// SQLite's.
    pub fn events(&self) -> Result<Vec<EventRow>, RecordError> {
        self.rows("SELECT at_s, kind, text FROM event ORDER BY at_s, rowid", None, |r| {
            Ok(EventRow { at: Seconds(r.get(0)?), kind: r.get(1)?, text: r.get(2)? })
        })
    }

    /// The findings, the weightiest first.
    ///
    /// # Errors
    /// SQLite's.
    pub fn findings(&self) -> Result<Vec<FindingRow>, RecordError> {
        // A stage that was gone on with is judged anew, and so is a lot; what tripped stays told.
        let sql = "SELECT stage, code, severity, sentence, advice, figures FROM finding f
                   WHERE (stage IS NULL AND (code NOT LIKE 'lot-%' OR stretch = (SELECT coalesce(max(stretch), 1) FROM resumed)))
                   OR code = 'tripped'
                   OR stretch = (SELECT max(stretch) FROM stage_begin b WHERE b.number = f.stage)
                   ORDER BY CASE severity WHEN 'anomaly' THEN 0 WHEN 'undecided' THEN 1 ELSE 2 END, rowid";
        self.rows(sql, None, |r| {
            Ok(FindingRow {
                stage: r.get(0)?,
                code: r.get(1)?,
                severity: r.get(2)?,
                sentence: r.get(3)?,
                advice: r.get(4)?,
                figures: printed(&r.get::<_, String>(5)?),
            })
        })
    }

    /// The hash over everything that has been committed, in hexadecimal.
    ///
    /// # Errors
    /// SQLite's.
    pub fn fingerprint(&self) -> Result<String, RecordError> {
        let last = self.rows("SELECT sha256 FROM batch ORDER BY number DESC LIMIT 1", None, |r| r.get(0))?;
        Ok(last.into_iter().next().unwrap_or_default())
    }

    /// How many findings of a severity.
    ///
    /// # Errors
    /// SQLite's.
    pub fn count(&self, severity: &str) -> Result<usize, RecordError> {
        Ok(self.findings()?.iter().filter(|f| f.severity == severity).count())
    }
}

struct Head {
    tool: String,
    kind: String,
    title: String,
    unit: String,
    seed: u64,
    began: String,
    cautions: String,
    ended: Option<Seconds>,
    how: Option<String>,
    exit_code: Option<u8>,
}

pub(super) fn level(kind: &str, value: Option<f64>, u: Option<f64>, floor: Option<f64>) -> Level {
    match (kind, value, u, floor) {
        ("value", Some(value), Some(u), _) => Level::Known { value: Amperes(value), u: Amperes(u) },
        ("below floor", _, _, Some(floor)) => Level::BelowFloor { floor: Amperes(floor) },
        ("overload", ..) => Level::Overload,
        _ => Level::Missing,
    }
}

/// Figures as a person reads them.
fn printed(json: &str) -> Vec<(String, String)> {
    let Ok(serde_json::Value::Array(list)) = serde_json::from_str(json) else { return Vec::new() };
    list.iter()
        .filter_map(|f| {
            let value = f.get("value")?.as_f64()?;
            let name = f.get("name")?.as_str()?.to_owned();
            let unit = f.get("unit").and_then(|u| u.as_str()).and_then(Unit::from_symbol);
            let expanded = f.get("expanded").and_then(serde_json::Value::as_f64);
            let three = |v: f64| match unit {
                Some(unit) => engineering(v, unit, 3),
                None => pure(v),
            };
            let mut text = match (unit, expanded) {
                (Some(unit), Some(expanded)) => with_uncertainty(value, expanded, unit),
                (Some(_), None) => three(value),
                (None, _) => pure(value),
            };
            if let Some(interval) = f.get("interval").and_then(|i| i.as_array())
                && let [low, high, confidence] = interval.iter().filter_map(serde_json::Value::as_f64).collect::<Vec<_>>()[..]
            {
                text.push_str(&format!(" ({:.0} % interval {} to {})", confidence * 100.0, three(low), three(high)));
            }
            Some((name, text))
        })
        .collect()
}

/// A count as it is, another pure number to three digits.
fn pure(value: f64) -> String {
    if value.fract() == 0.0 && value.abs() < 1e15 {
        return format!("{value:.0}");
    }
    if !(1e-3..1e6).contains(&value.abs()) {
        return format!("{value:.2e}");
    }
    let before = value.abs().log10().floor() as i32;
    let decimals = usize::try_from(2 - before).unwrap_or(0);
    format!("{value:.decimals$}")
}
