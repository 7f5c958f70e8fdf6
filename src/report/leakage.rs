//! The plots and tables of a leakage sweep: the curve over voltage with the law that
//! fits best, how each voltage settled with the fit of its fall, the node.

use super::axis::Scale;
use super::plot::{Plot, Shape};
use super::stages::along;
use crate::analysis::Level;
use crate::analysis::finding::{LeakageStep, curves, question_with};
use crate::analysis::leakage::conduction::{CAUTION, rank};
use crate::analysis::leakage::decay::Told;
use crate::analysis::leakage::limits::insulation_resistance;
use crate::analysis::leakage::wander::Wander;
use crate::analysis::node::{Question, what_if};
use crate::plan::StageKind;
use crate::record::{LeakageRow, RecordError, Run, StageRow};
use crate::units::{Amperes, Seconds, Unit, Volts, engineering, with_uncertainty};
use maud::{Markup, html};
use std::collections::BTreeMap;

/// Points of a drawn curve.
const POINTS: u32 = 60;

pub(super) fn leakage(run: &Run, row: &StageRow, kind: Option<&StageKind>) -> Result<Markup, RecordError> {
    let rows = run.leakages(row.number)?;
    let steps: Vec<LeakageStep> = rows.iter().map(|r| LeakageStep { set: r.set, soak: r.soak.clone() }).collect();
    let question = match kind {
        Some(StageKind::Leakage(sweep)) => sweep.into.as_ref().and_then(|node| node.question().ok()),
        _ => None,
    };
    Ok(html! {
        (over_voltage(&rows, &steps))
        (soaks(run, row, &rows)?)
        (table(&rows))
        @if let Some(question) = &question { (node(question, &steps)) }
    })
}

/// Spaced in equal ratios.
fn between(low: f64, high: f64) -> impl Iterator<Item = f64> {
    (0..=POINTS).map(move |i| low * (high / low).powf(f64::from(i) / f64::from(POINTS)))
}

fn over_voltage(rows: &[LeakageRow], steps: &[LeakageStep]) -> Markup {
    let (up, down) = curves(steps);
    let limit = rows.first().map(|s| s.limit.0);
    let dots = |curve: &[crate::analysis::leakage::conduction::At]| -> Vec<(f64, f64)> {
        curve.iter().map(|p| (p.volts.0, p.current.0)).collect()
    };
    let (rising, falling) = (dots(&up), dots(&down));
    let volts: Vec<f64> = rising.iter().chain(&falling).map(|p| p.0).chain(rows.iter().map(|r| r.set.0)).collect();
    let currents: Vec<f64> = rising.iter().chain(&falling).map(|p| p.1).chain(limit).collect();
    let ranking = rank(&up);
    let best = ranking.as_ref().and_then(|r| r.fits.first());
    let title = match best {
        Some(fit) => format!("Leakage over the voltage at the part, both logarithmic; dashed: the {} law", fit.law.name()),
        None => "Leakage over the voltage at the part (both axes logarithmic)".into(),
    };
    let mut plot = Plot::new(
        title,
        along("voltage at the part", Unit::Volt, Scale::Log, volts),
        along("leakage", Unit::Ampere, Scale::Log, currents),
    );
    if let Some(limit) = limit {
        plot.limit(limit, &format!("limit {}", engineering(limit, Unit::Ampere, 3)));
    }
    if let (Some(fit), Some(first), Some(last)) = (best, up.first(), up.last()) {
        plot.fit(&between(first.volts.0, last.volts.0).map(|v| (v, fit.at(Volts(v)).0)).collect::<Vec<_>>());
    } else {
        plot.line(&rising.iter().map(|(x, y)| (*x, Some(*y))).collect::<Vec<_>>());
    }
    plot.dots(Shape::Dot, &rising, "at the electrification time");
    plot.dots(Shape::Hollow, &falling, "on the way down");
    let mark = |want: fn(&Level) -> bool| -> Vec<(f64, f64)> {
        rows.iter().filter(|s| want(&s.soak.leakage)).map(|s| (s.set.0, 0.0)).collect()
    };
    plot.dots(Shape::Below, &mark(|l| matches!(l, Level::BelowFloor { .. })), "below the instrument's floor");
    plot.dots(Shape::Beyond, &mark(|l| matches!(l, Level::Overload)), "beyond the range");
    html! { (plot.draw()) @if best.is_some() { p.small { (CAUTION) } } }
}

