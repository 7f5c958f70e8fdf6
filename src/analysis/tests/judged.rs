//! How single starts are judged, and what is said of many. Traces are invented.

use crate::analysis::finding::{self, Severity};
use crate::analysis::start::{Band, Look, Outcome, judge};
use crate::analysis::starts::{Row, summarise};
use crate::analysis::{Level, proportion};
use crate::units::{Amperes, Seconds, Volts};

const BANDS: [Band; 2] = [Band { low: Amperes(8e-3), high: Amperes(20e-3) }, Band { low: Amperes(40e-6), high: Amperes(200e-6) }];

fn known(value: f64) -> Level {
    Level::Known { value: Amperes(value), u: Amperes(value.abs() * 1e-3 + 1e-7) }
}

/// Looks every 20 ms for 0.8 s.
fn trace(level: impl Fn(f64) -> Level) -> Vec<Look> {
    (1..=40)
        .map(|i| f64::from(i) * 0.02)
        .map(|t| Look { at: Seconds(t), voltage: Some(Volts(9.0)), current: level(t), limiting: Some(false) })
        .collect()
}

fn outcome(looks: &[Look]) -> Outcome {
    judge(looks, &BANDS, Volts(9.0), Seconds(0.5)).outcome
}

#[test]
fn every_outcome_is_told() {
    let below = Level::BelowFloor { floor: Amperes(2e-3) };
    let cases: [(&str, Vec<Look>, Outcome); 12] = [
        (
            "good after inrush",
            trace(|t| {
                if t < 0.05 {
                    Level::Overload
                } else if t < 0.2 {
                    known(65e-6)
                } else {
                    known(12e-3)
                }
            }),
            Outcome::Started,
        ),
        ("late", trace(|t| if t < 0.55 { known(65e-6) } else { known(12e-3) }), Outcome::Slow),
        // A start at the very end of the watch was once called dropped.
        ("just before the end", trace(|t| if t < 0.73 { known(65e-6) } else { known(12e-3) }), Outcome::Slow),
        ("nothing to be seen", trace(|_| below), Outcome::BelowFloor),
        ("asleep", trace(|_| known(65e-6)), Outcome::OtherState),
        ("dropped", trace(|t| if t < 0.4 { known(12e-3) } else { known(65e-6) }), Outcome::Dropped),
        ("looping", trace(|t| if (t * 6.0).fract() < 0.6 { known(12e-3) } else { known(65e-6) }), Outcome::Looping),
        ("latched up", trace(|_| known(80e-3)), Outcome::HighCurrent),
        ("beyond the range", trace(|_| Level::Overload), Outcome::HighCurrent),
        ("between the states", trace(|_| known(2e-3)), Outcome::NoState),
        ("no reply at all", trace(|_| Level::Missing), Outcome::Void),
        ("no reply at the end", trace(|t| if t > 0.65 { Level::Missing } else { known(12e-3) }), Outcome::Void),
    ];
    for (what, looks, expected) in cases {
        let verdict = judge(&looks, &BANDS, Volts(9.0), Seconds(0.5));
        assert_eq!(verdict.outcome, expected, "{what}: {}", verdict.reason);
    }
    let held: Vec<Look> = trace(|_| known(119e-3)).into_iter().map(|l| Look { limiting: Some(true), ..l }).collect();
    assert_eq!(outcome(&held), Outcome::InLimit);
    // An output that did not come up is no start at all; one that is held down is.
    let down = |limiting| -> Vec<Look> {
        trace(|_| below).into_iter().map(|l| Look { voltage: Some(Volts(0.4)), limiting: Some(limiting), ..l }).collect()
    };
    let verdict = judge(&down(false), &BANDS, Volts(9.0), Seconds(0.5));
    assert_eq!(
        (verdict.outcome, verdict.reason.as_str()),
        (Outcome::Void, "the supply was not limiting, but only 400 mV of 9 V stood at its output")
    );
    assert_eq!(outcome(&down(true)), Outcome::InLimit);
}

