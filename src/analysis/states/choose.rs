//! How many levels there are: mixtures on both scales, with and without common spread and
//! strays, compared by an information criterion; then what is not a level of its own is
//! taken back.

use super::mixture::{Component, Mixture, Spreads, Wanted, Weighted, fit};
use super::scale::Scale;

/// Most levels that are looked for.
pub const MOST: usize = 6;

/// Two components whose means are less than this many of their common spreads apart are
/// one level of an odd shape: Ashman's D, which must exceed 2 for a clean separation
/// (Ashman, Bird and Zepf, Astron. J. 108, 1994).
pub const APART: f64 = 2.0;

/// Fewer readings are no level but strays.
pub const LEAST_READINGS: f64 = 5.0;

/// The span of readings that are alike, in standard uncertainties of one: twice k = 2.
const WITHIN: f64 = 4.0;

/// Of fewer readings none is called a stray.
const FEW: f64 = 30.0;

/// A level with a smaller share must stand apart by a gap, since the tail of a
/// neighbour looks like a component too.
const SMALL_SHARE: f64 = 0.05;

/// One mixture that was weighed.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Its scale.
    pub scale: Scale,
    /// What was fitted.
    pub wanted: Wanted,
    /// The fit, on its scale.
    pub mixture: Mixture,
    /// Minus twice the logarithm of the likelihood, in the values' own unit, plus the
    /// penalty of its parameters.
    pub criterion: f64,
}

/// A level: components that belong together.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    /// Positions in the mixture's components.
    pub members: Vec<usize>,
    /// Share, mean and variance of all of them together, on the scale.
    pub whole: Component,
}

/// The best mixture and the levels that it makes. `noise` is the standard uncertainty of
/// one reading, `scales` what is tried.
pub fn choose(points: &[Weighted], scales: &[Scale], noise: f64) -> Option<(Candidate, Vec<Group>)> {
    let total: f64 = points.iter().map(|p| p.weight).sum();
    let (low, high) = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.at), h.max(p.at)));
    // Where all of them lie within the instrument's uncertainty none is a stray.
    let alike = high - low <= WITHIN * noise;
    let mut all: Vec<Candidate> = Vec::new();
    for scale in scales {
        let placed = condense(
            points.iter().map(|p| Weighted { at: scale.place(p.at), ..*p }).filter(|p| p.at.is_finite()).collect(),
            total,
        );
        // log-likelihood of the values themselves: densities change with the slope.
        let slopes: f64 = points.iter().map(|p| p.weight * scale.slope(p.at).ln()).sum();
        let floor = floor(points, scale, noise);
        for spreads in [Spreads::Common, Spreads::Own] {
            for stray in [false, true] {
                if stray && (total < FEW || alike) {
                    continue;
                }
                let mut worse = 0;
                let mut least = f64::INFINITY;
                for components in 1..=MOST {
                    if spreads == Spreads::Own && components == 1 {
                        continue;
                    }
                    let wanted = Wanted { components, spreads, stray, floor };
                    let Some(mixture) = fit(&placed, wanted) else { break };
                    let criterion = -2.0 * (mixture.log_likelihood + slopes) + penalty(&wanted, total);
                    all.push(Candidate { scale: *scale, wanted, mixture, criterion });
                    // Two in a row that are worse: more will not be better.
                    worse = if criterion < least { 0 } else { worse + 1 };
                    least = least.min(criterion);
                    if worse == 2 {
                        break;
                    }
                }
            }
        }
    }
    // The family by Schwarz's criterion; how many in it by the milder one.
    let least = |a: &&Candidate, b: &&Candidate| a.criterion.total_cmp(&b.criterion);
    let family = all.iter().min_by(least)?.clone();
    let milder = |c: &Candidate| c.criterion - relief(&c.wanted, total);
    let best = all
        .iter()
        .filter(|c| c.scale == family.scale && c.wanted.spreads == family.wanted.spreads && c.wanted.stray == family.wanted.stray)
        .min_by(|a, b| milder(a).total_cmp(&milder(b)))?
        .clone();
    let groups = levels(&best.mixture, total);
    Some((best, groups))
}

/// More values than this are taken together by neighbours.
const MANY: usize = 300;

