//! Sampling plans against published rows, the rules by hand, and draws by counting.

use crate::analysis::sampling::draw::positions;
use crate::analysis::sampling::isolated::{bad_parts, both_risks, least_sample};
use crate::analysis::sampling::switching::{Reduction, Series};
use crate::analysis::sampling::table::{AQLS, Aql, Inspection, LEVELS, Letter, Level, plan};
use crate::analysis::sampling::{Plan, Verdict};
use crate::units::Ratio;

fn aql(percent: f64) -> Aql {
    Aql::of(Ratio(percent / 100.0)).unwrap()
}

fn found(lot: u64, level: Level, percent: f64, inspection: Inspection) -> (char, u64, u64) {
    let found = plan(Letter::of(lot, level).unwrap(), aql(percent), inspection).unwrap();
    (found.letter.name(), found.plan.sample, found.plan.accept)
}

/// Normal inspection, level II: rows of the standard's table as an inspection
/// service publishes them (six lot sizes, six AQLs; arrows lead to the next plan
/// with its own sample).
#[test]
fn normal_plans_are_the_published_ones() {
    const AT: [f64; 6] = [0.65, 1.0, 1.5, 2.5, 4.0, 6.5];
    // Acceptance numbers; -1: arrow down, -2: arrow up.
    let rows: [(u64, char, u64, [i64; 6]); 6] = [
        (90, 'E', 13, [-1, 0, -2, -1, 1, 2]),
        (150, 'F', 20, [0, -2, -1, 1, 2, 3]),
        (280, 'G', 32, [-2, -1, 1, 2, 3, 5]),
        (500, 'H', 50, [-1, 1, 2, 3, 5, 7]),
        (1200, 'J', 80, [1, 2, 3, 5, 7, 10]),
        (3200, 'K', 125, [2, 3, 5, 7, 10, 14]),
    ];
    for (lot, letter, sample, cells) in rows {
        for (percent, cell) in AT.into_iter().zip(cells) {
            let (l, n, accept) = found(lot, Level::II, percent, Inspection::Normal);
            assert_eq!(l, letter, "{lot}");
            match cell {
                -1 => assert!(n > sample, "{lot} at {percent}: {n}"),
                -2 => assert!(n < sample && accept == 0, "{lot} at {percent}: {n}"),
                number => assert_eq!((n, accept as i64), (sample, number), "{lot} at {percent}"),
            }
        }
    }
    // The smallest lots' samples of the same source.
    for (lot, letter, sample) in [(8, 'A', 2), (15, 'B', 3), (25, 'C', 5), (50, 'D', 8)] {
        let l = Letter::of(lot, Level::II).unwrap();
        let plans = AQLS.map(|p| plan(l, aql(p), Inspection::Normal).unwrap());
        assert!(l.name() == letter && plans.iter().any(|f| f.by == l && f.plan.sample == sample));
    }
}

/// Worked examples of the same source, and the row of letter J on tightened inspection.
#[test]
fn arrows_levels_and_tightened_plans_are_the_published_ones() {
    assert_eq!(found(1000, Level::II, 1.5, Inspection::Normal), ('J', 80, 3));
    assert_eq!(found(20, Level::I, 1.5, Inspection::Normal), ('B', 8, 0));
    for (percent, accept) in [(1.0, 1), (1.5, 2), (2.5, 3), (4.0, 5), (6.5, 8)] {
        assert_eq!(found(1000, Level::II, percent, Inspection::Tightened), ('J', 80, accept), "{percent}");
    }
}

