//! Which range and rate a meter is set to for a stage: decided once, for the
//! check and for the runner alike.

use super::model::{Leakage, LeakageLimit, StageKind};
use crate::analysis::leakage::{self, Dielectric};
use crate::instrument::Measurand;
use crate::instrument::profile::{MeterProfile, Range, Rate};
use crate::units::{Amperes, Seconds};

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
/// The range is the lowest that holds the largest current the stage allows
/// (starting limit), so that it never changes while the unit starts; for a
/// leakage sweep the lowest that holds four times the limit, to be raised on
/// overload. The rate is the slowest, and so the quietest, that still gives
/// enough readings: forty in the watch time of a start, one in every step of a
/// ramp, log or soak.
///
/// # Errors
/// In words: the meter has no current function, or no range that holds it.
pub fn meter_setup(stage: &StageKind, profile: &MeterProfile) -> Result<Option<MeterSetup>, String> {
    let (most, pace) = match stage {
        StageKind::Ramp(ramp) => (ramp.limit, (ramp.step / ramp.rate) * 0.7),
        StageKind::Log(log) => (log.limit.starting, log.every * 0.8),
        StageKind::Start(start) => (start.limit.starting, start.watch / 40.0),
        StageKind::Leakage(sweep) => (accepted(sweep) * 4.0, sweep.every * 0.8),
        StageKind::Ask(_) => return Ok(None),
    };
    let function = profile.current.as_ref().ok_or("the meter's profile measures no current")?;
    let Some(range) = function.ranges.iter().position(|r| r.full >= most.0) else {
        let highest = function.ranges.last().map_or(0.0, |r| r.full);
        return Err(format!("the meter's highest current range, {}, does not hold {most}", Amperes(highest)));
    };
    Ok(Some(MeterSetup { measurand: Measurand::Current, range, rate: rate_for(profile, pace) }))
}

/// The place of the slowest rate with a period within `pace`, or else of the fastest.
fn rate_for(profile: &MeterProfile, pace: Seconds) -> usize {
    profile.rates.iter().rposition(|r| r.period <= pace).unwrap_or(0)
}

/// The largest leakage that a sweep accepts.
pub fn accepted(sweep: &Leakage) -> Amperes {
    match sweep.limit {
        LeakageLimit::Own(limit) => limit,
        LeakageLimit::Handbook => leakage::handbook(Dielectric::from(sweep.part.kind), sweep.part.capacitance, sweep.part.rated).limit,
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
