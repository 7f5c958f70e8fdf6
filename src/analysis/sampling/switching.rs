//! The switching rules of ISO 2859-1:1999, 9.3 and 9.4: what the lots before make of
//! the next one. They hold for a series of lots of one part from one supplier, in
//! the order in which they came, at their first inspection.

use super::table::{Aql, Found, Inspection, Letter, plan};
use super::{Plan, Verdict};
use std::collections::VecDeque;

/// Whether reduced inspection is wanted: the standard leaves it to whoever is
/// responsible, and to a steady production (9.3.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reduction {
    /// Where the score allows.
    Allowed,
    /// Never.
    NotWanted,
}

/// Where a series stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Series {
    aql: Aql,
    reduction: Reduction,
    inspection: Inspection,
    /// Of the last five lots since the last change, whether each was refused.
    recent: VecDeque<Verdict>,
    /// Switching score, while inspection is normal (9.3.3.2).
    score: u64,
    /// Lots refused since tightened inspection began.
    refused: u64,
    stopped: bool,
}

/// What a lot did to its series.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Judged {
    /// How it was inspected.
    pub inspection: Inspection,
    /// By which plan.
    pub found: Found,
    /// With the sample that the lot has.
    pub plan: Plan,
    /// What came of it.
    pub verdict: Verdict,
    /// The switching score after it, where inspection was normal.
    pub score: Option<u64>,
}

/// Consecutive lots of a look back.
const LOOK_BACK: usize = 5;
/// Refused lots among them that tighten (9.3.1).
const TIGHTENS: usize = 2;
/// The score that may reduce (9.3.3.1).
const REDUCES: u64 = 30;
/// Lots refused on tightened inspection that end acceptance (9.4).
const STOPS: u64 = 5;

impl Series {
    /// At its beginning: normal inspection (9.1).
    pub fn new(aql: Aql, reduction: Reduction) -> Self {
        Self { aql, reduction, inspection: Inspection::Normal, recent: VecDeque::new(), score: 0, refused: 0, stopped: false }
    }

    /// How the next lot is inspected; `None` where none is accepted before the
    /// supplier has done something about it (9.4).
    pub fn next(&self) -> Option<Inspection> {
        (!self.stopped).then_some(self.inspection)
    }

    /// The switching score, while inspection is normal.
    pub fn score(&self) -> Option<u64> {
        (self.inspection == Inspection::Normal).then_some(self.score)
    }

    /// After the supplier has done something about it: tightened inspection begins anew (9.4).
    pub fn go_on(&mut self) {
        if self.stopped {
            self.switch(Inspection::Tightened);
        }
    }

    /// The next lot, with so many bad parts in its sample. `None` where no lot is
    /// accepted any more, or the lot has no plan.
    pub fn lot(&mut self, letter: Letter, lot: u64, bad: u64) -> Option<Judged> {
        let inspection = self.next()?;
        let found = plan(letter, self.aql, inspection)?;
        let plan_of_lot = found.plan.within(lot);
        let verdict = plan_of_lot.judge(bad);
        self.recent.push_back(verdict);
        if self.recent.len() > LOOK_BACK {
            self.recent.pop_front();
        }
        let mut score = None;
        match inspection {
            Inspection::Normal => {
                self.score = match (verdict, found.plan.accept) {
                    (Verdict::Accepted, 0 | 1) => self.score + 2,
                    (Verdict::Accepted, _) if self.tighter_accepts(letter, bad) => self.score + 3,
                    _ => 0,
                };
                score = Some(self.score);
                if self.recent.iter().filter(|v| **v == Verdict::Refused).count() >= TIGHTENS {
                    self.switch(Inspection::Tightened);
                } else if self.score >= REDUCES && self.reduction == Reduction::Allowed {
                    self.switch(Inspection::Reduced);
                }
            }
            Inspection::Tightened => {
                self.refused += u64::from(verdict == Verdict::Refused);
                let good = self.recent.len() == LOOK_BACK && self.recent.iter().all(|v| *v == Verdict::Accepted);
                if self.refused >= STOPS {
                    self.stopped = true;
                } else if good {
                    self.switch(Inspection::Normal);
                }
            }
            Inspection::Reduced => {
                if verdict == Verdict::Refused {
                    self.switch(Inspection::Normal);
                }
            }
        }
        Some(Judged { inspection, found, plan: plan_of_lot, verdict, score })
    }

    /// Whether the lot would have been accepted had the AQL been one step smaller.
    fn tighter_accepts(&self, letter: Letter, bad: u64) -> bool {
        let tighter = self.aql.tighter().and_then(|aql| plan(letter, aql, Inspection::Normal));
        tighter.is_some_and(|found| found.plan.judge(bad) == Verdict::Accepted)
    }

    fn switch(&mut self, to: Inspection) {
        *self = Self { inspection: to, ..Self::new(self.aql, self.reduction) };
    }
}
