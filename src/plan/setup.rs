//! Which range and rate a meter is set to for a stage: decided once, for the
//! check and for the runner alike.

use super::model::{Leakage, LeakageLimit, StageKind};
use crate::analysis::leakage::Dielectric;
use crate::analysis::leakage::limits::{self, Limit};
use crate::instrument::Measurand;
use crate::instrument::profile::{MeterProfile, Range, Rate};
use crate::units::{Amperes, Seconds};

/// Readings that the watch time of a start should hold.
const READINGS_PER_START: f64 = 40.0;

/// Function, range and rate for a stage, by their places in the profile.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MeterSetup {
    /// What is measured.
    pub measurand: Measurand,
    /// Place of the range.
    pub range: usize,
    /// Place of the rate.
    pub rate: usize,
}

impl MeterSetup {
    /// The range itself.
    pub fn range<'p>(&self, profile: &'p MeterProfile) -> Option<&'p Range> {
        let function = match self.measurand {
            Measurand::Current => profile.current.as_ref(),
            Measurand::Voltage => profile.voltage.as_ref(),
        };
        function?.ranges.get(self.range)
    }

    /// The rate itself.
    pub fn rate<'p>(&self, profile: &'p MeterProfile) -> Option<&'p Rate> {
        profile.rates.get(self.rate)
    }
}

/// The setup for a stage with the meter in series.
///
/// The range is the lowest that holds the largest current the stage allows (the
/// limit while starting), so that it never changes while the unit starts. Where
/// only that is beyond the meter, it is the highest range, if it holds the limit
/// while running: the meter then overloads while the unit starts, and the check
/// says so. For a leakage sweep it is the lowest that holds four times the limit,
/// to be raised on overload. The rate is the slowest, and so the quietest, that
/// still gives enough readings: forty in the watch time of a start, one in every
/// step of a ramp, log or soak; or else the fastest.
///
/// # Errors
/// In words: the meter has no current function, or no range that holds it.
pub fn meter_setup(stage: &StageKind, profile: &MeterProfile) -> Result<Option<MeterSetup>, String> {
    // The most that should be held, the least that must be, and the time for one reading.
    let (most, least, pace) = match stage {
        StageKind::Ramp(ramp) => (ramp.limit, ramp.limit, pace(stage) * 0.7),
        StageKind::Log(log) => (log.limit.starting, log.limit.running, pace(stage) * 0.8),
        StageKind::Start(start) => (start.limit.starting, start.limit.running, pace(stage)),
        StageKind::Leakage(sweep) => (accepted(sweep) * 4.0, accepted(sweep), pace(stage) * 0.8),
        StageKind::Ask(_) => return Ok(None),
    };
    let function = profile.current.as_ref().ok_or("the meter's profile measures no current")?;
    let highest = function.ranges.last().map_or(Amperes(0.0), |r| Amperes(r.full));
    let range = match function.ranges.iter().position(|r| r.full >= most.0) {
        Some(range) => range,
        None if highest >= least => function.ranges.len() - 1,
        None => return Err(format!("the meter's highest current range, {highest}, does not hold {least}")),
    };
    Ok(Some(MeterSetup { measurand: Measurand::Current, range, rate: rate_for(profile, pace) }))
}

/// Time from one reading to the next that a stage asks for.
pub(super) fn pace(stage: &StageKind) -> Seconds {
    match stage {
        StageKind::Ramp(ramp) => ramp.step / ramp.rate,
        StageKind::Log(log) => log.every,
        StageKind::Start(start) => start.watch / READINGS_PER_START,
        StageKind::Leakage(sweep) => sweep.every,
        StageKind::Ask(_) => Seconds(0.0),
    }
}

/// The place of the slowest rate with a period within `pace`, or else of the fastest.
fn rate_for(profile: &MeterProfile, pace: Seconds) -> usize {
    profile.rates.iter().rposition(|r| r.period <= pace).unwrap_or(0)
}

/// The largest leakage that a sweep accepts.
pub fn accepted(sweep: &Leakage) -> Amperes {
    limit_of(sweep).limit
}

/// The limit of a sweep, with its working and source.
pub fn limit_of(sweep: &Leakage) -> Limit {
    let part = &sweep.part;
    match sweep.limit {
        LeakageLimit::Own(limit) => Limit {
            limit,
            working: limit.to_string(),
            source: "as the plan says".into(),
            after: (sweep.electrify, sweep.electrify),
            caution: None,
        },
        LeakageLimit::TimeConstant(tau) => limits::by_time_constant(part.capacitance, part.rated, tau, sweep.electrify),
        LeakageLimit::Table(series) => limits::limit(&limits::Asked {
            kind: Dielectric::from(part.kind),
            series,
            capacitance: part.capacitance,
            rated: part.rated,
            temperature: part.temperature,
            electrify: sweep.electrify,
        }),
    }
}

impl From<super::model::PartKind> for Dielectric {
    fn from(kind: super::model::PartKind) -> Self {
        use super::model::PartKind;
        match kind {
            PartKind::SolidTantalum => Dielectric::SolidTantalum,
            PartKind::Aluminium => Dielectric::Aluminium,
            PartKind::Ceramic => Dielectric::Ceramic,
            PartKind::Film => Dielectric::Film,
        }
    }
}
