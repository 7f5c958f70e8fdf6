//! One stage: from its beginning in the record to its end, over trips that the plan lets
//! it survive.

use super::{Bench, Gathered, Halt, Progress, ask, judge, leakage, log, ramp, resume, start};
use crate::instrument::Measurand;
use crate::plan::{Limits, Stage, StageKind, Way, Wiring, meter_setup};
use crate::units::Seconds;

/// Carries a stage out and records it under the number that it has in this run.
pub(super) async fn run(bench: &mut Bench<'_>, stage: &Stage) -> Result<(), Halt> {
    let clock = bench.station.clock();
    let (kind, what) = (stage.kind.word(), describe(&stage.kind));
    let number = bench.trial.as_ref().map_or(0, |trial| trial.before) + stage.number;
    bench.stage = number;
    bench.station.enter_stage(number);
    bench.gathered = Gathered::Nothing;
    let expected = bench.expected_of(stage);
    // Of a lot the trials are told, and not the stages of each.
    let told = bench.trial.is_none();
    if told {
        bench.watcher.see(&Progress::Stage { at: clock.now(), number, kind, what: &what, expected });
    }
    bench.journal.write(|r| r.begin_stage(number, kind, &what, clock.now()))?;
    let mut result = carry_out(bench, stage).await;
    while let Err(halt) = &result {
        if !go_on_after(bench, stage, halt).await? {
            break;
        }
        result = carry_out(bench, stage).await;
    }
    let how = result.as_ref().map_or_else(Halt::to_string, |()| resume::DONE.to_owned());
    bench.journal.write(|r| r.end_stage(number, &how, clock.now()))?;
    if told {
        bench.watcher.see(&Progress::StageDone { number, how: &how });
    }
    result
}

/// Whether the stage goes on: after a trip where the plan lets it, after a pause with the
/// output off; and after the computer has slept.
async fn go_on_after(bench: &mut Bench<'_>, stage: &Stage, halt: &Halt) -> Result<bool, Halt> {
    // What tripped is a trip, also where switching off for it met something else.
    let latched = bench.station.latched().map(Halt::Tripped);
    let (pause, text) = match halt {
        Halt::Instrument(_) if latched.is_some() => {
            if !bench.station.recover().await? {
                return Ok(false);
            }
            let Some(trip) = latched else { return Ok(false) };
            return Box::pin(go_on_after(bench, stage, &trip)).await;
        }
        Halt::Instrument(_) => {
            // What cannot be opened again ends the run, and says more than what was seen of it first.
            if !bench.station.recover().await? {
                return Ok(false);
            }
            bench.rested_since = bench.station.clock().now();
            (Seconds(0.0), format!("{halt}; the link is there again, and the stage goes on where it was cut"))
        }
        Halt::Slept(slept) => {
            (Seconds(0.0), format!("the computer slept for {slept} while the output was on; the stage goes on where it was cut"))
        }
        Halt::Tripped(trip) => {
            let Some(pause) = bench.station.retry(trip) else { return Ok(false) };
            let finding = judge::tripped(bench, trip);
            bench.find(finding)?;
            let name = trip.cause.name();
            (pause, format!("the plan lets the run go on after {name}: in {pause}, with the output off until then"))
        }
        _ => return Ok(false),
    };
    bench.journal.event("goes on", &text)?;
    let clock = bench.station.clock();
    bench.watcher.see(&Progress::Event { at: clock.now(), text: &text });
    // Where the stage had not yet taken up what was cut before, that still holds.
    if bench.cut.is_none() {
        let gathered = std::mem::take(&mut bench.gathered);
        let cut = resume::Cut { gathered, spent: bench.station.spent(), ..resume::Cut::default() };
        bench.cut = Some(cut.counted(&stage.kind));
    }
    clock.sleep(pause).await;
    Ok(true)
}

async fn carry_out(bench: &mut Bench<'_>, stage: &Stage) -> Result<(), Halt> {
    // What is meant for the unit must not reach a part that was left in its place.
    if bench.trial.is_none() && matches!(stage.kind, StageKind::Ramp(_) | StageKind::Log(_) | StageKind::Start(_)) {
        ask::for_the_unit(bench).await?;
    }
    set_meter(bench, stage).await?;
    let mut cut = bench.cut.take().unwrap_or_default();
    bench.station.spent_before(cut.spent);
    bench.gathered = match std::mem::take(&mut cut.gathered) {
        Gathered::Nothing => Gathered::begun(&stage.kind),
        seen => seen,
    };
    match &stage.kind {
        StageKind::Ramp(ramp) => ramp::run(bench, ramp).await,
        StageKind::Log(log) => log::run(bench, log, cut).await,
        StageKind::Start(start) => start::run(bench, start, stage, cut).await,
        StageKind::Leakage(sweep) => leakage::run(bench, sweep, stage, cut).await,
        StageKind::Ask(ask) => ask::run(bench, ask).await,
    }
}

/// One line about what a stage does.
fn describe(stage: &StageKind) -> String {
    match stage {
        StageKind::Ramp(r) => {
            let back = if r.way == Way::UpAndBack { " and back" } else { "" };
            format!("0 V to {}{back} at {}, limit {}", r.to, r.rate, r.limit)
        }
        StageKind::Log(l) => format!("{} at {}, a reading every {}", crate::units::spell(l.length), l.voltage, l.every),
        StageKind::Start(s) => {
            let off = if s.off.from == s.off.to { s.off.from.to_string() } else { format!("{} to {}", s.off.from, s.off.to) };
            let Limits { starting, running, after } = s.limit;
            let limit =
                if starting == running { starting.to_string() } else { format!("{starting} then {running} after {after}") };
            format!("{} at {}, off {off}, limit {limit}, watched for {}", s.how_many(), s.voltage, s.watch)
        }
        StageKind::Leakage(l) => {
            let volts: Vec<String> = l.voltages.iter().map(ToString::to_string).collect();
            format!(
                "{} ({}, {}, {}) at {} through {}, {} each",
                l.part.name,
                l.part.kind.word(),
                l.part.capacitance,
                l.part.rated,
                volts.join(", "),
                l.series,
                crate::units::spell(l.electrify)
            )
        }
        StageKind::Ask(a) => a.say.clone(),
    }
}

/// Sets the meter for a stage, while nothing is energised.
pub(super) async fn set_meter(bench: &mut Bench<'_>, stage: &Stage) -> Result<(), Halt> {
    let Some(seat) = &bench.passed.bench().meter else { return Ok(()) };
    let Some(profile) = seat.profile.meter() else { return Ok(()) };
    let setup = match seat.wired {
        Wiring::InSeries => meter_setup(&stage.kind, profile).map_err(Halt::NoPermit)?.map(|s| (s.measurand, s.range, s.rate)),
        Wiring::Across => {
            let ceiling = bench.passed.plan().unit.ceiling.voltage;
            let range = profile.voltage.as_ref().and_then(|f| f.ranges.iter().position(|r| r.full >= ceiling.0));
            range.map(|range| (Measurand::Voltage, range, 0))
        }
    };
    let (Some((of, range, rate)), Some(meter)) = (setup, bench.station.meter()) else { return Ok(()) };
    meter.configure(of, range, rate).await?;
    let function = if of == Measurand::Current { profile.current.as_ref() } else { profile.voltage.as_ref() };
    if let Some(range) = function.and_then(|f| f.ranges.get(range)) {
        let (now, number) = (bench.station.clock().now(), bench.stage);
        bench.journal.write(|r| r.setting(number, "meter range", of.unit(), range.full, Some(range.full), now))?;
    }
    Ok(())
}
