//! The parts of a lot by their trials: which one counts, and how many came out how.

use super::decision::{Count, Sampling};
use super::outcome::Outcome;
use crate::analysis::uncertainty::Standing;

/// Which trial of a part counts, where there are several.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Counting {
    /// The worst: a retest never makes a part better.
    Worst,
    /// The last.
    Last,
}

impl Counting {
    /// As a plan writes it.
    pub fn name(self) -> &'static str {
        match self {
            Counting::Worst => "worst",
            Counting::Last => "last",
        }
    }

    /// From that; what is not known is the worst.
    pub fn named(word: &str) -> Self {
        if word == Counting::Last.name() { Counting::Last } else { Counting::Worst }
    }
}

/// A trial of a part of the lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tried {
    /// From 1, in the order of the run.
    pub number: u32,
    /// The part's position in the lot.
    pub position: u32,
    /// What came of it; void while it goes on.
    pub outcome: Outcome,
    /// Whether a control has put it in doubt.
    pub doubted: bool,
}

impl Tried {
    /// Whether it says anything of its part.
    pub fn counts(&self) -> bool {
        self.outcome != Outcome::Void && !self.doubted
    }
}

/// How a part stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Not measured, or to nothing.
    Open,
    /// Measured, and all of it is in doubt.
    Doubtful,
    /// Judged, by this trial.
    Judged(Outcome, u32),
}

/// How a part stands by its trials.
pub fn part(trials: &[Tried], position: u32, counting: Counting) -> Part {
    let own = || trials.iter().filter(|t| t.position == position);
    let mut counted = own().filter(|t| t.counts());
    let one = match counting {
        Counting::Last => counted.next_back(),
        // Of equals the first.
        Counting::Worst => counted.reduce(|a, b| if a.outcome.worse(b.outcome) == a.outcome { a } else { b }),
    };
    match one {
        Some(trial) => Part::Judged(trial.outcome, trial.number),
        None if own().any(|t| t.doubted) => Part::Doubtful,
        None => Part::Open,
    }
}

/// The parts counted: `order` as they are taken, `skipped` what was left out.
pub fn count(order: &[u32], skipped: &[u32], trials: &[Tried], counting: Counting, sampling: &Sampling) -> Count {
    let mut count = Count::default();
    for position in order {
        match part(trials, *position, counting) {
            Part::Judged(Outcome::Judged(Standing::NotAdequate), _) => count.not_adequate += 1,
            Part::Judged(outcome, _) => {
                count.judged += 1;
                count.nonconforming += u32::from(outcome.is_nonconforming());
            }
            _ if skipped.contains(position) => count.skipped += 1,
            Part::Doubtful => count.doubtful += 1,
            Part::Open => {}
        }
    }
    let there = u32::try_from(order.len()).unwrap_or(u32::MAX).saturating_sub(count.skipped);
    let taken = count.judged + count.not_adequate + count.doubtful;
    count.open = sampling.sample.min(there).saturating_sub(taken);
    // Where every part is taken, what is left out has no stand-in; it needs none where it
    // could be nonconforming to the last part without changing anything.
    let whole = usize::try_from(sampling.sample).is_ok_and(|sample| sample >= order.len());
    let harmless = whole && count.judged > 0 && count.nonconforming.saturating_add(count.skipped) <= sampling.accept;
    count.short = if harmless { 0 } else { sampling.sample.saturating_sub(there) };
    count
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tried(number: u32, position: u32, standing: Standing) -> Tried {
        Tried { number, position, outcome: Outcome::Judged(standing), doubted: false }
    }

    #[test]
    fn a_retest_stands_beside_and_the_worst_or_the_last_counts() {
        let trials = [tried(1, 7, Standing::Pass), tried(2, 7, Standing::Fail), tried(3, 7, Standing::ConditionalPass)];
        let fail = Outcome::Judged(Standing::Fail);
        assert_eq!(part(&trials, 7, Counting::Worst), Part::Judged(fail, 2));
        assert_eq!(part(&trials, 7, Counting::Last), Part::Judged(Outcome::Judged(Standing::ConditionalPass), 3));
        let doubted = trials.map(|t| Tried { doubted: t.number == 2, ..t });
        assert_eq!(part(&doubted, 7, Counting::Worst), Part::Judged(Outcome::Judged(Standing::ConditionalPass), 3));
        assert_eq!(part(&trials.map(|t| Tried { doubted: true, ..t }), 7, Counting::Worst), Part::Doubtful);
        assert_eq!(part(&[Tried { outcome: Outcome::Void, ..trials[0] }], 7, Counting::Worst), Part::Open);
        assert_eq!(part(&trials, 8, Counting::Worst), Part::Open);
    }

    #[test]
    fn every_part_of_a_lot_is_counted_once() {
        let order: Vec<u32> = (1..=10).collect();
        let trials = [
            tried(1, 1, Standing::Pass),
            tried(2, 2, Standing::Fail),
            tried(3, 2, Standing::Pass),
            tried(4, 3, Standing::NotAdequate),
            Tried { doubted: true, ..tried(5, 4, Standing::Pass) },
        ];
        let sampling = Sampling::every(10, 0);
        let made = count(&order, &[5, 6], &trials, Counting::Worst, &sampling);
        let wanted = Count { judged: 2, nonconforming: 1, not_adequate: 1, doubtful: 1, skipped: 2, open: 4, short: 2 };
        assert_eq!(made, wanted);
        let sampling = Sampling { sample: 4, ..Sampling::every(10, 0) };
        assert_eq!(count(&order, &[5, 6], &trials, Counting::Worst, &sampling).open, 0);
        let sampling = Sampling { sample: 9, ..sampling };
        assert_eq!(count(&order, &[5, 6], &trials, Counting::Worst, &sampling).short, 1, "eight are left");
    }
}
