//! The rows of a lot as they come back.

use crate::analysis::inspection::decision::{Count, Decision};
use crate::analysis::inspection::lot::{Counting, Part, Tried, part};
use crate::analysis::inspection::{Charted, Measure, Outcome, Seen};
use crate::analysis::uncertainty::{Limit, Standing};
use crate::record::{RecordError, Run};
use crate::units::{Seconds, Unit};
use std::collections::BTreeMap;

/// A lot.
#[derive(Clone, Debug, PartialEq)]
pub struct LotRow {
    /// The lot's number.
    pub number: String,
    /// Who sent it.
    pub supplier: Option<String>,
    /// What it is.
    pub part: String,
    /// As marked on it.
    pub date_code: Option<String>,
    /// How many there are.
    pub quantity: u32,
    /// Who inspects.
    pub operator: String,
    /// What the parts are put into.
    pub fixture: Option<String>,
    /// How many are to be judged.
    pub sample: u32,
    /// Accepted with up to so many nonconforming ones.
    pub accept: u32,
    /// Refused from so many on.
    pub reject: u32,
    /// `at the end`, `when decided`.
    pub stops: String,
    /// Where the numbers come from, in words.
    pub sampled: String,
    /// The guard band.
    pub rule: String,
    /// Which trial of a part counts: `worst`, `last`.
    pub counting: String,
    /// Why an expired calibration was let pass.
    pub overdue: Option<String>,
}

/// A part in the order in which they are taken.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnRow {
    /// From 1.
    pub turn: u32,
    /// In the lot, from 1.
    pub position: u32,
    /// Serial, or the position.
    pub name: String,
}

/// A trial.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialRow {
    /// From 1.
    pub number: u32,
    /// `part`, `good control`, `bad control`.
    pub kind: String,
    /// Serial, position, or the control's name.
    pub name: String,
    /// In the lot.
    pub position: Option<u32>,
    /// The part's first trial, where this is another.
    pub retest_of: Option<u32>,
    /// Why it was made again.
    pub retest_why: Option<String>,
    /// The first and the last of its stages, as the record numbers them.
    pub stages: (u32, u32),
    /// When it began, and when it ended; `None`: the run ended during it.
    pub began: Seconds,
    /// Its end.
    pub ended: Option<Seconds>,
    /// What came of it.
    pub outcome: Outcome,
    /// The quantity that decided, in words.
    pub why: String,
    /// The trial of the control by which it does not count.
    pub doubted: Option<u32>,
}

/// A part that was tried, and how it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct PartRow {
    /// In the lot.
    pub position: u32,
    /// Serial, or the position.
    pub name: String,
    /// By the trial that counts.
    pub stands: Part,
}

/// A quantity that a trial was judged by.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasureRow {
    /// The trial.
    pub trial: u32,
    /// Its stage, as the record numbers it.
    pub stage: u32,
    /// Its stage in the plan.
    pub plan_stage: u32,
    /// Step of a sweep.
    pub step: Option<u32>,
    /// `leakage at 16 V`.
    pub what: String,
    /// Its unit; `None` of a count.
    pub unit: Option<Unit>,
    /// What was read.
    pub seen: Seen,
    /// What it may be.
    pub limit: Limit,
    /// Width of the guard band.
    pub guard: Option<f64>,
    /// How it stands.
    pub standing: Standing,
    /// Whether it is charted, and compared in the lot.
    pub charted: Charted,
}

impl MeasureRow {
    /// In words, with its limit.
    pub fn told(&self) -> String {
        let (what, unit, seen, limit) = (self.what.clone(), self.unit, self.seen, self.limit);
        Measure { stage: self.plan_stage, step: self.step, what, unit, seen, limit, charted: self.charted }.told()
    }
}

/// A part that was left out.
#[derive(Clone, Debug, PartialEq)]
pub struct SkipRow {
    /// In the lot.
    pub position: u32,
    /// Serial, or the position.
    pub name: String,
    /// When.
    pub at: Seconds,
    /// Why.
    pub why: String,
}

