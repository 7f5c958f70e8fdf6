//! `[sampling]` of a lot file: how many parts are taken, and what decides.
//!
//! One of four: nothing, and every part is taken; `sample` and `accept` as agreed; `aql`
//! for a lot in a series, by ISO 2859-1; `limiting` for a lot that stands alone.

use crate::analysis::inspection::decision::{Sampling, Stops};
use crate::analysis::sampling::isolated::{bad_parts, both_risks, least_sample};
use crate::analysis::sampling::switching::{Reduction, Series};
use crate::analysis::sampling::table::{AQLS, Aql, Inspection, LEVELS, Letter, Level, plan};
use crate::document::Table;
use crate::units::Ratio;

/// How a lot is sampled.
#[derive(Clone, Debug, PartialEq)]
pub struct Sampled {
    /// The numbers.
    pub numbers: Sampling,
    /// Where they come from, in words.
    pub by: String,
    /// What earlier lots may change of it.
    pub series: Option<InSeries>,
}

/// A plan that hangs on the lots before.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InSeries {
    aql: Aql,
    level: Level,
    reduction: Reduction,
}

/// An earlier lot of the same part from the same supplier, at its first inspection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LotBefore {
    /// Its size.
    pub quantity: u32,
    /// Nonconforming parts in its sample.
    pub nonconforming: u32,
}

/// What a series makes of its next lot.
struct After {
    inspection: Inspection,
    letter: Letter,
    plan: crate::analysis::sampling::Plan,
    /// Somewhere before it acceptance had to stop.
    stopped: bool,
}

/// Every part of a lot.
pub(super) fn every(quantity: u32) -> Sampled {
    Sampled { numbers: Sampling::every(quantity, 0), by: "every part".into(), series: None }
}

impl InSeries {
    /// The plan after these lots, in their order. Where acceptance had been stopped by the
    /// rules, tightened inspection begins anew: that somebody has done something about it
    /// is for the user to know.
    fn after(self, before: &[LotBefore], quantity: u32) -> Option<After> {
        let mut series = Series::new(self.aql, self.reduction);
        let mut stopped = false;
        for lot in before {
            stopped |= series.next().is_none();
            series.go_on();
            let letter = Letter::of(lot.quantity.into(), self.level)?;
            series.lot(letter, lot.quantity.into(), lot.nonconforming.into())?;
        }
        stopped |= series.next().is_none();
        series.go_on();
        let inspection = series.next()?;
        let letter = Letter::of(quantity.into(), self.level)?;
        let plan = plan(letter, self.aql, inspection)?.plan.within(quantity.into());
        Some(After { inspection, letter, plan, stopped })
    }
}

impl Sampled {
    /// The same after these earlier lots, where it hangs on them.
    pub fn after(&self, before: &[LotBefore], quantity: u32) -> Option<Self> {
        let series = self.series?;
        let After { inspection, letter, plan, stopped } = series.after(before, quantity)?;
        let lots = match before.len() {
            0 => "no lot before it".to_owned(),
            1 => "one lot before it".to_owned(),
            n => format!("{n} lots before it"),
        };
        let by = format!(
            "AQL {}, letter {}, {} inspection after {lots} (ISO 2859-1)",
            series.aql.share(),
            letter.name(),
            inspection.name()
        );
        // The rules end acceptance here; whether the supplier has done something about it is
        // not for the program to know, but for whoever reads this to ask.
        let stop = "; before it five lots had been refused on tightened inspection, after which none is accepted until the supplier has done something about it (9.4)";
        let by = if stopped { by + stop } else { by };
        Some(Self { numbers: numbers(plan, self.numbers.stops)?, by, series: self.series })
    }
}

fn numbers(plan: crate::analysis::sampling::Plan, stops: Stops) -> Option<Sampling> {
    let (sample, accept) = (u32::try_from(plan.sample).ok()?, u32::try_from(plan.accept).ok()?);
    Some(Sampling { sample, accept, reject: accept + 1, stops })
}

/// How strictly, in a lot file.
#[derive(Clone, Copy, PartialEq)]
enum How {
    Fixed(Inspection),
    BySeries,
}

const HOW: [(&str, How); 4] = [
    ("normal", How::Fixed(Inspection::Normal)),
    ("tightened", How::Fixed(Inspection::Tightened)),
    ("reduced", How::Fixed(Inspection::Reduced)),
    ("by the series", How::BySeries),
];

const REDUCTION: [(&str, Reduction); 2] = [("allowed", Reduction::Allowed), ("never", Reduction::NotWanted)];

