//! Trends, means and stories: published values, closed forms, and simulated logs.

use super::average::average;
use super::story::{Middle, Story, tell};
use super::trend::{chance, hamed_rao, kendall, trend};
use super::*;
use crate::analysis::changes::tests::{correlated, nile, normal};
use crate::analysis::uncertainty::COVERAGE;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

fn near(found: f64, expected: f64, relative: f64) {
    assert!((found - expected).abs() <= expected.abs() * relative, "found {found}, expected {expected}");
}

#[test]
fn the_niles_fall_is_the_published_one() {
    // S, its variance, Z and p: scipy 1.17.1 and pymannkendall 1.4.3 agree; the interval of
    // the slope is scipy's theilslopes, -3.6279 to -1.4286 a year.
    let values = nile();
    let (s, variance) = kendall(&values);
    assert_eq!(s, -1387.0);
    near(variance, 112_728.333, 1e-8);
    near((s + 1.0) / variance.sqrt(), -4.128_067, 1e-6);
    near(chance(s, variance), 3.658e-5, 1e-3);
    let points: Vec<(f64, f64)> = values.iter().enumerate().map(|(i, v)| (i as f64, *v)).collect();
    let found = trend(&points, 0.95).unwrap();
    near(found.slope, -2.6, 1e-9);
    // The Nile hangs together from year to year: our interval is the published one, widened.
    assert!(found.widened >= 1.0 && found.within.0 <= -3.6279 + 1e-3 && found.within.1 >= -1.4286 - 1e-3, "{found:?}");
}

#[test]
fn kendalls_variance_and_small_cases_are_published() {
    // Kendall 1975, without ties: n 10 gives 125, n 100 gives 112750.
    for (n, expected) in [(10, 125.0), (100, 112_750.0)] {
        near(kendall(&(0..n).map(f64::from).collect::<Vec<_>>()).1, expected, 1e-12);
    }
    // 9, 4, 7, 5, 3: S = -6.
    assert_eq!(kendall(&[9.0, 4.0, 7.0, 5.0, 3.0]).0, -6.0);
    assert_eq!(trend(&[(0.0, 1.0); 10], 0.95), None, "no time has passed");
}

#[test]
fn a_mean_is_as_sure_as_its_readings_are_independent() {
    // AR(1): tau = (1 + r) / (1 - r) in closed form (Priestley, Spectral Analysis and Time
    // Series, 5.3); coverage of the mean's interval over 400 runs.
    for correlation in [0.0, 0.5, 0.9] {
        let (mut covered, mut taus) = (0, 0.0);
        for seed in 0..400 {
            let values = correlated(&mut ChaCha8Rng::seed_from_u64(seed), 2000, correlation);
            let found = average(&values).unwrap();
            taus += found.tau / 400.0;
            covered += usize::from(found.mean.abs() <= COVERAGE * found.u);
        }
        let closed = (1.0 + correlation) / (1.0 - correlation);
        println!("correlation {correlation}: tau {taus:.3}, closed form {closed:.3}; {covered} of 400 intervals hold it");
        near(taus, closed, 0.1);
        assert!((366..=396).contains(&covered), "{covered} of 400 at k = 2");
    }
    assert_eq!(average(&[1.0]), None);
    assert_eq!(average(&[3.0; 50]).unwrap().u, 0.0);
}

fn log(values: impl IntoIterator<Item = f64>, every: f64) -> Vec<Point> {
    values
        .into_iter()
        .enumerate()
        .map(|(i, v)| Point { at: Seconds(i as f64 * every), current: Level::Known { value: Amperes(v), u: Amperes(1e-5) } })
        .collect()
}

