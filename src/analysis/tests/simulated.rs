//! Leakage on simulated data with known truth: what is found, how often, and how often
//! something is found that is not there. Seeded; the rates stand beside each.

use crate::analysis::leakage::conduction::{At, Law, Verdict, rank};
use crate::analysis::leakage::decay::{Told, Value, decay};
use crate::analysis::leakage::wander::{Wander, wander};
use crate::units::{Amperes, Volts};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Normal noise by Box and Muller.
fn normal(random: &mut ChaCha8Rng) -> f64 {
    let (a, b): (f64, f64) = (random.random_range(1e-12..1.0), random.random_range(0.0..1.0));
    (-2.0 * a.ln()).sqrt() * (2.0 * std::f64::consts::PI * b).cos()
}

/// A soak: constant, absorption, noise and the meter's step.
struct Soak {
    leakage: f64,
    absorbed: f64,
    exponent: f64,
    noise: f64,
    quantum: f64,
    readings: u32,
    every: f64,
}

impl Soak {
    fn drawn(random: &mut ChaCha8Rng) -> Self {
        let leakage = 10f64.powf(random.random_range(-9.0..-5.0));
        let noise = leakage * 10f64.powf(random.random_range(-4.0..-2.0));
        Self {
            leakage,
            absorbed: leakage * 10f64.powf(random.random_range(-1.0..1.0)),
            exponent: random.random_range(0.8..1.1),
            noise,
            quantum: noise * *[0.0, 0.3, 1.0, 3.0].get(random.random_range(0..4_usize)).unwrap(),
            readings: *[40, 60, 120, 300].get(random.random_range(0..4_usize)).unwrap(),
            every: random.random_range(0.5..5.0),
        }
    }

    fn make(&self, random: &mut ChaCha8Rng, beside: impl Fn(f64) -> f64) -> Vec<Value> {
        (1..=self.readings)
            .map(|i| {
                let at = f64::from(i) * self.every;
                let true_current = self.leakage + self.absorbed * at.powf(-self.exponent) + beside(at);
                let read = true_current + self.noise * normal(random);
                let shown = if self.quantum > 0.0 { (read / self.quantum).round() * self.quantum } else { read };
                Value { at, current: shown, u: self.noise }
            })
            .collect()
    }
}

/// A telegraph's switching times: true in the upper level.
fn telegraph(random: &mut ChaCha8Rng, stay: f64, length: f64) -> Vec<f64> {
    let mut at = 0.0;
    let mut made = Vec::new();
    while at < length {
        at -= stay * f64::ln(random.random_range(1e-9..1.0));
        made.push(at);
    }
    made
}

fn upper(switches: &[f64], at: f64) -> bool {
    switches.iter().filter(|s| **s < at).count() % 2 == 1
}

#[test]
fn a_quiet_soak_is_called_quiet() {
    // Decay, white noise at the meter's level, the meter's step from none to three times the noise.
    const RUNS: u64 = 1000;
    let mut alarms = Vec::new();
    for seed in 0..RUNS {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let soak = Soak::drawn(&mut random);
        let found = wander(&soak.make(&mut random, |_| 0.0)).unwrap();
        if !matches!(found, Wander::Quiet { .. }) {
            alarms.push((seed, soak.readings, soak.quantum / soak.noise, found));
        }
    }
    eprintln!("false alarms: {} of {RUNS}", alarms.len());
    assert!(alarms.len() <= 15, "{} false alarms: {:?}", alarms.len(), alarms.iter().take(12).collect::<Vec<_>>());
}

