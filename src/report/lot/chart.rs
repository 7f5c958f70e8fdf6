//! Shewhart's chart of each control part.

use crate::record::ControlRow;
use crate::report::axis::Scale;
use crate::report::plot::{Along, Plot, Shape};
use crate::units::engineering;
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
    let lines: Vec<f64> = basis.map_or(Vec::new(), |(c, s, _)| vec![c - 3.0 * s, c, c + 3.0 * s]);
    let mut plot = Plot::new(
        format!("Control part {} ({}): {}", first.name, first.kind, first.what),
        Along { label: "number of the trial", unit: None, scale: Scale::Linear, values: points.iter().map(|p| p.0).collect() },
        Along {
            label: "read",
            unit,
            scale: Scale::Linear,
            values: points.iter().map(|p| p.1).chain(lines.iter().copied()).collect(),
        },
    );
    if let Some((centre, sigma, _)) = basis {
        plot.limit(centre, "centre");
        plot.limit(centre + 3.0 * sigma, "+3 s");
        plot.limit(centre - 3.0 * sigma, "−3 s");
    }
    plot.line(&points.iter().map(|p| (p.0, Some(p.1))).collect::<Vec<_>>());
    let of = |good: bool| points.iter().filter(|p| p.2 == good).map(|p| (p.0, p.1)).collect::<Vec<_>>();
    plot.dots(Shape::Dot, &of(true), "in control");
    plot.dots(Shape::Cross, &of(false), "out of control");
    let told = |v: f64| unit.map_or_else(|| format!("{v:.0}"), |u| engineering(v, u, 4));
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
        "earlier lots" => format!("Centre and standard deviation by {} points of earlier lots", row.points),
        _ => format!("Centre and standard deviation by this lot's first {} points in control", row.points),
    };
    let sure = if row.points > 0 && row.points < PROVISIONAL { ", provisional with fewer than twenty" } else { "" };
    format!(
        "{whence}{sure} (mean moving range over 1.128; ISO 7870-2, NIST/SEMATECH handbook 6.3.2.2). Rules: one beyond 3 s; two of three beyond 2 s; four of five beyond 1 s; eight on one side; six rising or falling. The lines are those of the last point."
    )
}
