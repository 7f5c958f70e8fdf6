//! The rows of a record, as `schema.sql` describes them.

use crate::analysis::Level;
use crate::analysis::finding::{Figure, Finding};
use crate::analysis::leakage::Soak;
use crate::instrument::Sample;
use crate::units::{Amperes, Seconds, Volts};

/// What a run begins with.
#[derive(Clone, Debug)]
pub struct Header {
    /// `run` or `rehearsal`.
    pub kind: &'static str,
    /// The plan's title.
    pub title: String,
    /// The unit's name.
    pub unit: String,
    /// Every random choice follows from it.
    pub seed: u64,
    /// Wall clock, RFC 3339.
    pub began: String,
    /// Warnings of the check.
    pub cautions: String,
    /// Kind, name and text of each file.
    pub files: Vec<FileRow>,
}

/// A file that the run followed.
#[derive(Clone, Debug, PartialEq)]
pub struct FileRow {
    /// `plan`, `bench`, `profile` or `unit`.
    pub kind: String,
    /// Its name.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// An instrument that took part.
#[derive(Clone, Debug, PartialEq)]
pub struct InstrumentRow {
    /// `supply` or `meter`.
    pub role: String,
    /// As it answered.
    pub identity: Option<String>,
    /// Its profile.
    pub profile: String,
    /// Where it was reached.
    pub address: Option<String>,
    /// Date from the bench file.
    pub calibration_due: Option<String>,
}

/// A stage.
#[derive(Clone, Debug, PartialEq)]
pub struct StageRow {
    /// From 1.
    pub number: u32,
    /// The word in the plan.
    pub kind: String,
    /// One line.
    pub what: String,
    /// Its beginning.
    pub began: Seconds,
    /// Its end; `None`: cut off.
    pub ended: Option<Seconds>,
    /// How it ended.
    pub how: Option<String>,
}

/// What was made sure of before a stage.
#[derive(Clone, Debug, PartialEq)]
pub struct PreflightRow {
    /// The stage.
    pub stage: u32,
    /// When.
    pub at: Seconds,
    /// What.
    pub what: String,
    /// How it was found.
    pub found: String,
    /// Whether that let the stage be energised.
    pub good: bool,
}

/// A setting as wanted and as read back.
#[derive(Clone, Debug, PartialEq)]
pub struct SettingRow {
    /// Its stage.
    pub stage: u32,
    /// When.
    pub at: Seconds,
    /// What was set.
    pub what: String,
    /// `V` or `A`.
    pub unit: String,
    /// What was sent.
    pub wanted: f64,
    /// What was read back.
    pub read_back: Option<f64>,
}

/// A reading as it stands in the record.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingRow {
    /// Its stage.
    pub stage: u32,
    /// The start that it belongs to.
    pub start: Option<u32>,
    /// The step that it belongs to.
    pub step: Option<u32>,
    /// Who read it.
    pub role: String,
    /// `voltage` or `current`.
    pub measurand: String,
    /// When it was asked for.
    pub asked: Seconds,
    /// When the answer was there.
    pub answered: Seconds,
    /// What came.
    pub kind: String,
    /// The value, where there is one.
    pub value: Option<f64>,
    /// Its standard uncertainty.
    pub u: Option<f64>,
    /// The floor, where it is below.
    pub floor: Option<f64>,
    /// What the supply said of its limiting.
    pub regulation: String,
}

/// What is known of a start before it is switched on.
#[derive(Clone, Debug)]
pub struct StartBegin {
    /// Time without power that was wanted.
    pub off_wanted: Seconds,
    /// What has made it another, where that is known.
    pub off_note: Option<String>,
    /// What was left at the unit.
    pub residual: Option<Sample>,
}

