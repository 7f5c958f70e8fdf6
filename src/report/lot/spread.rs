//! How the parts of a lot are distributed, how they came one after the other, and how
//! earlier lots were.

use super::Lot;
use crate::analysis::inspection::lot::Part;
use crate::analysis::inspection::spread::{against, spread};
use crate::analysis::inspection::{Outcome, Seen};
use crate::analysis::rank::median;
use crate::analysis::uncertainty::Limit;
use crate::record::{MeasureRow, PartRow};
use crate::report::axis::Scale;
use crate::report::plot::{Along, Plot, Shape};
use crate::units::engineering;
use maud::{Markup, html};
use std::collections::BTreeMap;

/// Bars in each decade, where the axis is logarithmic, and in all where it is not.
const BARS: (f64, f64) = (14.0, 24.0);
/// From this ratio of the ends on the axis is logarithmic.
const WIDE: f64 = 4.0;

/// The charted quantity of each part that was judged, with its outcome.
fn judged(lot: &Lot) -> Vec<(u32, Outcome, &MeasureRow)> {
    let one = |part: &PartRow| match part.stands {
        Part::Judged(outcome, trial) => Some((part.position, outcome, lot.charted(trial)?)),
        Part::Open | Part::Doubtful => None,
    };
    lot.parts.iter().filter_map(one).collect()
}

fn ends(limit: Limit) -> Vec<f64> {
    match limit {
        Limit::Upper(high) => vec![high],
        Limit::Lower(low) => vec![low],
        Limit::Between(low, high) => vec![low, high],
    }
}

pub(super) fn distribution(lot: &Lot) -> Markup {
    let parts = judged(lot);
    let values: Vec<(f64, f64)> = parts
        .iter()
        .filter_map(|(_, _, m)| match m.seen {
            Seen::Value { value, u } => Some((value, u)),
            _ => None,
        })
        .collect();
    let (Some((_, _, first)), Some(found)) = (parts.first(), spread(&values)) else { return html! {} };
    let Some(unit) = first.unit else { return html! {} };
    let limits = ends(first.limit);
    let all: Vec<f64> = values.iter().map(|v| v.0).chain(limits.iter().copied()).collect();
    let (low, high) = all.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let scale = if low > 0.0 && high > WIDE * low { Scale::Log } else { Scale::Linear };
    let width = ((high - low) / BARS.1).max(high.abs() * 1e-6);
    let place = |v: f64| match scale {
        Scale::Log => (v.log10() * BARS.0).floor() as i64,
        Scale::Linear | Scale::Days => ((v - low) / width).floor() as i64,
    };
    let edge = |index: i64| match scale {
        Scale::Log => 10f64.powf(index as f64 / BARS.0),
        Scale::Linear | Scale::Days => low + index as f64 * width,
    };
    let mut counts: BTreeMap<i64, f64> = BTreeMap::new();
    for (value, _) in &values {
        *counts.entry(place(*value)).or_insert(0.0) += 1.0;
    }
    let most = counts.values().copied().fold(1.0, f64::max);
    let bars: Vec<(f64, f64, f64)> = counts.iter().map(|(i, n)| (edge(*i), edge(*i + 1), *n)).collect();
    let mut plot = Plot::new(
        format!("Distribution of {} over {} parts", first.what, values.len()),
        Along { label: &first.what, unit: Some(unit), scale, values: all },
        Along { label: "parts", unit: None, scale: Scale::Linear, values: vec![0.0, most * 1.2] },
    );
    plot.bars(&bars);
    for limit in limits {
        plot.upright(limit, &format!("limit {}", engineering(limit, unit, 3)));
    }
    for group in found.groups.iter().skip(1) {
        plot.upright(group.from, "groups part here");
    }
    let out: Vec<(f64, f64)> = found.outliers.iter().filter_map(|o| values.get(o.index)).map(|v| (v.0, most * 0.25)).collect();
    plot.dots(Shape::Cross, &out, "stands out");
    let unseen = parts.len() - values.len();
    html! {
        (plot.draw())
        p.small {
            "Median " (engineering(found.median, unit, 3)) ", " (engineering(found.ends.0, unit, 3)) " to " (engineering(found.ends.1, unit, 3)) "."
            @if unseen > 0 { " " (unseen) " without a value (below the floor, beyond the range, or not read) are not drawn." }
        }
    }
}

