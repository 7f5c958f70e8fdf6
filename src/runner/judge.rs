//! From what was seen to what is recorded and found: hands numbers to `analysis`
//! and its answers to the record.

use super::lot::measures;
use super::past::{Seen, Starts, What, level, until_decided};
use super::start::Seen as Watched;
use super::{Bench, Gathered, Look, Progress, Watcher};
use crate::analysis::compare::rate::Group;
use crate::analysis::finding::{self, Finding, LeakageStep, LotPart, Severity, Swept};
use crate::analysis::sequential::Decision;
use crate::analysis::series::{Point, mean_and_deviation};
use crate::analysis::signature::kept::Kept;
use crate::analysis::start::{self as judged, Band, Outcome, Verdict};
use crate::analysis::{Level, ramp as ramps, starts as many};
use crate::interlock::{Cause, Halt, Journal, Trip};
use crate::plan::{Leakage, Log, Ramp, StageKind, Start, Wiring, accepted, limit_of, meter_setup};
use crate::record::{LeakageRow, RecordError, StartEnd};
use crate::units::{Amperes, Seconds, Volts};

/// Also of a ramp that was cut short: a trip is most telling there.
fn ramp(bench: &mut Bench<'_>, ramp: &Ramp, looks: &[Look]) -> Result<(), Halt> {
    let steps: Vec<ramps::Step> = looks
        .iter()
        .filter_map(|l| {
            let (leg, set) = ramp.leg(l.step?);
            let (voltage, u_voltage) = (l.voltage, l.voltage_u.unwrap_or_default());
            Some(ramps::Step { leg, set, voltage, u_voltage, current: l.current, limiting: l.limiting })
        })
        .collect();
    if steps.is_empty() {
        return Ok(());
    }
    let summary = ramps::summarise(&steps, ramp.to);
    let asked = finding::RampAsked { to: ramp.to, limit: ramp.limit, expect: ramp.expect };
    let reached = end_of_ramp(&steps, ramp);
    bench.measure(|number| measures::held(number, ramp, reached));
    for finding in finding::ramp(&summary, reached, &asked) {
        bench.find(finding)?;
    }
    against_good(bench, What::Ramp(steps))
}

/// What is drawn while the end voltage of a ramp is held; `None`: it was not reached.
pub(super) fn end_of_ramp(steps: &[ramps::Step], ramp: &Ramp) -> Option<Level> {
    let held: Vec<Level> = steps.iter().filter(|s| s.leg == ramps::Leg::Hold).map(|s| s.current).collect();
    // Without a hold the last step up stands for it, where it was reached.
    let last = steps.iter().rfind(|s| s.leg == ramps::Leg::Up && s.set >= ramp.to).map(|s| s.current);
    let held = if held.is_empty() { last.into_iter().collect() } else { held };
    // The second half of the hold alone: a unit may start late in it.
    let held = held.get(held.len() / 2..).unwrap_or(&[]);
    (!held.is_empty()).then(|| middle(held))
}

/// What the stage in hand has seen, against the good unit that it names.
fn against_good(bench: &mut Bench<'_>, what: What) -> Result<(), Halt> {
    let number = bench.plan_stage();
    let stage = bench.passed.plan().stages.iter().find(|s| s.number == number);
    let Some((stage, expected)) = stage.zip(bench.good.get(&number)) else { return Ok(()) };
    let seen = Seen { number: stage.number, kind: stage.kind.clone(), what };
    for finding in super::good::judge(&seen, expected) {
        bench.find(finding)?;
    }
    Ok(())
}

/// The median of what was seen, by value, with the spread in its uncertainty; else
/// the last.
fn middle(levels: &[Level]) -> Level {
    let mut known: Vec<&Level> = levels.iter().filter(|l| l.value().is_some()).collect();
    known.sort_by(|a, b| a.value().partial_cmp(&b.value()).unwrap_or(std::cmp::Ordering::Equal));
    if known.len() * 2 > levels.len() {
        let values: Vec<f64> = known.iter().filter_map(|l| l.value()).map(|a| a.0).collect();
        let spread = mean_and_deviation(&values).and_then(|(_, deviation)| deviation).unwrap_or(0.0);
        return match known.get(known.len() / 2) {
            Some(Level::Known { value, u }) => Level::Known { value: *value, u: Amperes(u.0.hypot(spread)) },
            _ => Level::Missing,
        };
    }
    levels.last().copied().unwrap_or(Level::Missing)
}

