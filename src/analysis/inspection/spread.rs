//! How the parts of a lot are distributed: the middle and the spread, parts that stand
//! out, parts that fall into groups, and whether earlier lots were alike.
//!
//! What spreads in ratio (all values above zero) is taken in its logarithm. Values that
//! were not read, or lie below the floor, are counted by the caller and are not here.

use crate::analysis::leakage::lot::{Told, standing};
use crate::analysis::numeric::distribution::{Chance, normal, student_t_at};
use crate::analysis::numeric::sums::mean;
use crate::analysis::rank::median;
use crate::analysis::states::{self, Place};
use crate::analysis::{Level, series::mean_and_deviation};
use crate::units::Amperes;

/// Chance that a lot without outliers is said to have one, at most.
pub const FALSE_ALARM: f64 = 0.05;
/// From so many parts on Rosner's test holds (his paper: reasonably from 15, well from 25).
const ENOUGH: usize = 15;
/// At most this share of a lot can be outliers; more is another population.
const MOST: f64 = 0.1;
/// Modified z-score below which nothing is an outlier (Iglewicz and Hoaglin 1993).
const APART: f64 = 3.5;
/// The least relative spread that is believed: meters and temperature give as much.
const LEAST_SPREAD: f64 = 0.05;
/// A group has this share of the lot at least, and this many parts.
const GROUP: (f64, f64) = (0.1, 5.0);

/// How a lot is distributed.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    /// How many values.
    pub parts: usize,
    /// The median.
    pub median: f64,
    /// Robust standard deviation, 1.4826 times the median absolute deviation: relative
    /// where the values are all above zero, else in their unit.
    pub deviation: f64,
    /// Whether it is relative.
    pub scale: Scale,
    /// Lowest and highest value.
    pub ends: (f64, f64),
    /// Parts that stand out, by their place in the list, the farthest first.
    pub outliers: Vec<Outlier>,
    /// Whether there are parts enough to tell outliers.
    pub told: Enough,
    /// Groups, where there is more than one.
    pub groups: Vec<Group>,
}

/// What a spread is relative to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// The median: values spread in ratio.
    Ratio,
    /// Nothing: values spread by difference.
    Difference,
}

/// Whether outliers can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Enough {
    /// By Rosner's test.
    Yes,
    /// Fewer than fifteen: by median and Student's t, and only those above.
    Few,
    /// Too few.
    No,
}

/// A part that stands out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outlier {
    /// Its place in the list.
    pub index: usize,
    /// Its value over the median.
    pub ratio: f64,
    /// Modified z-score: 0.6745 times its distance from the median over the MAD.
    pub z: f64,
}

/// Parts that belong together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Group {
    /// The middle.
    pub middle: f64,
    /// Share of the lot.
    pub share: f64,
    /// From which value on a part belongs to it.
    pub from: f64,
}

/// Sums up the values of a lot, each with its standard uncertainty. `None` of nothing.
pub fn spread(values: &[(f64, f64)]) -> Option<Spread> {
    let own: Vec<f64> = values.iter().map(|v| v.0).collect();
    Some(Spread { groups: groups(values), ..standing_out(&own)? })
}

/// Without groups, which take far longer.
fn standing_out(own: &[f64]) -> Option<Spread> {
    let middle = median(own)?;
    let scale = if own.iter().all(|v| *v > 0.0) { Scale::Ratio } else { Scale::Difference };
    let placed: Vec<f64> = match scale {
        Scale::Ratio => own.iter().map(|v| v.ln()).collect(),
        Scale::Difference => own.to_vec(),
    };
    let centre = median(&placed)?;
    let mad = median(&placed.iter().map(|v| (v - centre).abs()).collect::<Vec<_>>())?;
    let ends = own.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(*v), h.max(*v)));
    let least = match scale {
        Scale::Ratio => LEAST_SPREAD,
        Scale::Difference => LEAST_SPREAD * middle.abs(),
    };
    let sigma = (1.4826 * mad).max(least);
    let z = |v: f64| (v - centre) / sigma;
    let (told, candidates) = match own.len() {
        n if n >= ENOUGH => (Enough::Yes, rosner(&placed, (n as f64 * MOST).ceil() as usize, FALSE_ALARM)),
        n if scale == Scale::Ratio && n >= 5 => {
            let lot: Vec<Amperes> = own.iter().map(|v| Amperes(*v)).collect();
            let is = |i: &usize| standing(&lot, *i).is_some_and(|s| s.told == Told::Outlier);
            (Enough::Few, (0..n).filter(is).collect())
        }
        _ => (Enough::No, Vec::new()),
    };
    let mut outliers: Vec<Outlier> = candidates
        .into_iter()
        .filter_map(|index| Some(Outlier { index, ratio: own.get(index)? / middle, z: z(*placed.get(index)?) }))
        .filter(|o| o.z.abs() > APART)
        .collect();
    outliers.sort_by(|a, b| b.z.abs().total_cmp(&a.z.abs()));
    Some(Spread { parts: own.len(), median: middle, deviation: 1.4826 * mad, scale, ends, outliers, told, groups: Vec::new() })
}