/// What the tables keep throughout, by the standard's own reasoning: along a letter
/// more is allowed at a larger AQL, tightened lets less through than normal, reduced
/// inspects no more; every lot has a plan; a good lot at the AQL passes mostly.
#[test]
fn every_cell_has_a_plan_and_they_are_in_order() {
    for lot in [2, 9, 16, 26, 51, 91, 151, 281, 501, 1201, 3201, 10_001, 35_001, 150_001, 500_001] {
        for (level, name) in LEVELS {
            let letter = Letter::of(lot, level).unwrap();
            let mut before: Option<[f64; 3]> = None;
            for percent in AQLS {
                let what = format!("{lot}, {name}, {percent}");
                let plans = [Inspection::Normal, Inspection::Tightened, Inspection::Reduced]
                    .map(|i| plan(letter, aql(percent), i).unwrap_or_else(|| panic!("{what}")));
                let by = plans.map(|f| f.plan);
                let pass = by.map(|p| p.passes(aql(percent).share()).unwrap());
                assert!(pass[0] > 0.86 && pass[1] > 0.75 && pass[1] <= pass[0] + 1e-12, "{what}: {pass:?}");
                assert!(by[2].sample <= by[0].sample, "{what}");
                // At five times the AQL fewer pass a tightened plan than a normal one of the same row.
                let far = by.map(|p| p.passes(Ratio((aql(percent).share().0 * 5.0).min(1.0))).unwrap());
                assert!(far[1] <= far[0] + 1e-12 || plans[0].by != plans[1].by, "{what}");
                // What passes at a given share grows with the AQL, but for a step of the smallest samples.
                let at = by.map(|p| p.accepted_with(0.5).unwrap().0);
                if let Some(before) = before {
                    assert!((0..3).all(|i| at[i] >= 0.95 * before[i]), "{what}");
                }
                before = Some(at);
            }
        }
    }
    assert_eq!(Letter::of(1, Level::II), None);
    assert_eq!(Aql::of(Ratio(0.02)), None);
}

/// Chances that a lot passes, and zero-accept samples: computed with scipy's binomial
/// and hypergeometric distributions, as published beside the table.
#[test]
fn what_passes_and_what_zero_accept_takes_are_the_published_figures() {
    for (n, c, bad, chance, to) in [
        (80, 2, 0.005, 0.992, 5e-4),
        (80, 2, 0.01, 0.953, 5e-4),
        (80, 2, 0.02, 0.784, 5e-4),
        (80, 2, 0.05, 0.231, 5e-4),
        (13, 0, 0.01, 0.88, 5e-3),
        (13, 0, 0.05, 0.51, 5e-3),
    ] {
        let passes = Plan { sample: n, accept: c }.passes(Ratio(bad)).unwrap();
        assert!((passes - chance).abs() <= to, "{n}, {c} at {bad}: {passes}");
    }
    for (bad, lot, sample) in [(5, 50, 22), (5, 100, 45), (1, 100, 95), (10, 1000, 258)] {
        assert_eq!(least_sample(lot, bad, 0, 0.05).unwrap().sample, sample, "{bad} in {lot}");
    }
}

/// The least sample is the least: found again by trying every one (hypergeometric by
/// counting ways, in whole numbers).
#[test]
fn the_least_sample_is_the_least() {
    fn ways(n: u64, k: u64) -> u128 {
        (0..k.min(n + 1)).fold(1, |w, i| if i >= n { 0 } else { w * u128::from(n - i) / u128::from(i + 1) })
    }
    let passes = |n: u64, c: u64, bad: u64, lot: u64| {
        let good: u128 = (0..=c.min(bad)).filter(|k| *k <= n).map(|k| ways(bad, k) * ways(lot - bad, n - k)).sum();
        good as f64 / ways(lot, n) as f64
    };
    for lot in [2_u64, 7, 20, 31, 60] {
        for bad in 1..=lot {
            for accept in 0..bad.min(4) {
                for risk in [0.01, 0.05, 0.1, 0.5] {
                    let least = (accept + 1..=lot).find(|n| passes(*n, accept, bad, lot) <= risk).unwrap();
                    assert_eq!(least_sample(lot, bad, accept, risk).unwrap().sample, least, "{bad} of {lot}, {accept}, {risk}");
                }
            }
        }
    }
    assert_eq!(least_sample(20, 2, 2, 0.05), None);
    let both = both_risks(500, 40, 0.1, 5, 0.05).unwrap();
    assert!(both.passes_lot(40, 500).unwrap() <= 0.1 && both.passes_lot(5, 500).unwrap() >= 0.95);
    assert_eq!(
        (bad_parts(20, 0.05), bad_parts(21, 0.05), bad_parts(3, 0.01), bad_parts(0, 0.5)),
        (Some(1), Some(2), Some(1), None)
    );
}

fn series(percent: f64, reduction: Reduction, lot: u64, bad: &[u64]) -> (Vec<Verdict>, Series) {
    let letter = Letter::of(lot, Level::II).unwrap();
    let mut series = Series::new(aql(percent), reduction);
    let verdicts = bad.iter().map(|bad| series.lot(letter, lot, *bad).unwrap().verdict).collect();
    (verdicts, series)
}

