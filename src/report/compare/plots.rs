//! The plots of a comparison: both sides in each, the first solid with filled marks, the
//! second dashed with rings.

use super::{Compared, Pair};
use crate::analysis::Level;
use crate::analysis::ramp::Step;
use crate::analysis::series::Point;
use crate::analysis::start::Look;
use crate::plan::StageKind;
use crate::report::axis::Scale;
use crate::report::plot::{Along, Plot, Shape, Stroke};
use crate::report::stages::along;
use crate::runner::past::{Seen, Starts, What};
use crate::units::Unit;
use maud::{Markup, html};

/// Failing starts that are drawn of a side: more hide each other.
const DRAWN: usize = 12;

pub(super) fn plots(it: &Compared, pair: &Pair) -> Markup {
    let reference: Vec<&Seen> = pair.reference.iter().collect();
    match &pair.subject.what {
        What::Starts(starts) => {
            let others: Vec<&Starts> =
                reference.iter().filter_map(|s| if let What::Starts(s) = &s.what { Some(s) } else { None }).collect();
            html! { (off_times(it, starts, &others)) (courses(it, pair, starts, &others)) }
        }
        What::Log(points) => {
            let others: Vec<&Vec<Point>> =
                reference.iter().filter_map(|s| if let What::Log(points) = &s.what { Some(points) } else { None }).collect();
            log(it, points, &others)
        }
        What::Ramp(steps) => ramp(it, steps, &reference),
        What::Sweep(_) => sweep(it, pair),
    }
}

/// How the subject and the reference are drawn: the side named first is solid.
fn drawn(it: &Compared, subject: bool) -> (Stroke, Shape) {
    if subject == it.first_is_judged() { (Stroke::Solid, Shape::Dot) } else { (Stroke::Dashed, Shape::Ring) }
}

fn name(it: &Compared, subject: bool) -> String {
    let side = if subject == it.first_is_judged() { "A" } else { "B" };
    let words = if subject { &it.sides.subject } else { &it.sides.reference };
    format!("{side}: {words}")
}

/// More readings than this are drawn by the least and the largest of each stretch of time.
const DENSE: usize = 150;
/// How many stretches that makes.
const STRETCHES: usize = 60;

fn log(it: &Compared, own: &[Point], others: &[&Vec<Point>]) -> Markup {
    let axes = (("time", Unit::Second, Scale::Linear), ("current", Unit::Ampere, Scale::Linear));
    if others.iter().all(|o| o.len() <= DENSE) && own.len() <= DENSE {
        let line = |points: &[Point]| points.iter().map(|p| (p.at.0, p.current.value().map(|v| v.0))).collect::<Points>();
        let theirs = others.iter().map(|o| line(o)).collect();
        return lines(it, "Current over time, the unit's own start left out", axes, line(own), theirs);
    }
    let sides: Vec<(Points, Points, bool)> = others
        .iter()
        .map(|o| (o.as_slice(), false))
        .chain([(own, true)])
        .map(|(points, subject)| {
            let (low, high) = extremes(points);
            (low, high, subject)
        })
        .collect();
    let all = || sides.iter().flat_map(|s| s.0.iter().chain(&s.1));
    let mut plot = Plot::new(
        "Current over time, the unit's own start left out: the least and the largest of each stretch".into(),
        along("time", Unit::Second, Scale::Linear, all().map(|p| p.0).collect()),
        along("current", Unit::Ampere, Scale::Linear, all().filter_map(|p| p.1).collect()),
    );
    for (i, (low, high, subject)) in sides.iter().enumerate() {
        let words = if i == 0 || *subject { name(it, *subject) } else { String::new() };
        plot.side(low, drawn(it, *subject).0, &words);
        plot.side(high, drawn(it, *subject).0, "");
    }
    plot.draw()
}

/// The least and the largest reading of each stretch of a log.
fn extremes(points: &[Point]) -> (Points, Points) {
    let each = points.len().div_ceil(STRETCHES).max(1);
    let of = |some: &[Point], pick: fn(f64, f64) -> f64| {
        let at = some.first().map_or(0.0, |p| p.at.0);
        (at, some.iter().filter_map(|p| p.current.value()).map(|v| v.0).reduce(pick))
    };
    let by = |pick: fn(f64, f64) -> f64| points.chunks(each).map(|some| of(some, pick)).collect();
    (by(f64::min), by(f64::max))
}

