//! The plot of a ramp: both ways, the regions found, and the good unit beside it.

use super::axis::Scale;
use super::plot::{Plot, Shape};
use super::stages::{along, split};
use crate::analysis::ramp::compare::Good;
use crate::analysis::ramp::{Kind, Leg, summarise};
use crate::plan::{Ramp, StageKind};
use crate::record::{self, Point, RecordError, Run, StageRow};
use crate::runner::past::{What, steps, way_up};
use crate::units::Unit;
use maud::Markup;
use std::path::Path;

pub(super) fn ramp(run: &Run, row: &StageRow, kind: Option<&StageKind>) -> Result<Markup, RecordError> {
    let plan = match kind {
        Some(StageKind::Ramp(ramp)) => Some(ramp),
        _ => None,
    };
    let points = run.currents(row.number)?;
    let is_down = |p: &Point| plan.zip(p.step).is_some_and(|(ramp, step)| ramp.leg(step).0 == Leg::Down);
    let (down, up): (Vec<Point>, Vec<Point>) = points.iter().partition(|p| is_down(p));
    let seen = split(&up, |p| p.volts.map(|v| v.0));
    let back = split(&down, |p| p.volts.map(|v| v.0));
    // The good unit's record may have been moved away since; the findings have what it said.
    let good = plan.and_then(|ramp| Some((ramp, ramp.good.as_deref()?, run.folder().parent()?)));
    let good = good.and_then(|(ramp, name, logs)| good_ramps(ramp, name, logs).ok()).unwrap_or_default();
    let good: Vec<(f64, f64)> = good.iter().filter_map(|g| Some((g.volts.0, g.current.value()?.0))).collect();
    let volts: Vec<f64> = points.iter().filter_map(|p| p.volts.map(|v| v.0)).collect();
    let mut ys = seen.ys();
    ys.extend(back.ys());
    ys.extend(good.iter().map(|g| g.1));
    let mut plot = Plot::new(
        "Current over voltage".into(),
        along("voltage at the supply", Unit::Volt, Scale::Linear, volts),
        along("current", Unit::Ampere, Scale::Linear, ys),
    );
    if let Some((low, high)) = plan.and_then(|r| r.expect) {
        plot.band(low.0, high.0, "expected at the end");
    }
    if let Some(ramp) = plan {
        for region in summarise(&steps(ramp, &run.readings(row.number)?), ramp.to).regions {
            plot.stretch(region.from.0, region.to.0, name(region.kind));
        }
    }
    // A ramp that was taken up again began again.
    let gaps = run.resumed()?;
    let mut line: Vec<(f64, Option<f64>)> = Vec::new();
    let mut before = None;
    for point in &points {
        let (Some(volts), Some(current)) = (point.volts, point.current.value()) else { continue };
        let stretch = gaps.iter().filter(|gap| point.at >= gap.at).count();
        if before.is_some_and(|b| b != stretch) {
            line.push((volts.0, None));
        }
        before = Some(stretch);
        line.push((volts.0, Some(current.0)));
    }
    plot.line(&line);
    plot.dots(Shape::Cross, &good, "good unit, on the way up");
    plot.dots(Shape::Dot, &seen.values, "value");
    plot.dots(Shape::Hollow, &back.values, "on the way back");
    let below = [seen.below, back.below].concat();
    plot.dots(Shape::Below, &below, "below the instrument's floor");
    plot.dots(Shape::Beyond, &[seen.beyond, back.beyond].concat(), "beyond the range");
    super::marks::Marks::of(run, row)?
        .draw(&mut plot, |at| points.iter().rev().find(|p| p.at <= at).and_then(|p| p.volts).map(|v| v.0));
    Ok(plot.draw())
}

/// The ways up of a good unit's runs.
fn good_ramps(ramp: &Ramp, name: &str, logs: &Path) -> Result<Vec<Good>, RecordError> {
    let runs = crate::runner::good::runs(&record::good(logs, name)?)?;
    let kind = StageKind::Ramp(ramp.clone());
    let seen = runs.iter().filter_map(|run| run.partner(&kind, 0));
    Ok(seen.flat_map(|s| if let What::Ramp(steps) = &s.what { way_up(steps) } else { Vec::new() }).collect())
}

fn name(kind: Kind) -> &'static str {
    match kind {
        Kind::Nothing => "no current",
        Kind::Resistive { .. } => "as a resistor",
        Kind::AboveThreshold { .. } => "above a threshold",
        Kind::Added { .. } => "a path in addition",
        Kind::ConstantCurrent { .. } => "constant current",
        Kind::ConstantPower { .. } => "constant power",
        Kind::Falling => "falling",
        Kind::Rising => "rising",
    }
}