/// The generalised extreme Studentized deviate test: which of at most `most` values are
/// outliers of a normal distribution, by their places, the farthest first. B. Rosner,
/// Technometrics 25 (1983) 165-172; NIST/SEMATECH handbook 1.3.5.17.3.
pub fn rosner(values: &[f64], most: usize, false_alarm: f64) -> Vec<usize> {
    let n = values.len();
    let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().filter(|(_, v)| v.is_finite()).collect();
    let (mut order, mut found) = (Vec::new(), 0);
    for taken in 1..=most.min(n.saturating_sub(3)) {
        let Some(statistic) = farthest(&left) else { break };
        let (place, deviate) = statistic;
        let Some(critical) = critical(n, taken, false_alarm) else { break };
        let (index, _) = left.remove(place);
        order.push(index);
        if deviate > critical {
            found = taken;
        }
    }
    order.truncate(found);
    order
}

/// The value farthest from the mean, by its place, in standard deviations.
fn farthest(values: &[(usize, f64)]) -> Option<(usize, f64)> {
    let own: Vec<f64> = values.iter().map(|v| v.1).collect();
    let (middle, deviation) = mean_and_deviation(&own)?;
    let deviation = deviation.filter(|d| *d > 0.0)?;
    let away = own.iter().map(|v| (v - middle).abs() / deviation);
    away.enumerate().max_by(|a, b| a.1.total_cmp(&b.1))
}

/// What the i-th deviate of n values may be.
fn critical(n: usize, i: usize, false_alarm: f64) -> Option<f64> {
    let (n, i) = (n as f64, i as f64);
    let p = false_alarm / (2.0 * (n - i + 1.0));
    let t = student_t_at(Chance::Above(p), n - i - 1.0)?;
    Some((n - i) * t / ((n - i - 1.0 + t * t) * (n - i + 1.0)).sqrt())
}

/// Groups that hold a good share of the lot each, by rising value; none where there is one.
fn groups(values: &[(f64, f64)]) -> Vec<Group> {
    let levels: Vec<Level> = values.iter().map(|(v, u)| Level::Known { value: Amperes(*v), u: Amperes(*u) }).collect();
    let Some(found) = states::find(&levels) else { return Vec::new() };
    let group = |state: &states::State| match state.place {
        Place::At { middle, from, .. } if state.share >= GROUP.0 && state.readings >= GROUP.1 => {
            Some(Group { middle: middle.0, share: state.share, from: from.0 })
        }
        _ => None,
    };
    let groups: Vec<Group> = found.states.iter().filter_map(group).collect();
    if groups.len() > 1 { groups } else { Vec::new() }
}

/// Two lots against each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Against {
    /// Median of the first over that of the second.
    pub ratio: f64,
    /// Chance that lots alike differ in their ranks at least as much, both sides.
    pub chance: f64,
}

/// Fewer parts of either lot say nothing.
const COMPARED: usize = 8;

/// Whether two lots are alike, by the sum of ranks (Wilcoxon 1945; Mann and Whitney
/// 1947), in normal approximation with the correction for ties. `None` with fewer than
/// eight parts on either side.
pub fn against(own: &[f64], other: &[f64]) -> Option<Against> {
    if own.len() < COMPARED || other.len() < COMPARED {
        return None;
    }
    Some(Against { ratio: median(own)? / median(other)?, chance: rank_sum(own, other)? })
}

/// Chance that two samples of one population differ in their ranks at least as much.
pub fn rank_sum(own: &[f64], other: &[f64]) -> Option<f64> {
    let mut all: Vec<(f64, bool)> = own.iter().map(|v| (*v, true)).chain(other.iter().map(|v| (*v, false))).collect();
    if all.iter().any(|v| v.0.is_nan()) || own.is_empty() || other.is_empty() {
        return None;
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut ranks, mut ties, mut before) = (0.0, 0.0, 0.0);
    for alike in all.chunk_by(|a, b| a.0 == b.0) {
        let n = alike.len() as f64;
        let rank = before + (n + 1.0) / 2.0;
        ranks += rank * alike.iter().filter(|v| v.1).count() as f64;
        ties += n * n * n - n;
        before += n;
    }
    let (a, b) = (own.len() as f64, other.len() as f64);
    let n = a + b;
    let u = ranks - a * (a + 1.0) / 2.0;
    let variance = a * b / 12.0 * (n + 1.0 - ties / (n * (n - 1.0)));
    if variance <= 0.0 {
        return Some(1.0);
    }
    let z = ((u - a * b / 2.0).abs() - 0.5).max(0.0) / variance.sqrt();
    normal(z).map(|t| (2.0 * t.above).min(1.0))
}