type Axis = (&'static str, Unit, Scale);
type Points = Vec<(f64, Option<f64>)>;

fn lines(it: &Compared, title: &str, (x, y): (Axis, Axis), subject: Points, others: Vec<Points>) -> Markup {
    let all: Vec<&(f64, Option<f64>)> = others.iter().flatten().chain(&subject).collect();
    let mut plot = Plot::new(
        title.to_owned(),
        along(x.0, x.1, x.2, all.iter().map(|p| p.0).collect()),
        along(y.0, y.1, y.2, all.iter().filter_map(|p| p.1).collect()),
    );
    for (i, other) in others.iter().enumerate() {
        // Of several good runs one name is enough.
        let words = if i == 0 { name(it, false) } else { String::new() };
        plot.side(other, drawn(it, false).0, &words);
    }
    plot.side(&subject, drawn(it, true).0, &name(it, true));
    plot.draw()
}

/// The share of starts with no more than this time without power before; a failing start is a cross.
fn off_times(it: &Compared, subject: &Starts, others: &[&Starts]) -> Markup {
    let gather = |of: &[&Starts]| -> Vec<(f64, bool)> {
        let mut all: Vec<(f64, bool)> =
            of.iter().flat_map(|s| s.off.iter().map(|(t, failed)| (t.0, *failed))).filter(|o| o.0 > 0.0).collect();
        all.sort_by(|a, b| a.0.total_cmp(&b.0));
        all
    };
    let (own, theirs) = (gather(&[subject]), gather(others));
    let times: Vec<f64> = own.iter().chain(&theirs).map(|o| o.0).collect();
    let (least, most) = times.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), t| (l.min(*t), m.max(*t)));
    if own.len() < 4 || theirs.len() < 4 || most < 1.2 * least {
        return html! {};
    }
    let mut plot = Plot::new(
        "Time without power before starts: the share of starts with no more of it".into(),
        along("time without power", Unit::Second, Scale::Log, times),
        Along { label: "share of starts, %", unit: None, scale: Scale::Linear, values: vec![0.0, 100.0] },
    );
    let share = |i: usize, n: usize| 100.0 * i as f64 / n as f64;
    let mut crosses = Vec::new();
    for (sorted, subject) in [(&theirs, false), (&own, true)] {
        let n = sorted.len();
        let line: Points =
            sorted.iter().enumerate().flat_map(|(i, (t, _))| [(*t, Some(share(i, n))), (*t, Some(share(i + 1, n)))]).collect();
        plot.side(&line, drawn(it, subject).0, &name(it, subject));
        crosses.extend(sorted.iter().enumerate().filter(|(_, o)| o.1).map(|(i, o)| (o.0, share(i + 1, n))));
    }
    plot.dots(Shape::Cross, &crosses, "failing starts");
    plot.draw()
}

fn positive(level: Level) -> Option<f64> {
    level.value().map(|v| v.0).filter(|v| *v > 0.0)
}

/// Good starts: the envelope of the reference's, and the median of what is judged; failing
/// starts of both as crosses.
fn courses(it: &Compared, pair: &Pair, subject: &Starts, others: &[&Starts]) -> Markup {
    let Some(parting) = &pair.held.course else { return html! {} };
    let envelope = &parting.envelope;
    let shown: Vec<_> = envelope.moments.iter().filter(|m| m.high.0 > 0.0).collect();
    let middle = medians(&subject.good, &shown.iter().map(|m| m.at.0).collect::<Vec<_>>());
    let failing: Vec<&Vec<Look>> =
        subject.failed.iter().take(DRAWN).chain(others.iter().flat_map(|s| s.failed.iter()).take(DRAWN)).collect();
    let crosses: Vec<(f64, f64)> =
        failing.iter().flat_map(|c| c.iter()).filter_map(|l| Some((l.at.0, positive(l.current)?))).collect();
    let least = shown
        .iter()
        .map(|m| m.median.0)
        .chain(middle.iter().filter_map(|m| m.1))
        .chain(crosses.iter().map(|c| c.1))
        .filter(|v| *v > 0.0)
        .fold(f64::INFINITY, f64::min);
    let area: Vec<(f64, f64, f64)> = shown.iter().map(|m| (m.at.0, m.low.0.max(least), m.high.0.max(least))).collect();
    let times = area.iter().map(|a| a.0).chain(crosses.iter().map(|c| c.0)).collect();
    let currents = area
        .iter()
        .flat_map(|a| [a.1, a.2])
        .chain(middle.iter().filter_map(|m| m.1))
        .chain(crosses.iter().map(|c| c.1))
        .collect();
    let mut plot = Plot::new(
        "Current after switching on: the course of good starts on both sides".into(),
        along("time after switching on", Unit::Second, Scale::Linear, times),
        along("current", Unit::Ampere, Scale::Log, currents),
    );
    plot.region(&area, &format!("envelope of {} good starts, {}", envelope.starts, name(it, false)));
    let of_envelope: Points = shown.iter().map(|m| (m.at.0, Some(m.median.0).filter(|v| *v > 0.0))).collect();
    plot.side(&of_envelope, drawn(it, false).0, &format!("their median, {}", name(it, false)));
    plot.side(&middle, drawn(it, true).0, &format!("median of {} good starts, {}", subject.good.len(), name(it, true)));
    plot.dots(Shape::Cross, &crosses, "failing starts, of either side");
    if let Some(at) = parting.at.filter(|_| parting.differ()) {
        plot.upright(at.0, "they part");
    }
    plot.draw()
}

