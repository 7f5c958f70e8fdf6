//! Sums and distributions against certified and tabulated values.

use crate::analysis::numeric::distribution::{self as d, Chance};
use crate::analysis::numeric::sums;
use std::path::Path;

/// The rows of numbers of a NIST StRD file that follow the heading of its data.
fn data(name: &str, heading: &str) -> Vec<Vec<f64>> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/nist-strd").join(name);
    let text = std::fs::read_to_string(path).unwrap();
    let at = text.rfind(heading).unwrap();
    let rows = text[at..].lines().skip(1).map(|l| l.split_whitespace().map(|w| w.parse().unwrap()).collect::<Vec<f64>>());
    rows.filter(|r| !r.is_empty()).collect()
}

#[track_caller]
fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= expected.abs() * relative, "found {found:e}, expected {expected:e}");
}

/// The first value, then one below and one above it in turn, 1001 in all.
fn num_acc(base: f64, first: f64) -> Vec<f64> {
    let turn = (0..1000).map(|i| base + if i % 2 == 0 { first - 0.1 } else { first + 0.1 });
    std::iter::once(base + first).chain(turn).collect()
}

#[test]
fn sums_reach_the_certified_mean_spread_and_serial_correlation() {
    // NIST StRD NumAcc1 to NumAcc4, from memory; NumAcc4 by sums of squares gives a
    // variance of -0.032. The tolerances of 3 and 4 are what rounding 10000000.1 to a
    // double leaves of 0.1.
    for (values, mean, sd, lag, tolerance) in [
        (vec![10_000_001.0, 10_000_003.0, 10_000_002.0], 10_000_002.0, 1.0, -0.5, 1e-15),
        (num_acc(1.0, 0.2), 1.2, 0.1, -0.999, 1e-13),
        (num_acc(1_000_000.0, 0.2), 1_000_000.2, 0.1, -0.999, 1e-8),
        (num_acc(10_000_000.0, 0.2), 10_000_000.2, 0.1, -0.999, 1e-7),
    ] {
        near(sums::mean(&values).unwrap(), mean, 1e-15);
        near(sums::deviation(&values).unwrap(), sd, tolerance);
        near(sums::autocorrelation(&values, 1).unwrap(), lag, tolerance);
    }
    // What plain adding loses: 1 + 1e100 + 1 - 1e100 is 2.
    assert_eq!(sums::sum([1.0, 1e100, 1.0, -1e100]), 2.0);
}

#[test]
fn a_mean_or_spread_that_does_not_exist_is_none() {
    assert_eq!(sums::mean(&[]), None);
    assert_eq!(sums::mean(&[1.0, f64::NAN]), None);
    assert_eq!(sums::mean(&[f64::INFINITY]), None);
    assert_eq!(sums::variance(&[1.0]), None);
    assert_eq!(sums::variance(&[1.0, f64::NAN, 2.0]), None);
    assert_eq!(sums::autocorrelation(&[3.0, 3.0, 3.0], 1), None);
    assert_eq!(sums::line(&[(1.0, 2.0)]), None);
    assert_eq!(sums::line(&[(1.0, 2.0), (1.0, 3.0)]), None);
    assert_eq!(sums::line(&[(1.0, 2.0), (2.0, f64::NAN)]), None);
    assert_eq!(sums::line(&[(1.0, 2.0), (2.0, 3.0)]).unwrap().u_slope, None);
}

