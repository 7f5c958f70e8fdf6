//! The plots and tables of each kind of stage.

use super::axis::Scale;
use super::plot::{Along, Plot, Shape};
use crate::analysis::series::{self, story};
use crate::analysis::{Level, states};
use crate::plan::{Plan, StageKind};
use crate::record::{Point, RecordError, Run, StageRow, StartRow};
use crate::units::{Seconds, Unit, engineering};
use maud::{Markup, html};
use std::collections::BTreeMap;

/// Bars of a distribution in each decade.
const BARS_A_DECADE: i32 = 12;

/// More changes than this are not marked one by one.
const MOST_MARKS: usize = 9;

/// Plots and tables of a stage, which has this number in the plan.
pub(super) fn stage(run: &Run, row: &StageRow, number: u32, plan: Option<&Plan>) -> Result<Markup, RecordError> {
    let kind = plan.and_then(|p| p.stages.iter().find(|s| s.number == number)).map(|s| &s.kind);
    match row.kind.as_str() {
        "ramp" => super::ramp::ramp(run, row, kind),
        "log" => log(run, row, kind),
        "start" => starts(run, row, kind),
        "leakage" => super::leakage::leakage(run, row, kind),
        _ => Ok(html! {}),
    }
}

/// Values, below-floor and overload marks of points, with x given by `along`.
pub(super) struct Split {
    pub(super) values: Vec<(f64, f64)>,
    pub(super) below: Vec<(f64, f64)>,
    pub(super) beyond: Vec<(f64, f64)>,
}

pub(super) fn split(points: &[Point], along: impl Fn(&Point) -> Option<f64>) -> Split {
    let mut made = Split { values: Vec::new(), below: Vec::new(), beyond: Vec::new() };
    for point in points {
        let Some(x) = along(point) else { continue };
        match point.current {
            Level::Known { value, .. } => made.values.push((x, value.0)),
            Level::BelowFloor { floor } => made.below.push((x, floor.0)),
            Level::Overload => made.beyond.push((x, 0.0)),
            Level::Missing => {}
        }
    }
    made
}

impl Split {
    pub(super) fn ys(&self) -> Vec<f64> {
        self.values.iter().chain(&self.below).map(|(_, y)| *y).collect()
    }
}

pub(super) fn along<'v>(label: &'v str, unit: Unit, scale: Scale, values: Vec<f64>) -> Along<'v> {
    Along { label, unit: Some(unit), scale, values }
}

fn log(run: &Run, row: &StageRow, kind: Option<&StageKind>) -> Result<Markup, RecordError> {
    let points = run.currents(row.number)?;
    let began = row.began.0;
    let seen = split(&points, |p| Some(p.at.0 - began));
    let times: Vec<f64> = points.iter().map(|p| p.at.0 - began).collect();
    let mut plot = Plot::new(
        "Current over time".into(),
        along("time", Unit::Second, Scale::Linear, times),
        along("current", Unit::Ampere, Scale::Linear, seen.ys()),
    );
    if let Some(StageKind::Log(log)) = kind
        && let Some((low, high)) = log.expect
    {
        plot.band(low.0, high.0, "expected");
    }
    let mut line: Vec<(f64, Option<f64>)> = points.iter().map(|p| (p.at.0 - began, p.current.value().map(|v| v.0))).collect();
    // No line across the time in which nothing ran.
    let gaps = run.resumed()?;
    line.extend(gaps.iter().map(|gap| (gap.at.0 - began, None)).filter(|(at, _)| *at >= 0.0));
    line.sort_by(|a, b| a.0.total_cmp(&b.0));
    plot.line(&line);
    plot.dots(Shape::Below, &seen.below, "below the instrument's floor");
    plot.dots(Shape::Beyond, &seen.beyond, "beyond the range");
    // What happened is told from what the stage's findings were told from: without the
    // unit's own start.
    let settled = match kind {
        Some(StageKind::Log(log)) => log.settled().0,
        _ => 0.0,
    };
    let told: Vec<series::Point> = points
        .iter()
        .filter(|p| p.at.0 - began >= settled)
        .map(|p| series::Point { at: Seconds(p.at.0 - began), current: p.current })
        .collect();
    if let Some(told) = story::tell(&told).filter(|told| told.levels.len() > 1) {
        for level in &told.levels {
            if let story::Middle::At(middle) = level {
                plot.limit(middle.0, &engineering(middle.0, Unit::Ampere, 3));
            }
        }
        if told.visits.len() <= MOST_MARKS {
            for visit in told.visits.iter().skip(1) {
                plot.upright(visit.from.0, &engineering(visit.from.0, Unit::Second, 3));
            }
        }
    }
    super::marks::Marks::of(run, row)?.draw(&mut plot, |at| Some(at.0 - began));
    Ok(plot.draw())
}