/// Judges what the stage in hand has seen, all of it or what there is so far.
pub(super) fn gathered(bench: &mut Bench<'_>) -> Result<(), Halt> {
    let plan = bench.passed.plan();
    let Some(stage) = plan.stages.iter().find(|s| s.number == bench.plan_stage()) else { return Ok(()) };
    // What was cut and not taken up again has been seen all the same.
    let mut seen = std::mem::take(&mut bench.gathered);
    if let (Gathered::Nothing, Some(cut)) = (&seen, bench.cut.take()) {
        seen = cut.gathered;
    }
    match (&stage.kind, seen) {
        (StageKind::Ramp(it), Gathered::Ramp(looks)) => ramp(bench, it, &looks),
        (StageKind::Log(it), Gathered::Log(looks, _)) => log(bench, it, &looks),
        (StageKind::Start(it), Gathered::Starts(tally)) => starts(bench, it, &tally),
        (StageKind::Leakage(it), Gathered::Sweep(steps)) => leakage(bench, it, &steps),
        _ => Ok(()),
    }
}

/// The run ends before its plan does: what was seen is judged all the same, and a
/// trip is a finding of its own.
pub(super) fn interrupted(bench: &mut Bench<'_>, halt: &Halt) {
    let trip = match halt {
        Halt::Tripped(trip) => Some(tripped(bench, trip)),
        _ => None,
    };
    let found = trip.map_or(Ok(()), |finding| bench.find(finding).map_err(Halt::from)).and_then(|()| gathered(bench));
    // Where they cannot be recorded, the end of the run says so; they have been shown.
    if let Err(error) = found {
        tracing::warn!("{error}");
    }
}

pub(super) fn tripped(bench: &Bench<'_>, trip: &Trip) -> Finding {
    let (severity, advice) = match trip.cause {
        Cause::OverCurrent | Cause::InLimit | Cause::SupplyProtection => (
            Severity::Anomaly,
            "A load that takes all it is given: a short, a latch-up, or a converter that sticks because the limit is too near its running current. Look for heat at a low voltage; do not raise the limit to make it go away.",
        ),
        Cause::OverPower | Cause::Energy => {
            (Severity::Anomaly, "Look for heat, and for what differs from a good unit, before the ceiling is raised.")
        }
        Cause::OverVoltage => {
            (Severity::Anomaly, "Look at the supply, its sense leads and its set-point before the unit is connected again.")
        }
        Cause::NoReading(_) => {
            (Severity::Undecided, "This says nothing of the unit. Look at the cable and at the end of traffic.log.")
        }
        Cause::Changed => (
            Severity::Undecided,
            "This says nothing of the unit. Somebody's hand at a front panel, another program at the same address, an instrument that has restarted, or a meter that chooses its range by itself: lock the panels, fix the range, and look at the end of traffic.log.",
        ),
        Cause::Sanity => (
            Severity::Undecided,
            "A reading that the instrument cannot give: look at its settings, the profile, and the end of traffic.log.",
        ),
    };
    let during = match &bench.gathered {
        Gathered::Starts(tally) => format!(", in start {}", tally.rows.len()),
        _ => String::new(),
    };
    Finding::new("tripped", severity, format!("The interlock switched off in stage {}{during}: {trip}.", bench.stage))
        .advise(advice)
}

fn log(bench: &mut Bench<'_>, log: &Log, looks: &[Look]) -> Result<(), Halt> {
    let settled = log.settled();
    let points: Vec<Point> = looks.iter().filter(|l| l.at >= settled).map(|l| Point { at: l.at, current: l.current }).collect();
    bench.measure(|number| measures::logged(number, log, &points));
    let Some(last) = points.last() else { return Ok(()) };
    // The last reading stands for the time until the next; to a tenth of a second where it was cut short.
    let seen = Seconds(((last.at + log.every).0 * 10.0).round() / 10.0);
    let length = log.length.min(seen);
    for finding in finding::log(&points, log.expect, length) {
        bench.find(finding)?;
    }
    let states: Vec<(&str, (Amperes, Amperes))> = log.states.iter().map(|s| (s.name.as_str(), (s.low, s.high))).collect();
    for finding in finding::log_states(&points, &states) {
        bench.find(finding)?;
    }
    against_good(bench, What::Log(points))
}

