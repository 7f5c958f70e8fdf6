//! What a run will take: time, starts, energy, space on the disk.
//!
//! | stage | time | most energy |
//! | --- | --- | --- |
//! | ramp | to / rate + hold, and to / rate for the way back | P × time |
//! | log | for | P × time |
//! | start | sum of the off-times + starts × (watch + 0.15 s) | P × most starts × watch |
//! | leakage | voltages × (electrify or reform, the longer, + 0.2 s) + 5 R C + 1 s | V² / R × time, at the highest voltage |
//! | ask | nothing: the operator's time is not known | nothing |
//!
//! P is voltage times starting limit, or the unit's ceiling where that is less.
//! A stage that goes on `until` a claim is decided is given with the starts that it
//! takes on the average at a tenth of the claimed rate, and with the most.
//!
//! With a lot all of it comes once for each part of the sample and each control.
//!
//! A fault that is held (`on_fault`) and waiting for `off_below` come on top.

use super::Findings;
use crate::plan::{Bench, Inspection, Lot, Plan, StageKind};
use crate::units::{Joules, Seconds, Volts, Watts, spell};

/// A stage longer than this is a slip of a unit.
const LONGEST: Seconds = Seconds(11.0 * 86_400.0);
/// A stage longer than this should be meant.
const LONG: Seconds = Seconds(86_400.0);
/// Time from one start to the next beside off-time and watch time: programming and checking.
const PER_START: Seconds = Seconds(0.15);
/// Bytes of the record and of the traffic for one look at both instruments
/// (measured on the shipped demo plan).
const BYTES_PER_LOOK: f64 = 700.0;

/// What a run will take.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Estimate {
    /// Time, without the operator's.
    pub duration: Seconds,
    /// The most time, where stages end when something is decided.
    pub longest: Seconds,
    /// How many starts.
    pub starts: u32,
    /// The most starts.
    pub most_starts: u32,
    /// Most energy that the limits let into the unit.
    pub worst_energy: Joules,
    /// Bytes in the run's folder.
    pub bytes: f64,
    /// How often all stages come: once, or with a lot once for each part and control.
    pub trials: u32,
    /// Each stage, once.
    pub stages: Vec<StageEstimate>,
}

/// What a stage will take.
#[derive(Clone, Debug, PartialEq)]
pub struct StageEstimate {
    /// From 1.
    pub number: u32,
    /// The word in the plan.
    pub kind: &'static str,
    /// Time.
    pub duration: Seconds,
    /// The most time.
    pub longest: Seconds,
    /// How many starts.
    pub starts: u32,
    /// The most starts.
    pub most_starts: u32,
    /// Most energy.
    pub worst_energy: Joules,
}

/// Parts of the sample, and control parts at the start, after every so many and at the end.
pub(super) fn trials(lot: &Lot, inspection: &Inspection) -> u32 {
    let parts = lot.sampling.numbers.sample;
    let controls = inspection.controls.as_ref().map_or(0, |c| {
        let each = u32::try_from(c.all().count()).unwrap_or(2);
        parts.div_ceil(c.every).saturating_add(1).saturating_mul(each)
    });
    parts.saturating_add(controls)
}

pub(super) fn estimate(plan: &Plan, bench: &Bench, trials: u32) -> Estimate {
    let mut made = Estimate { trials, ..Estimate::default() };
    let ceiling = plan.unit.ceiling.power;
    // A look takes what the slower instrument takes; roughly, for the size alone.
    let period =
        bench.meter.as_ref().and_then(|m| m.profile.meter()).and_then(|m| m.rates.first()).map_or(0.02, |r| r.period.0.max(0.02));
    for stage in &plan.stages {
        let mut least: Option<(Seconds, u32)> = None;
        let (longest, most_starts, on, power, looks) = match &stage.kind {
            StageKind::Ramp(ramp) => {
                let time = ramp.time();
                let steps = (time - ramp.hold) / (ramp.step / ramp.rate);
                (time, 0, time, ramp.to * ramp.limit, steps + ramp.hold.0 / 0.1)
            }
            StageKind::Log(log) => (log.length, 0, log.length, log.voltage * log.limit.starting, log.length / log.every),
            StageKind::Start(start) => {
                let off: f64 = start.off_times(0).iter().map(|t| t.0).sum();
                let on = start.watch * f64::from(start.times);
                let time = Seconds(off) + on + PER_START * f64::from(start.times);
                let expected = start.foretold().expected;
                least = Some((time * (f64::from(expected) / f64::from(start.times)), expected));
                (time, start.times, on, start.voltage * start.limit.starting, on.0 / period.max(start.watch.0 / 60.0))
            }
            StageKind::Leakage(sweep) => {
                let most = sweep.voltages.iter().copied().fold(Volts(0.0), Volts::max);
                let time = (sweep.longest() + Seconds(0.2)) * sweep.voltages.len() as f64 + discharge(sweep);
                let through = most / sweep.series;
                (time, 0, time, most * through, time / sweep.every)
            }
            StageKind::Ask(_) => (Seconds(0.0), 0, Seconds(0.0), Watts(0.0), 0.0),
        };
        let worst_energy = power.min(ceiling) * on;
        let (duration, starts) = least.unwrap_or((longest, most_starts));
        made.duration = made.duration + duration;
        made.longest = made.longest + longest;
        made.starts = made.starts.saturating_add(starts);
        made.most_starts = made.most_starts.saturating_add(most_starts);
        made.worst_energy = made.worst_energy + worst_energy;
        made.bytes += looks * BYTES_PER_LOOK + 100_000.0;
        let (number, kind) = (stage.number, stage.kind.word());
        made.stages.push(StageEstimate { number, kind, duration, longest, starts, most_starts, worst_energy });
    }
    let times = f64::from(trials);
    made.duration = made.duration * times;
    made.longest = made.longest * times;
    made.starts = made.starts.saturating_mul(trials);
    made.most_starts = made.most_starts.saturating_mul(trials);
    made.worst_energy = made.worst_energy * times;
    made.bytes *= times;
    made
}

/// Time for a part to discharge through its resistor, five time constants and a second.
fn discharge(sweep: &crate::plan::Leakage) -> Seconds {
    (sweep.series * sweep.part.capacitance) * 5.0 + Seconds(1.0)
}

pub(super) fn check(plan: &Plan, estimate: &Estimate, findings: &mut Findings) {
    for (stage, taken) in plan.stages.iter().zip(&estimate.stages) {
        let takes = if taken.longest > taken.duration { "could take" } else { "would take" };
        let title = format!("stage {} ({}) {takes} {}", stage.number, taken.kind, spell(taken.longest));
        let hint = "is a unit wrong (min for s), or a number too large?";
        if taken.longest >= LONGEST {
            findings.error(&plan.document, stage.places.whole(), title, "too long to be meant", hint);
        } else if taken.longest > LONG {
            findings.warning(&plan.document, stage.places.whole(), title, "more than a day", hint);
        }
    }
    // Stages that are each short enough, and together are not; the last one is pointed at.
    let one_is_too_long = estimate.stages.iter().any(|taken| taken.longest >= LONGEST);
    if let Some(last) = plan.stages.last().filter(|_| estimate.longest >= LONGEST && !one_is_too_long) {
        let title = format!("all stages together would take {}", spell(estimate.longest));
        findings.error(&plan.document, last.places.whole(), title, "too long to be meant", "make several plans of it");
    }
}
