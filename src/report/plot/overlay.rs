//! Two sides in one plot: told apart by the stroke of a line and the shape of a mark, and
//! named in the legend below it.

use super::{Plot, Sample, Shape, class, mark, n};
use maud::{Markup, html};

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::report) enum Stroke {
    /// The first side.
    Solid,
    /// The second side.
    Dashed,
}

impl Stroke {
    fn class(self) -> &'static str {
        match self {
            Stroke::Solid => "line",
            Stroke::Dashed => "other",
        }
    }
}

impl Plot {
    /// A line of one side, named in the legend unless it has no name; a missing point breaks it.
    pub(in crate::report) fn side(&mut self, points: &[(f64, Option<f64>)], stroke: Stroke, name: &str) {
        if points.iter().all(|p| p.1.is_none()) {
            return;
        }
        self.path(points, stroke.class());
        if !name.is_empty() {
            self.legend.push((Sample::Line(stroke), name.to_owned()));
        }
    }

    /// An area between two values of y at each x, named in the legend.
    pub(in crate::report) fn region(&mut self, points: &[(f64, f64, f64)], name: &str) {
        let place = |(x, y): (f64, f64)| format!("{} {}", n(self.x.place(x)), n(self.y.place(y)));
        let there = points.iter().map(|(x, low, _)| place((*x, *low)));
        let back = points.iter().rev().map(|(x, _, high)| place((*x, *high)));
        let outline: Vec<String> = there.chain(back).collect();
        if !outline.is_empty() {
            self.layers.push(html! { path d=(format!("M{}Z", outline.join("L"))) class="band" {} });
            self.legend.push((Sample::Area, name.to_owned()));
        }
    }

    /// Vertical bars of uncertainty: x, lower end, upper end.
    pub(in crate::report) fn spans(&mut self, spans: &[(f64, f64, f64)]) {
        let (least, _) = self.y.ends();
        let mut path = String::new();
        for (x, low, high) in spans {
            let (x, low, high) = (self.x.place(*x), self.y.place(low.max(least)), self.y.place(*high));
            path.push_str(&format!("M{} {}L{} {}", n(x), n(low), n(x), n(high)));
            for y in [low, high] {
                path.push_str(&format!("M{} {}L{} {}", n(x - 4.0), n(y), n(x + 4.0), n(y)));
            }
        }
        self.layers.push(html! { path d=(path) class="span" {} });
    }
}

/// The picture before a name in the legend.
pub(super) fn sample(sample: Sample) -> Markup {
    match sample {
        Sample::Mark(shape) => {
            // A triangle at the floor stands on its point.
            let y = match shape {
                Shape::Below => 10.5,
                Shape::Beyond => 3.5,
                _ => 7.0,
            };
            html! { svg viewBox="0 0 14 14" width="14" height="14" aria-hidden="true" { path d=(mark(shape, 7.0, y)) class=(class(shape)) {} } }
        }
        Sample::Line(stroke) => {
            html! { svg viewBox="0 0 34 14" width="34" height="14" aria-hidden="true" { path d="M1 7L33 7" class=(stroke.class()) {} } }
        }
        Sample::Area => {
            html! { svg viewBox="0 0 22 14" width="22" height="14" aria-hidden="true" { rect x="1" y="2" width="20" height="10" class="band outlined" {} } }
        }
    }
}