/// Mean of what is not an outlier, for a line in a plot. `None` of nothing.
pub fn without(values: &[f64], outliers: &[Outlier]) -> Option<f64> {
    let kept: Vec<f64> =
        values.iter().enumerate().filter(|(i, _)| !outliers.iter().any(|o| o.index == *i)).map(|(_, v)| *v).collect();
    mean(&kept)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// Rosner's 54 values as the NIST/SEMATECH handbook prints them in 1.3.5.17.3 (the
    /// rows are from memory, held by the published critical values and by the answer:
    /// three outliers).
    #[test]
    fn rosners_example_has_three_outliers() {
        let values = [
            -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65, 1.69, 1.70, 1.76,
            1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26, 2.35, 2.37, 2.40, 2.47, 2.54,
            2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30, 4.64, 5.34, 5.42, 6.01,
        ];
        let mut left: Vec<(usize, f64)> = values.iter().copied().enumerate().collect();
        let published = [(3.118, 3.158), (2.942, 3.151), (3.179, 3.143), (2.810, 3.136), (2.815, 3.128)];
        for (i, (deviate, limit)) in (1..).zip(published) {
            let (place, found) = farthest(&left).unwrap();
            assert!((found - deviate).abs() < 2e-3, "R{i} {found}");
            assert!((critical(54, i, 0.05).unwrap() - limit).abs() < 2e-3, "lambda {i}");
            left.remove(place);
        }
        assert_eq!(rosner(&values, 10, 0.05), [53, 52, 51]);
    }

    fn lot(random: &mut rand_chacha::ChaCha8Rng, n: usize, middle: f64, spread: f64) -> Vec<(f64, f64)> {
        use crate::analysis::numeric::distribution::normal_at;
        let mut one = || normal_at(Chance::Below(random.random_range(1e-9..1.0))).unwrap();
        (0..n).map(|_| (middle * (spread * one()).exp(), 1e-3 * middle)).collect()
    }

    #[test]
    fn plain_lots_rarely_have_outliers_or_groups() {
        let seed = 7;
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let values = |lot: &[(f64, f64)]| lot.iter().map(|v| v.0).collect::<Vec<_>>();
        for n in [8, 20, 125] {
            let alarms = |found: &Spread| !found.outliers.is_empty();
            let of = (0..400).filter(|_| alarms(&standing_out(&values(&lot(&mut random, n, 5e-8, 0.2))).unwrap())).count();
            // 5 % of 400 are 20; with four standard deviations of that 38.
            assert!(of <= 38, "seed {seed}, {n} parts: {of} of 400");
        }
        let split = (0..20).filter(|_| !spread(&lot(&mut random, 125, 5e-8, 0.2)).unwrap().groups.is_empty()).count();
        assert!(split <= 2, "seed {seed}: {split} of 20");
    }

    #[test]
    fn outliers_and_two_populations_are_found() {
        let seed = 11;
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let (mut all, mut two) = (0, 0);
        for _ in 0..100 {
            let mut values: Vec<f64> = lot(&mut random, 119, 5e-8, 0.2).iter().map(|v| v.0).collect();
            values.extend(lot(&mut random, 6, 5e-7, 0.2).iter().map(|v| v.0));
            let found = standing_out(&values).unwrap();
            let mut places: Vec<usize> = found.outliers.iter().map(|o| o.index).collect();
            places.sort_unstable();
            all += u32::from(places == [119, 120, 121, 122, 123, 124]);
        }
        for _ in 0..20 {
            let mut mixed = lot(&mut random, 60, 5e-8, 0.15);
            mixed.extend(lot(&mut random, 60, 2e-7, 0.15));
            two += u32::from(spread(&mixed).unwrap().groups.len() == 2);
        }
        assert!(all >= 90 && two >= 19, "seed {seed}: {all} of 100, {two} of 20");
        assert_eq!(standing_out(&[1.0, 1.0, 9.0]).unwrap().told, Enough::No);
        assert_eq!(spread(&[]), None);
    }

    #[test]
    fn lots_are_compared_by_their_ranks() {
        let own: Vec<f64> = (1..=10).map(f64::from).collect();
        let other: Vec<f64> = (21..=30).map(f64::from).collect();
        // scipy 1.17.1: mannwhitneyu(own, other, method="asymptotic").pvalue
        assert!((rank_sum(&own, &other).unwrap() - 1.826_717e-4).abs() < 1e-9);
        assert_eq!(rank_sum(&own, &own), Some(1.0));
        assert_eq!(against(&own[..5], &other), None);
    }
}
