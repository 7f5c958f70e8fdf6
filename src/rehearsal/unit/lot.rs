//! A made-up lot: capacitors drawn with the rehearsal's seed, some of which leak far more;
//! the fixture that they are put into, and what the operator does beside what is asked.

use super::solid;
use crate::document::Table;
use crate::rehearsal::circuit::Solid;
use crate::units::{Ohms, Ratio};
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A made-up lot.
#[derive(Clone, Debug)]
pub struct MadeUpLot {
    /// How many parts.
    parts: u32,
    /// What they are like in the middle.
    middle: Solid,
    /// Resistor of the fixture.
    series: Ohms,
    /// Standard deviation of the logarithm of their leakage.
    spread: Ratio,
    /// How many leak so many times more.
    outliers: (u32, f64),
    /// Share of the lot that is of another making, and leaks so many times more.
    others: (Ratio, f64),
}

/// A fixture that gets dirty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fixture {
    /// The path that each insertion leaves across the part.
    pub each: Ohms,
    /// After so many insertions.
    pub after: u32,
    /// Whether it comes clean when it is cleaned.
    pub comes_clean: bool,
}

/// What the operator says beside what is asked: at the first question for that part.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// The part, as stand-ins know it.
    pub part: String,
    /// What is typed.
    pub answer: String,
}

impl MadeUpLot {
    pub(super) fn read(mut table: Table<'_>) -> Option<Self> {
        let parts = match table.has("parts") {
            true => table.count("parts", 1, 100_000).and_then(|n| u32::try_from(n).ok()),
            false => table.missing("parts", Some("how many parts there are: parts = 125".into())),
        };
        let series = table.quantity("series").unwrap_or(Ohms(1e3));
        let spread = table.quantity("spread").unwrap_or(Ratio(0.0));
        let outliers = table.table("outliers").map_or((0, 1.0), |mut inner| {
            let count = inner.count("count", 0, 100_000).and_then(|n| u32::try_from(n).ok()).unwrap_or(1);
            let times = inner.number("times").unwrap_or(10.0);
            inner.finish();
            (count, times)
        });
        let others = table.table("others").map_or((Ratio(0.0), 1.0), |mut inner| {
            let made = (inner.quantity("share").unwrap_or(Ratio(0.3)), inner.number("times").unwrap_or(3.0));
            inner.finish();
            made
        });
        for (key, times) in [("outliers", outliers.1), ("others", others.1)] {
            if times <= 0.0 {
                table.problem(key, "a leakage is multiplied by a number above zero", "not above zero", None);
            }
        }
        let middle = solid(&mut table);
        table.finish();
        Some(Self { parts: parts?, middle: middle?, series, spread, outliers, others })
    }

    /// The parts by their position, and the positions of those that leak far more.
    pub fn draw(&self, seed: u64) -> (Vec<(Solid, Ohms)>, Vec<u32>) {
        let random = &mut ChaCha8Rng::seed_from_u64(seed ^ 0x107);
        let mut positions: Vec<u32> = (1..=self.parts).collect();
        positions.shuffle(random);
        let mut bad: Vec<u32> = positions.into_iter().take(usize::try_from(self.outliers.0).unwrap_or(0)).collect();
        bad.sort_unstable();
        let mut parts = Vec::new();
        for position in 1..=self.parts {
            let mut times = (self.spread.0 * normal(random)).exp();
            if random.random_range(0.0..1.0) < self.others.0.0 {
                times *= self.others.1;
            }
            if bad.contains(&position) {
                times *= self.outliers.1;
            }
            let mut part = self.middle.clone();
            part.insulation = part.insulation / times;
            if let Some(field) = &mut part.field {
                field.at_one_volt = field.at_one_volt * times;
            }
            parts.push((part, self.series));
        }
        (parts, bad)
    }
}

/// A standard normal value, by Box and Muller.
fn normal(random: &mut ChaCha8Rng) -> f64 {
    let (a, b): (f64, f64) = (random.random_range(1e-12..1.0), random.random_range(0.0..1.0));
    (-2.0 * a.ln()).sqrt() * (std::f64::consts::TAU * b).cos()
}

pub(super) fn fixture(mut table: Table<'_>) -> Option<Fixture> {
    let each: Option<Ohms> = table.need("each");
    if each.is_some_and(|e| e.0 <= 0.0) {
        table.problem("each", "a path has a resistance above zero", "not above zero", None);
    }
    let after = table.count("after", 0, 100_000).and_then(|n| u32::try_from(n).ok()).unwrap_or(0);
    let comes_clean = table.flag("comes_clean").unwrap_or(true);
    table.finish();
    Some(Fixture { each: each?, after, comes_clean })
}

pub(super) fn remarks(mut table: Table<'_>) -> Vec<Remark> {
    let mut made = Vec::new();
    for text in table.texts("say").unwrap_or_default() {
        match text.split_once(':') {
            Some((part, answer)) => made.push(Remark { part: part.trim().into(), answer: answer.trim().into() }),
            None => table.problem(
                "say",
                format!("{text:?} does not say at which part"),
                "no part",
                Some("write say = [\"17: skip a bent lead\"]".into()),
            ),
        }
    }
    table.finish();
    made
}