fn starts(run: &Run, row: &StageRow, kind: Option<&StageKind>) -> Result<Markup, RecordError> {
    let starts = run.starts(row.number)?;
    let states: Vec<(&str, f64, f64)> = match kind {
        Some(StageKind::Start(start)) => start.states.iter().map(|s| (s.name.as_str(), s.low.0, s.high.0)).collect(),
        _ => Vec::new(),
    };
    let currents: Vec<f64> =
        starts.iter().filter_map(|s| s.plateau.map(|p| p.0.0)).chain(states.iter().flat_map(|s| [s.1, s.2])).collect();
    let numbers: Vec<f64> = starts.iter().map(|s| f64::from(s.number)).collect();
    let number = |label| Along { label, unit: None, scale: Scale::Linear, values: numbers.clone() };
    let mut plot = Plot::new(
        "Every start: current at its end".into(),
        number("number of the start"),
        along("current", Unit::Ampere, Scale::Log, currents.clone()),
    );
    for (name, low, high) in &states {
        plot.band(*low, *high, name);
    }
    let floor = currents.iter().copied().fold(f64::INFINITY, f64::min);
    let dots = |counts: &str| -> Vec<(f64, f64)> {
        starts.iter().filter(|s| s.counts == counts).filter_map(|s| s.plateau.map(|p| (f64::from(s.number), p.0.0))).collect()
    };
    plot.dots(Shape::Dot, &dots("good"), "good");
    plot.dots(Shape::Cross, &dots("failed"), "failed");
    let without = |kind: &str| -> Vec<(f64, f64)> {
        starts
            .iter()
            .filter(|s| s.plateau.is_none() && s.plateau_kind == kind && s.counts == "failed")
            .map(|s| (f64::from(s.number), floor))
            .collect()
    };
    plot.dots(Shape::Below, &without("below floor"), "failed, below the instrument's floor");
    plot.dots(Shape::Beyond, &without("overload"), "failed, beyond the range");
    let void: Vec<(f64, f64)> =
        starts.iter().filter(|s| s.counts == "void").map(|s| (f64::from(s.number), s.plateau.map_or(floor, |p| p.0.0))).collect();
    plot.dots(Shape::Hollow, &void, "void");
    // A mark stands before the first start that was made after it.
    super::marks::Marks::of(run, row)?.draw(&mut plot, |at| {
        let next = starts.iter().find(|s| s.on.is_some_and(|on| on >= at))?;
        Some(f64::from(next.number) - 0.5)
    });
    let figure = plot.draw();
    let signature = super::signature::courses(run, row, &starts)?;
    Ok(html! { (figure) (signature) (distribution(&currents, &starts, &states)) (off_times(&starts)) (outcomes(&starts)) })
}

