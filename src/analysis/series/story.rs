//! What happened in a log: the levels that the current had, when it went from one to
//! another, and whether it drifted.
//!
//! The segments between changes of the mean are found on the states' scale (linear below
//! the floor, logarithmic above), their exact optimum with the penalty of
//! [`changes::penalty`]; segments whose levels lie less than three spreads apart are one
//! level. What was not read is in no segment's time, and a segment ends where readings are
//! missing for longer than [`GAP`] intervals.

use super::{Point, trend};
use crate::analysis::changes::{self, Noise};
use crate::analysis::states::Scale;
use crate::analysis::{Level, numeric::sums};
use crate::units::{Amperes, Seconds};

/// A level of the current.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Middle {
    /// Below the floor.
    BelowFloor(Amperes),
    /// Mean of its readings.
    At(Amperes),
}

/// A stay at one level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Visit {
    /// Which of the levels.
    pub level: usize,
    /// Its first reading.
    pub from: Seconds,
    /// The reading after its last; the last itself where the log or its readings end there.
    pub to: Seconds,
    /// Whether both its ends were seen: neither the log's end nor a gap.
    pub whole: bool,
}

/// A stay that comes again and again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bursts {
    /// Its level; the other is the level below.
    pub level: usize,
    /// Bursts seen whole.
    pub count: usize,
    /// Their median length, and how far the lengths stray from it (half the span that
    /// holds the middle half).
    pub lasts: (Seconds, Seconds),
    /// Standard uncertainty of that median.
    pub lasts_u: Seconds,
    /// Median time from one beginning to the next, and its standard uncertainty.
    pub period: (Seconds, Seconds),
    /// Whether they come at even times: the middle half of the intervals within a tenth
    /// of the median, or within one interval of the readings.
    pub even: bool,
    /// Share of the time, and its standard uncertainty from cycle to cycle.
    pub duty: (f64, f64),
}

/// What a log says.
#[derive(Clone, Debug, PartialEq)]
pub enum Story {
    /// One level; no drift that can be told from chance.
    Steady,
    /// One level that rises or falls slowly.
    Drifts(trend::Trend),
    /// From one level to another, once or a few times, without return.
    Steps,
    /// Bursts above a level.
    Bursts(Bursts),
    /// To and fro between levels.
    Wanders,
}

/// A log, told.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// By rising current.
    pub levels: Vec<Middle>,
    /// In order of time.
    pub visits: Vec<Visit>,
    /// The kind of story.
    pub story: Story,
    /// Noise of the readings, on the scale.
    pub noise: Noise,
}

/// So many median intervals between two readings are a gap.
pub const GAP: f64 = 5.0;

/// Levels are so many common spreads apart.
const APART: f64 = 3.0;

/// Levels that differ by less than this share are one: so little is a unit that settles.
const RELEVANT: f64 = 0.02;

/// A drift is told where chance alone would give it less often.
const TELLING: f64 = 0.003;

/// A segment, or several of one level.
#[derive(Clone, Copy)]
struct Part {
    count: f64,
    mean: f64,
    variance: f64,
}

/// Tells a log. `None` where fewer than 20 readings say anything.
pub fn tell(points: &[Point]) -> Option<Told> {
    let seen: Vec<&Point> =
        points.iter().filter(|p| matches!(p.current, Level::Known { .. } | Level::BelowFloor { .. })).collect();
    if seen.len() < 20 {
        return None;
    }
    let scale = scale(&seen);
    // What is below the floor stands at zero for the search, and for it alone.
    let placed: Vec<f64> = seen.iter().map(|p| scale.place(p.current.value().map_or(0.0, |v| v.0))).collect();
    let noise = changes::noise(&placed, resolution(&placed))?;
    let penalty = changes::penalty(&noise, placed.len()).max(f64::MIN_POSITIVE);
    let found = changes::mean(&placed, penalty, 1).ok()?;
    let segments = found.segments(placed.len());
    let edges = edges(&segments, &placed);
    let own = || segments.iter().zip(&edges).filter(|(_, edge)| !**edge).map(|(s, _)| s);
    let parts: Vec<Part> = own().filter_map(|s| part(placed.get(s.clone())?, noise.deviation)).collect();
    // On the scale a difference is a share of the level.
    let least = if scale == Scale::Linear { 0.0 } else { RELEVANT };
    let of = clusters(&parts, least);
    let count = of.iter().max()? + 1;
    let mut level_of = vec![0; placed.len()];
    let mut is_edge = vec![false; placed.len()];
    for (segment, level) in own().zip(&of) {
        level_of.get_mut(segment.clone())?.fill(*level);
    }
    for (segment, _) in segments.iter().zip(&edges).filter(|(_, edge)| **edge) {
        let (at, before, after) = (segment.start, segment.start.checked_sub(1)?, segment.end);
        // It was there for the larger part of the reading.
        let value = |i: usize| seen.get(i).and_then(|p| p.current.value()).map_or(0.0, |v| v.0);
        let nearer = if (value(at) - value(before)).abs() < (value(after) - value(at)).abs() { before } else { after };
        *level_of.get_mut(at)? = *level_of.get(nearer)?;
        *is_edge.get_mut(at)? = true;
    }
    let levels: Vec<Middle> = (0..count).filter_map(|level| middle(&seen, &level_of, &is_edge, level)).collect();
    let visits = visits(&seen, &level_of);
    let story = match (count, visits.len()) {
        (1, _) => drift(&seen),
        _ => bursts(&visits, count, interval(&seen)).map_or_else(
            || {
                let back = visits.iter().enumerate().any(|(i, v)| {
                    visits.iter().take(i.saturating_sub(1)).any(|w| w.level == v.level && visits[i - 1].level != v.level)
                });
                if back { Story::Wanders } else { Story::Steps }
            },
            Story::Bursts,
        ),
    };
    Some(Told { levels, visits, story, noise })
}