pub(super) fn read(mut table: Table<'_>, quantity: u32) -> Option<Sampled> {
    let stops = table.choice("stop", &Stops::ALL).unwrap_or(Stops::AtTheEnd);
    let ways = [("aql", "sample"), ("aql", "limiting"), ("limiting", "sample")];
    if let Some((one, other)) = ways.into_iter().find(|(one, other)| table.has(one) && table.has(other)) {
        table.problem(other, format!("{one:?} and {other:?} say two ways to sample"), "the second", None);
    }
    let sampled = if table.has("aql") {
        in_series(&mut table, quantity, stops)
    } else if table.has("limiting") {
        alone(&mut table, quantity, stops)
    } else {
        stated(&mut table, quantity, stops)
    };
    table.finish();
    sampled
}

/// As agreed.
fn stated(table: &mut Table<'_>, quantity: u32, stops: Stops) -> Option<Sampled> {
    let whole = |n: Option<u64>| n.and_then(|n| u32::try_from(n).ok());
    let by = if table.has("sample") { "as agreed" } else { "every part" };
    let sample = whole(table.count("sample", 1, quantity.into())).unwrap_or(quantity);
    let accept = whole(table.count("accept", 0, u32::MAX.into())).unwrap_or(0);
    if accept >= sample {
        table.problem(
            "accept",
            format!("a sample of {sample} that may hold {accept} nonconforming parts decides nothing"),
            "as many as are taken, or more",
            None,
        );
    }
    let numbers = Sampling { stops, ..Sampling { sample, ..Sampling::every(quantity, accept) } };
    Some(Sampled { numbers, by: by.into(), series: None })
}

/// A lot in a series.
fn in_series(table: &mut Table<'_>, quantity: u32, stops: Stops) -> Option<Sampled> {
    let share: Option<Ratio> = super::read::above_zero(table, "aql");
    let level = table.choice("level", &LEVELS.map(|(level, name)| (name, level))).unwrap_or(Level::II);
    let how = table.choice("inspection", &HOW).unwrap_or(How::Fixed(Inspection::Normal));
    let reduction = table.choice("reduced", &REDUCTION);
    if reduction.is_some() && how != How::BySeries {
        let title = "\"reduced\" counts where the series decides".to_owned();
        table.problem("reduced", title, "without a series", Some("write inspection = \"by the series\", or leave it out".into()));
    }
    let share = share?;
    let Some(aql) = Aql::of(share) else {
        let all: Vec<String> = AQLS.iter().map(f64::to_string).collect();
        let hint = format!("in percent: {}", all.join(", "));
        table.problem("aql", format!("{share} is not one of the preferred limits"), "not in the tables", Some(hint));
        return None;
    };
    let Some(letter) = Letter::of(quantity.into(), level) else {
        table.problem("aql", "a lot of one part has no sampling plan".to_owned(), "for two parts or more", None);
        return None;
    };
    let series = InSeries { aql, level, reduction: reduction.unwrap_or(Reduction::NotWanted) };
    match how {
        How::BySeries => {
            let begun =
                Sampled { numbers: Sampling { stops, ..Sampling::every(quantity, 0) }, by: String::new(), series: Some(series) };
            begun.after(&[], quantity)
        }
        How::Fixed(inspection) => {
            let plan = plan(letter, aql, inspection)?.plan.within(quantity.into());
            let by = format!("AQL {share}, letter {}, {} inspection (ISO 2859-1)", letter.name(), inspection.name());
            Some(Sampled { numbers: numbers(plan, stops)?, by, series: None })
        }
    }
}

