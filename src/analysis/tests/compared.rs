//! Comparisons by hand, and against published figures.

use crate::analysis::Level;
use crate::analysis::compare::course::part;
use crate::analysis::compare::current::{Reference, difference};
use crate::analysis::compare::distribution::distance;
use crate::analysis::compare::rate::{Group, Shown, rates};
use crate::analysis::compare::text::{Line, lines};
use crate::analysis::finding::LeakageStep;
use crate::analysis::leakage::Soak;
use crate::analysis::signature::envelope::Alignment;
use crate::analysis::start::Look;
use crate::units::{Amperes, Seconds, Volts};

fn group(failed: u64, counted: u64) -> Group {
    Group { failed, counted, ..Group::default() }
}

fn known(value: f64, u: f64) -> Level {
    Level::Known { value: Amperes(value), u: Amperes(u) }
}

#[test]
fn four_of_sixty_against_none_of_sixty_is_not_yet_proof() {
    let seen = rates(group(4, 60), group(0, 60), 0.95).unwrap();
    // 60·59·58·57 / (120·119·118·117), by hand.
    assert!((seen.test.unwrap().fewer - 11_703_240.0 / 197_149_680.0).abs() < 1e-12);
    assert_eq!(seen.shown, Shown::Neither);
    let needed = seen.needed.unwrap();
    // C(60, 4) / C(126, 4) = 487635 / 10009125 = 0.0487; of 125 it is 0.0503.
    assert_eq!((needed.all, needed.further), (66, 6));
    assert_eq!(rates(group(4, 60), group(0, 65), 0.95).unwrap().shown, Shown::Neither);
    assert_eq!(rates(group(4, 60), group(0, 66), 0.95).unwrap().shown, Shown::Fewer);
    assert_eq!(rates(group(0, 66), group(4, 60), 0.95).unwrap().shown, Shown::More);
    let at_99 = needed.at_99.unwrap();
    assert_eq!(rates(group(4, 60), group(0, at_99), 0.99).unwrap().shown, Shown::Fewer);
    assert_eq!(rates(group(4, 60), group(0, at_99 - 1), 0.99).unwrap().shown, Shown::Neither);
    let one = needed.with_one.unwrap();
    assert_eq!(rates(group(4, 60), group(1, one), 0.95).unwrap().shown, Shown::Fewer);
    assert_eq!(rates(group(4, 60), group(1, one - 1), 0.95).unwrap().shown, Shown::Neither);
}

#[test]
fn chances_had_nothing_changed() {
    // prod((n1 - i) / (n1 + n2 - i)), i < a: common practice, by hand to two digits.
    for (a, n1, n2, chance) in
        [(4, 500, 500, 0.062), (4, 500, 1000, 0.012), (5, 1000, 1000, 0.031), (1, 100, 400, 0.20), (1, 100, 1900, 0.050)]
    {
        let seen = rates(group(a, n1), group(0, n2), 0.95).unwrap();
        assert!((seen.test.unwrap().fewer - chance).abs() < 6e-4, "{a} of {n1}: {:?}", seen.test);
    }
}

#[test]
fn nothing_is_shown_where_nothing_failed_or_nothing_was_started() {
    assert_eq!(rates(group(0, 60), group(0, 60), 0.95).unwrap().shown, Shown::NoneFailed);
    assert_eq!(rates(group(9, 9), group(9, 9), 0.95).unwrap().shown, Shown::AllFailed);
    assert_eq!(rates(group(0, 0), group(0, 60), 0.95), None);
    assert_eq!(rates(group(7, 6), group(0, 60), 0.95), None);
}

#[test]
fn starts_that_stopped_when_something_was_decided_are_not_tested_as_if_they_had_not() {
    let stopped = Group { until_decided: true, ..group(0, 66) };
    let seen = rates(group(4, 60), stopped, 0.95).unwrap();
    assert_eq!((seen.test, seen.shown), (None, Shown::Neither), "the bounds ask for more than the exact test");
    let needed = seen.needed.unwrap().all;
    assert!(needed > 66, "{needed}");
    let enough = Group { counted: needed, ..stopped };
    assert_eq!(rates(group(4, 60), enough, 0.95).unwrap().shown, Shown::Fewer);
}

#[test]
fn two_distributions() {
    // All of one below all of the other: 2 of the C(6, 3) = 20 orders are as extreme.
    let apart = distance(&[1.0, 2.0, 3.0], &[4.0, 5.0, 6.0]).unwrap();
    assert_eq!(apart.largest, 1.0);
    assert!((apart.chance - 0.1).abs() < 1e-12);
    let same = distance(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0]).unwrap();
    assert_eq!((same.largest, same.chance), (0.0, 1.0));
    assert_eq!(distance(&[], &[1.0]), None);
    assert_eq!(distance(&[f64::NAN], &[1.0]), None);
}