/// With the floor as its bend; else with twice the least standard uncertainty.
fn scale(seen: &[&Point]) -> Scale {
    let (mut floor, mut least, mut most) = (0.0_f64, f64::INFINITY, 0.0_f64);
    for point in seen {
        match point.current {
            Level::BelowFloor { floor: at } => floor = floor.max(at.0),
            Level::Known { value, u } => {
                least = least.min(2.0 * u.0);
                most = most.max(value.0.abs());
            }
            _ => {}
        }
    }
    let bend = if floor > 0.0 { floor } else { least.min(most) }.max(1e-6 * most);
    if bend > 0.0 && bend.is_finite() { Scale::Asinh { floor: bend } } else { Scale::Linear }
}

/// The least scatter that is reckoned with: a step of the readings over the root of
/// twelve, the step being the least difference that occurs. Where most neighbours are
/// equal (below the floor, or on one count) it is what the others differ by, the changes
/// of level left out.
fn resolution(placed: &[f64]) -> f64 {
    let (low, high) = placed.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let all: Vec<f64> = placed.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
    let mut small: Vec<f64> = all.iter().copied().filter(|d| *d > 0.0 && *d < 0.1 * (high - low)).collect();
    small.sort_by(f64::total_cmp);
    let equal = all.iter().filter(|d| **d == 0.0).count() * 2 > all.len();
    let scatter = match (small.first(), small.get(small.len() / 2)) {
        // A median of absolute differences, to a standard deviation.
        (Some(_), Some(middle)) if equal => middle / (0.674_5 * std::f64::consts::SQRT_2),
        (Some(step), _) => step / 12f64.sqrt(),
        _ => 0.0,
    };
    scatter.max(1e-9 * low.abs().max(high.abs()))
}

fn part(values: &[f64], noise: f64) -> Option<Part> {
    let variance = sums::variance(values).unwrap_or(0.0).max(noise * noise);
    Some(Part { count: values.len() as f64, mean: sums::mean(values)?, variance })
}

/// The level of each part, from 0 by rising mean: neighbours in mean that lie closer than
/// [`APART`] spreads, or than `least`, are one.
fn clusters(parts: &[Part], least: f64) -> Vec<usize> {
    let mut order: Vec<(usize, Part)> = parts.iter().copied().enumerate().collect();
    order.sort_by(|a, b| a.1.mean.total_cmp(&b.1.mean));
    let mut made = vec![0; parts.len()];
    let mut level = 0;
    let mut held: Option<Part> = None;
    for (index, next) in order {
        held = Some(match held {
            Some(held) if next.mean - held.mean < least.max(APART * ((held.variance + next.variance) / 2.0).sqrt()) => {
                let count = held.count + next.count;
                let mean = (held.count * held.mean + next.count * next.mean) / count;
                let spread = |p: &Part| p.count * (p.variance + (p.mean - mean).powi(2));
                Part { count, mean, variance: (spread(&held) + spread(&next)) / count }
            }
            Some(_) => {
                level += 1;
                next
            }
            None => next,
        });
        if let Some(slot) = made.get_mut(index) {
            *slot = level;
        }
    }
    made
}

/// Which segments are a single reading across an edge: on the way from the level before it
/// to the level after it, part of its time at each.
fn edges(segments: &[std::ops::Range<usize>], placed: &[f64]) -> Vec<bool> {
    let mut made = vec![false; segments.len()];
    for index in 1..segments.len().saturating_sub(1) {
        let ends = |i: usize| segments.get(i).map(|s| (s.start, s.end));
        let (Some((from, to)), Some((_, after))) = (ends(index), ends(index + 1)) else { continue };
        let mean = |from: usize, to: usize| sums::mean(placed.get(from..to).unwrap_or(&[]));
        let before = ends(index - 1).and_then(|(from, to)| mean(from, to));
        let (Some(a), Some(b), Some(c)) = (before, mean(from, to), mean(to, after)) else { continue };
        let single = to == from + 1 && !made.get(index - 1).copied().unwrap_or(false);
        if let Some(edge) = made.get_mut(index) {
            *edge = single && (b - a) * (c - b) > 0.0;
        }
    }
    made
}