#[test]
fn telegraph_noise_and_jumps_are_found() {
    const RUNS: u64 = 300;
    let (mut telegraphs, mut steps, mut jumps, mut rises, mut stays) = (0, Vec::new(), 0, 0, Vec::new());
    let mut missed = Vec::new();
    for seed in 0..RUNS {
        let mut random = ChaCha8Rng::seed_from_u64(10_000 + seed);
        let soak = Soak { readings: 120, ..Soak::drawn(&mut random) };
        // Levels eight spreads apart, the noise and the meter's step together; stays of about twelve readings.
        let spread = soak.noise.hypot(0.29 * soak.quantum);
        let step = (8.0 * spread).max(2.0 * soak.quantum);
        let length = 120.0 * soak.every;
        let stay = 12.0 * soak.every;
        let switches = telegraph(&mut random, stay, length);
        let made = soak.make(&mut random, |t| if upper(&switches, t) { step } else { 0.0 });
        match wander(&made) {
            Some(Wander::Telegraph { step: found, stay: Some(found_stay), .. }) => {
                telegraphs += 1;
                steps.push(found.0 / step);
                stays.push(found_stay.0 / stay);
            }
            other => missed.push((seed, other)),
        }
        // One jump upwards, somewhere in the middle.
        let when = length * random.random_range(0.3..0.8);
        let made = soak.make(&mut random, |t| if t > when { step } else { 0.0 });
        let found = wander(&made);
        if let Some(Wander::Jumps { step: found, at, jumps: 1, .. }) = found
            && (found.0 / step - 1.0).abs() < 0.3
            && (at.0 - when).abs() < 3.0 * soak.every
        {
            jumps += 1;
        }
        // A rise of ten spreads over the last half.
        let made = soak.make(&mut random, |t| {
            (t / length - 0.5).max(0.0) * 2.0 * (10.0 * spread + soak.absorbed * (length / 2.0).powf(-soak.exponent))
        });
        match wander(&made) {
            Some(Wander::Rises { .. }) => rises += 1,
            other => missed.push((seed, other)),
        }
    }
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    eprintln!(
        "telegraph {telegraphs}, jump {jumps}, rise {rises} of {RUNS}; step {:.3}, stay {:.2} of the truth",
        mean(&steps),
        mean(&stays)
    );
    // Of a telegraph with ten stays on average, some are a single jump to whoever looks.
    assert!(telegraphs >= 270, "{telegraphs}: {:?}", missed.iter().take(8).collect::<Vec<_>>());
    assert!(jumps >= 285, "{jumps}");
    assert!(rises >= 285, "{rises}: {:?}", missed.iter().rev().take(8).collect::<Vec<_>>());
    assert!((mean(&steps) - 1.0).abs() < 0.05, "{}", mean(&steps));
    assert!((mean(&stays) - 1.0).abs() < 0.3, "{}", mean(&stays));
}

#[test]
fn a_telegraph_faster_than_the_readings_is_found_by_its_two_clouds() {
    let mut found = 0;
    for seed in 0..200 {
        let mut random = ChaCha8Rng::seed_from_u64(20_000 + seed);
        let soak = Soak { readings: 120, quantum: 0.0, ..Soak::drawn(&mut random) };
        let upper: Vec<bool> = (0..200).map(|_| random.random_range(0..2) == 0).collect();
        let made = soak.make(&mut random, |t| if upper[(t / soak.every) as usize % 200] { 12.0 * soak.noise } else { 0.0 });
        found += i32::from(matches!(wander(&made), Some(Wander::Telegraph { .. })));
    }
    eprintln!("fast telegraphs: {found} of 200");
    assert!(found >= 190, "{found}");
}

/// Falls that are no power of time: branches of absorption, an oxide that reforms (one time
/// constant, or a stretched one), a charge that tails off.
fn other_falls(random: &mut ChaCha8Rng) -> impl Fn(f64) -> f64 + use<> {
    let kind = random.random_range(0..4_u32);
    let (size, tau) = (10f64.powf(random.random_range(-7.0..-4.0)), 10f64.powf(random.random_range(0.7..3.5)));
    let (rest, beta) = (size * 10f64.powf(random.random_range(-2.0..0.0)), random.random_range(0.4..0.9));
    move |t: f64| {
        rest + size
            * match kind {
                0 => (-t / tau).exp(),
                1 => (-(t / tau).powf(beta)).exp(),
                2 => [1.0, 10.0, 100.0].iter().map(|c| (-t / c).exp() / c).sum::<f64>(),
                _ => 1.0 / (1.0 + t / tau).powi(2),
            }
    }
}

