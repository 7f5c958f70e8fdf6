//! Whether a current under bias wanders: telegraph noise, jumps, a rise. A reading that
//! wanders is itself the symptom of a part that is failing.
//!
//! The fall of the absorption is taken off first ([`super::decay`]). What is left is
//! cut into levels at the least cost, and each step must then stand on its own beside
//! its neighbours, so that a slow misfit of the fall is none. The noise is taken from
//! differences of neighbours, by the median, so that rare steps do not count into it;
//! a step must be larger than the meter's own. And the readings themselves must show it
//! at its edge (`edge`): a fall of another form than the fitted one leaves steps in what
//! is left of it, and none in the readings.

use super::decay::{Value, fall};
use crate::analysis::changes;
use crate::analysis::numeric::sums::line;
use crate::analysis::rank::median;
use crate::units::{Amperes, Seconds};

/// What a current does under bias, beside falling.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wander {
    /// Nothing; a step of this size that stays for five readings would have been seen.
    Quiet {
        /// That size.
        least: Amperes,
    },
    /// It goes back and forth between two levels.
    Telegraph {
        /// Between the levels.
        step: Amperes,
        /// Its standard uncertainty.
        u: Amperes,
        /// How often it changed.
        switches: usize,
        /// Mean stay in a level; `None` where it changes faster than readings come.
        stay: Option<Seconds>,
    },
    /// It jumps, and does not come back the same way.
    Jumps {
        /// The largest, with its sign.
        step: Amperes,
        /// Its standard uncertainty.
        u: Amperes,
        /// When the largest came, under bias.
        at: Seconds,
        /// How many.
        jumps: usize,
    },
    /// It rises.
    Rises {
        /// By how much over the last half.
        by: Amperes,
        /// Standard uncertainty of that.
        u: Amperes,
    },
}

impl Wander {
    /// The word that the record keeps.
    pub fn name(&self) -> &'static str {
        match self {
            Wander::Quiet { .. } => "quiet",
            Wander::Telegraph { .. } => "telegraph",
            Wander::Jumps { .. } => "jumps",
            Wander::Rises { .. } => "rises",
        }
    }

    /// The size of it: the step, the largest jump or the rise; of a quiet one what would have been seen.
    pub fn size(&self) -> Amperes {
        match self {
            Wander::Quiet { least } => *least,
            Wander::Telegraph { step, .. } | Wander::Jumps { step, .. } => *step,
            Wander::Rises { by, .. } => *by,
        }
    }

    /// Standard uncertainty that it gives to any one value of the current: half of
    /// [`size`](Wander::size), zero where it is quiet.
    ///
    /// Half is the standard deviation of two levels that are as likely (JCGM 100:2008,
    /// C.3.2). A rectangle between them (4.3.7) would be size / sqrt 12, but nothing lies
    /// between; and twice the half holds the other level, whichever was read.
    pub fn of_a_value(&self) -> Amperes {
        match self {
            Wander::Quiet { .. } => Amperes(0.0),
            _ => Amperes(self.size().0.abs() / 2.0),
        }
    }

    /// The same, its uncertainty combined with the meter's of a difference.
    fn with_meter(self, values: &[Value], quantum: f64) -> Wander {
        // The offset is in both levels; what scales goes with the difference.
        let scale = values.iter().filter(|v| v.current != 0.0).map(|v| v.u / v.current.abs()).fold(f64::INFINITY, f64::min);
        let scale = if scale.is_finite() { scale.clamp(0.0, 1.0) * self.size().0.abs() } else { 0.0 };
        // A meter's step is a rectangle (JCGM 100:2008, F.2.2.1), in each of the two levels.
        let meter = scale.hypot(0.29 * 2f64.sqrt() * quantum);
        let of = |u: Amperes| Amperes(u.0.hypot(meter));
        match self {
            Wander::Quiet { .. } => self,
            Wander::Telegraph { step, u, switches, stay } => Wander::Telegraph { step, u: of(u), switches, stay },
            Wander::Jumps { step, u, at, jumps } => Wander::Jumps { step, u: of(u), at, jumps },
            Wander::Rises { by, u } => Wander::Rises { by, u: of(u) },
        }
    }
}