fn middle(seen: &[&Point], level_of: &[usize], is_edge: &[bool], level: usize) -> Option<Middle> {
    let whole = seen.iter().zip(level_of).zip(is_edge).filter(|((_, l), edge)| **l == level && !**edge);
    let own: Vec<&Point> = whole.map(|((p, _), _)| *p).collect();
    let values: Vec<f64> = own.iter().filter_map(|p| p.current.value()).map(|a| a.0).collect();
    let floor = own.iter().find_map(|p| match p.current {
        Level::BelowFloor { floor } => Some(floor),
        _ => None,
    });
    match floor {
        Some(floor) if values.len() * 2 < own.len() => Some(Middle::BelowFloor(floor)),
        _ => sums::mean(&values).map(|m| Middle::At(Amperes(m))),
    }
}

/// Median time from one reading to the next.
fn interval(seen: &[&Point]) -> f64 {
    let mut spans: Vec<f64> = seen.windows(2).map(|w| (w[1].at - w[0].at).0).collect();
    spans.sort_by(f64::total_cmp);
    spans.get(spans.len() / 2).copied().unwrap_or(0.0)
}

fn visits(seen: &[&Point], level_of: &[usize]) -> Vec<Visit> {
    let gap = GAP * interval(seen);
    let mut made: Vec<Visit> = Vec::new();
    let mut fresh = true;
    for ((point, level), next) in seen.iter().zip(level_of).zip(seen.iter().skip(1).map(Some).chain([None])) {
        let broken = next.is_none_or(|n| (n.at - point.at).0 > gap);
        let to = match next {
            Some(next) if !broken => next.at,
            _ => point.at,
        };
        match made.last_mut() {
            Some(visit) if !fresh && visit.level == *level => {
                visit.to = to;
                visit.whole &= !broken;
            }
            // A visit that begins with the log, or after a gap, began we do not know when.
            _ => made.push(Visit { level: *level, from: point.at, to, whole: !fresh && !broken }),
        }
        fresh = broken;
    }
    made
}

fn median(mut values: Vec<f64>) -> (f64, f64) {
    values.sort_by(f64::total_cmp);
    let at = |share: f64| values.get(((values.len() - 1) as f64 * share).round() as usize).copied().unwrap_or(f64::NAN);
    (at(0.5), (at(0.75) - at(0.25)) / 2.0)
}

/// Bursts: the highest level, visited whole three times or more, shorter than what lies
/// between.
fn bursts(visits: &[Visit], count: usize, interval: f64) -> Option<Bursts> {
    let level = count.checked_sub(1)?;
    let own: Vec<&Visit> = visits.iter().filter(|v| v.level == level && v.whole).collect();
    if own.len() < 3 {
        return None;
    }
    // From beginning to beginning, where nothing between is unknown.
    let mut periods = Vec::new();
    let mut shares = Vec::new();
    for pair in own.windows(2) {
        if let [a, b] = pair
            && visits.iter().filter(|v| v.from > a.from && v.from < b.from).all(|v| v.whole)
        {
            periods.push((b.from - a.from).0);
            shares.push(((a.to - a.from).0, (b.from - a.from).0));
        }
    }
    if periods.len() < 2 {
        return None;
    }
    let n = periods.len() as f64;
    let (period, stray) = median(periods.clone());
    let (lasts, lasts_stray) = median(own.iter().map(|v| (v.to - v.from).0).collect());
    if lasts * 2.0 > period {
        return None;
    }
    // Ratio of sums, and its variance over the cycles (Cochran, Sampling Techniques, 6.3).
    let (on, all) = shares.iter().fold((0.0, 0.0), |(a, b), (x, y)| (a + x, b + y));
    let duty = on / all;
    let rest: f64 = shares.iter().map(|(x, y)| (x - duty * y).powi(2)).sum();
    // Every edge is known to one interval of the readings (rectangular, two edges).
    let edges = interval * (2.0 / 12.0 / n).sqrt() / period;
    let duty_u = (n * rest / (n - 1.0)).sqrt() / all;
    // 1.2533: a median's standard error over a mean's; 0.7413 of the middle half's span.
    let u = (1.253 * 2.0 * 0.741 * stray / n.sqrt()).hypot(interval / 12f64.sqrt() / n.sqrt());
    // Of one burst both edges count, and they may be the same in all of them.
    let lasts_u = (1.253 * 2.0 * 0.741 * lasts_stray / (own.len() as f64).sqrt()).hypot(interval / 6f64.sqrt());
    Some(Bursts {
        level,
        count: own.len(),
        lasts: (Seconds(lasts), Seconds(lasts_stray)),
        lasts_u: Seconds(lasts_u),
        period: (Seconds(period), Seconds(u)),
        even: stray <= (0.1 * period).max(interval),
        duty: (duty, duty_u.hypot(edges)),
    })
}

fn drift(seen: &[&Point]) -> Story {
    let points: Vec<(f64, f64)> = seen.iter().filter_map(|p| Some((p.at.0, p.current.value()?.0))).collect();
    match trend::trend(&points, 0.95) {
        Some(trend) if trend.p < TELLING && trend.within.0 * trend.within.1 > 0.0 => Story::Drifts(trend),
        _ => Story::Steady,
    }
}
