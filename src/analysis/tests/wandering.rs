//! What a current that wanders does to its value's uncertainty, and which voltage is named.

use crate::analysis::Level;
use crate::analysis::finding::{Finding, LeakageStep, Severity, Swept, leakage};
use crate::analysis::leakage::limits::Limit;
use crate::analysis::leakage::wander::Wander;
use crate::analysis::leakage::{Dielectric, Moment, Setting, Soak, summarise};
use crate::units::{Amperes, Farads, Ohms, Seconds, Volts};

const SETTING: Setting = Setting { electrify: Seconds(180.0), series: Ohms(1e3), capacitance: Farads(1e-6), null: Amperes(0.0) };

/// A soak of 1 uA that has fallen long ago, 10 pA of noise from a fixed sequence, and a
/// second level for a while.
fn soak(extra: impl Fn(f64) -> f64) -> Soak {
    let moments: Vec<Moment> = (1..=180)
        .map(|i| {
            let noise = f64::from((i * 7919) % 101 - 50) * 2e-13;
            let value = Amperes(1e-6 + noise + extra(f64::from(i)));
            Moment {
                at: Seconds(f64::from(i)),
                current: Level::Known { value, u: Amperes(1e-10) },
                supply: Some((Volts(5.0), Volts(1e-3))),
            }
        })
        .collect();
    summarise(&moments, &SETTING).unwrap()
}

fn u(soak: &Soak) -> f64 {
    let Level::Known { u, .. } = soak.leakage else { panic!("{soak:?}") };
    u.0
}

#[test]
fn a_value_that_wanders_is_as_uncertain_as_its_two_levels_are_apart() {
    // JCGM 100:2008, C.3.2: two levels that are as likely, 50 nA apart, have a standard deviation of 25 nA.
    let quiet = soak(|_| 0.0);
    assert!(u(&quiet) < 1.2e-10, "{quiet:?}");
    let upper = |t: f64| if (t / 15.0) as u32 % 2 == 1 && t < 150.0 { 5e-8 } else { 0.0 };
    // None of the changes is within the last readings.
    let telegraph = soak(upper);
    assert!(matches!(telegraph.wander, Some(Wander::Telegraph { .. })), "{telegraph:?}");
    assert!((u(&telegraph) / 2.5e-8 - 1.0).abs() < 0.02, "{}", u(&telegraph));
    // One jump of 50 nA, at half of the time, the same.
    let jump = soak(|t| if t > 90.0 { 5e-8 } else { 0.0 });
    assert!(matches!(jump.wander, Some(Wander::Jumps { .. })), "{jump:?}");
    assert!((u(&jump) / 2.5e-8 - 1.0).abs() < 0.02, "{}", u(&jump));
    // The size is no better known than the meter's scale, here 1e-4 of it.
    let Some(Wander::Jumps { u: size, .. }) = jump.wander else { panic!() };
    assert!(size.0 >= 5e-12 * 0.99, "{size}");
}

fn step(volts: f64, value: f64, u: f64, wander: Wander) -> LeakageStep {
    let leakage = Level::Known { value: Amperes(value), u: Amperes(u) };
    let soak = Soak {
        leakage,
        at_part: Some(Volts(volts)),
        wander: Some(wander),
        decay: None,
        drift: None,
        reform: None,
        ..soak(|_| 0.0)
    };
    LeakageStep { set: Volts(volts), soak }
}

fn telegraph(size: f64, switches: usize) -> Wander {
    Wander::Telegraph { step: Amperes(size), u: Amperes(size / 100.0), switches, stay: Some(Seconds(180.0 / switches as f64)) }
}

const QUIET: Wander = Wander::Quiet { least: Amperes(1e-12) };

fn findings(steps: &[LeakageStep]) -> Vec<Finding> {
    let limit = Limit {
        limit: Amperes(1e-6),
        working: String::new(),
        source: String::new(),
        after: (Seconds(60.0), Seconds(300.0)),
        caution: None,
    };
    let capacitance = Farads(1e-6);
    leakage(&Swept {
        part: "C1",
        kind: Dielectric::SolidTantalum,
        capacitance,
        rated: Volts(16.0),
        temperature: None,
        steps,
        limit: &limit,
        node: None,
    })
}

fn finding<'f>(findings: &'f [Finding], code: &str) -> &'f Finding {
    findings.iter().find(|f| f.code == code).unwrap_or_else(|| panic!("{findings:?}"))
}

#[test]
fn the_voltage_with_the_largest_step_is_named_and_judged() {
    // The share is largest at 2 V, where all is far below the limit; at 12 V the step is 3.6 limits.
    let steps = [
        step(2.0, 1e-8, 1e-9, telegraph(2e-9, 2)),
        step(6.0, 1e-6, 1e-8, telegraph(1e-7, 15)),
        step(12.0, 6e-5, 1e-6, telegraph(3.6e-6, 15)),
    ];
    let all = findings(&steps);
    let told = finding(&all, "leakage-telegraph");
    assert_eq!(told.severity, Severity::Anomaly, "{told:?}");
    assert!(told.sentence.starts_with("At 12 V ") && told.sentence.contains("15 times, about every 12"), "{}", told.sentence);
    // Two changes tell no mean stay.
    let all = findings(&steps[..1]);
    let told = finding(&all, "leakage-telegraph");
    assert_eq!(told.severity, Severity::Note, "{told:?}");
    assert!(told.sentence.ends_with(", 2 times."), "{}", told.sentence);
    assert!(told.advice.as_deref().unwrap_or_default().contains("The leakage is small beside the limit"), "{told:?}");
}

#[test]
fn what_was_left_out_of_the_laws_is_said() {
    let ohmic = |volts: f64, relative: f64| step(volts, volts * 1e-8, volts * 1e-8 * relative, QUIET);
    let volts = [1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0];
    let part = |uncertain: usize| -> Vec<Finding> {
        findings(&volts.iter().enumerate().map(|(i, v)| ohmic(*v, if i < uncertain { 0.4 } else { 0.01 })).collect::<Vec<_>>())
    };
    let some = part(3);
    let told = &finding(&some, "leakage-law").sentence;
    assert!(told.starts_with("Over 5 of 8 voltages ") && told.contains("a standard uncertainty above 30 % of it"), "{told}");
    assert!(told.contains("to the power of 1.00 ± 0.0"), "{told}");
    let every = part(0);
    assert!(finding(&every, "leakage-law").sentence.starts_with("Over 8 voltages "), "{every:?}");
    let few = part(4);
    let told = finding(&few, "leakage-law");
    assert_eq!(told.severity, Severity::Note);
    assert!(told.sentence.contains("not compared") && told.sentence.contains("too few of its 8 voltages"), "{told:?}");
    // A short sweep compares no laws, and nobody asked it to.
    let short = findings(&[ohmic(2.0, 0.01), ohmic(4.0, 0.01)]);
    assert!(short.iter().all(|f| f.code != "leakage-law"), "{short:?}");
}