/// A point of a control part's chart.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlRow {
    /// The trial.
    pub trial: u32,
    /// The control part.
    pub name: String,
    /// `good control`, `bad control`.
    pub kind: String,
    /// The quantity that is charted.
    pub what: String,
    /// Its unit.
    pub unit: Option<Unit>,
    /// Value and standard uncertainty; `None`: it could not be read.
    pub value: Option<(f64, f64)>,
    /// Of the chart as it stood then.
    pub centre: Option<f64>,
    /// Standard deviation.
    pub sigma: Option<f64>,
    /// `stated`, `earlier lots`, `this lot`, `none`.
    pub basis: String,
    /// How many points the limits rest on.
    pub points: u32,
    /// What it broke, separated by `; `; or empty.
    pub signals: String,
    /// `in control`, `out of control`.
    pub state: String,
}

impl ControlRow {
    /// Whether it is in control.
    pub fn is_in_control(&self) -> bool {
        self.state == "in control"
    }
}

/// A trial that does not count, and the control's trial by which it does not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Doubtful {
    /// The trial.
    pub trial: u32,
    /// The trial of the control that failed.
    pub control: u32,
}

/// What came of a lot.
#[derive(Clone, Debug, PartialEq)]
pub struct LotEnd {
    /// When.
    pub at: Seconds,
    /// What.
    pub decision: Decision,
    /// Why.
    pub why: String,
    /// The parts, counted.
    pub count: Count,
}

impl Run {
    /// The lot that it inspects, where it does.
    ///
    /// # Errors
    /// SQLite's.
    pub fn lot(&self) -> Result<Option<LotRow>, RecordError> {
        let sql = "SELECT number, supplier, part, date_code, quantity, operator, fixture, sample, accept, reject, stops, sampled,
                   rule, counting, overdue FROM lot ORDER BY stretch DESC LIMIT 1";
        let rows = self.rows(sql, None, |r| {
            Ok(LotRow {
                number: r.get(0)?,
                supplier: r.get(1)?,
                part: r.get(2)?,
                date_code: r.get(3)?,
                quantity: r.get(4)?,
                operator: r.get(5)?,
                fixture: r.get(6)?,
                sample: r.get(7)?,
                accept: r.get(8)?,
                reject: r.get(9)?,
                stops: r.get(10)?,
                sampled: r.get(11)?,
                rule: r.get(12)?,
                counting: r.get(13)?,
                overdue: r.get(14)?,
            })
        })?;
        Ok(rows.into_iter().next())
    }

    /// The parts in the order in which they are taken.
    ///
    /// # Errors
    /// SQLite's.
    pub fn drawn(&self) -> Result<Vec<DrawnRow>, RecordError> {
        self.rows("SELECT turn, position, name FROM drawn ORDER BY turn", None, |r| {
            Ok(DrawnRow { turn: r.get(0)?, position: r.get(1)?, name: r.get(2)? })
        })
    }

    /// The trials, in their order.
    ///
    /// # Errors
    /// SQLite's.
    pub fn trials(&self) -> Result<Vec<TrialRow>, RecordError> {
        let sql =
            "SELECT number, kind, name, position, retest_of, retest_why, first_stage, last_stage, began_s, ended_s, outcome,
                   why, doubted FROM trial ORDER BY number";
        self.rows(sql, None, |r| {
            let outcome = r.get::<_, Option<String>>(10)?;
            Ok(TrialRow {
                number: r.get(0)?,
                kind: r.get(1)?,
                name: r.get(2)?,
                position: r.get(3)?,
                retest_of: r.get(4)?,
                retest_why: r.get(5)?,
                stages: (r.get(6)?, r.get(7)?),
                began: Seconds(r.get(8)?),
                ended: r.get::<_, Option<f64>>(9)?.map(Seconds),
                outcome: outcome.map_or(Outcome::Void, |word| Outcome::named(&word)),
                why: r.get::<_, Option<String>>(11)?.unwrap_or_else(|| "the run ended during it".into()),
                doubted: r.get(12)?,
            })
        })
    }

    /// The parts that were tried, by their position, with how each stands by the trial that
    /// counts.
    ///
    /// # Errors
    /// SQLite's.
    pub fn parts(&self) -> Result<Vec<PartRow>, RecordError> {
        let counting = self.lot()?.map_or(Counting::Worst, |lot| Counting::named(&lot.counting));
        let trials = self.trials()?;
        let tried = |t: &TrialRow| {
            Some(Tried { number: t.number, position: t.position?, outcome: t.outcome, doubted: t.doubted.is_some() })
        };
        let tried: Vec<Tried> = trials.iter().filter_map(tried).collect();
        let names: BTreeMap<u32, &str> = trials.iter().filter_map(|t| Some((t.position?, t.name.as_str()))).collect();
        let row = |(position, name): (u32, &str)| {
            let stands = part(&tried, position, counting);
            PartRow { position, name: name.to_owned(), stands }
        };
        Ok(names.into_iter().map(row).collect())
    }

