//! The `start` stage: switch on, watch, switch off; again and again.
//!
//! Holds always: a start that was cut short by the instruments, the link or the
//! operator is void, never good; the off-time is counted from the message that
//! switched off to the message that switches on.

use super::judge::Place;
use super::resume::Cut;
use super::{Bench, Look, look};
use crate::instrument::Reading;
use crate::interlock::{Energised, Halt, Prepared, Request};
use crate::plan::{OnFault, SelfCheck, Stage, Start};
use crate::record::StartBegin;
use crate::units::Seconds;

/// One start as it went, before it is judged.
pub(super) struct Seen {
    pub(super) number: u32,
    pub(super) off_time: Option<Seconds>,
    pub(super) residual: Option<Reading>,
    pub(super) on_at: Seconds,
    pub(super) limited_for: Seconds,
    pub(super) looks: Vec<Look>,
}

/// What comes after a start.
enum Next {
    GoOn,
    EndStage,
}

pub(super) async fn run(bench: &mut Bench<'_>, start: &Start, stage: &Stage, cut: Cut) -> Result<(), Halt> {
    let off_times = start.off_times(bench.seed);
    let (first, over) = (cut.next.max(1), cut.over);
    for (number, off_wanted) in (1..).zip(off_times).filter(|(number, _)| *number >= first && !over) {
        // Also where it was due before the stage was cut.
        if let Some(check) = bench.check_due.take() {
            bench.check_due = Some(check.clone());
            super::self_check::between(bench, &check).await?;
            super::stage::set_meter(bench, stage).await?;
            bench.check_due = None;
        }
        let next = one(bench, start, number, off_wanted).await?;
        bench.check_due = due(bench, number);
        if matches!(next, Next::EndStage) || super::judge::decided(bench, start)? {
            break;
        }
    }
    bench.check_due = None;
    super::judge::gathered(bench)
}

/// The self-check, where it is due after this start.
fn due(bench: &Bench<'_>, number: u32) -> Option<SelfCheck> {
    let check = bench.passed.plan().self_check.as_ref()?;
    check.every.filter(|every| number.is_multiple_of(*every)).map(|_| check.clone())
}

async fn one(bench: &mut Bench<'_>, start: &Start, number: u32, off_wanted: Seconds) -> Result<Next, Halt> {
    let request = Request {
        voltage: start.voltage,
        highest: start.voltage,
        limits: start.limit,
        residual_below: None,
        patience: Seconds(0.0),
        in_limit: None,
    };
    let Bench { station, journal, gathered, watcher, stage, swapped, rested_since, .. } = bench;
    let mut place = Place { stage: *stage, journal, gathered, watcher: &mut **watcher };
    let clock = station.clock();
    let mut prepared = station.prepare(request).await?;
    // Also before the first start, where an earlier stage had the unit under power. Where
    // something else was connected meanwhile, nobody knows since when it has had none.
    let off_at = prepared.off_since().filter(|_| !*swapped);
    // Going on in the middle: off for as long as was wanted, and how long really is not known.
    let known = off_at.or((number > 1 || *swapped).then_some(*rested_since));
    if let Some(off_at) = known {
        prepared.rest_until(off_at + off_wanted).await?;
    }
    let slept = prepared.slept()?;
    let (residual, fallen) = fall(&mut prepared, start, number, clock).await?;
    let off_note = (slept.0 > 0.0).then(|| format!("made longer by the computer's sleep of {slept}"));
    let begin = StartBegin { off_wanted, off_note, residual: residual.map(|r| r.sample) };
    place.journal.write(|record| record.begin_start(place.stage, number, &begin))?;
    let mut seen = Seen { number, off_time: None, residual, on_at: clock.now(), limited_for: Seconds(0.0), looks: Vec::new() };
    if !fallen {
        drop(prepared);
        super::judge::not_started(&mut place, start, &seen)?;
        return Ok(Next::GoOn);
    }
    let watched = match prepared.switch_on(Some(number)).await {
        Ok(mut on) => {
            *swapped = false;
            seen.on_at = on.on_at();
            seen.off_time = off_at.map(|off| seen.on_at - off + slept);
            let watched = watch(&mut on, start, &mut seen, &mut *place.watcher).await;
            seen.limited_for = on.limited_for();
            match (watched, start.on_fault) {
                (Ok(()), OnFault::Hold(most)) if super::judge::is_failure(start, &seen) => {
                    // It has failed, whatever ends the hold: a hand, a trip, the time.
                    super::judge::start(&mut place, start, &seen)?;
                    hold(on, start, number, most, &mut *place.watcher).await?;
                    return Ok(Next::EndStage);
                }
                (Ok(()), _) => on.off().await.map(|_| ()),
                (Err(halt), _) => Err(halt),
            }
        }
        Err(halt) => Err(halt),
    };
    match watched {
        Ok(()) => {
            let failed = super::judge::start(&mut place, start, &seen)?;
            let stops = failed && start.on_fault != OnFault::GoOn;
            Ok(if stops { Next::EndStage } else { Next::GoOn })
        }
        Err(halt) => {
            super::judge::cut_short(&mut place, start, &seen, &halt)?;
            Err(halt)
        }
    }
}

/// Reads what is left at the unit, waiting for it to fall where the plan wants
/// that. Returns the last reading, and whether the unit has fallen far enough.
async fn fall(
    prepared: &mut Prepared<'_>,
    start: &Start,
    number: u32,
    clock: crate::clock::Clock,
) -> Result<(Option<Reading>, bool), Halt> {
    let give_up = clock.now() + start.off_patience;
    loop {
        let reading = prepared.residual(Some(number)).await?;
        let fallen = match (start.off_below, reading.volts()) {
            (None, _) => true,
            (Some(below), Some(volts)) => volts < below,
            // Below the read-back's floor is below; an overload or no answer is not.
            (Some(_), None) => matches!(reading.sample, crate::instrument::Sample::BelowFloor { .. }),
        };
        if fallen || clock.now() > give_up {
            return Ok((Some(reading), fallen));
        }
        clock.sleep(Seconds(0.02)).await;
    }
}

async fn watch(on: &mut Energised<'_>, start: &Start, seen: &mut Seen, watcher: &mut dyn super::Watcher) -> Result<(), Halt> {
    let clock = on.clock();
    let end = seen.on_at + start.watch;
    let mut handed_over = false;
    while clock.now() < end {
        if !handed_over && clock.now() - seen.on_at >= start.limit.after {
            on.hand_over().await?;
            handed_over = true;
        }
        let look = look(on, None, &start.states, watcher).await?;
        seen.looks.push(look);
    }
    Ok(())
}

/// Keeps a fault alive for a while, to be probed, and switches off.
async fn hold(
    mut on: Energised<'_>,
    start: &Start,
    number: u32,
    most: Seconds,
    watcher: &mut dyn super::Watcher,
) -> Result<(), Halt> {
    let clock = on.clock();
    let end = clock.now() + most;
    on.journal().event("hold", &format!("start {number}: the fault is kept alive for {most} at most, to be probed"))?;
    watcher.see(&super::Progress::Event {
        at: clock.now(),
        text: "the fault is there and kept alive: probe now; Ctrl-C switches off",
    });
    while clock.now() < end {
        on.wait_until(clock.now() + Seconds(0.2)).await?;
        look(&mut on, None, &start.states, watcher).await?;
    }
    on.off().await?;
    Ok(())
}