#[test]
fn a_few_missing_readings_do_not_spoil_a_start() {
    let looks = trace(|t| if (t * 100.0).round() % 10.0 == 0.0 { Level::Missing } else { known(12e-3) });
    assert!(looks.iter().any(|l| l.current == Level::Missing));
    assert_eq!(outcome(&looks), Outcome::Started);
    // A missing reply once counted as 0 A made a false "no current": it must be void.
    let many = trace(|t| if (t * 100.0).round() % 4.0 == 0.0 { Level::Missing } else { known(12e-3) });
    assert_eq!(outcome(&many), Outcome::Void);
    assert_eq!(outcome(&[]), Outcome::Void);
}

#[test]
fn below_floor_is_never_called_zero_or_dead() {
    let verdict = judge(&trace(|_| Level::BelowFloor { floor: Amperes(2e-3) }), &BANDS, Volts(9.0), Seconds(0.5));
    assert!(verdict.reason.contains("below 2 mA, not distinguishable from zero with this instrument"), "{}", verdict.reason);
}

fn row(outcome: Outcome, off: f64) -> Row {
    let plateau = if outcome == Outcome::Started { known(12e-3) } else { known(65e-6) };
    Row {
        outcome,
        state: (outcome == Outcome::OtherState).then_some(1),
        at: None,
        off_time: Some(Seconds(off)),
        residual: Some(Volts(0.1)),
        plateau,
        limited: false,
        held: None,
    }
}

#[test]
fn failing_starts_are_told_with_their_exact_interval_and_what_they_hang_on() {
    let mut rows: Vec<Row> = (0..96).map(|i| row(Outcome::Started, 0.5 + f64::from(i) * 0.01)).collect();
    rows.extend((0..4).map(|i| row(Outcome::OtherState, 5.0 + f64::from(i))));
    rows.extend((0..3).map(|_| row(Outcome::Void, 1.0)));
    let summary = summarise(&rows, None, &[]);
    assert_eq!((summary.good, summary.failed, summary.void), (96, 4, 3));
    let exact = proportion::clopper_pearson(4, 100, 0.95).unwrap();
    assert_eq!(summary.rate, Some(exact));
    let found = finding::starts(&summary, Amperes(0.12), &["running", "asleep"]);
    assert_eq!(found[0].severity, Severity::Anomaly);
    let sentence = &found[0].sentence;
    assert!(sentence.starts_with("4 of 100 starts failed, 4.00 % (two-sided 95 % interval 1.10 % to 9.93 %)"), "{sentence}");
    assert!(sentence.contains("4 × no start: another state (asleep) at (65.00"), "{sentence}");
    assert!(sentence.contains("3 void starts do not count"), "{sentence}");
    assert!(found[0].advice.as_ref().unwrap().contains("271 starts without a failure"), "{:?}", found[0].advice);
    let depends = found.iter().find(|f| f.code == "starts-depend").unwrap();
    let told = "The failures hang on the off-time: up to 820 ms 0 of 33 failed (0 % to 10.6 %); from 1.17 s on 4 of 33 failed";
    assert!(depends.sentence.starts_with(told), "{}", depends.sentence);
    assert!(depends.sentence.contains("which of the two it is, these starts cannot tell"), "{}", depends.sentence);
}

#[test]
fn no_failures_claim_no_more_than_their_number_allows() {
    let rows: Vec<Row> = (0..60).map(|i| row(Outcome::Started, f64::from(i))).collect();
    let found = finding::starts(&summarise(&rows, None, &[]), Amperes(0.12), &["running", "asleep"]);
    // 1 - 0.05^(1/60).
    assert!(found[0].sentence.contains("below 4.87 %"), "{}", found[0].sentence);
    let none: Vec<Row> = (0..5).map(|_| row(Outcome::Void, 1.0)).collect();
    assert_eq!(
        finding::starts(&summarise(&none, None, &[]), Amperes(0.12), &["running", "asleep"])[0].severity,
        Severity::Undecided
    );
}

#[test]
fn a_limit_near_the_running_current_is_pointed_at() {
    let rows: Vec<Row> = (0..60).map(|i| row(Outcome::Started, f64::from(i))).collect();
    let found = finding::starts(&summarise(&rows, None, &[]), Amperes(0.02), &["running", "asleep"]);
    assert!(found.iter().any(|f| f.code == "limit-near-running"));
    assert!(
        !finding::starts(&summarise(&rows, None, &[]), Amperes(0.12), &["running", "asleep"])
            .iter()
            .any(|f| f.code == "limit-near-running")
    );
}