#[test]
fn a_smooth_fall_of_another_form_is_no_jump_and_a_jump_in_it_is_one() {
    const RUNS: u64 = 1000;
    let (mut alarms, mut found, mut missed) = (Vec::new(), 0, Vec::new());
    for seed in 0..RUNS {
        let mut random = ChaCha8Rng::seed_from_u64(50_000 + seed);
        let fall = other_falls(&mut random);
        let readings = *[40, 120, 300].get(random.random_range(0..3_usize)).unwrap();
        let every = 10f64.powf(random.random_range(0.0..1.0));
        let noise = fall(0.5 * f64::from(readings) * every) * 10f64.powf(random.random_range(-4.0..-2.5));
        let when = random.random_range(0.3..0.8) * f64::from(readings) * every;
        // Beside what the fall itself changes over a few readings there, which a misfit of it could be.
        let step = 12.0 * noise + (fall(when - 6.0 * every) - fall(when + 6.0 * every));
        let mut made = |jump: f64| -> Vec<Value> {
            (1..=readings)
                .map(|i| {
                    let at = f64::from(i) * every;
                    let beside = if at > when { jump } else { 0.0 };
                    Value { at, current: fall(at) + beside + noise * normal(&mut random), u: noise }
                })
                .collect()
        };
        match wander(&made(0.0)) {
            Some(Wander::Quiet { .. }) => {}
            other => alarms.push((seed, other)),
        }
        match wander(&made(step)) {
            Some(Wander::Jumps { at, .. }) if (at.0 - when).abs() < 3.0 * every => found += 1,
            other => missed.push((seed, other)),
        }
    }
    eprintln!("smooth falls: {} false of {RUNS}; jumps in them found: {found}", alarms.len());
    assert!(alarms.len() <= 10, "{}: {:?}", alarms.len(), alarms.iter().take(12).collect::<Vec<_>>());
    assert!(found >= 880, "{found}: {:?}", missed.iter().take(12).collect::<Vec<_>>());
}

#[test]
fn the_limits_of_the_leakage_hold_the_truth() {
    // Each limit is one-sided at 95 %; the upper one must hold at least that often.
    const RUNS: u64 = 2000;
    let (mut above, mut below, mut told) = (0, 0, [0, 0, 0]);
    for seed in 0..RUNS {
        let mut random = ChaCha8Rng::seed_from_u64(30_000 + seed);
        let soak = Soak { quantum: 0.0, ..Soak::drawn(&mut random) };
        let found = decay(&soak.make(&mut random, |_| 0.0)).unwrap();
        above += i32::from(found.high.0 < soak.leakage);
        below += i32::from(found.low.0 > soak.leakage);
        told[Told::ALL.iter().position(|(_, t)| *t == found.told).unwrap()] += 1;
        assert!(found.low <= found.high, "{seed}: {found:?}");
    }
    eprintln!("of {RUNS}: truth above the upper limit {above}, below the lower one {below}; settled, apart, bound: {told:?}");
    assert!(above <= 120 && below <= 120, "{above} {below}");
}

#[test]
fn leakage_and_absorption_that_cannot_be_told_apart_have_an_upper_bound_alone() {
    // A part that still only absorbs: the leakage is a hundredth of what is read at the end.
    let (mut bounds, mut held) = (0, 0);
    for seed in 0..100 {
        let mut random = ChaCha8Rng::seed_from_u64(40_000 + seed);
        let soak = Soak { leakage: 1e-9, absorbed: 6e-6, exponent: 0.9, noise: 3e-9, quantum: 0.0, readings: 60, every: 1.0 };
        let found = decay(&soak.make(&mut random, |_| 0.0)).unwrap();
        bounds += i32::from(found.told == Told::Bound);
        held += i32::from(found.high.0 >= 1e-9);
    }
    // The bound is one of 95 %.
    assert!(bounds >= 95 && held >= 90, "{bounds} {held}");
    // And one that has settled is said to be.
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let soak = Soak { leakage: 1e-6, absorbed: 0.0, exponent: 1.0, noise: 1e-9, quantum: 0.0, readings: 60, every: 1.0 };
    assert_eq!(decay(&soak.make(&mut random, |_| 0.0)).unwrap().told, Told::Settled);
    assert_eq!(decay(&[]), None);
}

