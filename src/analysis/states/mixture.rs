//! A mixture of normal distributions in one dimension, by expectation and maximisation
//! (Dempster, Laird and Rubin, J. R. Statist. Soc. B 39, 1977; McLachlan and Peel,
//! Finite Mixture Models, 2000).
//!
//! Holds always: the starts are made from the data alone, so that the same data give the
//! same fit; no variance falls below its floor, so that the likelihood is bounded.

/// A value and how many readings it stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighted {
    /// Where.
    pub at: f64,
    /// How many.
    pub weight: f64,
    /// Standard deviation of what it stands for: a component cannot become narrower than
    /// the readings that it holds. Nought for plain likelihood.
    pub grain: f64,
}

/// One component.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Component {
    /// Its share of all readings.
    pub share: f64,
    /// Its mean.
    pub mean: f64,
    /// Its variance.
    pub variance: f64,
}

impl Component {
    /// Logarithm of its share times its density.
    #[inline]
    pub fn log_density(&self, at: f64) -> f64 {
        const LOG_TAU: f64 = 1.837_877_066_409_345_5;
        self.share.ln() - 0.5 * (LOG_TAU + self.variance.ln() + (at - self.mean).powi(2) / self.variance)
    }
}

/// What spreads the components may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spreads {
    /// Each its own.
    Own,
    /// All the same.
    Common,
}

/// What is fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// How many components.
    pub components: usize,
    /// Their spreads.
    pub spreads: Spreads,
    /// Whether readings may belong to none of them: a part that is spread evenly over the
    /// whole range (Banfield and Raftery, Biometrics 49, 1993).
    pub stray: bool,
    /// The least variance of a component.
    pub floor: f64,
}

impl Wanted {
    /// Free parameters.
    pub fn parameters(&self) -> usize {
        let spreads = match self.spreads {
            Spreads::Own => self.components,
            Spreads::Common => 1,
        };
        2 * self.components - 1 + spreads + usize::from(self.stray)
    }
}

/// A fitted mixture; components by rising mean.
#[derive(Clone, Debug, PartialEq)]
pub struct Mixture {
    /// The components.
    pub components: Vec<Component>,
    /// Share of the readings that belong to none.
    pub stray: f64,
    /// Density of those.
    pub stray_density: f64,
    /// Logarithm of the likelihood.
    pub log_likelihood: f64,
}

/// The most that may be strays: beyond, an even spread stands in for levels that overlap.
const MOST_STRAY: f64 = 0.1;

/// Rounds from every start, and most rounds of the best.
const SHORT: usize = 15;
const ROUNDS: usize = 2000;

/// A round that gains less than this, in the likelihood's logarithm, is the last.
const GAIN: f64 = 1e-6;

/// The fit with the largest likelihood that was found; `None` where there are fewer
/// different values than components.
pub fn fit(points: &[Weighted], wanted: Wanted) -> Option<Mixture> {
    let total: f64 = points.iter().map(|p| p.weight).sum();
    let (low, high) = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.at), h.max(p.at)));
    if wanted.components == 0 || points.len() < wanted.components || total <= 0.0 || !(high - low).is_finite() {
        return None;
    }
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.at.total_cmp(&b.at));
    let stray_density = if wanted.stray && high > low { 1.0 / (high - low) } else { 0.0 };
    // A few rounds from every start, then the best to its end (Biernacki, Celeux and
    // Govaert, Comput. Statist. Data Anal. 41, 2003).
    let begun = starts(&sorted, wanted.components)
        .into_iter()
        .filter_map(|cuts| climb(&sorted, total, begin(&sorted, total, &cuts, wanted, stray_density)?, wanted, SHORT))
        .max_by(|a, b| a.log_likelihood.total_cmp(&b.log_likelihood))?;
    climb(&sorted, total, begun, wanted, ROUNDS)
}

/// Ways to cut the sorted values into so many runs to begin with.
fn starts(sorted: &[Weighted], components: usize) -> Vec<Vec<usize>> {
    let mut made = vec![widest(sorted, components), even(sorted, components), compact(sorted, components)];
    // One run cut in two, or one run at an end, from the compact cut into one less.
    if components > 1 {
        let fewer = compact(sorted, components - 1);
        let edges: Vec<usize> = [0].into_iter().chain(fewer.iter().copied()).chain([sorted.len()]).collect();
        for pair in edges.windows(2) {
            if let [from, to] = pair
                && to - from > 1
            {
                let mut cuts = fewer.clone();
                cuts.push((from + to) / 2);
                cuts.sort_unstable();
                made.push(cuts);
            }
        }
    }
    made.retain(|cuts| cuts.len() + 1 == components);
    made.sort();
    made.dedup();
    made
}

/// Cut at the widest gaps.
fn widest(sorted: &[Weighted], components: usize) -> Vec<usize> {
    let mut gaps: Vec<(f64, usize)> = sorted.windows(2).zip(1..).map(|(w, i)| (w[1].at - w[0].at, i)).collect();
    gaps.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut cuts: Vec<usize> = gaps.into_iter().take(components - 1).map(|(_, i)| i).collect();
    cuts.sort_unstable();
    cuts
}

/// Cut into equal weights.
fn even(sorted: &[Weighted], components: usize) -> Vec<usize> {
    let total: f64 = sorted.iter().map(|p| p.weight).sum();
    let mut cuts = Vec::new();
    let mut sum = 0.0;
    for (index, point) in sorted.iter().enumerate().skip(1) {
        sum += point.weight;
        if sum >= total * (cuts.len() + 1) as f64 / components as f64 && cuts.len() + 1 < components {
            cuts.push(index);
        }
    }
    cuts
}

