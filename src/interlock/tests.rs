//! The gate's rules, each at its limit and beyond. Levels are invented; the rules
//! are common practice.

use super::*;
use crate::instrument::{Measurand, Reading, Regulation, Role, Sample};
use crate::plan::{Ceiling, Limits};
use crate::units::{Amperes, Joules, Seconds, Volts, Watts};

fn bounds() -> Bounds {
    Bounds {
        ceiling: Ceiling { voltage: Volts(10.0), current: Amperes(0.12), power: Watts(1.0) },
        limits: Limits { starting: Amperes(0.1), running: Amperes(0.04), after: Seconds(0.1) },
        in_limit: Seconds(0.3),
        no_reading: Seconds(2.0),
        energy: None,
        rated: (Volts(30.0), Amperes(3.0)),
        limit_step: Amperes(1e-3),
        meter: Some((Measurand::Current, 0.1)),
    }
}

fn gate() -> Gate {
    Gate::new(bounds(), Seconds(0.0), Joules(0.0))
}

fn reading(role: Role, measurand: Measurand, at: f64, sample: Sample, regulation: Regulation) -> Reading {
    Reading { role, measurand, asked: Seconds(at), answered: Seconds(at + 0.01), sample, regulation }
}

fn volts(at: f64, value: f64) -> Reading {
    reading(Role::Supply, Measurand::Voltage, at, Sample::Value { value, u: 0.005 }, Regulation::Voltage)
}

fn amperes(at: f64, value: f64) -> Reading {
    reading(Role::Supply, Measurand::Current, at, Sample::Value { value, u: 0.0005 }, Regulation::Voltage)
}

fn metered(at: f64, sample: Sample) -> Reading {
    reading(Role::Meter, Measurand::Current, at, sample, Regulation::Unknown)
}

fn cause(result: Result<(), Trip>) -> Option<Cause> {
    result.err().map(|t| t.cause)
}

#[test]
fn over_voltage_trips_beyond_the_ceiling_and_its_uncertainty() {
    assert_eq!(cause(gate().admit(&volts(0.1, 10.009))), None);
    assert_eq!(cause(gate().admit(&volts(0.1, 10.02))), Some(Cause::OverVoltage));
}

#[test]
fn over_current_follows_the_limit_in_force() {
    let mut gate = gate();
    assert_eq!(cause(gate.admit(&amperes(0.05, 0.1))), None);
    gate.hand_over();
    assert_eq!(cause(gate.admit(&amperes(0.2, 0.042))), None, "the margin of the supply's own limiting");
    let trip = gate.admit(&amperes(0.3, 0.048)).unwrap_err();
    assert_eq!(trip.cause, Cause::OverCurrent);
    assert!(trip.to_string().contains("over-current at 0.310 s: the supply reads 48.00 mA; the limit is 40 mA"), "{trip}");
    assert_eq!(
        cause(Gate::new(bounds(), Seconds(0.0), Joules(0.0)).admit(&metered(0.1, Sample::Value { value: 0.12, u: 1e-5 }))),
        Some(Cause::OverCurrent)
    );
}

#[test]
fn power_counts_both_readings() {
    let mut bounds = bounds();
    bounds.ceiling.power = Watts(0.5);
    let mut gate = Gate::new(bounds, Seconds(0.0), Joules(0.0));
    assert_eq!(cause(gate.admit(&volts(0.1, 9.0))), None);
    assert_eq!(cause(gate.admit(&amperes(0.11, 0.05))), None);
    assert_eq!(cause(gate.admit(&amperes(0.12, 0.06))), Some(Cause::OverPower));
}

#[test]
fn time_in_limiting_trips_when_it_is_up_and_starts_anew_after_it_ends() {
    let limiting = |at: f64| Reading { regulation: Regulation::Current, ..volts(at, 3.0) };
    let mut gate = gate();
    assert_eq!(cause(gate.admit(&limiting(0.00))), None);
    assert_eq!(cause(gate.admit(&limiting(0.28))), None);
    assert_eq!(cause(gate.admit(&volts(0.29, 9.0))), None);
    assert_eq!(cause(gate.admit(&limiting(0.30))), None);
    assert_eq!(cause(gate.admit(&limiting(0.55))), None);
    assert_eq!(cause(gate.admit(&limiting(0.61))), Some(Cause::InLimit));
}