/// Fewest readings that say anything.
const LEAST: usize = 20;
/// A step stands out by so many of its standard uncertainties from its neighbourhood.
const STANDS_OUT: f64 = 5.0;
/// One or two that are all there is must stand out further: what repeats convinces sooner.
const ALONE: f64 = 6.5;
/// And by so many steps of the meter.
const QUANTA: f64 = 1.5;
/// And by this share of what the fall changes over [`NEAR`] readings on each side.
const MISFIT: f64 = 0.15;
const NEAR: usize = 4;
/// Readings of the neighbourhood on each side.
const NEIGHBOURS: usize = 12;
/// Readings on each side, at most, where a level lasts less than four.
const FEW: usize = 3;
/// Readings on each side of an edge that tell the slope there, at most; and at least.
const SLOPE: (usize, usize) = (6, 4);
/// The readings show this share of a step at its edge, at least.
const SHOWN: f64 = 0.5;
/// A rise counts from so many standard uncertainties on.
const RISES: f64 = 4.5;

/// What a current does. `values` in order of time, without charging current. `None`
/// with fewer than twenty.
pub fn wander(values: &[Value]) -> Option<Wander> {
    if values.len() < LEAST || values.iter().any(|v| !(v.current.is_finite() && v.at.is_finite())) {
        return None;
    }
    let quantum = quantum(values);
    let first = residuals(values, fall(values));
    let mut steps = vec![0.0; values.len()];
    let mut found: Vec<Step> = Vec::new();
    let (mut noise, mut left) = (0.0, Vec::new());
    for _ in 0..3 {
        let flat: Vec<Value> = values.iter().zip(&steps).map(|(v, s)| Value { current: v.current - s, ..*v }).collect();
        let fitted = fall(&flat);
        left = residuals(values, fitted.clone());
        noise = noise_of(&left).hypot(0.29 * quantum);
        if noise <= 0.0 {
            break;
        }
        let cut = segments(&left, noise);
        let standing = confirmed(values, &left, fitted.as_deref(), cut, noise, quantum);
        let levels = levels(&left, &standing);
        let same = standing.len() == found.len() && standing.iter().zip(&found).all(|(a, b)| a.index == b.index);
        (found, steps) = (standing, levels);
        if same {
            break;
        }
    }
    // Few steps are jumps, unless the readings change between two clouds all the time.
    let least = if (1..=2).contains(&found.len()) { values.len() / 7 } else { 4 };
    let clouds = |left: &[f64]| two_clouds(values, left, quantum, least);
    if let Some(telegraph) = clouds(&left).or_else(|| clouds(&first)) {
        return Some(telegraph.with_meter(values, quantum));
    }
    if !found.is_empty() {
        return Some(classified(values, &left, &found, noise).with_meter(values, quantum));
    }
    Some(
        rise(values)
            .map(|(by, u)| Wander::Rises { by, u }.with_meter(values, quantum))
            .unwrap_or(Wander::Quiet { least: Amperes((4.0 * noise).max(QUANTA * quantum)) }),
    )
}

/// A step of a meter that shows few different values; zero where it shows many.
fn quantum(values: &[Value]) -> f64 {
    let mut all: Vec<f64> = values.iter().map(|v| v.current).collect();
    all.sort_by(f64::total_cmp);
    let span = all.last().copied().unwrap_or(0.0).abs().max(all.first().copied().unwrap_or(0.0).abs());
    let gaps: Vec<f64> = all.windows(2).map(|w| w.last().copied().unwrap_or(0.0) - w.first().copied().unwrap_or(0.0)).collect();
    let apart: Vec<f64> = gaps.iter().copied().filter(|g| *g > 1e-9 * span).collect();
    if apart.len() * 10 > values.len() * 7 {
        return 0.0;
    }
    apart.into_iter().fold(f64::INFINITY, f64::min).min(f64::MAX) * f64::from(u8::from(!gaps.is_empty()))
}

fn residuals(values: &[Value], fitted: Option<Vec<f64>>) -> Vec<f64> {
    let mean = values.iter().map(|v| v.current).sum::<f64>() / values.len() as f64;
    match fitted {
        Some(fitted) => values.iter().zip(fitted).map(|(v, f)| v.current - f).collect(),
        None => values.iter().map(|v| v.current - mean).collect(),
    }
}

/// Standard deviation of one reading, from differences of neighbours.
fn noise_of(left: &[f64]) -> f64 {
    let differences: Vec<f64> = left.windows(2).map(|w| (w.last().unwrap_or(&0.0) - w.first().unwrap_or(&0.0)).abs()).collect();
    median(&differences).unwrap_or(0.0) * 1.4826 / 2f64.sqrt()
}