#[test]
fn a_line_reaches_the_certified_values_of_norris() {
    // NIST StRD Norris.dat: certified estimates, standard deviations, R squared.
    let points: Vec<(f64, f64)> = data("Norris.dat", "Data:").iter().map(|row| (row[1], row[0])).collect();
    assert_eq!(points.len(), 36);
    let line = sums::line(&points).unwrap();
    near(line.intercept, -0.262323073774029, 1e-12);
    near(line.slope, 1.00211681802045, 1e-13);
    near(line.u_intercept.unwrap(), 0.232818234301152, 1e-12);
    near(line.u_slope.unwrap(), 0.429796848199937e-3, 1e-12);
    near(line.residual.unwrap(), 0.884796396144373, 1e-12);
    near(line.r_squared.unwrap(), 0.999993745883712, 1e-14);
    // The uncertainty at x = 0 is the intercept's, at the middle it is s / sqrt n.
    near(line.u_at(0.0).unwrap(), line.u_intercept.unwrap(), 1e-12);
    let middle = sums::mean(&points.iter().map(|p| p.0).collect::<Vec<_>>()).unwrap();
    near(line.u_at(middle).unwrap(), line.residual.unwrap() / 6.0, 1e-9);
}

#[test]
fn students_t_is_the_guides_table() {
    // JCGM 100:2008, table G.2 (from memory); 16 degrees and 99 %: 2.92.
    for (dof, level, t) in [(10.0, 0.95, 2.23), (10.0, 0.99, 3.17), (4.0, 0.95, 2.78), (16.0, 0.99, 2.92), (1.0, 0.95, 12.71)] {
        let found = d::student_t_two_sided(level, dof).unwrap();
        assert!((found - t).abs() < 0.005, "{dof} {level}: {found}");
    }
    near(d::student_t_two_sided(0.95, f64::INFINITY).unwrap(), 1.959_963_984_540_054, 1e-14);
}

#[test]
fn tails_keep_their_digits_where_one_minus_the_other_is_nothing() {
    // Closed forms: t with 1 degree is Cauchy's, chi-square with 2 is exponential,
    // beta(1, n) is 1 - (1 - x)^n.
    let tail = d::student_t(1e9, 1.0).unwrap().above;
    near(tail, 1.0 / (std::f64::consts::PI * 1e9), 1e-14);
    near(d::chi_square(600.0, 2.0).unwrap().above, (-300.0_f64).exp(), 1e-13);
    for n in [1e2, 1e5, 1e8] {
        near(d::beta(1e-3 / n, 1.0, n).unwrap().below, -(n * (-1e-3 / n).ln_1p()).exp_m1(), 1e-13);
        near(d::beta_at(Chance::Below(0.95), 1.0, n).unwrap(), -(0.05_f64.ln() / n).exp_m1(), 1e-13);
    }
    // scipy.stats.norm.sf(37), 1.17.1.
    near(d::normal(37.0).unwrap().above, 5.725_571_222_523_927e-300, 1e-12);
    // The tea of Fisher 1935: 1, 16, 36, 16, 1 of 70.
    for (k, ways) in [1.0, 16.0, 36.0, 16.0, 1.0].into_iter().enumerate() {
        near(d::hypergeometric_chance(k as u64, 4, 4, 8).unwrap(), ways / 70.0, 1e-13);
    }
}

#[test]
fn a_distribution_without_meaning_has_no_value() {
    assert_eq!(d::normal(f64::NAN), None);
    assert_eq!(d::student_t(1.0, 0.0), None);
    assert_eq!(d::student_t(f64::NAN, 3.0), None);
    assert_eq!(d::chi_square(f64::NAN, 3.0), None);
    assert_eq!(d::chi_square(1.0, -1.0), None);
    assert_eq!(d::f_ratio(1.0, 0.0, 3.0), None);
    assert_eq!(d::beta(f64::NAN, 1.0, 1.0), None);
    assert_eq!(d::beta(0.5, f64::INFINITY, 1.0), None);
    assert_eq!(d::binomial(1, 2, 1.5), None);
    assert_eq!(d::poisson(1, f64::NAN), None);
    assert_eq!(d::hypergeometric(1, 9, 1, 8), None);
    for chance in [0.0, 1.0, -0.1, f64::NAN] {
        assert_eq!(d::normal_at(Chance::Below(chance)), None);
        assert_eq!(d::beta_at(Chance::Above(chance), 2.0, 3.0), None);
    }
}