/// How each soak settled: current over the time under bias, with the fit of its fall.
fn soaks(run: &Run, row: &StageRow, rows: &[LeakageRow]) -> Result<Markup, RecordError> {
    let points = run.currents(row.number)?;
    let mut lines: BTreeMap<u32, Vec<(f64, Option<f64>)>> = BTreeMap::new();
    let mut first: BTreeMap<u32, f64> = BTreeMap::new();
    for point in &points {
        let Some(step) = point.step.filter(|s| *s > 0) else { continue };
        let began = *first.entry(step).or_insert(point.at.0);
        let value = point.current.value().map(|v| v.0).filter(|v| *v > 0.0);
        // The first reading is at the bias itself: on a logarithmic axis it has no place.
        if point.at.0 > began {
            lines.entry(step).or_default().push((point.at.0 - began, value));
        }
    }
    let all: Vec<&(f64, Option<f64>)> = lines.values().flatten().collect();
    if all.is_empty() {
        return Ok(html! {});
    }
    let times: Vec<f64> = all.iter().map(|p| p.0).collect();
    let start = times.iter().copied().fold(f64::INFINITY, f64::min);
    let currents: Vec<f64> = all.iter().filter_map(|p| p.1).collect();
    let mut plot = Plot::new(
        "How each voltage settled; dashed: a constant and a power of time".into(),
        along("time under bias", Unit::Second, Scale::Log, times),
        along("current", Unit::Ampere, Scale::Log, currents),
    );
    for line in lines.values() {
        plot.line(line);
    }
    for step in rows {
        if let Some(decay) = step.soak.decay {
            let end = step.soak.electrified.0.max(start);
            plot.fit(&between(start, end).map(|t| (t, decay.at(Seconds(t)).0)).collect::<Vec<_>>());
        }
    }
    let settled = plot.draw();
    Ok(html! { (settled) (wandering(rows, &lines)) })
}

/// The current that wanders most, on an axis of its own: beside a fall a step is small.
fn wandering(rows: &[LeakageRow], lines: &BTreeMap<u32, Vec<(f64, Option<f64>)>>) -> Markup {
    let size = |r: &LeakageRow| match (r.soak.wander, r.soak.leakage.value()) {
        (Some(Wander::Quiet { .. }) | None, _) | (_, None) => None,
        (Some(wander), Some(_)) => Some(wander.size().0.abs()),
    };
    let worst = rows.iter().filter_map(|r| size(r).map(|s| (r, s))).max_by(|a, b| a.1.total_cmp(&b.1));
    let Some((row, _)) = worst else { return html! {} };
    // The beginning, where it falls fastest, would hide the rest.
    let late = |p: &&(f64, Option<f64>)| p.0 > 0.1 * row.soak.electrified.0;
    let points: Vec<(f64, Option<f64>)> = lines.get(&row.step).into_iter().flatten().filter(late).copied().collect();
    let mut plot = Plot::new(
        format!("The current that wanders: {} at {}", row.part, row.set),
        along("time under bias", Unit::Second, Scale::Linear, points.iter().map(|p| p.0).collect()),
        along("current", Unit::Ampere, Scale::Linear, points.iter().filter_map(|p| p.1).collect()),
    );
    plot.line(&points);
    plot.draw()
}

fn table(rows: &[LeakageRow]) -> Markup {
    html! {
        div.wide { table {
            caption { "Leakage, step by step" }
            thead { tr {
                th.number { "set" } th.number { "at the part" } th.number { "read" } th.number { "limit" } th.number { "after" }
                th.number { "insulation" }
            } }
            tbody { @for s in rows { tr {
                td.number { (s.set) }
                td.number { (volts(s)) }
                td.number { (read(s.soak.leakage)) }
                td.number { (engineering(s.limit.0, Unit::Ampere, 3)) }
                td.number { (engineering(s.soak.electrified.0, Unit::Second, 4)) }
                td.number { (insulation(s).unwrap_or_else(|| "–".into())) }
            } } }
        } }
        p.small {
            "The voltage at the part is the supply's, less the drop over the resistor, the meter's shunt and the leads. Insulation: voltage over current at the named time."
        }
        div.wide { table {
            caption { "How it stood still" }
            thead { tr { th.number { "set" } th.number { "change*" } th { "of it leakage**" } th { "wanders" } } }
            tbody { @for s in rows { tr {
                td.number { (s.set) }
                td.number { (s.soak.change.map_or("–".to_owned(), |c| format!("{:+.1} %", (c * 1000.0).round() / 10.0 + 0.0))) }
                td { (apart(s)) }
                td { (wanders(s.soak.wander)) }
            } } }
        } }
        p.small {
            "* Relative change over the last third of the soak. ** By a constant and a power of time (Curie and von Schweidler), limits each one-sided at 95 %."
        }
    }
}

