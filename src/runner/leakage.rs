//! The `leakage` stage: bias through a resistor, soak, read at the named time,
//! next voltage; then back to zero and discharged.
//!
//! Holds always: the set-point is not touched while a value is read; the range
//! changes only upwards, on overload after the charging current has gone.

use super::ask::put;
use super::resume::Cut;
use super::{Bench, Gathered, Look, Question, judge, look};
use crate::analysis::finding::{LeakageStep, stopped};
use crate::analysis::leakage::reform::{Forming, forming};
use crate::analysis::leakage::wander::Wander;
use crate::analysis::leakage::{Moment, Setting, charged_values, summarise};
use crate::instrument::Measurand;
use crate::interlock::{Energised, Halt, Request};
use crate::plan::{Leakage, Limits, Stage, accepted, meter_setup};
use crate::units::{Amperes, Ohms, Seconds, Volts};

/// The supply's limit stands this much above the current through the resistor into a short.
const LIMIT_MARGIN: f64 = 1.2;

/// Where the meter stands, and how far it can go.
struct MeterState {
    range: usize,
    rate: usize,
    ranges: Vec<(f64, Ohms)>,
}

pub(super) async fn run(bench: &mut Bench<'_>, sweep: &Leakage, stage: &Stage, cut: Cut) -> Result<(), Halt> {
    let first = cut.next.max(1);
    // A part that rose is not biased again.
    let bad = |step: &LeakageStep| sweep.reform.is_some() && matches!(step.soak.wander, Some(Wander::Rises { .. }));
    if matches!(&bench.gathered, Gathered::Sweep(steps) if steps.iter().any(bad)) {
        return judge::gathered(bench);
    }
    let left: Vec<(u32, Volts)> = (1..).zip(sweep.voltages.iter().copied()).filter(|(number, _)| *number >= first).collect();
    if left.is_empty() {
        return judge::gathered(bench);
    }
    // A part of a lot is in its fixture already.
    if bench.trial.is_none() {
        put(bench, &question(sweep)).await?;
    }
    let Some(seat) = &bench.passed.bench().meter else { return Ok(()) };
    let Some(profile) = seat.profile.meter() else { return Ok(()) };
    let Some(setup) = meter_setup(&stage.kind, profile).map_err(Halt::NoPermit)? else { return Ok(()) };
    let ranges = profile.current.as_ref().map(|f| f.ranges.iter().map(|r| (r.full, r.resistance)).collect()).unwrap_or_default();
    let mut meter = MeterState { range: setup.range, rate: setup.rate, ranges };
    let leads = bench.passed.bench().leads.resistance;
    let highest = sweep.voltages.iter().copied().fold(Volts(0.0), Volts::max);
    let step = bench.passed.bench().supply.profile.supply().map_or(0.0, |s| s.current.resolution);
    let short = highest / sweep.series;
    let limit = (short * LIMIT_MARGIN).max(Amperes(2.0 * step)).min(bench.passed.plan().unit.ceiling.current);
    let request = Request {
        voltage: Volts(0.0),
        highest,
        limits: Limits::same(limit),
        residual_below: Some(super::AT_REST),
        patience: super::PATIENCE,
        in_limit: None,
    };
    let mut on = bench.station.prepare(request).await?.switch_on(None).await?;
    let mut rose = None;
    for (number, set) in left {
        on.set_voltage(set).await?;
        let (moments, end) = soak(&mut on, sweep, number, &mut meter, &mut *bench.watcher).await?;
        let shunt = meter.ranges.get(meter.range).map_or(Ohms(0.0), |r| r.1);
        // A voltage that was held until the part had formed is read then.
        let held = moments.last().filter(|_| sweep.reform.is_some()).map(|m| m.at);
        let electrify = held.unwrap_or(sweep.electrify);
        let setting = Setting { electrify, ..setting(sweep, sweep.series + shunt + leads) };
        let rises = if let Forming::Rises(by) = end { Some((set, electrify, by)) } else { None };
        let Some(soak) = summarise(&moments, &setting) else { continue };
        let made = LeakageStep { set, soak };
        judge::leakage_step(&bench.journal, bench.stage, number, sweep, &made)?;
        if let Gathered::Sweep(steps) = &mut bench.gathered {
            steps.push(made);
        }
        rose = rises;
        if rose.is_some() {
            break;
        }
    }
    discharge(&mut on, sweep, &mut *bench.watcher).await?;
    on.off().await?;
    if let Some((set, after, by)) = rose {
        bench.find(stopped(&sweep.part.name, set, by, after))?;
    }
    judge::gathered(bench)
}