/// ISO 2859-1, 9.3 and 9.4, gone through by hand.
#[test]
fn a_series_switches_by_the_rules() {
    let next = |bad: &[u64]| series(1.5, Reduction::NotWanted, 1000, bad).1.next();
    // Two of five consecutive lots tighten; two that are further apart do not.
    assert_eq!(next(&[4, 0, 0, 0, 4]), Some(Inspection::Tightened));
    assert_eq!(next(&[4, 0, 0, 0, 0, 4]), Some(Inspection::Normal));
    assert_eq!(next(&[4, 4]), Some(Inspection::Tightened));
    // Five good ones in a row, by the tightened plan (2 allowed), lead back.
    assert_eq!(next(&[4, 4, 2, 2, 2, 2, 2]), Some(Inspection::Normal));
    assert_eq!(next(&[4, 4, 2, 2, 3, 2, 2]), Some(Inspection::Tightened));
    // The fifth refused on tightened inspection stops, however many were good between.
    let mut bad = vec![4, 4];
    for _ in 0..4 {
        bad.extend([3, 0, 0]);
    }
    assert_eq!(next(&bad), Some(Inspection::Tightened));
    bad.push(3);
    let (_, mut stopped) = series(1.5, Reduction::NotWanted, 1000, &bad);
    assert_eq!(stopped.next(), None);
    stopped.go_on();
    assert_eq!(stopped.next(), Some(Inspection::Tightened));
}

/// The switching score: 3 a lot where one step of the AQL tighter would have accepted
/// it too (letter J, 1.5 %: 3 allowed, at 1.0 % 2), 2 a lot where 0 or 1 are allowed.
#[test]
fn the_switching_score_counts_as_the_standard_says() {
    let score = |percent: f64, lot: u64, bad: &[u64]| series(percent, Reduction::NotWanted, lot, bad).1.score();
    assert_eq!(score(1.5, 1000, &[2; 9]), Some(27));
    assert_eq!(score(1.5, 1000, &[2, 2, 3]), Some(0));
    assert_eq!(score(1.5, 1000, &[2, 2, 3, 0]), Some(3));
    assert_eq!(score(0.65, 1000, &[1, 0, 1]), Some(6));
    assert_eq!(score(0.65, 1000, &[1, 2]), Some(0));
    let reduced = |bad: &[u64], wanted: Reduction| series(1.5, wanted, 1000, bad).1.next();
    assert_eq!(reduced(&[0; 9], Reduction::Allowed), Some(Inspection::Normal));
    assert_eq!(reduced(&[0; 10], Reduction::Allowed), Some(Inspection::Reduced));
    assert_eq!(reduced(&[0; 10], Reduction::NotWanted), Some(Inspection::Normal));
    // One refused lot leads back.
    let back = [[0; 10].as_slice(), &[9]].concat();
    assert_eq!(reduced(&back, Reduction::Allowed), Some(Inspection::Normal));
}

/// Every position is drawn as often as any other: chi-square over 100 positions and
/// 20,000 draws of 10, seeds 0 to 19,999. With 99 degrees of freedom 1 of 10,000 true
/// draws lies above 157 (scipy: chi2.isf(1e-4, 99) = 157.0), made smaller by the draw
/// without putting back.
#[test]
fn positions_are_drawn_evenly_and_the_same_for_a_seed() {
    let mut counts = [0_u32; 100];
    for seed in 0..20_000 {
        let drawn = positions(100, 10, seed);
        assert!(drawn.len() == 10 && drawn.is_sorted_by(|a, b| a < b) && drawn.iter().all(|p| (1..=100).contains(p)));
        for position in drawn {
            counts[position as usize - 1] += 1;
        }
    }
    let chi: f64 = counts.iter().map(|c| (f64::from(*c) - 2000.0).powi(2) / 2000.0).sum();
    assert!((60.0..157.0).contains(&chi), "{chi}");
    assert_eq!(positions(1000, 5, 7), positions(1000, 5, 7));
    assert_eq!(positions(4, 9, 1), [1, 2, 3, 4]);
    assert_eq!(positions(0, 3, 1), [] as [u64; 0]);
}