    /// What the trials were judged by.
    ///
    /// # Errors
    /// SQLite's.
    pub fn measures(&self) -> Result<Vec<MeasureRow>, RecordError> {
        let sql = "SELECT trial, stage, plan_stage, step, what, unit, kind, value, u, floor, low, high, guard, outcome, charted
                   FROM measure ORDER BY rowid";
        self.rows(sql, None, |r| {
            let limit = match (r.get::<_, Option<f64>>(10)?, r.get::<_, Option<f64>>(11)?) {
                (Some(low), Some(high)) => Limit::Between(low, high),
                (Some(low), None) => Limit::Lower(low),
                (None, high) => Limit::Upper(high.unwrap_or(f64::NAN)),
            };
            let standing = match Outcome::named(&r.get::<_, String>(13)?) {
                Outcome::Judged(standing) => standing,
                Outcome::Void => Standing::NotAdequate,
            };
            Ok(MeasureRow {
                trial: r.get(0)?,
                stage: r.get(1)?,
                plan_stage: r.get(2)?,
                step: r.get(3)?,
                what: r.get(4)?,
                unit: unit(r.get(5)?),
                seen: Seen::of(&r.get::<_, String>(6)?, r.get(7)?, r.get(8)?, r.get(9)?),
                limit,
                guard: r.get(12)?,
                standing,
                charted: if r.get::<_, bool>(14)? { Charted::Yes } else { Charted::No },
            })
        })
    }

    /// The parts that were left out.
    ///
    /// # Errors
    /// SQLite's.
    pub fn skips(&self) -> Result<Vec<SkipRow>, RecordError> {
        self.rows("SELECT position, name, at_s, why FROM skipped ORDER BY rowid", None, |r| {
            Ok(SkipRow { position: r.get(0)?, name: r.get(1)?, at: Seconds(r.get(2)?), why: r.get(3)? })
        })
    }

    /// The points of the control parts' charts.
    ///
    /// # Errors
    /// SQLite's.
    pub fn controls(&self) -> Result<Vec<ControlRow>, RecordError> {
        let sql = "SELECT trial, name, kind, what, unit, value, u, centre, sigma, basis, points, signals, state
                   FROM control ORDER BY rowid";
        self.rows(sql, None, |r| {
            let value: (Option<f64>, Option<f64>) = (r.get(5)?, r.get(6)?);
            Ok(ControlRow {
                trial: r.get(0)?,
                name: r.get(1)?,
                kind: r.get(2)?,
                what: r.get(3)?,
                unit: unit(r.get(4)?),
                value: value.0.zip(value.1),
                centre: r.get(7)?,
                sigma: r.get(8)?,
                basis: r.get(9)?,
                points: r.get(10)?,
                signals: r.get(11)?,
                state: r.get(12)?,
            })
        })
    }

    /// What came of the lot; `None` where the run ended before that was decided.
    ///
    /// # Errors
    /// SQLite's.
    pub fn lot_end(&self) -> Result<Option<LotEnd>, RecordError> {
        let sql = "SELECT at_s, outcome, why, judged, nonconforming, not_adequate, doubtful, skipped, open
                   FROM lot_end ORDER BY rowid DESC LIMIT 1";
        let rows = self.rows(sql, None, |r| {
            let word: String = r.get(1)?;
            Ok(LotEnd {
                at: Seconds(r.get(0)?),
                decision: Decision::ALL.into_iter().find(|d| d.name() == word).unwrap_or(Decision::OnHold),
                why: r.get(2)?,
                count: Count {
                    judged: r.get(3)?,
                    nonconforming: r.get(4)?,
                    not_adequate: r.get(5)?,
                    doubtful: r.get(6)?,
                    skipped: r.get(7)?,
                    open: r.get(8)?,
                    short: 0,
                },
            })
        })?;
        Ok(rows.into_iter().next())
    }
}

fn unit(symbol: Option<String>) -> Option<Unit> {
    symbol.and_then(|symbol| Unit::from_symbol(&symbol))
}
