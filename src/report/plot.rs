//! Plots as SVG: lines, dots with shapes, bands and limits. No script, no fonts of its own.

mod overlay;

pub(super) use overlay::Stroke;

use super::axis::{Axis, Scale};
use crate::units::Unit;
use maud::{Markup, PreEscaped, html};

/// Size of a plot in its own units; the page scales it.
const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 340.0;
const LEFT: f64 = 108.0;
const RIGHT: f64 = 40.0;
const TOP: f64 = 16.0;
const BOTTOM: f64 = 62.0;

/// How a dot looks: told apart by shape, not by colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// A filled circle: a value, a good start.
    Dot,
    /// A cross: a failed start.
    Cross,
    /// A hollow square: void.
    Hollow,
    /// A triangle pointing down, at the floor: below it.
    Below,
    /// A triangle pointing up, at the top: beyond the range.
    Beyond,
    /// A hollow circle: a value of the second of two sides.
    Ring,
}

/// What stands before a name in the legend.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sample {
    Mark(Shape),
    Line(Stroke),
    Area,
}

/// A plot that is being made.
pub(super) struct Plot {
    title: String,
    x: Axis,
    y: Axis,
    layers: Vec<Markup>,
    legend: Vec<(Sample, String)>,
    /// Where the names of limits stand: height, and length.
    limits: Vec<(f64, f64)>,
    /// Where those of uprights stand: left end, right end, height.
    uprights: Vec<(f64, f64, f64)>,
}

/// What an axis shows.
pub(super) struct Along<'v> {
    pub(super) label: &'v str,
    pub(super) unit: Option<Unit>,
    pub(super) scale: Scale,
    pub(super) values: Vec<f64>,
}

impl Plot {
    pub(super) fn new(title: String, x: Along<'_>, y: Along<'_>) -> Self {
        Self {
            title,
            x: Axis::over(x.label, x.unit, x.scale, x.values.into_iter(), LEFT, WIDTH - RIGHT).tight(),
            y: Axis::over(y.label, y.unit, y.scale, y.values.into_iter(), HEIGHT - BOTTOM, TOP),
            layers: Vec::new(),
            legend: Vec::new(),
            limits: Vec::new(),
            uprights: Vec::new(),
        }
    }

    /// A band between two values of y, with a name, which keeps clear of the names of
    /// stretches and columns at the upper edge, in a phone's letters, too.
    pub(super) fn band(&mut self, low: f64, high: f64, name: &str) {
        let (bottom, top) = (self.y.place(low), self.y.place(high));
        let width = WIDTH - RIGHT - LEFT;
        self.layers.push(html! {
            rect x=(n(LEFT)) y=(n(top)) width=(n(width)) height=(n((bottom - top).max(1.0))) class="band" {}
            text x=(n(WIDTH - RIGHT - 4.0)) y=(n((top + 13.0).max(TOP + 34.0))) class="small end" { (name) }
        });
    }

    /// An area between two values of y at each x, with a name at its end.
    pub(super) fn area(&mut self, points: &[(f64, f64, f64)], name: &str) {
        let place = |(x, y): (f64, f64)| format!("{} {}", n(self.x.place(x)), n(self.y.place(y)));
        let there = points.iter().map(|(x, low, _)| place((*x, *low)));
        let back = points.iter().rev().map(|(x, _, high)| place((*x, *high)));
        let outline: Vec<String> = there.chain(back).collect();
        let Some(last) = points.last() else { return };
        let y = self.y.place(last.2);
        self.layers.push(html! {
            path d=(format!("M{}Z", outline.join("L"))) class="band" {}
            text x=(n(WIDTH - RIGHT - 4.0)) y=(n(y - 4.0)) class="small end" { (name) }
        });
    }

    /// A dashed line at a value of y, with a name; where that of another stands, behind it.
    pub(super) fn limit(&mut self, value: f64, name: &str) {
        let y = self.y.place(value);
        let beside: f64 = self.limits.iter().filter(|l| (l.0 - y).abs() < 20.0).map(|l| l.1).sum();
        self.limits.push((y, letters(name) + 12.0));
        self.layers.push(html! {
            line x1=(n(LEFT)) y1=(n(y)) x2=(n(WIDTH - RIGHT)) y2=(n(y)) class="limit" {}
            text x=(n(LEFT + 6.0 + beside)) y=(n(y - 5.0)) class="small" { (name) }
        });
    }