#[test]
fn a_quiet_log_is_steady() {
    // White, and AR(1) to 0.7: at most 6 % of 100 logs each are told anything but steady.
    for correlation in [0.0, 0.3, 0.7] {
        let told = (0..100)
            .filter(|seed| {
                let noise = correlated(&mut ChaCha8Rng::seed_from_u64(*seed), 600, correlation);
                let points = log(noise.iter().map(|n| 12e-3 + 2e-4 * n), 0.1);
                tell(&points).unwrap().story != Story::Steady
            })
            .count();
        println!("correlation {correlation}: {told} of 100 quiet logs are told something");
        assert!(told <= 6, "correlation {correlation}: {told} of 100");
    }
    // A ripple of a few per cent is no change of level, and constant readings are none.
    let ripple = (0..600).map(|i| 12e-3 * (1.0 + 0.015 * (f64::from(i) * 0.1 * std::f64::consts::TAU / 0.7).sin()));
    assert_eq!(tell(&log(ripple, 0.1)).unwrap().story, Story::Steady);
    assert_eq!(tell(&log(vec![12e-3; 100], 0.1)).unwrap().story, Story::Steady);
}

#[test]
fn a_step_is_told_with_its_time() {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let points = log((0..600).map(|i| if i < 400 { 12e-3 } else { 14e-3 } + 2e-4 * normal(&mut random)), 0.1);
    let told = tell(&points).unwrap();
    assert_eq!(told.story, Story::Steps);
    assert!((told.visits[1].from.0 - 40.0).abs() <= 0.1001, "{:?}", told.visits);
}

#[test]
fn bursts_are_told_with_period_and_duty() {
    // 7 mA for 0.3 s every 5 s above 3 uA, read every 100 ms: a duty of 6 %.
    let mut random = ChaCha8Rng::seed_from_u64(2);
    let values =
        (0..3000).map(|i| if (i + 20) % 50 < 3 { 7e-3 + 1e-4 * normal(&mut random) } else { 3e-6 + 1e-6 * normal(&mut random) });
    let mut points = log(values, 0.1);
    let Story::Bursts(found) = tell(&points).unwrap().story else { panic!("bursts") };
    near(found.period.0.0, 5.0, 1e-6);
    near(found.lasts.0.0, 0.3, 1e-6);
    assert!(found.even && (found.duty.0 - 0.06).abs() <= 2.0 * found.duty.1, "{found:?}");
    // Between pulses below the floor, and a gap: told the same, nothing is made of the gap.
    for point in &mut points {
        if point.current.value().is_some_and(|v| v.0 < 1e-3) {
            point.current = Level::BelowFloor { floor: Amperes(1e-3) };
        }
    }
    points.drain(700..900);
    let told = tell(&points).unwrap();
    assert_eq!(told.levels[0], Middle::BelowFloor(Amperes(1e-3)));
    let Story::Bursts(found) = told.story else { panic!("bursts") };
    near(found.period.0.0, 5.0, 1e-6);
}

#[test]
fn a_slow_rise_is_a_drift_and_no_staircase() {
    let mut random = ChaCha8Rng::seed_from_u64(3);
    let points = log((0..3000).map(|i| 12e-3 + 1e-3 * f64::from(i) / 3000.0 + 1e-4 * normal(&mut random)), 0.1);
    let Story::Drifts(found) = tell(&points).unwrap().story else { panic!("a drift") };
    // 1 mA in 300 s.
    assert!(found.within.0 <= 1e-3 / 300.0 && 1e-3 / 300.0 <= found.within.1, "{found:?}");
}

#[test]
fn trends_are_seldom_seen_where_there_are_none() {
    // At a chance of 1 %: kept where readings are independent. Of readings with a correlation
    // of 0.5 the correction takes away most, and some 6 % remain (it was 23 of 400).
    for (correlation, most) in [(0.0, 8), (0.5, 28)] {
        let told = (0..400)
            .filter(|seed| {
                let values = correlated(&mut ChaCha8Rng::seed_from_u64(*seed), 200, correlation);
                let points: Vec<(f64, f64)> = values.iter().enumerate().map(|(i, v)| (i as f64, *v)).collect();
                trend(&points, 0.95).unwrap().p < 0.01
            })
            .count();
        println!("correlation {correlation}: {told} of 400 with a trend at 1 %");
        assert!(told <= most, "correlation {correlation}: {told} of 400");
    }
    assert_eq!(hamed_rao(&[1.0; 10]), 1.0);
}