/// The median of courses at each moment, of the last reading that each has by then.
fn medians(courses: &[Vec<Look>], moments: &[f64]) -> Points {
    let at = |moment: f64| {
        let last = |course: &Vec<Look>| {
            course.iter().take_while(|l| l.at.0 <= moment).last().and_then(|l| l.current.value()).map(|v| v.0)
        };
        let values: Vec<f64> = courses.iter().filter_map(last).collect();
        if values.len() * 2 < courses.len() { None } else { crate::analysis::rank::median(&values).filter(|v| *v > 0.0) }
    };
    moments.iter().map(|m| (*m, at(*m))).collect()
}

fn ramp(it: &Compared, steps: &[Step], reference: &[&Seen]) -> Markup {
    let line =
        |steps: &[Step]| steps.iter().filter_map(|s| Some((s.voltage?.0, s.current.value().map(|v| v.0)))).collect::<Points>();
    let others: Vec<Points> =
        reference.iter().filter_map(|s| if let What::Ramp(steps) = &s.what { Some(line(steps)) } else { None }).collect();
    let axes = (("voltage at the supply", Unit::Volt, Scale::Linear), ("current", Unit::Ampere, Scale::Linear));
    lines(it, "Current over voltage", axes, line(steps), others)
}

fn sweep(it: &Compared, pair: &Pair) -> Markup {
    let rows = &pair.held.sweep;
    let part = match &pair.subject.kind {
        StageKind::Leakage(sweep) => sweep.part.name.clone(),
        _ => String::new(),
    };
    let own: Vec<(f64, f64, f64)> = rows
        .iter()
        .filter_map(|s| match s.a.soak.leakage {
            Level::Known { value, u } => Some((s.set.0, value.0, 2.0 * u.0)),
            _ => None,
        })
        .collect();
    let theirs: Vec<(f64, f64, f64)> = rows
        .iter()
        .filter(|s| !s.b.below_floor)
        .map(|s| {
            let (low, high) = (s.b.low.0.0 - 2.0 * s.b.low.1.0, s.b.high.0.0 + 2.0 * s.b.high.1.0);
            (s.set.0, 0.5 * (low + high), 0.5 * (high - low))
        })
        .collect();
    let below: Vec<(f64, f64)> = rows
        .iter()
        .flat_map(|s| {
            let a = if let Level::BelowFloor { floor } = s.a.soak.leakage { Some(floor.0) } else { None };
            let b = s.b.below_floor.then_some(s.b.high.0.0);
            a.into_iter().chain(b).map(|floor| (s.set.0, floor)).collect::<Vec<_>>()
        })
        .collect();
    if own.is_empty() && theirs.is_empty() {
        return html! {};
    }
    let usable = |v: &f64| *v > 0.0;
    let currents: Vec<f64> = own
        .iter()
        .chain(&theirs)
        .flat_map(|p| [p.1, p.1 + p.2, (p.1 - p.2).max(0.2 * p.1)])
        .chain(below.iter().map(|b| b.1))
        .filter(usable)
        .collect();
    let mut plot = Plot::new(
        format!("Leakage of {part} over voltage, on both sides (current logarithmic; bars: expanded uncertainty)"),
        along("voltage at the supply", Unit::Volt, Scale::Linear, rows.iter().map(|s| s.set.0).chain([0.0]).collect()),
        along("leakage", Unit::Ampere, Scale::Log, currents),
    );
    for (points, subject) in [(&theirs, false), (&own, true)] {
        let (stroke, shape) = drawn(it, subject);
        plot.side(&points.iter().map(|p| (p.0, Some(p.1).filter(usable))).collect::<Points>(), stroke, &name(it, subject));
        plot.spans(&points.iter().map(|p| (p.0, p.1 - p.2, p.1 + p.2)).collect::<Vec<_>>());
        plot.dots(shape, &points.iter().map(|p| (p.0, p.1)).collect::<Vec<_>>(), "");
    }
    plot.dots(Shape::Below, &below, "below the instrument's floor");
    plot.draw()
}