/// A lot that stands alone.
fn alone(table: &mut Table<'_>, quantity: u32, stops: Stops) -> Option<Sampled> {
    let limiting: Option<Ratio> = super::read::above_zero(table, "limiting");
    let risk: Option<Ratio> = super::read::above_zero(table, "risk");
    let risk = risk.unwrap_or(Ratio(0.05));
    let good: Option<Ratio> = super::read::above_zero(table, "good");
    let refused: Option<Ratio> = super::read::above_zero(table, "refused");
    let accept = table.count("accept", 0, quantity.into());
    if accept.is_some() && good.is_some() {
        table.problem("accept", "\"accept\" and \"good\" both say how many may be bad".to_owned(), "one of them", None);
    }
    let limiting = limiting?;
    let bad = bad_parts(quantity.into(), limiting.0).unwrap_or(u64::from(quantity) + 1);
    let plan = match good {
        Some(good) => bad_parts(quantity.into(), good.0)
            .and_then(|good| both_risks(quantity.into(), bad, risk.0, good, refused.unwrap_or(Ratio(0.05)).0)),
        None => least_sample(quantity.into(), bad, accept.unwrap_or(0), risk.0),
    };
    let Some(plan) = plan else {
        let title = format!("no sample of {quantity} parts keeps a lot with {limiting} bad out");
        let hint = "take a larger limiting share, or a smaller one for a good lot, or every part";
        table.problem("limiting", title, "cannot be kept", Some(hint.into()));
        return None;
    };
    let by = format!("limiting quality {limiting}, passed with {risk} at most, computed for this lot");
    Some(Sampled { numbers: numbers(plan, stops)?, by, series: None })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::document::Document;
    use crate::plan::Lot;

    fn lot(quantity: u32, sampling: &str) -> Result<Lot, String> {
        let text = format!(
            "[lot]\nnumber = \"1\"\npart = \"bead\"\noperator = \"M\"\nquantity = {quantity}\n\n[sampling]\n{sampling}\n"
        );
        let document = Document { name: "lot.toml".into(), text };
        Lot::read(&document).map_err(|problems| problems.to_string())
    }

    fn numbers(quantity: u32, sampling: &str) -> (u32, u32) {
        let lot = lot(quantity, sampling).unwrap();
        (lot.sampling.numbers.sample, lot.sampling.numbers.accept)
    }

    /// ISO 2859-1 by a public table, and zero-accept samples computed with scipy.
    #[test]
    fn a_lot_is_sampled_as_its_file_says() {
        assert_eq!(numbers(125, ""), (125, 0));
        assert_eq!(numbers(125, "sample = 20\naccept = 1"), (20, 1));
        assert_eq!(numbers(1000, "aql = \"1.5 %\""), (80, 3));
        assert_eq!(numbers(1000, "aql = \"1.5 %\"\ninspection = \"tightened\""), (80, 2));
        assert_eq!(numbers(20, "aql = \"1.5 %\"\nlevel = \"I\""), (8, 0));
        assert_eq!(numbers(5, "aql = \"0.65 %\""), (5, 0), "the plan's sample is 20: all of the lot");
        assert_eq!(numbers(100, "limiting = \"5 %\""), (45, 0));
        assert_eq!(numbers(50, "limiting = \"10 %\"\nrisk = \"5 %\""), (22, 0));
    }

    #[test]
    fn what_cannot_be_sampled_is_pointed_out() {
        for (sampling, says) in [
            ("aql = \"2 %\"", "not one of the preferred limits"),
            ("aql = \"1.5 %\"\nsample = 20", "say two ways to sample"),
            ("limiting = \"5 %\"\naql = \"1.5 %\"", "say two ways to sample"),
            ("limiting = \"1 %\"\naccept = 3", "keeps a lot with 1 % bad out"),
            ("limiting = \"5 %\"\naccept = 1\ngood = \"1 %\"", "both say how many may be bad"),
            ("sample = 5\naccept = 5", "decides nothing"),
            ("aql = \"1.5 %\"\nreduced = \"allowed\"", "where the series decides"),
            ("aql = 1.5", "unit"),
            ("aql = \"1.5 %\"\nlevel = \"IV\"", "IV"),
        ] {
            let told = lot(100, sampling).unwrap_err();
            assert!(told.contains(says), "{sampling}: {told}");
        }
    }

    /// ISO 2859-1, 9.3.1: two lots of five refused lead to tightened inspection.
    #[test]
    fn a_series_of_lots_decides_about_the_next() {
        let one = lot(1000, "aql = \"1.5 %\"\ninspection = \"by the series\"").unwrap();
        assert_eq!((one.sampling.numbers.sample, one.sampling.numbers.accept), (80, 3));
        let before = |bad: &[u32]| bad.iter().map(|n| LotBefore { quantity: 1000, nonconforming: *n }).collect::<Vec<_>>();
        let after = one.after(&before(&[0, 4, 5]));
        assert_eq!((after.sampling.numbers.sample, after.sampling.numbers.accept), (80, 2));
        assert!(after.sampling.by.contains("tightened inspection after 3 lots before it"), "{}", after.sampling.by);
        assert_eq!(one.after(&before(&[0, 4, 3])).sampling.numbers.accept, 3);
        // Without a series nothing hangs on lots before.
        let fixed = lot(1000, "aql = \"1.5 %\"").unwrap();
        assert_eq!(fixed.after(&before(&[9, 9])).sampling, fixed.sampling);
    }
}