/// How often which current was the end of a start, on a logarithmic axis.
fn distribution(currents: &[f64], starts: &[StartRow], states: &[(&str, f64, f64)]) -> Markup {
    let mut counts: BTreeMap<i32, f64> = BTreeMap::new();
    for value in starts.iter().filter(|s| s.counts != "void").filter_map(|s| s.plateau.map(|p| p.0.0)).filter(|v| *v > 0.0) {
        let index = (value.log10() * f64::from(BARS_A_DECADE)).floor() as i32;
        *counts.entry(index).or_insert(0.0) += 1.0;
    }
    let edge = |index: i32| 10f64.powf(f64::from(index) / f64::from(BARS_A_DECADE));
    let bars: Vec<(f64, f64, f64)> = counts.iter().map(|(i, n)| (edge(*i), edge(*i + 1), *n)).collect();
    let most = bars.iter().map(|b| b.2).fold(1.0, f64::max);
    let heights = Along { label: "starts", unit: None, scale: Scale::Log, values: vec![1.0, most.max(10.0)] };
    let mut plot = Plot::new(
        "Distribution of the current at the end of a start (both axes logarithmic)".into(),
        along("current", Unit::Ampere, Scale::Log, currents.to_vec()),
        heights,
    );
    for (name, low, high) in states {
        plot.column(*low, *high, name);
    }
    let ends: Vec<Level> = starts
        .iter()
        .filter(|s| s.counts != "void")
        .filter_map(|s| s.plateau.map(|(value, u)| Level::Known { value, u }))
        .collect();
    if let Some(found) = states::find(&ends) {
        for state in found.states.iter().skip(1) {
            // Within a declared state its band is what counts.
            if let states::Place::At { from, .. } = state.place
                && !states.iter().any(|(_, low, high)| (*low..=*high).contains(&from.0))
            {
                plot.upright(from.0, "levels part here");
            }
        }
    }
    // On a logarithmic axis a single one needs a height: its bar begins at one half.
    let bars: Vec<(f64, f64, f64)> = bars.into_iter().map(|(a, b, n)| (a, b, n.max(1.3))).collect();
    plot.bars(&bars);
    plot.draw()
}

/// Outcome over the time without power before it.
fn off_times(starts: &[StartRow]) -> Markup {
    let with_off: Vec<(&StartRow, f64)> =
        starts.iter().filter_map(|s| s.off.map(|o| (s, o.0))).filter(|(_, o)| *o > 0.0).collect();
    let times: Vec<f64> = with_off.iter().map(|(_, o)| *o).collect();
    let (least, most) = times.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), t| (l.min(*t), m.max(*t)));
    if with_off.len() < 8 || most < 1.5 * least {
        return html! {};
    }
    let reached: Vec<f64> = with_off.iter().filter_map(|(s, _)| s.reached.map(|r| r.0)).collect();
    let top = reached.iter().copied().fold(0.1, f64::max);
    let mut plot = Plot::new(
        "Time until the good state, over the time without power before".into(),
        along("time without power", Unit::Second, Scale::Log, times),
        along("time until the good state", Unit::Second, Scale::Linear, vec![0.0, top * 1.15]),
    );
    let good: Vec<(f64, f64)> =
        with_off.iter().filter(|(s, _)| s.counts == "good").filter_map(|(s, o)| s.reached.map(|r| (*o, r.0))).collect();
    let failed: Vec<(f64, f64)> = with_off.iter().filter(|(s, _)| s.counts == "failed").map(|(_, o)| (*o, top * 1.15)).collect();
    plot.dots(Shape::Dot, &good, "good");
    plot.dots(Shape::Cross, &failed, "failed (drawn at the top)");
    plot.draw()
}

fn outcomes(starts: &[StartRow]) -> Markup {
    let mut counts: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    for start in starts {
        *counts.entry((start.counts.as_str(), start.outcome.as_str())).or_insert(0) += 1;
    }
    let notable: Vec<&StartRow> = starts.iter().filter(|s| s.counts != "good").take(40).collect();
    let more = starts.iter().filter(|s| s.counts != "good").count().saturating_sub(notable.len());
    html! {
        table {
            caption { "Starts by outcome" }
            thead { tr { th { "counts as" } th { "outcome" } th.number { "starts" } } }
            tbody { @for ((counts, outcome), n) in &counts { tr { td { (counts) } td { (outcome) } td.number { (n) } } } }
        }
        @if !notable.is_empty() {
            details open[notable.len() <= 12] {
                summary { "The starts that were not good" @if more > 0 { " (the first " (notable.len()) "; " (more) " more in the record)" } }
                div.wide { table {
                    thead { tr { th.number { "start" } th.number { "off before" } th.number { "left before" } th { "outcome" } th { "why" } } }
                    tbody { @for s in notable { tr {
                        td.number { (s.number) }
                        td.number { (s.off.map_or("–".to_owned(), |o| engineering(o.0, Unit::Second, 3))) }
                        td.number { (s.residual.map_or("–".to_owned(), |v| engineering(v.0, Unit::Volt, 2))) }
                        td { (s.outcome) }
                        td { (s.reason) }
                    } } }
                } }
            }
        }
    }
}