    /// A dashed line at a value of x, with a name.
    pub(super) fn upright(&mut self, value: f64, name: &str) {
        let x = self.x.place(value);
        let (at_end, length) = (x + 4.0 + letters(name) > WIDTH - RIGHT, letters(name));
        let (from, to) = if at_end { (x - 4.0 - length, x - 4.0) } else { (x + 4.0, x + 4.0 + length) };
        // Above the names that stand there already.
        let beside = |u: &&(f64, f64, f64)| u.0 < to && from < u.1;
        let y = self.uprights.iter().filter(beside).map(|u| u.2 - 20.0).fold(HEIGHT - BOTTOM - 6.0, f64::min).max(TOP + 34.0);
        self.uprights.push((from, to, y));
        self.layers.push(html! {
            line x1=(n(x)) y1=(n(TOP)) x2=(n(x)) y2=(n(HEIGHT - BOTTOM)) class="limit" {}
            @if at_end {
                text x=(n(to)) y=(n(y)) class="small end" { (name) }
            } @else {
                text x=(n(from)) y=(n(y)) class="small" { (name) }
            }
        });
    }

    /// A moment at a value of x: a dashed line with a short name at its upper end.
    pub(super) fn moment(&mut self, value: f64, name: &str) {
        let x = self.x.place(value);
        self.layers.push(html! {
            line x1=(n(x)) y1=(n(TOP)) x2=(n(x)) y2=(n(HEIGHT - BOTTOM)) class="limit" {}
            text x=(n(x + 3.0)) y=(n(TOP + 11.0)) class="small" { (name) }
        });
    }

    /// A line through points; a missing one breaks it. Many points in one column
    /// of the picture are drawn as the span from the lowest to the highest.
    pub(super) fn line(&mut self, points: &[(f64, Option<f64>)]) {
        self.path(points, "line");
    }

    fn path(&mut self, points: &[(f64, Option<f64>)], class: &'static str) {
        let mut path = String::new();
        let mut pen = false;
        let mut column: Option<(i64, f64, f64, f64)> = None;
        let flush = |column: &mut Option<(i64, f64, f64, f64)>, path: &mut String, pen: &mut bool| {
            if let Some((_, x, low, high)) = column.take() {
                let verb = if *pen { 'L' } else { 'M' };
                path.push_str(&format!("{verb}{} {}", n(x), n(low)));
                if (high - low).abs() > 0.3 {
                    path.push_str(&format!("L{} {}", n(x), n(high)));
                }
                *pen = true;
            }
        };
        for (x, y) in points {
            let Some(y) = y else {
                flush(&mut column, &mut path, &mut pen);
                pen = false;
                continue;
            };
            let (px, py) = (self.x.place(*x), self.y.place(*y));
            let index = (px * 2.0).round() as i64;
            match &mut column {
                Some((held, _, low, high)) if *held == index => {
                    *low = low.min(py);
                    *high = high.max(py);
                }
                _ => {
                    flush(&mut column, &mut path, &mut pen);
                    column = Some((index, px, py, py));
                }
            }
        }
        flush(&mut column, &mut path, &mut pen);
        if !path.is_empty() {
            self.layers.push(html! { path d=(path) class=(class) {} });
        }
    }

    /// A dashed line through points: what a fit says.
    pub(super) fn fit(&mut self, points: &[(f64, f64)]) {
        let place = |(x, y): &(f64, f64)| format!("{} {}", n(self.x.place(*x)), n(self.y.place(*y)));
        let path = points.iter().map(place).collect::<Vec<_>>().join("L");
        if !path.is_empty() {
            self.layers.push(html! { path d=(format!("M{path}")) class="fit" {} });
        }
    }

    /// Dots of one shape; without a name they are not in the legend.
    pub(super) fn dots(&mut self, shape: Shape, points: &[(f64, f64)], name: &'static str) {
        if points.is_empty() {
            return;
        }
        if !name.is_empty() {
            self.legend.push((Sample::Mark(shape), name.to_owned()));
        }
        let (low, high) = self.y.ends();
        let mut path = String::new();
        for (x, y) in points {
            let y = match shape {
                Shape::Beyond => high,
                _ => y.max(low),
            };
            path.push_str(&mark(shape, self.x.place(*x), self.y.place(y)));
        }
        self.layers.push(html! { path d=(path) class=(class(shape)) {} });
    }

    /// Bars from the bottom: left edge, right edge, height.
    pub(super) fn bars(&mut self, bars: &[(f64, f64, f64)]) {
        let base = self.y.place(self.y.ends().0);
        let parts = bars.iter().filter(|b| b.2 > 0.0).map(|(from, to, height)| {
            let (left, right, top) = (self.x.place(*from), self.x.place(*to), self.y.place(*height));
            html! { rect x=(n(left)) y=(n(top)) width=(n((right - left - 0.6).max(0.8))) height=(n((base - top).max(1.0))) class="bar" {} }
        });
        let drawn = html! { @for part in parts { (part) } };
        self.layers.push(drawn);
    }

    /// A vertical band between two values of x, with a name.
    pub(super) fn column(&mut self, low: f64, high: f64, name: &str) {
        let (left, right) = (self.x.place(low), self.x.place(high));
        self.layers.push(html! {
            rect x=(n(left)) y=(n(TOP)) width=(n((right - left).max(1.0))) height=(n(HEIGHT - BOTTOM - TOP)) class="band" {}
            text x=(n((left + right) / 2.0)) y=(n(TOP + 12.0)) class="small middle" { (name) }
        });
    }