/// The grain of the data at each value, a fifth of the span that a twentieth of all
/// readings takes around it: finer structure is chance. Many values are taken together
/// within it; the spread of a level grows by less than 1 % by that.
fn condense(mut points: Vec<Weighted>, total: f64) -> Vec<Weighted> {
    points.sort_by(|a, b| a.at.total_cmp(&b.at));
    let ends: Vec<f64> = points
        .iter()
        .scan(0.0, |sum, p| {
            *sum += p.weight;
            Some(*sum)
        })
        .collect();
    let window = (total / 20.0).max(LEAST_READINGS);
    let few = points.len() <= MANY;
    let mut made: Vec<Weighted> = Vec::new();
    let mut from = f64::NEG_INFINITY;
    for (point, end) in points.iter().zip(&ends) {
        if let Some(group) = made.last_mut()
            && !few
            && point.at - from <= group.grain
        {
            group.at += (point.at - group.at) * point.weight / (group.weight + point.weight);
            group.weight += point.weight;
            continue;
        }
        let after = points.get(ends.partition_point(|e| *e < end + window)).map_or(f64::INFINITY, |p| p.at - point.at);
        let before = match ends.partition_point(|e| *e < end - window) {
            0 => f64::INFINITY,
            index => points.get(index).map_or(f64::INFINITY, |p| point.at - p.at),
        };
        let span = after.min(before);
        from = point.at;
        made.push(Weighted { grain: if span.is_finite() { span / 5.0 } else { 0.0 }, ..*point });
    }
    made
}

/// Without strays a parameter counts a little less, so many times the logarithm but not
/// below the second: the full one overlooks levels that overlap, and what a component too
/// many would do is taken back afterwards. By simulation (see the tests).
const LESS: (f64, f64) = (0.8, 3.7);

/// Schwarz's criterion: the logarithm of the number of readings for each parameter.
fn penalty(wanted: &Wanted, total: f64) -> f64 {
    wanted.parameters() as f64 * total.max(2.0).ln()
}

/// What the milder criterion takes off.
fn relief(wanted: &Wanted, total: f64) -> f64 {
    let each = total.max(2.0).ln();
    let less = if wanted.stray { each } else { each.min((LESS.0 * each).max(LESS.1)) };
    wanted.parameters() as f64 * (each - less)
}

/// The least variance of a component on a scale.
fn floor(points: &[Weighted], scale: &Scale, noise: f64) -> f64 {
    // At the middle value, as everywhere: a level far above it has a smaller one.
    let mut at: Vec<f64> = points.iter().map(|p| scale.place(p.at)).collect();
    at.sort_by(f64::total_cmp);
    let range = at.last().copied().unwrap_or(0.0) - at.first().copied().unwrap_or(0.0);
    let least_slope = points.iter().map(|p| scale.slope(p.at)).fold(f64::INFINITY, f64::min);
    (noise * least_slope).powi(2).max((1e-5 * range).powi(2))
}

/// Components to levels.
fn levels(mixture: &Mixture, total: f64) -> Vec<Group> {
    let mut groups: Vec<Group> =
        mixture.components.iter().enumerate().map(|(i, c)| Group { members: vec![i], whole: *c }).collect();
    // The closest pair first, until all stand apart.
    loop {
        let closest = groups
            .windows(2)
            .enumerate()
            .filter_map(|(i, pair)| match pair {
                [a, b] => Some((i, standing(&a.whole, &b.whole))),
                _ => None,
            })
            .min_by(|a, b| a.1.total_cmp(&b.1));
        match closest {
            Some((index, apart)) if apart < APART => {
                let next = groups.remove(index + 1);
                if let Some(group) = groups.get_mut(index) {
                    group.whole = together(&group.whole, &next.whole);
                    group.members.extend(next.members);
                }
                groups.sort_by(|a, b| a.whole.mean.total_cmp(&b.whole.mean));
            }
            _ => break,
        }
    }
    groups.retain(|g| g.whole.share * total >= LEAST_READINGS.min(0.5 * total));
    groups
}

/// How far two components stand apart, in common spreads; nothing where one of few
/// readings has no gap before the other.
fn standing(a: &Component, b: &Component) -> f64 {
    let apart = std::f64::consts::SQRT_2 * (b.mean - a.mean).abs() / (a.variance + b.variance).sqrt();
    let minor = if a.share < b.share { a } else { b };
    if minor.share < SMALL_SHARE * (a.share + b.share) {
        let sum = |at: f64| a.log_density(at).exp() + b.log_density(at).exp();
        let valley = (1..20).map(|i| sum(a.mean + (b.mean - a.mean) * f64::from(i) / 20.0)).fold(f64::INFINITY, f64::min);
        if valley > 0.7 * sum(minor.mean) {
            return 0.0;
        }
    }
    apart
}

/// Two components as one.
fn together(a: &Component, b: &Component) -> Component {
    let share = a.share + b.share;
    let mean = (a.share * a.mean + b.share * b.mean) / share;
    let variance = (a.share * (a.variance + (a.mean - mean).powi(2)) + b.share * (b.variance + (b.mean - mean).powi(2))) / share;
    Component { share, mean, variance }
}

/// Where two neighbouring levels are equally likely, between their means.
pub fn boundary(a: &Component, b: &Component) -> f64 {
    let (mut low, mut high) = (a.mean.min(b.mean), a.mean.max(b.mean));
    let (lower, upper) = if a.mean <= b.mean { (a, b) } else { (b, a) };
    for _ in 0..60 {
        let at = 0.5 * (low + high);
        if lower.log_density(at) > upper.log_density(at) { low = at } else { high = at }
    }
    0.5 * (low + high)
}