/// What is known of a start when it is over.
#[derive(Clone, Debug)]
pub struct StartEnd {
    /// Time without power as it was.
    pub off: Option<Seconds>,
    /// When it was switched on; `None`: it was not.
    pub on: Option<Seconds>,
    /// How it ended.
    pub outcome: String,
    /// `good`, `failed` or `void`.
    pub counts: &'static str,
    /// Declared state at its end.
    pub state: Option<String>,
    /// Time until the good state was first reached.
    pub reached: Option<Seconds>,
    /// Current at its end.
    pub plateau: Level,
    /// Largest value seen.
    pub peak: Option<Amperes>,
    /// Longest stretch in limiting.
    pub limited: Seconds,
    /// Where it ended in limiting: the voltage when its last quarter began, and at its end.
    pub held: Option<(Volts, Volts)>,
    /// Why.
    pub reason: String,
}

/// A start as it stands in the record.
#[derive(Clone, Debug, PartialEq)]
pub struct StartRow {
    /// From 1.
    pub number: u32,
    /// Time without power before it.
    pub off: Option<Seconds>,
    /// Voltage left before it.
    pub residual: Option<Volts>,
    /// When it was switched on.
    pub on: Option<Seconds>,
    /// How it ended.
    pub outcome: String,
    /// `good`, `failed` or `void`.
    pub counts: String,
    /// Declared state at its end.
    pub state: Option<String>,
    /// Time until the good state was first reached.
    pub reached: Option<Seconds>,
    /// Current at its end, and its standard uncertainty.
    pub plateau: Option<(Amperes, Amperes)>,
    /// What the plateau is instead, as `below floor`.
    pub plateau_kind: String,
    /// Where it ended in limiting: the voltage when its last quarter began, and at its end.
    pub held: Option<(Volts, Volts)>,
    /// Why.
    pub reason: String,
}

/// A step of a leakage sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakageRow {
    /// From 1.
    pub step: u32,
    /// The part.
    pub part: String,
    /// Set at the supply.
    pub set: Volts,
    /// Largest that is accepted.
    pub limit: Amperes,
    /// What the soak says.
    pub soak: Soak,
}

/// An event.
#[derive(Clone, Debug, PartialEq)]
pub struct EventRow {
    /// When.
    pub at: Seconds,
    /// Which kind.
    pub kind: String,
    /// What.
    pub text: String,
}

/// That a run was taken up again.
#[derive(Clone, Debug, PartialEq)]
pub struct ResumedRow {
    /// From 2.
    pub stretch: u32,
    /// Where its time goes on.
    pub at: Seconds,
    /// Since the last row before.
    pub gap: Seconds,
    /// Wall clock.
    pub wall: String,
    /// The tool that went on.
    pub tool: String,
    /// What differs from before, in words; or empty.
    pub differs: String,
}

/// A finding as it stands in the record.
#[derive(Clone, Debug, PartialEq)]
pub struct FindingRow {
    /// Its stage.
    pub stage: Option<u32>,
    /// Its short name.
    pub code: String,
    /// `anomaly`, `undecided` or `note`.
    pub severity: String,
    /// The sentence.
    pub sentence: String,
    /// What to do next.
    pub advice: Option<String>,
    /// What it rests on, as printed: name and value with uncertainty or interval.
    pub figures: Vec<(String, String)>,
}

/// A level's word, value, uncertainty, as columns.
pub(super) fn columns(level: Level) -> (&'static str, Option<f64>, Option<f64>) {
    match level {
        Level::Known { value, u } => ("value", Some(value.0), Some(u.0)),
        Level::BelowFloor { .. } => ("below floor", None, None),
        Level::Overload => ("overload", None, None),
        Level::Missing => ("no reading", None, None),
    }
}

/// The figures of a finding as JSON.
pub(super) fn figures(finding: &Finding) -> String {
    let list: Vec<serde_json::Value> = finding
        .figures
        .iter()
        .map(|f: &Figure| {
            serde_json::json!({
                "name": f.name,
                "value": f.value,
                "unit": f.unit.map(|u| u.symbol()),
                "expanded": f.expanded,
                "interval": f.interval.map(|(low, high, confidence)| [low, high, confidence]),
            })
        })
        .collect();
    serde_json::Value::Array(list).to_string()
}