    /// A stretch of x between two thin lines, with a name where there is room for it.
    pub(super) fn stretch(&mut self, low: f64, high: f64, name: &str) {
        let (left, right) = (self.x.place(low), self.x.place(high));
        let fits = right - left > letters(name);
        self.layers.push(html! {
            @for x in [left, right] {
                line x1=(n(x)) y1=(n(TOP)) x2=(n(x)) y2=(n(HEIGHT - BOTTOM)) class="limit" {}
            }
            @if fits { text x=(n((left + right) / 2.0)) y=(n(TOP + 12.0)) class="small middle" { (name) } }
        });
    }

    /// What stands within the picture's frame and beside its axes.
    fn inside(&self) -> Markup {
        let (xs, ys) = (self.x.ticks(), self.y.ticks());
        let bottom = HEIGHT - BOTTOM;
        html! {
            @for (x, label) in &xs {
                line x1=(n(*x)) y1=(n(TOP)) x2=(n(*x)) y2=(n(bottom)) class="grid" {}
                text x=(n(*x)) y=(n(bottom + 22.0)) class="tick middle" { (label) }
            }
            @for (y, label) in &ys {
                line x1=(n(LEFT)) y1=(n(*y)) x2=(n(WIDTH - RIGHT)) y2=(n(*y)) class="grid" {}
                text x=(n(LEFT - 7.0)) y=(n(y + 5.0)) class="tick end" { (label) }
            }
            @for layer in &self.layers { (layer) }
            rect x=(n(LEFT)) y=(n(TOP)) width=(n(WIDTH - RIGHT - LEFT)) height=(n(bottom - TOP)) class="frame" {}
            text x=(n((LEFT + WIDTH - RIGHT) / 2.0)) y=(n(HEIGHT - 10.0)) class="name middle" { (self.x.label) }
            text x="15" y=(n((TOP + bottom) / 2.0)) class="name upright middle" transform=(format!("rotate(-90 15 {})", n((TOP + bottom) / 2.0))) { (self.y.label) }
        }
    }

    /// As a file of its own, with this style.
    pub(super) fn alone(&self, style: &str) -> Markup {
        html! {
            svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) width=(n(WIDTH)) height=(n(HEIGHT)) {
                title { (self.title) }
                style { (PreEscaped(style)) }
                rect width=(n(WIDTH)) height=(n(HEIGHT)) fill="white" {}
                (self.inside())
            }
        }
    }

    pub(super) fn draw(self) -> Markup {
        html! {
            figure {
                figcaption { (self.title) }
                svg viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) role="img" aria-label=(self.title) { (self.inside()) }
                @if !self.legend.is_empty() {
                    p.legend {
                        @for (sample, name) in &self.legend { span { (overlay::sample(*sample)) " " (name) } }
                    }
                }
            }
        }
    }
}

fn class(shape: Shape) -> &'static str {
    match shape {
        Shape::Dot => "dot",
        Shape::Cross => "cross",
        Shape::Hollow | Shape::Below | Shape::Beyond | Shape::Ring => "hollow",
    }
}

/// The outline of a mark.
fn mark(shape: Shape, x: f64, y: f64) -> String {
    let at = |dx: f64, dy: f64| format!("{} {}", n(x + dx), n(y + dy));
    match shape {
        Shape::Dot => format!("M{}a2.6 2.6 0 1 0 5.2 0a2.6 2.6 0 1 0 -5.2 0", at(-2.6, 0.0)),
        Shape::Ring => format!("M{}a3.6 3.6 0 1 0 7.2 0a3.6 3.6 0 1 0 -7.2 0", at(-3.6, 0.0)),
        Shape::Cross => format!("M{}L{}M{}L{}", at(-4.0, -4.0), at(4.0, 4.0), at(-4.0, 4.0), at(4.0, -4.0)),
        Shape::Hollow => format!("M{}L{}L{}L{}Z", at(-3.5, -3.5), at(3.5, -3.5), at(3.5, 3.5), at(-3.5, 3.5)),
        Shape::Below => format!("M{}L{}L{}Z", at(-4.0, -7.0), at(4.0, -7.0), at(0.0, 0.0)),
        Shape::Beyond => format!("M{}L{}L{}Z", at(-4.0, 7.0), at(4.0, 7.0), at(0.0, 0.0)),
    }
}

/// How long a name is at most: some 10 units a letter on a phone, where they are largest.
fn letters(name: &str) -> f64 {
    10.0 * f64::from(u32::try_from(name.chars().count()).unwrap_or(u32::MAX))
}

/// A number as short as a picture needs it.
fn n(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}