fn curve(law: Law, b: f64, volts: &[f64], noise: f64, random: &mut ChaCha8Rng) -> Vec<At> {
    volts
        .iter()
        .map(|v| {
            let shape = match law {
                Law::Ohmic => *v,
                Law::SpaceCharge => v * v,
                Law::Power => v.powf(b),
                Law::Schottky => (b * v.sqrt()).exp(),
                Law::PooleFrenkel => v * (b * v.sqrt()).exp(),
                Law::FowlerNordheim => v * v * (-b / v).exp(),
            };
            let current = 1e-8 * shape * (1.0 + noise * normal(random));
            At { volts: Volts(*v), current: Amperes(current), u: Amperes(current * noise) }
        })
        .collect()
}

fn volts(n: u32, from: f64, to: f64) -> Vec<f64> {
    (0..n).map(|i| from + (to - from) * f64::from(i) / f64::from(n - 1)).collect()
}

#[test]
fn the_true_law_is_ranked_first_where_it_can_be_told() {
    // Wide spans and clear fields: 5 to 15 voltages from 1 to 16 V, 1 to 5 % noise.
    let laws = [
        (Law::Ohmic, 0.0),
        (Law::SpaceCharge, 0.0),
        (Law::Power, 3.2),
        (Law::Schottky, 2.0),
        (Law::PooleFrenkel, 2.0),
        (Law::FowlerNordheim, 20.0),
    ];
    for (n, noise, least_first) in [(10, 0.01, 98), (15, 0.02, 98), (15, 0.05, 90), (7, 0.02, 90), (5, 0.01, 90)] {
        for (law, b) in laws {
            let (mut first, mut alone, mut wrong) = (0, 0, 0);
            for seed in 0..100 {
                let mut random = ChaCha8Rng::seed_from_u64(50_000 + seed);
                let ranking = rank(&curve(law, b, &volts(n, 1.0, 16.0), noise, &mut random)).unwrap();
                first += i32::from(ranking.fits[0].law == law);
                match ranking.verdict {
                    Verdict::One(one) if one == law => alone += 1,
                    Verdict::One(_) | Verdict::None(_) => wrong += 1,
                    Verdict::NotApart(_) => {}
                }
            }
            eprintln!("{n} voltages, {noise}: {law:?} first {first}, alone {alone}, wrong {wrong} of 100");
            assert!(first >= least_first, "{law:?} at {n} voltages, noise {noise}: first {first}");
            assert!(wrong <= 4, "{law:?} at {n} voltages, noise {noise}: wrong {wrong}");
        }
    }
}

#[test]
fn laws_that_cannot_be_told_apart_are_said_to_be() {
    // A narrow span: V exp(b sqrt V), exp(b sqrt V) and V^n are one line there.
    for (law, b) in [(Law::PooleFrenkel, 2.0), (Law::Schottky, 3.0), (Law::Power, 4.0)] {
        let (mut said, mut wrong) = (0, 0);
        for seed in 0..200 {
            let mut random = ChaCha8Rng::seed_from_u64(60_000 + seed);
            match rank(&curve(law, b, &volts(6, 5.0, 7.0), 0.03, &mut random)).unwrap().verdict {
                Verdict::NotApart(among) => said += i32::from(among.contains(&law)),
                Verdict::One(one) => wrong += i32::from(one != law),
                Verdict::None(_) => wrong += 1,
            }
        }
        eprintln!("{law:?}: not distinguishable {said}, wrong {wrong} of 200");
        assert!(said >= 180 && wrong <= 8, "{law:?}: said {said}, wrong {wrong}");
    }
}

#[test]
fn too_few_or_useless_points_are_no_ranking() {
    let mut random = ChaCha8Rng::seed_from_u64(1);
    assert_eq!(rank(&curve(Law::Ohmic, 0.0, &volts(4, 1.0, 4.0), 0.01, &mut random)), None);
    assert_eq!(rank(&curve(Law::Ohmic, 0.0, &volts(9, 1.0, 4.0), 0.5, &mut random)), None);
    assert_eq!(rank(&[]), None);
    // A curve that no law makes: up and down.
    let zigzag: Vec<At> = (1..=9)
        .map(|i| At { volts: Volts(f64::from(i)), current: Amperes(if i % 2 == 0 { 5e-6 } else { 1e-6 }), u: Amperes(1e-8) })
        .collect();
    assert!(matches!(rank(&zigzag).unwrap().verdict, Verdict::None(_)));
}
