//! A known load: do the supply's read-back, the meter and Ohm's law agree?
//!
//! The expected current is V / (R + shunt + leads), with V as the supply reads it.
//! Its uncertainty combines the supply's and the load's tolerance as a rectangle
//! (JCGM 100:2008, 4.3.7 and 5.1.2). Two agree where they differ by no more than the
//! expanded uncertainty of their difference (k = 2; as in ISO 13528's E_n, which is
//! then at most 1).

use super::Level;
use crate::units::{Amperes, Ohms, Ratio, Volts};

/// What was seen on the load.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// At the supply, with its standard uncertainty.
    pub voltage: (Volts, Volts),
    /// By the supply's read-back.
    pub supply: Level,
    /// By the meter in series, where there is one.
    pub meter: Option<Level>,
}

/// What it comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// All agree.
    Agree,
    /// No current anywhere.
    Open,
    /// The supply's is as expected; the meter sees none.
    PastTheMeter,
    /// What the meter answers is no current of its range.
    NoCurrent,
    /// The meter is beyond its range.
    Beyond,
    /// The supply's is as expected, the meter's is not.
    Meter,
    /// The meter's is as expected, the supply's is not.
    Supply,
    /// Supply and meter agree, and not with the load.
    Load,
    /// No two agree.
    Nothing,
}

impl Verdict {
    /// What it means at the bench.
    pub fn meaning(self) -> &'static str {
        match self {
            Verdict::Agree => "supply, meter and load agree",
            Verdict::Open => {
                "no current flows: the meter's fuse is blown, its lead is out or in its voltage terminal, or the load is not connected"
            }
            Verdict::PastTheMeter => {
                "the current flows, but not through the meter's range: the lead is in another of its current terminals, or the meter is bridged"
            }
            Verdict::NoCurrent => {
                "what the meter answers is no current of its range: it stands in another function, or the profile is another meter's"
            }
            Verdict::Beyond => "the meter is beyond its range, and the supply is not: look at the meter's range and profile",
            Verdict::Meter => "the supply agrees with the load, and the meter does not",
            Verdict::Supply => "the meter agrees with the load, and the supply's read-back does not",
            Verdict::Load => "supply and meter agree, and the load is another than the plan says, or its leads are poor",
            Verdict::Nothing => "neither supply nor meter agrees with the load, nor with each other",
        }
    }
}

/// The expected current and its standard uncertainty.
pub fn expected(voltage: (Volts, Volts), load: Ohms, tolerance: Ratio, more: Ohms) -> (Amperes, Amperes) {
    let whole = load + more;
    let current = voltage.0 / whole;
    let of_voltage = voltage.1.0 / whole.0;
    let of_load = current.0 * tolerance.0 / 3_f64.sqrt() * (load / whole);
    (current, Amperes(of_voltage.hypot(of_load)))
}

/// Compares.
pub fn judge(seen: &Seen, expected: (Amperes, Amperes)) -> Verdict {
    let supply = agrees(seen.supply, expected);
    let Some(meter) = seen.meter else {
        return match seen.supply {
            _ if supply => Verdict::Agree,
            Level::BelowFloor { .. } => Verdict::Open,
            _ => Verdict::Nothing,
        };
    };
    match (supply, meter) {
        (true, _) if agrees(meter, expected) => Verdict::Agree,
        (false, _) if agrees(meter, expected) => Verdict::Supply,
        (_, Level::Missing) => Verdict::NoCurrent,
        (_, Level::Overload) => Verdict::Beyond,
        // A supply whose floor is above the expected current says nothing here.
        (true, _) if is_nothing(meter, expected) && seen.supply.value().is_some() => Verdict::PastTheMeter,
        (_, _) if is_nothing(meter, expected) && seen.supply.value().is_none() => Verdict::Open,
        (true, _) => Verdict::Meter,
        (false, Level::Known { value, u }) if agrees(seen.supply, (value, u)) => Verdict::Load,
        _ => Verdict::Nothing,
    }
}

fn agrees(level: Level, with: (Amperes, Amperes)) -> bool {
    match level {
        Level::Known { value, u } => (value.0 - with.0.0).abs() <= 2.0 * u.0.hypot(with.1.0),
        Level::BelowFloor { floor } => with.0.0 - 2.0 * with.1.0 <= floor.0,
        Level::Overload | Level::Missing => false,
    }
}

/// Less than a hundredth of what should flow: leakage along a meter that is not in the circuit.
fn is_nothing(level: Level, expected: (Amperes, Amperes)) -> bool {
    match level {
        Level::Known { value, .. } => value.0.abs() < expected.0.0 * 0.01,
        Level::BelowFloor { floor } => floor < expected.0,
        Level::Overload | Level::Missing => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn known(value: f64, u: f64) -> Level {
        Level::Known { value: Amperes(value), u: Amperes(u) }
    }

    /// By hand: 5 V over 1000 + 10 ohm is 4.9505 mA; 1 % as a rectangle is 0.577 %, of
    /// the load's share 0.9901 of the whole: 28.3 uA; 5 mV over 1010 ohm is 4.95 uA.
    #[test]
    fn the_expected_current_is_ohms_law_with_its_uncertainty() {
        let (i, u) = expected((Volts(5.0), Volts(0.005)), Ohms(1000.0), Ratio(0.01), Ohms(10.0));
        assert!((i.0 - 4.9505e-3).abs() < 1e-7, "{i}");
        assert!((u.0 - 28.3e-6_f64.hypot(4.95e-6)).abs() < 0.1e-6, "{u}");
    }

    #[test]
    fn what_is_wrong_is_told_apart() {
        let at = (Amperes(5e-3), Amperes(15e-6));
        let cases = [
            (known(5.01e-3, 1e-4), Some(known(5.004e-3, 2e-6)), Verdict::Agree),
            (known(5.01e-3, 1e-4), None, Verdict::Agree),
            (Level::BelowFloor { floor: Amperes(1e-3) }, Some(Level::BelowFloor { floor: Amperes(1e-6) }), Verdict::Open),
            (Level::BelowFloor { floor: Amperes(1e-3) }, None, Verdict::Open),
            // Ten megohm of a voltmeter in the circuit: half a microampere.
            (Level::BelowFloor { floor: Amperes(1e-3) }, Some(known(0.5e-6, 1e-9)), Verdict::Open),
            (known(5.01e-3, 1e-4), Some(Level::BelowFloor { floor: Amperes(1e-6) }), Verdict::PastTheMeter),
            (known(5.01e-3, 1e-4), Some(Level::Missing), Verdict::NoCurrent),
            (known(5.01e-3, 1e-4), Some(Level::Overload), Verdict::Beyond),
            (known(5.01e-3, 1e-4), Some(known(6e-3, 2e-6)), Verdict::Meter),
            (known(6e-3, 1e-4), Some(known(5.004e-3, 2e-6)), Verdict::Supply),
            (known(7.5e-3, 1e-4), Some(known(7.501e-3, 2e-6)), Verdict::Load),
            (known(7.5e-3, 1e-4), Some(known(3e-3, 2e-6)), Verdict::Nothing),
            // A supply whose floor is above it says nothing; the meter speaks.
            (Level::BelowFloor { floor: Amperes(10e-3) }, Some(known(5.004e-3, 2e-6)), Verdict::Agree),
        ];
        for (supply, meter, wanted) in cases {
            let seen = Seen { voltage: (Volts(5.0), Volts(0.005)), supply, meter };
            assert_eq!(judge(&seen, at), wanted, "{supply:?} {meter:?}");
        }
    }
}