/// Where a start is noted: all of the bench but the powered place, which may be held.
pub(super) struct Place<'p> {
    pub(super) stage: u32,
    pub(super) journal: &'p Journal,
    pub(super) gathered: &'p mut Gathered,
    pub(super) watcher: &'p mut dyn Watcher,
}

/// The starts of a stage so far.
#[derive(Default)]
pub(super) struct Tally {
    pub(super) rows: Vec<many::Row>,
    /// Counted as they come, so that the last start costs no more than the first.
    good: u32,
    failed: u32,
    /// The courses of some good and of some failing ones.
    courses: (Kept, Kept),
}

impl Tally {
    /// One more, with what was seen of it.
    pub(super) fn add(&mut self, row: many::Row, looks: impl IntoIterator<Item = judged::Look>) {
        let number = u32::try_from(self.rows.len()).unwrap_or(u32::MAX).saturating_add(1);
        if row.outcome.is_good() {
            self.courses.0.add(number, looks);
        } else if row.outcome.is_failure() {
            self.courses.1.add(number, looks);
        }
        self.good += u32::from(row.outcome.is_good());
        self.failed += u32::from(row.outcome.is_failure());
        self.rows.push(row);
    }
}

impl Tally {
    /// Whether the claim that ends the stage is decided.
    pub(super) fn decides(&self, start: &Start) -> bool {
        let counted = u64::from(self.good) + u64::from(self.failed);
        start.until.is_some_and(|claim| claim.decide(self.failed.into(), counted) != Decision::Open)
    }
}

/// Whether the claim that ends the stage is decided; then that is an event.
pub(super) fn decided(bench: &Bench<'_>, start: &Start) -> Result<bool, Halt> {
    let Gathered::Starts(tally) = &bench.gathered else { return Ok(false) };
    if !tally.decides(start) {
        return Ok(false);
    }
    bench.journal.event("decided", &format!("the claim is decided after {} starts: no more are made", tally.rows.len()))?;
    Ok(true)
}

fn looks(seen: &Watched) -> impl Iterator<Item = judged::Look> + '_ {
    seen.looks.iter().map(|l| judged::Look { at: l.at, voltage: l.at_most, current: l.current, limiting: l.limiting })
}

fn verdict(start: &Start, seen: &Watched) -> Verdict {
    let bands: Vec<Band> = start.states.iter().map(|s| Band { low: s.low, high: s.high }).collect();
    let looks: Vec<judged::Look> = looks(seen).collect();
    judged::judge(&looks, &bands, start.voltage, start.within)
}

/// Whether the start failed, as far as it has been seen.
pub(super) fn is_failure(start: &Start, seen: &Watched) -> bool {
    verdict(start, seen).outcome.is_failure()
}

/// Judges a start that was watched to its end. Returns whether it failed.
pub(super) fn start(place: &mut Place<'_>, start: &Start, seen: &Watched) -> Result<bool, Halt> {
    let verdict = verdict(start, seen);
    note(place, start, seen, &verdict)?;
    Ok(verdict.outcome.is_failure())
}

/// A start that was not made, because the unit had not fallen: void.
pub(super) fn not_started(place: &mut Place<'_>, start: &Start, seen: &Watched) -> Result<(), Halt> {
    let left = seen.residual.and_then(|r| r.volts()).map_or("an unknown voltage".into(), |v| v.to_string());
    let below = start.off_below.map_or(String::new(), |b| b.to_string());
    let reason = format!("not switched on: {left} were left at the unit, and did not fall below {below} in time");
    note(place, start, seen, &empty(Outcome::Void, reason))
}

/// A start that was cut short: tripped, or void.
pub(super) fn cut_short(place: &mut Place<'_>, start: &Start, seen: &Watched, halt: &Halt) -> Result<(), Halt> {
    let outcome = match halt {
        // The others speak of the instruments, and not of the unit.
        Halt::Tripped(trip) if !matches!(trip.cause, Cause::NoReading(_) | Cause::Changed | Cause::Sanity) => Outcome::Tripped,
        _ => Outcome::Void,
    };
    let mut verdict = verdict(start, seen);
    verdict.outcome = outcome;
    verdict.reason = format!("cut short: {halt}");
    note(place, start, seen, &verdict)
}