#[test]
fn a_supply_that_cannot_say_is_judged_by_its_current() {
    let at_limit = |at: f64| Reading { regulation: Regulation::Unknown, ..amperes(at, 0.099) };
    let mut gate = gate();
    assert_eq!(cause(gate.admit(&at_limit(0.0))), None);
    assert_eq!(cause(gate.admit(&at_limit(0.4))), Some(Cause::InLimit));
}

#[test]
fn an_overload_that_lasts_counts_as_limiting_where_the_range_holds_the_limit() {
    let mut gate = gate();
    assert_eq!(cause(gate.admit(&metered(0.0, Sample::Overload))), None);
    assert_eq!(cause(gate.admit(&metered(0.4, Sample::Overload))), Some(Cause::InLimit));
    // On a range below the limit an overload says nothing about the limit.
    let mut low = Gate::new(Bounds { meter: Some((Measurand::Current, 1e-3)), ..bounds() }, Seconds(0.0), Joules(0.0));
    assert_eq!(cause(low.admit(&metered(0.0, Sample::Overload))), None);
    assert_eq!(cause(low.admit(&metered(0.4, Sample::Overload))), None);
}

#[test]
fn energy_adds_up_over_the_stage() {
    let limited = Bounds { energy: Some(Joules(1.0)), ..bounds() };
    let mut gate = Gate::new(limited.clone(), Seconds(0.0), Joules(0.0));
    for at in [0.0, 1.0, 1.9] {
        gate.admit(&metered(at, Sample::Value { value: 0.05, u: 1e-5 })).unwrap();
        gate.admit(&volts(at, 9.0)).unwrap();
        gate.admit(&amperes(at, 0.05)).unwrap();
    }
    // 0.45 W over 1.9 s.
    assert!((gate.spent().0 - 0.855).abs() < 1e-6, "{:?}", gate.spent());
    gate.admit(&metered(2.5, Sample::Value { value: 0.05, u: 1e-5 })).unwrap();
    gate.admit(&volts(2.5, 9.0)).unwrap();
    assert_eq!(cause(gate.admit(&amperes(2.5, 0.05))), Some(Cause::Energy));
    let mut later = Gate::new(limited, Seconds(10.0), Joules(0.99));
    later.admit(&volts(10.0, 9.0)).unwrap();
    later.admit(&amperes(10.0, 0.05)).unwrap();
    assert_eq!(cause(later.admit(&amperes(10.1, 0.05))), Some(Cause::Energy), "what earlier starts used counts");
}

#[test]
fn silence_trips_and_what_is_no_reading_is_no_sign_of_life() {
    let mut gate = gate();
    for at in [0.5, 1.0, 1.5, 1.9] {
        gate.admit(&volts(at, 9.0)).unwrap();
        for missing in [Sample::NoReply, Sample::Late, Sample::Garbled, Sample::Stale, Sample::NotANumber] {
            gate.admit(&metered(at, missing)).unwrap();
        }
    }
    assert_eq!(cause(gate.admit(&volts(2.05, 9.0))), Some(Cause::NoReading(Role::Meter)));
    assert_eq!(gate.silence(Seconds(5.0)).cause, Cause::NoReading(Role::Meter));
}

#[test]
fn what_an_instrument_cannot_read_is_out_of_sanity() {
    assert_eq!(cause(gate().admit(&volts(0.1, -40.0))), Some(Cause::Sanity));
    assert_eq!(cause(gate().admit(&amperes(0.1, -4.0))), Some(Cause::Sanity));
    assert_eq!(cause(gate().admit(&metered(0.1, Sample::Value { value: -0.2, u: 1e-5 }))), Some(Cause::Sanity));
}