/// The first reading of every level but the first.
fn segments(left: &[f64], noise: f64) -> Vec<usize> {
    let penalty = noise * noise * (changes::TIMES_LOG * (left.len() as f64).ln() + 4.0);
    changes::mean(left, penalty, 2).map(|made| made.changes).unwrap_or_default()
}

/// A step that stands on its own.
#[derive(Clone, Copy)]
struct Step {
    index: usize,
    size: f64,
    u: f64,
}

/// Drops the weakest step, until all that are left stand out from their neighbourhood.
fn confirmed(values: &[Value], left: &[f64], fitted: Option<&[f64]>, mut cut: Vec<usize>, noise: f64, quantum: f64) -> Vec<Step> {
    // What the fall itself makes around a step: a misfit of a part of it is no step.
    let steep = |s: &Step| {
        let (from, to) = (s.index.saturating_sub(NEAR), (s.index + NEAR).min(left.len() - 1));
        let at = |i: usize| fitted.and_then(|f| f.get(i)).copied().unwrap_or(0.0);
        MISFIT * (at(from) - at(to)).abs()
    };

    loop {
        let ends = |i: usize| {
            let from = if i == 0 { 0 } else { cut.get(i - 1).copied().unwrap_or(0) };
            (from, cut.get(i + 1).copied().unwrap_or(left.len()))
        };
        let steps: Vec<Step> = cut
            .iter()
            .enumerate()
            .filter_map(|(i, at)| {
                let (from, to) = ends(i);
                step(values, left, *at, from.max(at.saturating_sub(NEIGHBOURS)), to.min(at + NEIGHBOURS), noise)
            })
            .collect();
        if steps.len() < cut.len() {
            cut = steps.iter().map(|s| s.index).collect();
            continue;
        }
        let shown = |i: usize, s: &Step| {
            let (from, to) = ends(i);
            edge(values, s.index, from, to).is_some_and(|shown| shown * s.size.signum() >= SHOWN * s.size.abs())
        };
        let strength = |(i, s): &(usize, &Step)| {
            let large = s.size.abs() > (QUANTA * quantum).max(steep(s)) && shown(*i, s);
            if large { s.size.abs() / s.u } else { 0.0 }
        };
        let needed = if steps.len() <= 2 { ALONE } else { STANDS_OUT };
        let Some(weakest) = steps.iter().enumerate().min_by(|a, b| strength(a).total_cmp(&strength(b))) else { return steps };
        if strength(&weakest) >= needed {
            return steps;
        }
        let index = weakest.1.index;
        cut.retain(|i| *i != index);
    }
}