/// Cut so that the squares about the runs' means become small (Lloyd's rounds from equal
/// weights).
pub(super) fn compact(sorted: &[Weighted], components: usize) -> Vec<usize> {
    let mut cuts = even(sorted, components);
    for _ in 0..50 {
        let edges: Vec<usize> = [0].into_iter().chain(cuts.iter().copied()).chain([sorted.len()]).collect();
        let means: Vec<f64> = edges.windows(2).filter_map(|w| Some(moments(sorted.get(w[0]..w[1])?)?.1)).collect();
        let next: Vec<usize> = means.windows(2).map(|m| sorted.partition_point(|p| p.at < (m[0] + m[1]) / 2.0)).collect();
        if next == cuts {
            break;
        }
        cuts = next;
    }
    cuts.dedup();
    cuts.retain(|c| *c > 0 && *c < sorted.len());
    cuts
}

/// Weight, mean and variance.
fn moments(points: &[Weighted]) -> Option<(f64, f64, f64)> {
    let weight: f64 = points.iter().map(|p| p.weight).sum();
    if weight <= 0.0 {
        return None;
    }
    let mean = points.iter().map(|p| p.weight * p.at).sum::<f64>() / weight;
    let variance = points.iter().map(|p| p.weight * ((p.at - mean).powi(2) + p.grain * p.grain)).sum::<f64>() / weight;
    Some((weight, mean, variance))
}

/// What a start begins with.
fn begin(sorted: &[Weighted], total: f64, cuts: &[usize], wanted: Wanted, stray_density: f64) -> Option<Mixture> {
    let edges: Vec<usize> = [0].into_iter().chain(cuts.iter().copied()).chain([sorted.len()]).collect();
    let (_, _, whole) = moments(sorted)?;
    let stray = if stray_density > 0.0 { 0.02 } else { 0.0 };
    let components: Vec<Component> = edges
        .windows(2)
        .filter_map(|w| {
            let (weight, mean, variance) = moments(sorted.get(w[0]..w[1])?)?;
            // A run of one or two begins with a breadth that can catch its neighbours.
            let variance = variance.max(1e-4 * whole).max(wanted.floor).max(f64::MIN_POSITIVE);
            Some(Component { share: (1.0 - stray) * weight / total, mean, variance })
        })
        .collect();
    (components.len() == wanted.components).then_some(Mixture {
        components,
        stray,
        stray_density,
        log_likelihood: f64::NEG_INFINITY,
    })
}

/// Rounds of expectation and maximisation, so many at most. `None` where a component
/// loses all its readings.
fn climb(sorted: &[Weighted], total: f64, from: Mixture, wanted: Wanted, rounds: usize) -> Option<Mixture> {
    let Mixture { mut components, mut stray, stray_density, .. } = from;
    let floor = wanted.floor.max(f64::MIN_POSITIVE);
    let mut sums = vec![(0.0, 0.0, 0.0); components.len()];
    let mut terms = vec![0.0; components.len()];
    let mut log_likelihood = f64::NEG_INFINITY;
    for _ in 0..rounds {
        sums.fill((0.0, 0.0, 0.0));
        let (mut strays, mut reached) = (0.0, 0.0);
        // What does not hang on the value, once a round.
        let made: Vec<(f64, f64, f64)> = components.iter().map(|c| (c.log_density(c.mean), -0.5 / c.variance, c.mean)).collect();
        let stray_part = stray * stray_density;
        for point in sorted {
            let mut most = f64::NEG_INFINITY;
            for (term, (top, curve, mean)) in terms.iter_mut().zip(&made) {
                *term = top + curve * (point.at - mean) * (point.at - mean);
                most = most.max(*term);
            }
            if stray_part > 0.0 {
                most = most.max(stray_part.ln());
            }
            let mut sum = stray_part * (-most).exp();
            let own = sum;
            for term in &mut terms {
                *term = (*term - most).exp();
                sum += *term;
            }
            reached += point.weight * (most + sum.ln());
            strays += point.weight * own / sum;
            for (into, (term, (_, _, mean))) in sums.iter_mut().zip(terms.iter().zip(&made)) {
                let weight = point.weight * term / sum;
                // From the mean of the round before: no cancellation.
                let away = point.at - mean;
                into.0 += weight;
                into.1 += weight * away;
                into.2 += weight * (away * away + point.grain * point.grain);
            }
        }
        let rise = reached - log_likelihood;
        log_likelihood = reached;
        if rise.abs() < GAIN {
            break;
        }
        stray = (strays / total).min(MOST_STRAY);
        let mut pooled = 0.0;
        for (component, (weight, first, second)) in components.iter_mut().zip(&sums) {
            if *weight <= 1e-9 * total {
                return None;
            }
            let shift = first / weight;
            let variance = (second / weight - shift * shift).max(0.0);
            pooled += weight * variance;
            *component = Component {
                share: (1.0 - stray) * weight / (total - strays),
                mean: component.mean + shift,
                variance: variance.max(floor),
            };
        }
        if wanted.spreads == Spreads::Common {
            let common = (pooled / (total - strays).max(f64::MIN_POSITIVE)).max(floor);
            components.iter_mut().for_each(|c| c.variance = common);
        }
    }
    components.sort_by(|a, b| a.mean.total_cmp(&b.mean));
    log_likelihood.is_finite().then_some(Mixture { components, stray, stray_density, log_likelihood })
}