/// Every result in the order in which it came: a fixture that drifts shows here.
pub(super) fn in_order(lot: &Lot) -> Markup {
    let of_parts = || lot.trials.iter().filter(|t| t.position.is_some());
    let seen: Vec<(f64, f64, &crate::record::TrialRow)> =
        of_parts().filter_map(|t| Some((f64::from(t.number), lot.charted(t.number)?.seen.value()?, t))).collect();
    let Some(first) = of_parts().find_map(|t| lot.charted(t.number)) else { return html! {} };
    let (Some(unit), true) = (first.unit, seen.len() > 1) else { return html! {} };
    let limits = ends(first.limit);
    let values: Vec<f64> = seen.iter().map(|s| s.1).chain(limits.iter().copied()).collect();
    let (low, high) = values.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let scale = if low > 0.0 && high > WIDE * low { Scale::Log } else { Scale::Linear };
    let mut plot = Plot::new(
        format!("{} in the order of measurement", capital(&first.what)),
        Along { label: "number of the trial", unit: None, scale: Scale::Linear, values: seen.iter().map(|s| s.0).collect() },
        Along { label: &first.what, unit: Some(unit), scale, values },
    );
    for limit in limits {
        plot.limit(limit, &format!("limit {}", engineering(limit, unit, 3)));
    }
    let of = |want: &dyn Fn(&crate::record::TrialRow) -> bool| -> Vec<(f64, f64)> {
        seen.iter().filter(|s| want(s.2)).map(|s| (s.0, s.1)).collect()
    };
    plot.dots(Shape::Dot, &of(&|t| t.doubted.is_none() && !t.outcome.is_nonconforming()), "passes, or cannot be told");
    plot.dots(Shape::Cross, &of(&|t| t.doubted.is_none() && t.outcome.is_nonconforming()), "nonconforming");
    plot.dots(Shape::Hollow, &of(&|t| t.doubted.is_some()), "in doubt: a control failed after it");
    plot.draw()
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().collect::<String>() + chars.as_str())
}

/// Earlier lots of the same part, beside this one.
pub(super) fn earlier(lot: &Lot) -> Markup {
    let parts = judged(lot);
    let own: Vec<f64> = parts.iter().filter_map(|(_, _, m)| m.seen.value()).collect();
    let Some(unit) = parts.first().and_then(|(_, _, m)| m.unit) else { return html! {} };
    let others: Vec<_> = lot.earlier.iter().filter(|e| e.number != lot.row.number && !e.values.is_empty()).collect();
    let middle = |values: &[f64]| median(values).map_or("–".to_owned(), |m| engineering(m, unit, 3));
    html! {
        @if !others.is_empty() {
            div.wide { table {
                caption { "Earlier lots of this part, by the same plan" }
                thead { tr { th { "lot" } th { "began" } th.number { "parts" } th.number { "median" } th.number { "this lot over it" } th.number { "p" } th { "decided" } } }
                tbody {
                    @for e in &others { tr {
                        td { (e.number) } td { (e.began) } td.number { (e.values.len()) } td.number { (middle(&e.values)) }
                        @match against(&own, &e.values) {
                            Some(a) => { td.number { (format!("{:.2}", a.ratio)) } td.number { (format!("{:.3}", a.chance)) } }
                            None => { td.number { "–" } td.number { "–" } }
                        }
                        td { (e.decision.map_or("cut off", crate::analysis::inspection::decision::Decision::name)) }
                    } }
                    tr { td { strong { (lot.row.number) } } td { "this one" } td.number { (own.len()) } td.number { (middle(&own)) } td.number { "1" } td.number { "–" } td {} }
                }
            } }
            p.small { "p: chance that lots alike differ in their ranks at least as much (Wilcoxon; Mann and Whitney); small ones speak of another lot, another temperature or another fixture." }
        }
    }
}