/// The step at `at`, between readings `from` and `to`, beside a slope that both sides share
/// where there are four readings on each.
fn step(values: &[Value], left: &[f64], at: usize, from: usize, to: usize, noise: f64) -> Option<Step> {
    let (before, after) = (left.get(from..at)?, left.get(at..to)?);
    let (n1, n2) = (before.len() as f64, after.len() as f64);
    if before.is_empty() || after.is_empty() {
        return None;
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let times = |range: std::ops::Range<usize>| values.get(range).map(|v| v.iter().map(|v| v.at).collect::<Vec<f64>>());
    let (t1, t2) = (times(from..at)?, times(at..to)?);
    let (m1, m2) = (mean(&t1), mean(&t2));
    let plain = mean(after) - mean(before);
    let variance = noise * noise * (1.0 / n1 + 1.0 / n2);
    if before.len() < 4 || after.len() < 4 {
        return few(values, left, at, before.len(), after.len(), noise);
    }
    let within = |t: &[f64], m: f64, y: &[f64]| {
        let sxx: f64 = t.iter().map(|t| (t - m).powi(2)).sum();
        let sxy: f64 = t.iter().zip(y).map(|(t, y)| (t - m) * y).sum();
        (sxx, sxy)
    };
    let ((a, b), (c, d)) = (within(&t1, m1, before), within(&t2, m2, after));
    let (sxx, sxy) = (a + c, b + d);
    if sxx <= 0.0 {
        return Some(Step { index: at, size: plain, u: variance.sqrt() });
    }
    let gap = m2 - m1;
    let u = (variance + noise * noise * gap * gap / sxx).sqrt();
    Some(Step { index: at, size: plain - sxy / sxx * gap, u })
}

/// The step where a level lasts less than four readings: beside the median slope of the
/// differences around it, which single steps do not count into.
fn few(values: &[Value], left: &[f64], at: usize, before: usize, after: usize, noise: f64) -> Option<Step> {
    let (n1, n2) = (before.min(FEW), after.min(FEW));
    let mean = |from: usize, to: usize| {
        let (y, t) = (left.get(from..to)?, values.get(from..to)?);
        let n = y.len() as f64;
        Some((t.iter().map(|v| v.at).sum::<f64>() / n, y.iter().sum::<f64>() / n))
    };
    let (a, b) = (mean(at - n1, at)?, mean(at, at + n2)?);
    let (from, to) = (at.saturating_sub(NEIGHBOURS), (at + NEIGHBOURS).min(left.len()));
    let around: Vec<f64> = left.get(from..to)?.windows(2).filter_map(|w| Some(w.last()? - w.first()?)).collect();
    let slope = median(&around)?;
    let spacing = (values.get(to - 1)?.at - values.get(from)?.at) / around.len() as f64;
    let gap = if spacing > 0.0 { (b.0 - a.0) / spacing } else { 1.0 };
    // Of a median of differences; they hang together, so this is rather too much.
    let u_slope = 1.25 * 2f64.sqrt() * noise / (around.len() as f64).sqrt();
    let u = (noise * noise * (1.0 / n1 as f64 + 1.0 / n2 as f64) + (u_slope * gap).powi(2)).sqrt();
    Some(Step { index: at, size: b.1 - a.1 - slope * gap, u })
}

/// What the readings show at the edge of a step between readings `from` and `to`: their
/// means over a few on each side, apart by more than any slope between those on either
/// side explains. A smooth fall, however bent, shows nothing. `None` where too few readings
/// stand before it to tell a step from the first of a fall.
fn edge(values: &[Value], at: usize, from: usize, to: usize) -> Option<f64> {
    if from == 0 && at < FEW {
        return None;
    }
    let points = |range: std::ops::Range<usize>| -> Option<Vec<(f64, f64)>> {
        Some(values.get(range)?.iter().map(|v| (v.at, v.current)).collect())
    };
    let mean = |points: &[(f64, f64)]| {
        let n = points.len().max(1) as f64;
        (points.iter().map(|p| p.0).sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n)
    };
    let a = mean(&points(from.max(at.saturating_sub(FEW))..at)?);
    let b = mean(&points(at..to.min(at + FEW))?);
    let (before, after) = (points(from.max(at.saturating_sub(SLOPE.0))..at)?, points(at..to.min(at + SLOPE.0))?);
    let told = [before, after].into_iter().filter(|side| side.len() >= SLOPE.1).filter_map(|side| line(&side).map(|l| l.slope));
    let mut slopes: Vec<f64> = told.collect();
    if slopes.is_empty() {
        let around = points(at.saturating_sub(NEIGHBOURS)..(at + NEIGHBOURS).min(values.len()))?;
        let steep = |w: &[(f64, f64)]| match w {
            [a, b] if b.0 > a.0 => Some((b.1 - a.1) / (b.0 - a.0)),
            _ => None,
        };
        slopes.push(median(&around.windows(2).filter_map(steep).collect::<Vec<f64>>())?);
    }
    let gap = b.0 - a.0;
    let least = slopes.iter().copied().fold(f64::INFINITY, f64::min) * gap;
    let most = slopes.iter().copied().fold(f64::NEG_INFINITY, f64::max) * gap;
    let apart = b.1 - a.1;
    Some(apart - apart.clamp(least, most))
}

/// The level of each reading's segment.
fn levels(left: &[f64], steps: &[Step]) -> Vec<f64> {
    let mut made = Vec::with_capacity(left.len());
    let mut from = 0;
    for to in steps.iter().map(|s| s.index).chain([left.len()]) {
        let segment = left.get(from..to).unwrap_or(&[]);
        let mean = segment.iter().sum::<f64>() / segment.len().max(1) as f64;
        made.extend(segment.iter().map(|_| mean));
        from = to;
    }
    made
}

fn classified(values: &[Value], left: &[f64], steps: &[Step], noise: f64) -> Wander {
    let largest = steps.iter().copied().reduce(|a, b| if b.size.abs() > a.size.abs() { b } else { a });
    let Some(largest) = largest else { return Wander::Quiet { least: Amperes(0.0) } };
    let alternate = steps.windows(2).all(|w| matches!(w, [a, b] if a.size * b.size < 0.0));
    let least = steps.iter().map(|s| s.size.abs()).fold(f64::INFINITY, f64::min);
    if steps.len() >= 2 && alternate && largest.size.abs() < 3.0 * least {
        let n = steps.len() as f64;
        let size = steps.iter().map(|s| s.size.abs()).sum::<f64>() / n;
        // What the steps differ by is more than their noise where the fall is not quite the fitted one.
        let scatter = steps.iter().map(|s| (s.size.abs() - size).powi(2)).sum::<f64>() / (n - 1.0);
        let u = (steps.iter().map(|s| s.u * s.u).sum::<f64>() / (n * n) + scatter / n).sqrt();
        // Where the levels are far apart every reading tells its own: short stays count then.
        let all = levels(left, steps);
        let (low, high) = all.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
        let switches = if size > 6.0 * noise { crossings(left, 0.5 * (low + high), high - low) } else { steps.len() };
        // Mean stay: the time that was watched over the changes that were seen in it.
        let watched = values.last().map_or(0.0, |v| v.at) - values.first().map_or(0.0, |v| v.at);
        return Wander::Telegraph {
            step: Amperes(size),
            u: Amperes(u),
            switches,
            stay: Some(Seconds(watched / switches.max(1) as f64)),
        };
    }
    Wander::Jumps {
        step: Amperes(largest.size),
        u: Amperes(largest.u),
        at: Seconds(values.get(largest.index).map_or(0.0, |v| v.at)),
        jumps: steps.len(),
    }
}

/// Changes between two levels `apart` about `middle`: a level counts from a quarter of the
/// way to it on.
fn crossings(left: &[f64], middle: f64, apart: f64) -> usize {
    let told = left.iter().map(|v| (v - middle) / apart).filter(|x| x.abs() > 0.125).map(|x| x > 0.0);
    let levels: Vec<bool> = told.collect();
    levels.windows(2).filter(|w| matches!(w, [x, y] if x != y)).count()
}

/// Two clouds of values with nothing between, and many changes from one to the other: a
/// telegraph, also one faster than the readings.
fn two_clouds(values: &[Value], left: &[f64], quantum: f64, least: usize) -> Option<Wander> {
    let mut sorted = left.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let total: f64 = sorted.iter().sum();
    let squares: f64 = sorted.iter().map(|v| v * v).sum();
    let (mut best, mut below) = (None::<(f64, usize, f64, f64)>, 0.0);
    for (i, v) in sorted.iter().enumerate().take(n - 1) {
        below += v;
        let (n1, n2) = ((i + 1) as f64, (n - i - 1) as f64);
        let (a, b) = (below / n1, (total - below) / n2);
        let between = n1 * n2 / (n1 + n2) * (b - a).powi(2);
        if best.is_none_or(|x| between > x.0) {
            best = Some((between, i + 1, a, b));
        }
    }
    let (between, split, a, b) = best?;
    let all = squares - total * total / n as f64;
    let within = ((all - between).max(0.0) / (n as f64 - 2.0)).sqrt();
    let few = split.min(n - split);
    let apart = b - a;
    if few * 10 < n || apart <= QUANTA * quantum || apart < 5.0 * within {
        return None;
    }
    let middle = 0.5 * (a + b);
    let switches = crossings(left, middle, apart);
    if switches < least {
        return None;
    }
    let watched = values.last()?.at - values.first()?.at;
    let pace = watched / n as f64;
    let stay = watched / switches.max(1) as f64;
    Some(Wander::Telegraph {
        step: Amperes(apart),
        // Not over the root of the readings: what the fall was misjudged by is common to many of them.
        u: Amperes(within),
        switches,
        stay: (stay > 3.0 * pace).then_some(Seconds(stay)),
    })
}

/// A rise over the last half, by more than chance, and its standard uncertainty. `None`
/// also with fewer than twenty readings.
pub fn rise(values: &[Value]) -> Option<(Amperes, Amperes)> {
    if values.len() < LEAST {
        return None;
    }
    let half = values.get(values.len() / 2..)?;
    let fit = line(&half.iter().map(|v| (v.at, v.current)).collect::<Vec<_>>())?;
    let span = half.last()?.at - half.first()?.at;
    let (by, u) = (fit.slope * span, fit.u_slope? * span);
    (by > RISES * u && by > 0.0).then_some((Amperes(by), Amperes(u)))
}