#[test]
fn one_failure_asks_for_more_starts_and_not_for_a_thousand_good_ones() {
    // Clopper and Pearson for 1 of 10 reach down to 0.253 %: 1184 starts would be needed.
    let row = |outcome| Row {
        outcome,
        state: Some(0),
        at: None,
        off_time: None,
        residual: None,
        plateau: known(12e-3),
        limited: false,
        held: None,
    };
    let advice = |failed: usize, good: usize| {
        let rows: Vec<Row> =
            std::iter::repeat_n(row(Outcome::NoState), failed).chain(std::iter::repeat_n(row(Outcome::Started), good)).collect();
        finding::starts(&summarise(&rows, None, &[]), Amperes(0.1), &["running"]).remove(0).advice.unwrap()
    };
    assert!(
        advice(1, 9).contains("would take 1184 starts") && advice(1, 9).contains("make more starts first"),
        "{}",
        advice(1, 9)
    );
    assert!(advice(5, 5).starts_with("After the repair, 15 starts"), "{}", advice(5, 5));
}

fn log_of(values: impl Iterator<Item = f64>) -> Vec<crate::analysis::series::Point> {
    values.enumerate().map(|(k, i)| crate::analysis::series::Point { at: Seconds(0.1 * k as f64), current: known(i) }).collect()
}

#[test]
fn a_log_tells_a_step_with_its_size_and_a_settling_not_at_all() {
    let noisy = |k: u32, middle: f64| middle * (1.0 + 1e-4 * f64::from(k * 7919 % 101) / 101.0);
    let settles = log_of((0..600).map(|k| noisy(k, if k < 13 { 12.02e-3 } else { 12e-3 })));
    let found = finding::log(&settles, None, Seconds(60.0));
    assert!(found.iter().all(|f| f.code != "log-step" && f.code != "log-states"), "{found:?}");
    let steps = log_of((0..600).map(|k| noisy(k, if k < 400 { 12e-3 } else { 14e-3 })));
    let found = finding::log(&steps, None, Seconds(60.0));
    let step = found.iter().find(|f| f.code == "log-step").unwrap();
    assert!(step.sentence.contains("from 12.0 mA to 14.0 mA at 40.0 s (by (2.0001 ± 0.00"), "{}", step.sentence);
}

#[test]
fn an_ampere_hour_lasts_as_long_as_the_measured_mean_says() {
    // 22 mA for 1 s in every 5 s above 9.5 mA: 12 mA, 83 h.
    let points = log_of((0..1000).map(|k| if k % 50 < 10 { 22e-3 } else { 9.5e-3 }));
    let found = finding::log(&points, None, Seconds(100.0));
    let bursts = found.iter().find(|f| f.code == "log-bursts").unwrap();
    assert!(bursts.advice.as_deref().unwrap().contains("lasts about 83 h"), "{:?}", bursts.advice);
}

#[test]
fn a_log_outside_of_its_declared_states_says_so() {
    let points = log_of((0..600).map(|_| 12e-3));
    let told = |low: f64, high: f64| finding::log_states(&points, &[("running", (Amperes(low), Amperes(high)))]);
    let found = told(20e-3, 30e-3).remove(0);
    assert!(found.sentence.contains("None of 600 readings lies in a declared state (20 mA to 30 mA)"), "{}", found.sentence);
    // None of it is where it was declared to be.
    assert_eq!(found.severity, Severity::Anomaly);
    assert_eq!(told(11e-3, 13e-3), []);
    assert_eq!(finding::log_states(&points, &[]), []);
    // A declared state that never came is named.
    let bands = [("running", (Amperes(11e-3), Amperes(13e-3))), ("asleep", (Amperes(1e-6), Amperes(1e-4)))];
    let found = finding::log_states(&points, &bands);
    assert!(found[0].code == "log-state-missing" && found[0].sentence.contains("asleep (1 uA to 100 uA)"), "{found:?}");
    let one = finding::log(&points[..1], None, Seconds(0.1));
    assert!(one.iter().any(|f| f.code == "log-too-few"), "{one:?}");
}
