//! The self-check on a known load: before anything else is energised, and again
//! after so many starts where the plan wants it.

use super::ask::{self, put};
use super::{Bench, Question, level, look};
use crate::analysis::finding::{Figure, Finding, Severity};
use crate::analysis::known_load::{Seen, Verdict, expected, judge};
use crate::instrument::{Fault, Measurand, Role, Sample};
use crate::interlock::{Halt, Request};
use crate::plan::{Limits, SelfCheck, Wiring};
use crate::units::{Ohms, Seconds, Unit, Volts};

/// The limit stands this much above the current that is expected.
const LIMIT: f64 = 1.5;
/// How long the load is under power before it is looked at, and how often; the last look counts.
const SETTLE: Seconds = Seconds(1.0);
const LOOKS: usize = 5;

/// Carries it out; the unit is asked for again afterwards, by the stage that needs it.
pub(super) async fn run(bench: &mut Bench<'_>, check: &SelfCheck) -> Result<(), Halt> {
    let text = format!(
        "Self-check: connect {} ({} ± {}) to the supply in place of the unit, with the meter as it is wired. Done?",
        check.name, check.load, check.tolerance
    );
    put(bench, &Question::done(text, Some(check.name.clone()))).await?;
    let more = bench.passed.bench().leads.resistance + set_meter(bench, check).await?;
    let current = check.voltage / check.load;
    let step = bench.passed.bench().supply.profile.supply().map_or(0.0, |s| s.current.resolution);
    let limit = (current * LIMIT).max(current + crate::units::Amperes(2.0 * step)).min(bench.passed.plan().unit.ceiling.current);
    let request = Request {
        voltage: check.voltage,
        highest: check.voltage,
        limits: Limits::same(limit),
        residual_below: Some(super::AT_REST),
        patience: super::PATIENCE,
        in_limit: None,
    };
    let mut seen = None;
    {
        let mut on = bench.station.prepare(request).await?.switch_on(None).await?;
        let settled = on.on_at() + SETTLE;
        on.wait_until(settled).await?;
        for _ in 0..LOOKS {
            // Shown and recorded like every other.
            look(&mut on, None, &[], &mut *bench.watcher).await?;
            let observed = on.observe(None).await?;
            let voltage = match observed.supply.voltage.sample {
                Sample::Value { value, u } => Some((Volts(value), Volts(u))),
                _ => None,
            };
            let meter = observed.meter.filter(|m| m.measurand == Measurand::Current);
            let made =
                voltage.map(|voltage| Seen { voltage, supply: level(&observed.supply.current), meter: meter.map(|m| level(&m)) });
            seen = made.or(seen);
        }
        on.off().await?;
    }
    tell(bench, check, seen, more)
}

/// Says what it came to; where supply, meter and load do not agree the run ends.
fn tell(bench: &mut Bench<'_>, check: &SelfCheck, seen: Option<Seen>, more: Ohms) -> Result<(), Halt> {
    let Some(seen) = seen else {
        return Err(Fault::Order("self-check: the supply's voltage cannot be read".into()).of(Role::Supply).into());
    };
    let wanted = expected(seen.voltage, check.load, check.tolerance, more);
    let verdict = judge(&seen, wanted);
    let meter = seen.meter.map_or("no meter in series".into(), |m| format!("the meter reads {m}"));
    let expected = crate::units::with_uncertainty(wanted.0.0, 2.0 * wanted.1.0, Unit::Ampere);
    let sentence = format!(
        "Self-check on {}: {expected} expected, the supply reads {}, {meter}: {}.",
        check.name,
        seen.supply,
        verdict.meaning()
    );
    let good = verdict == Verdict::Agree;
    let (code, severity) = if good { ("self-check", Severity::Note) } else { ("self-check-fails", Severity::Undecided) };
    let figure = Figure::quantity("expected current", wanted.0.0, Unit::Ampere, Some(2.0 * wanted.1.0));
    bench.find(Finding::new(code, severity, sentence.clone()).figure(figure))?;
    if good {
        return Ok(());
    }
    let role = if matches!(verdict, Verdict::Supply | Verdict::Nothing) { Role::Supply } else { Role::Meter };
    Err(Fault::Order(format!("self-check: {}", verdict.meaning())).of(role).into())
}

/// The meter's lowest range that holds the load's current. Returns its shunt.
async fn set_meter(bench: &mut Bench<'_>, check: &SelfCheck) -> Result<Ohms, Halt> {
    let Some(seat) = &bench.passed.bench().meter else { return Ok(Ohms(0.0)) };
    let (Some(profile), Wiring::InSeries) = (seat.profile.meter(), seat.wired) else { return Ok(Ohms(0.0)) };
    let most = (check.voltage / check.load).0 * LIMIT;
    let Some(function) = &profile.current else { return Ok(Ohms(0.0)) };
    let Some(place) = function.ranges.iter().position(|r| r.full >= most) else { return Ok(Ohms(0.0)) };
    let rate = profile.rates.iter().rposition(|r| r.period <= Seconds(0.2)).unwrap_or(0);
    if let Some(meter) = bench.station.meter() {
        meter.configure(Measurand::Current, place, rate).await?;
    }
    Ok(function.ranges.get(place).map_or(Ohms(0.0), |r| r.resistance))
}

/// Within a start stage: the check, and then the unit again.
pub(super) async fn between(bench: &mut Bench<'_>, check: &SelfCheck) -> Result<(), Halt> {
    run(bench, check).await?;
    ask::for_the_unit(bench).await
}
