//! Shewhart's chart of each control part.

use crate::record::ControlRow;
use crate::report::axis::Scale;
use crate::report::plot::{Along, Plot, Shape};
use crate::units::{Unit, engineering};
use maud::{Markup, html};

/// A control's limits rest on fewer points than this: they are provisional.
const PROVISIONAL: u32 = crate::analysis::inspection::chart::SURE as u32;

pub(super) fn charts(rows: &[ControlRow]) -> Markup {
    let mut names: Vec<&str> = Vec::new();
    for row in rows {
        if !names.contains(&row.name.as_str()) {
            names.push(&row.name);
        }
    }
    html! { @for name in names { (chart(&rows.iter().filter(|r| r.name == name).collect::<Vec<_>>())) } }
}

fn chart(rows: &[&ControlRow]) -> Markup {
    let Some(first) = rows.first() else { return html! {} };
    let unit = rows.iter().find_map(|r| r.unit);
    // The limits as they stood last; before, fewer points made them.
    let basis = rows.iter().rev().find_map(|r| Some((r.centre?, r.sigma?, *r)));
    let points: Vec<(f64, f64, bool)> =
        rows.iter().filter_map(|r| Some((f64::from(r.trial), r.value?.0, r.is_in_control()))).collect();
    let told = |v: f64| unit.map_or_else(|| format!("{v:.0}"), |u| engineering(v, u, 4));
    // In shares of the centre: what drifts is small beside the value itself.
    let centre = basis.map(|b| b.0).or_else(|| points.first().map(|p| p.1)).filter(|c| *c > 0.0);
    let share = |v: f64| centre.map_or(v, |c| v / c - 1.0);
    let sigma = basis.and_then(|(_, s, _)| Some(s / centre?));
    let lines: Vec<f64> = sigma.map_or(vec![0.0], |s| vec![-3.0 * s, 0.0, 3.0 * s]);
    let from = match (basis, centre) {
        (Some(_), Some(c)) => format!("away from the centre, {}", told(c)),
        (None, Some(c)) => format!("away from the first, {}", told(c)),
        _ => "read".to_owned(),
    };
    let mut plot = Plot::new(
        format!("Control part {} ({}): {}", first.name, first.kind, first.what),
        Along { label: "number of the trial", unit: None, scale: Scale::Linear, values: points.iter().map(|p| p.0).collect() },
        Along {
            label: &from,
            unit: if centre.is_some() { Some(Unit::Percent) } else { unit },
            scale: Scale::Linear,
            values: points.iter().map(|p| share(p.1)).chain(lines).collect(),
        },
    );
    if let Some(sigma) = sigma {
        plot.limit(0.0, "centre");
        plot.limit(3.0 * sigma, "+3 s");
        plot.limit(-3.0 * sigma, "−3 s");
    }
    plot.line(&points.iter().map(|p| (p.0, Some(share(p.1)))).collect::<Vec<_>>());
    let of = |good: bool| points.iter().filter(|p| p.2 == good).map(|p| (p.0, share(p.1))).collect::<Vec<_>>();
    plot.dots(Shape::Dot, &of(true), "in control");
    plot.dots(Shape::Cross, &of(false), "out of control");
    html! {
        @if points.len() > 1 { (plot.draw()) }
        p.small { (words(basis.map(|b| b.2))) }
        div.wide { table {
            caption { "Control part " (first.name) ", " (first.kind) }
            thead { tr { th.number { "trial" } th.number { "read" } th { "state" } th { "what it broke" } } }
            tbody { @for r in rows { tr {
                td.number { (r.trial) }
                td.number { (r.value.map_or("no value".to_owned(), |v| told(v.0))) }
                td { (r.state) }
                td { (r.signals) }
            } } }
        } }
    }
}

fn words(last: Option<&ControlRow>) -> String {
    let Some(row) = last else {
        return "Too few points for control limits yet; the part must be found as it is known to be, six in a row may not rise or fall all along, and it may not move by more than the plan allows.".into();
    };
    let whence = match row.basis.as_str() {
        "stated" => "Centre and standard deviation as the plan states them".to_owned(),
        "earlier lots" => format!(
            "Centre and standard deviation of {} points of earlier lots, at least the instrument's standard uncertainty",
            row.points
        ),
        _ => format!(
            "Centre and standard deviation s by {} points in control of this lot (mean moving range over 1.128), s widened by Student's t for so few",
            row.points
        ),
    };
    let sure = if row.points > 0 && row.points < PROVISIONAL { ", provisional with fewer than twenty" } else { "" };
    format!(
        "{whence}{sure} (Shewhart's chart of single values: ISO 7870-2, NIST/SEMATECH handbook 6.3.2.2). Rules: one beyond 3 s; two of three beyond 2 s; four of five beyond 1 s; eight on one side; six rising or falling. The lines are those of the last point."
    )
}