fn question(sweep: &Leakage) -> Question {
    let polarity = if sweep.part.kind.is_polar() { ", its positive lead to the supply's plus" } else { "" };
    let text = format!(
        "Connect {} ({}, {}, {}) to the supply in place of the unit, with {} and the meter in series{polarity}. Discharge it before you touch it. Done?",
        sweep.part.name,
        sweep.part.kind.word(),
        sweep.part.capacitance,
        sweep.part.rated,
        sweep.series
    );
    Question::done(text, Some(sweep.part.name.clone()))
}

fn setting(sweep: &Leakage, series: Ohms) -> Setting {
    Setting { electrify: sweep.electrify, series, capacitance: sweep.part.capacitance, null: sweep.null }
}

async fn soak(
    on: &mut Energised<'_>,
    sweep: &Leakage,
    number: u32,
    meter: &mut MeterState,
    watcher: &mut dyn super::Watcher,
) -> Result<(Vec<Moment>, Forming), Halt> {
    let clock = on.clock();
    let bias_at = clock.now();
    let end = bias_at + sweep.longest();
    let charged = bias_at + (sweep.series * sweep.part.capacitance) * 5.0 + Seconds(1.0);
    let mut moments = Vec::new();
    let mut due = bias_at;
    loop {
        due = (due + sweep.every).max(clock.now()).min(end);
        on.wait_until(due).await?;
        let seen: Look = look(on, Some(number), &[], watcher).await?;
        let at = seen.at + on.on_at() - bias_at;
        let supply = seen.voltage.map(|v| (v, seen.voltage_u.unwrap_or_default()));
        moments.push(Moment { at, current: seen.current, supply });
        let now = clock.now();
        if sweep.reform.is_some() {
            match forming(&charged_values(&moments, &setting(sweep, sweep.series)), accepted(sweep)) {
                Forming::Done if now >= bias_at + sweep.electrify => return Ok((moments, Forming::Done)),
                Forming::Rises(by) => return Ok((moments, Forming::Rises(by))),
                _ => {}
            }
        }
        if now >= end {
            return Ok((moments, Forming::GoesOn));
        }
        let beyond = seen.current == crate::analysis::Level::Overload;
        if beyond && now > charged && meter.range + 1 < meter.ranges.len() {
            meter.range += 1;
            on.configure_meter(Measurand::Current, meter.range, meter.rate).await?;
            let full = meter.ranges.get(meter.range).map_or(0.0, |r| r.0);
            on.journal().event("range", &format!("the leakage is beyond the meter's range: from now on {}", Amperes(full)))?;
        }
    }
}

/// Back to zero; the part empties through its resistor into the supply.
async fn discharge(on: &mut Energised<'_>, sweep: &Leakage, watcher: &mut dyn super::Watcher) -> Result<(), Halt> {
    on.set_voltage(Volts(0.0)).await?;
    let clock = on.clock();
    let end = clock.now() + (sweep.series * sweep.part.capacitance) * 5.0 + Seconds(1.0);
    while clock.now() < end {
        on.wait_until((clock.now() + Seconds(0.2)).min(end)).await?;
        look(on, Some(0), &[], watcher).await?;
    }
    on.journal().event(
        "discharge",
        &format!(
            "{} was held at 0 V through {} for five time constants; its voltage can come back: measure before touching",
            sweep.part.name, sweep.series
        ),
    )?;
    Ok(())
}