fn empty(outcome: Outcome, reason: String) -> Verdict {
    Verdict { outcome, state: None, reached: None, plateau: Level::Missing, peak: None, limited: false, held: None, reason }
}

fn note(place: &mut Place<'_>, start: &Start, seen: &Watched, verdict: &Verdict) -> Result<(), Halt> {
    let outcome = verdict.outcome;
    let counts = match (outcome.is_good(), outcome.is_failure()) {
        (true, _) => "good",
        (_, true) => "failed",
        _ => "void",
    };
    let state = verdict.state.and_then(|i| start.states.get(i)).map(|s| s.name.clone());
    let words = match (&state, outcome) {
        (Some(state), Outcome::OtherState) => format!("no start: {state}"),
        _ => outcome.name().to_owned(),
    };
    let end = StartEnd {
        off: seen.off_time,
        on: (!seen.looks.is_empty()).then_some(seen.on_at),
        outcome: words.clone(),
        counts,
        state,
        reached: verdict.reached,
        plateau: verdict.plateau,
        peak: verdict.peak,
        limited: seen.limited_for,
        held: verdict.held,
        reason: verdict.reason.clone(),
    };
    let stage = place.stage;
    place.journal.write(|r| r.end_start(stage, seen.number, &end))?;
    let Gathered::Starts(tally) = &mut *place.gathered else { return Ok(()) };
    let row = many::Row {
        outcome,
        state: verdict.state,
        at: (!seen.looks.is_empty()).then_some(seen.on_at),
        off_time: seen.off_time,
        residual: seen.residual.and_then(|r| r.volts()),
        plateau: verdict.plateau,
        limited: verdict.limited,
        held: verdict.held,
    };
    tally.add(row, looks(seen));
    let (good, failed) = (tally.good, tally.failed);
    let void = u32::try_from(tally.rows.len()).unwrap_or(u32::MAX) - good - failed;
    place.watcher.see(&Progress::Start {
        number: seen.number,
        of: start.until.is_none().then_some(start.times),
        outcome: &words,
        good,
        failed,
        void,
    });
    Ok(())
}

/// What all starts say.
fn starts(bench: &mut Bench<'_>, start: &Start, tally: &Tally) -> Result<(), Halt> {
    if tally.rows.is_empty() {
        return Ok(());
    }
    bench.measure(|number| measures::started(number, tally.good, tally.failed));
    let names: Vec<&str> = start.states.iter().map(|s| s.name.as_str()).collect();
    for finding in finding::starts(&many::summarise(&tally.rows, start.until, &bench.marks.all()), start.limit.starting, &names) {
        bench.find(finding)?;
    }
    let (good, failed) = (tally.courses.0.courses(), tally.courses.1.courses());
    let integration = integration(bench, start);
    for finding in finding::signatures(&finding::Courses { good, failed, set: start.voltage, integration }) {
        bench.find(finding)?;
    }
    let bands: Vec<(&str, Band)> = start.states.iter().map(|s| (s.name.as_str(), Band { low: s.low, high: s.high })).collect();
    let ends: Vec<Level> = tally.rows.iter().filter(|r| r.outcome != Outcome::Void).map(|r| r.plateau).collect();
    for finding in finding::states(&ends, &bands) {
        bench.find(finding)?;
    }
    against_good(bench, What::Starts(seen(start, tally)))
}

/// The starts of the stage in hand, as those of an earlier run are read.
fn seen(start: &Start, tally: &Tally) -> Starts {
    let counted = |r: &&many::Row| r.outcome != Outcome::Void;
    let plateaus: Vec<Level> = tally.rows.iter().filter(|r| r.outcome.is_good()).map(|r| r.plateau).collect();
    let owned = |kept: &Kept| kept.courses().into_iter().map(<[judged::Look]>::to_vec).collect();
    let (failed, good) = (u64::from(tally.failed), u64::from(tally.good));
    Starts {
        group: Group {
            failed,
            counted: failed + good,
            void: tally.rows.len() as u64 - failed - good,
            until_decided: until_decided(start),
        },
        off: tally.rows.iter().filter(counted).filter_map(|r| Some((r.off_time?, r.outcome.is_failure()))).collect(),
        left: tally.rows.iter().filter(counted).filter_map(|r| r.residual).collect(),
        good: owned(&tally.courses.0),
        failed: owned(&tally.courses.1),
        plateau: level(&plateaus),
    }
}