#[test]
fn a_difference_counts_beyond_its_uncertainty_and_ten_percent() {
    let good = Reference::of(&[known(12.0e-3, 0.05e-3)]).unwrap();
    let of = |value: f64| difference(known(value, 0.05e-3), &good).unwrap();
    // U = 2 sqrt(0.05² + 0.05²) mA = 0.141 mA.
    assert!((of(12.1e-3).expanded.0 - 0.141_42e-3).abs() < 1e-8);
    assert!(!of(12.1e-3).distinguishable);
    assert!(of(12.5e-3).distinguishable && !of(12.5e-3).counts);
    assert!(of(13.5e-3).counts && of(10.5e-3).counts && of(10.5e-3).by.0 < 0.0);
    // Between two good units is as good as either.
    let two = Reference::of(&[known(10.0e-3, 0.05e-3), known(12.0e-3, 0.05e-3)]).unwrap();
    assert_eq!(difference(known(11.0e-3, 0.05e-3), &two).unwrap().by, Amperes(0.0));
}

#[test]
fn below_the_floor_is_a_bound_and_no_number() {
    let floor = Level::BelowFloor { floor: Amperes(1e-6) };
    let good = Reference::of(&[floor]).unwrap();
    let leaks = difference(known(5e-6, 0.1e-6), &good).unwrap();
    assert!(leaks.counts && leaks.at_least && (leaks.by.0 - 4e-6).abs() < 1e-12);
    assert!(!difference(floor, &good).unwrap().distinguishable);
    assert!(!difference(known(0.9e-6, 0.1e-6), &good).unwrap().distinguishable, "it may be the same");
    assert_eq!(difference(Level::Missing, &good), None);
    assert_eq!(Reference::of(&[Level::Missing, Level::Overload]), None);
}

#[test]
fn leakage_has_no_value_without_its_time() {
    let step = |leakage: f64, after: f64| {
        let soak = Soak {
            leakage: known(leakage, leakage / 100.0),
            at_part: None,
            at_part_u: None,
            change: None,
            electrified: Seconds(after),
            drift: None,
            decay: None,
            wander: None,
            reform: None,
        };
        LeakageStep { set: Volts(6.0), soak }
    };
    let (a, b) = ([step(2e-6, 180.0)], [step(1e-6, 60.0)]);
    let other_time = crate::analysis::compare::leakage::compare(&a, &[&b]);
    assert_eq!((other_time[0].difference, other_time[0].times), (None, Some((Seconds(180.0), Seconds(60.0)))));
    let b = [step(1e-6, 180.0)];
    let same = crate::analysis::compare::leakage::compare(&a, &[&b]);
    assert!(same[0].difference.unwrap().counts);
    assert!(crate::analysis::compare::leakage::compare(&a, &[]).is_empty());
}

#[test]
fn two_texts_line_by_line() {
    let made = lines("a\nb\nc\n", "a\nx\nc\nd\n").unwrap();
    assert_eq!(made, [Line::Both("a"), Line::A("b"), Line::B("x"), Line::Both("c"), Line::B("d")]);
    assert_eq!(lines("", "").unwrap(), []);
}

/// The courses of starts of one run: a rise after some `later` than half a second, more or
/// less, to 12 mA with a ripple; by an instrument whose error is the same in all of them.
fn run(seed: u64, starts: usize, later: f64, more: f64) -> Vec<Vec<Look>> {
    use rand::{RngExt, SeedableRng};
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
    // Limits of error of 1 %, rectangular.
    let gain = 1.0 + random.random_range(-0.01..0.01);
    let u = 0.01 / 3_f64.sqrt();
    (0..starts)
        .map(|_| {
            let rise = 0.5 + later + random.random_range(-0.1..0.1);
            let phase = random.random_range(0.0..0.04);
            let readings = (0..36).map(|i| phase + 0.04 * f64::from(i));
            readings
                .map(|at| {
                    let ripple = 1.0 + 0.02 * (at * 9.0 + phase * 150.0).sin();
                    let value = gain * if at < rise { 65e-6 } else { 12e-3 * ripple * (1.0 + more) };
                    let current = Level::Known { value: Amperes(value), u: Amperes(u * value) };
                    Look { at: Seconds(at), voltage: None, current, limiting: None }
                })
                .collect()
        })
        .collect()
}

#[test]
fn runs_of_one_unit_take_one_course_and_others_are_told_by_when_they_part() {
    let part_of = |seed: u64, later: f64, more: f64| {
        let (good, other) = (run(seed, 20, 0.0, 0.0), run(9000 + seed, 20, later, more));
        let good: Vec<&[Look]> = good.iter().map(Vec::as_slice).collect();
        let other: Vec<&[Look]> = other.iter().map(Vec::as_slice).collect();
        part(&good, &other, Alignment::SwitchOn).unwrap()
    };
    let alarms = (0..200).filter(|seed| part_of(*seed, 0.0, 0.0).differ()).count();
    assert!(alarms <= 4, "{alarms} of 200 runs of the same unit are said to differ");
    // Another of its kind, 5 % apart, is still a good one.
    let apart = (0..100).filter(|seed| part_of(*seed, 0.0, 0.05).differ()).count();
    assert!(apart <= 2, "{apart} of 100");
    let (mut late, mut more) = (0, 0);
    for seed in 0..100 {
        let parting = part_of(seed, 0.4, 0.0);
        late += usize::from(parting.differ());
        // They part when the good ones have risen and these have not.
        let at = parting.at.unwrap().0;
        assert!((0.5..0.8).contains(&at), "seed {seed}: {at}");
        more += usize::from(part_of(seed, 0.0, 0.4).differ());
    }
    assert_eq!((late, more), (100, 100), "of 100: 0.4 s later, 40 % more");
}