fn volts(row: &LeakageRow) -> String {
    match (row.soak.at_part, row.soak.at_part_u) {
        (Some(v), Some(u)) => with_uncertainty(v.0, 2.0 * u.0, Unit::Volt),
        (Some(v), None) => engineering(v.0, Unit::Volt, 4),
        _ => "–".into(),
    }
}

fn read(level: Level) -> String {
    match level {
        Level::Known { value, u } => with_uncertainty(value.0, 2.0 * u.0, Unit::Ampere),
        Level::BelowFloor { .. } => "below floor".into(),
        other => other.to_string(),
    }
}

fn insulation(row: &LeakageRow) -> Option<String> {
    let resistance = insulation_resistance(row.soak.at_part?, row.soak.leakage.value()?)?;
    Some(engineering(resistance.0, Unit::Ohm, 3))
}

fn apart(row: &LeakageRow) -> String {
    let three = |a: Amperes| engineering(a.0, Unit::Ampere, 3);
    match row.soak.decay {
        None => "–".into(),
        Some(d) if d.told == Told::Settled => "all of it".into(),
        Some(d) if d.told == Told::Apart => format!("{} ({} to {})", three(d.leakage), three(d.low), three(d.high)),
        Some(d) => format!("at most {}", three(d.high)),
    }
}

fn wanders(wander: Option<Wander>) -> String {
    let three = |a: Amperes| engineering(a.0, Unit::Ampere, 2);
    match wander {
        None => "–".into(),
        Some(Wander::Quiet { least }) => format!("no (seen from {})", three(least)),
        Some(Wander::Telegraph { step, switches, .. }) => format!("two levels, {} apart, {switches} changes", three(step)),
        Some(Wander::Jumps { step, jumps, .. }) => format!("{jumps} jump{}, {}", if jumps == 1 { "" } else { "s" }, three(step)),
        Some(Wander::Rises { by, .. }) => format!("rises by {}", three(by)),
    }
}

/// The node's level over the leakage, with what the input makes of it, and the working.
fn node(question: &Question, steps: &[LeakageStep]) -> Markup {
    let (up, _) = curves(steps);
    let asked = question_with(question, &up);
    let found = what_if(&asked);
    let node = &asked.node;
    let wrong = found.wrong_from.map_or(0.0, |b| b.nominal.0);
    let here = found.effect.as_ref().map(|e| (e.leakage.0, e.level.nominal.0));
    let most = here.map_or(wrong, |h| h.0.max(wrong)) * 1.3;
    let currents: Vec<f64> = (0..=POINTS).map(|i| most * f64::from(i) / f64::from(POINTS)).collect();
    let mut plot = Plot::new(
        format!("The node's level over the leakage, and what {} makes of it", asked.family),
        along("leakage at the node", Unit::Ampere, Scale::Linear, currents.clone()),
        along("level of the node", Unit::Volt, Scale::Linear, vec![0.0, node.rail.0]),
    );
    plot.band(node.thresholds.low.0, node.thresholds.high.0, "undefined");
    plot.line(&currents.iter().map(|i| (*i, Some(node.level(Amperes(*i)).0))).collect::<Vec<_>>());
    plot.dots(Shape::Dot, &here.into_iter().collect::<Vec<_>>(), "with the leakage that was measured");
    html! {
        @if most > 0.0 { (plot.draw()) }
        details {
            summary { "The working: at which leakage the level breaks" }
            ul.small { @for line in found.working.text() { li { (line) } } }
            p.small { (found.working.answer) }
        }
    }
}
