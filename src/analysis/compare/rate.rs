//! Failing rates of two sides: Fisher's exact test, and how many starts it still takes.
//!
//! Holds always: where a side stopped because a claim was decided, the exact test does not
//! hold for it; then bounds that hold whenever one stops are set against each other, each
//! with half of the error.

use crate::analysis::proportion::{
    Fisher, Interval, chance_unchanged, clopper_pearson, fisher, least, lower_bound, starts_after_needed, upper_bound,
};
use crate::analysis::sequential::Claim;
use crate::units::Ratio;

/// The starts of one side. Void ones are in neither count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Group {
    /// That failed.
    pub failed: u64,
    /// That count.
    pub counted: u64,
    /// That do not count.
    pub void: u64,
    /// They went on until a claim was decided.
    pub until_decided: bool,
}

impl Group {
    fn lower(&self, confidence: f64) -> Option<Ratio> {
        if self.until_decided {
            Claim::lower(self.failed, self.counted, confidence)
        } else {
            lower_bound(self.failed, self.counted, confidence)
        }
    }

    fn upper(&self, confidence: f64) -> Option<Ratio> {
        if self.until_decided {
            Claim::upper(self.failed, self.counted, confidence)
        } else {
            upper_bound(self.failed, self.counted, confidence)
        }
    }

    /// The two-sided interval of the failing rate.
    pub fn interval(&self, confidence: f64) -> Option<Interval> {
        if self.until_decided {
            Claim::interval(self.failed, self.counted, confidence)
        } else {
            clopper_pearson(self.failed, self.counted, confidence)
        }
    }

    /// The one-sided upper bound of the failing rate.
    pub fn bound(&self, confidence: f64) -> Option<Ratio> {
        self.upper(confidence)
    }
}

/// Which way the rates differ, as far as it is shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shown {
    /// The second side fails less often.
    Fewer,
    /// The second side fails more often.
    More,
    /// Neither is shown.
    Neither,
    /// No start of either side failed.
    NoneFailed,
    /// Every start of both sides failed.
    AllFailed,
}

/// How many starts of the second side would show that it fails less often.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Needed {
    /// In all, with no more failures than there were.
    pub all: u64,
    /// So many more than there were.
    pub further: u64,
    /// In all, at 99 %.
    pub at_99: Option<u64>,
    /// In all, with one failure more.
    pub with_one: Option<u64>,
}

/// Two failing rates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rates {
    /// The first side.
    pub a: Group,
    /// The second side.
    pub b: Group,
    /// Fisher's test, where both sides had their number fixed beforehand and there is
    /// something to compare.
    pub test: Option<Fisher>,
    /// What is shown at this confidence.
    pub shown: Shown,
    /// The confidence that was asked for.
    pub confidence: f64,
    /// How many starts it would take; `None` where it is shown, or no number would.
    pub needed: Option<Needed>,
}

/// Compares two sides; `None` where one has no start that counts.
pub fn rates(a: Group, b: Group, confidence: f64) -> Option<Rates> {
    let valid = |g: &Group| g.counted > 0 && g.failed <= g.counted;
    if !(valid(&a) && valid(&b) && confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let open = a.until_decided || b.until_decided;
    let test = if open { None } else { fisher((a.failed, a.counted), (b.failed, b.counted)) };
    let shown = if a.failed + b.failed == 0 {
        Shown::NoneFailed
    } else if a.failed == a.counted && b.failed == b.counted {
        Shown::AllFailed
    } else if fewer(&a, &b, confidence) {
        Shown::Fewer
    } else if fewer(&b, &a, confidence) {
        Shown::More
    } else {
        Shown::Neither
    };
    let needed = (shown == Shown::Neither).then(|| needed(&a, &b, confidence)).flatten();
    Some(Rates { a, b, test, shown, confidence, needed })
}

/// Whether the second fails less often, shown at this confidence.
fn fewer(a: &Group, b: &Group, confidence: f64) -> bool {
    if a.until_decided || b.until_decided {
        let half = 0.5 + 0.5 * confidence;
        return a.lower(half).zip(b.upper(half)).is_some_and(|(low, high)| high < low);
    }
    chance_unchanged((a.failed, a.counted), (b.failed, b.counted)).is_some_and(|chance| chance <= 1.0 - confidence)
}

fn needed(a: &Group, b: &Group, confidence: f64) -> Option<Needed> {
    let all = |failed: u64, confidence: f64| -> Option<u64> {
        if a.until_decided || b.until_decided {
            least(failed.max(1), |n| fewer(a, &Group { failed, counted: n, ..*b }, confidence))
        } else {
            starts_after_needed((a.failed, a.counted), failed, confidence)
        }
    };
    let fewest = all(b.failed, confidence).filter(|n| *n > b.counted)?;
    Some(Needed {
        all: fewest,
        further: fewest - b.counted,
        at_99: (confidence < 0.99).then(|| all(b.failed, 0.99)).flatten(),
        with_one: all(b.failed + 1, confidence),
    })
}