/// Over how long a reading of the current integrates, where the profile says.
fn integration(bench: &Bench<'_>, start: &Start) -> Seconds {
    let kind = StageKind::Start(Box::new(start.clone()));
    let seat = bench.passed.bench().meter.as_ref().filter(|seat| seat.wired == Wiring::InSeries);
    let rate = seat.and_then(|seat| seat.profile.meter()).and_then(|profile| {
        let setup = meter_setup(&kind, profile).ok().flatten()?;
        setup.rate(profile).map(|rate| rate.integration)
    });
    rate.unwrap_or_default()
}

/// Records one voltage of a sweep.
pub(super) fn leakage_step(
    journal: &Journal,
    stage: u32,
    number: u32,
    sweep: &Leakage,
    step: &LeakageStep,
) -> Result<(), RecordError> {
    let row = LeakageRow {
        step: number,
        part: sweep.part.name.clone(),
        set: step.set,
        limit: accepted(sweep),
        soak: step.soak.clone(),
    };
    journal.write(|r| r.leakage(stage, &row))
}

/// What a sweep says.
fn leakage(bench: &mut Bench<'_>, sweep: &Leakage, steps: &[LeakageStep]) -> Result<(), Halt> {
    if steps.is_empty() {
        return Ok(());
    }
    // The check has made sure that the family has levels at this rail.
    let node = sweep.into.as_ref().and_then(|node| node.question().ok());
    let part = &sweep.part;
    let swept = Swept {
        part: &part.name,
        kind: part.kind.into(),
        capacitance: part.capacitance,
        rated: part.rated,
        temperature: part.temperature,
        steps,
        limit: &limit_of(sweep),
        node: node.as_ref(),
    };
    let found = finding::leakage(&swept);
    let cleared = finding::cleared(&part.name, &found, &bench.findings);
    for finding in found.into_iter().chain(cleared) {
        bench.find(finding)?;
    }
    if bench.trial.is_some() {
        bench.measure(|number| measures::swept(number, sweep, steps));
        return against_good(bench, What::Sweep(steps.to_vec()));
    }
    bench.swept.push((bench.stage, steps.to_vec()));
    against_good(bench, What::Sweep(steps.to_vec()))?;
    if let Some(finding) = lot(bench, sweep) {
        bench.find(finding)?;
    }
    Ok(())
}

/// The parts of a lot against each other, once the last of them was measured.
fn lot(bench: &Bench<'_>, sweep: &Leakage) -> Option<Finding> {
    let alike = |other: &Leakage| {
        let (a, b) = (&sweep.part, &other.part);
        let conditions = |l: &Leakage| (l.electrify, l.series, l.part.temperature);
        a.kind == b.kind
            && a.capacitance == b.capacitance
            && a.rated == b.rated
            && sweep.voltages == other.voltages
            && conditions(sweep) == conditions(other)
    };
    let lot: Vec<(u32, &Leakage)> = bench
        .passed
        .plan()
        .stages
        .iter()
        .filter_map(|s| match &s.kind {
            StageKind::Leakage(other) if alike(other) => Some((s.number, &**other)),
            _ => None,
        })
        .collect();
    if lot.last().is_none_or(|(number, _)| *number != bench.stage) {
        return None;
    }
    let at = sweep.voltages.iter().copied().fold(Volts(0.0), Volts::max);
    let mut parts: Vec<LotPart> = Vec::new();
    for (number, other) in lot {
        let (_, steps) = bench.swept.iter().rfind(|(stage, _)| *stage == number)?;
        let leakage = steps.iter().find(|s| s.set == at)?.soak.leakage.value()?;
        // The same part twice is no second part.
        if parts.iter().any(|p| p.name == other.part.name) {
            return None;
        }
        parts.push(LotPart { name: other.part.name.clone(), leakage });
    }
    finding::lot(&parts, at)
}
