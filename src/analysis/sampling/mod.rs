//! Attribute sampling of lots: how many parts to draw, how many bad ones to allow,
//! and what such a plan lets through.
//!
//! [`Plan`] is a single sampling plan and its operating characteristic. [`table`] has
//! the plans of ISO 2859-1 by lot size, level and acceptance quality limit (AQL), for
//! a series of lots; [`switching`] what a series makes of the next one; [`isolated`]
//! computes the plan of a lot that stands alone; [`draw`] says which positions to pull.

pub mod draw;
pub mod isolated;
pub mod switching;
pub mod table;

use super::numeric::distribution::{binomial, hypergeometric};
use super::proportion::upper_bound;
use crate::units::Ratio;

/// A single sampling plan: so many parts are inspected, and the lot is accepted with
/// so many bad ones among them, or fewer. The refusal number is one more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plan {
    /// Parts to inspect; one or more.
    pub sample: u64,
    /// Bad parts with which the lot is accepted still.
    pub accept: u64,
}

/// What a sample says of its lot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// No more bad parts than are allowed.
    Accepted,
    /// More.
    Refused,
}

impl Plan {
    /// The number of bad parts from which on the lot is refused.
    pub fn refuse(self) -> u64 {
        self.accept + 1
    }

    /// What the plan says to so many bad parts in its sample.
    pub fn judge(self, bad: u64) -> Verdict {
        if bad <= self.accept { Verdict::Accepted } else { Verdict::Refused }
    }

    /// For this lot: all of it where the sample would be as large (ISO 2859-1, 10.3).
    #[must_use]
    pub fn within(self, lot: u64) -> Self {
        Self { sample: self.sample.min(lot), ..self }
    }

    /// The chance that a lot of a process with this share of bad parts is accepted:
    /// binomial, the lot being a sample of the process itself (type B).
    pub fn passes(self, bad: Ratio) -> Option<f64> {
        Some(binomial(self.accept, self.sample, bad.0)?.below)
    }

    /// The chance that a lot of `lot` parts with exactly `bad` bad ones is accepted:
    /// hypergeometric (type A). `None` where there are not so many parts.
    pub fn passes_lot(self, bad: u64, lot: u64) -> Option<f64> {
        Some(hypergeometric(self.accept, self.sample, bad, lot)?.below)
    }

    /// The share of bad parts in a process that is accepted with this chance; the
    /// other way round of [`Plan::passes`].
    pub fn accepted_with(self, chance: f64) -> Option<Ratio> {
        // P(X <= c; n, p) = chance is what an upper bound at 1 - chance solves.
        upper_bound(self.accept, self.sample, 1.0 - chance)
    }
}
