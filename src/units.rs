//! Quantities with units: their types, how they are read and how they are printed.
//!
//! A value that has a unit has a type that says so; no bare number crosses a
//! module's edge. Reading is strict, because a slip of a prefix has killed
//! boards: a unit is always due, the decimal mark is a point, and `M` is mega
//! while `m` is milli. Printing is in engineering form.
//!
//! Holds always: `parse(x.to_string()) == x`, bit for bit, for every finite x.
//! Leaves to others: the suffixes of SCPI messages, where `M` means milli
//! (`scpi`).

mod print;
mod stated;
mod text;

pub use print::{deserved, engineering, exact, spell, with_uncertainty};
pub use stated::{Stated, resolution_u};
pub use text::{UnitError, parse_as};

/// What a quantity is measured in: SI units and the few others that the trade uses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// volt
    Volt,
    /// ampere
    Ampere,
    /// ohm
    Ohm,
    /// farad
    Farad,
    /// second
    Second,
    /// hertz
    Hertz,
    /// watt
    Watt,
    /// joule
    Joule,
    /// coulomb
    Coulomb,
    /// ampere-hour
    AmpereHour,
    /// degree Celsius
    Celsius,
    /// volt per second
    VoltPerSecond,
    /// percent; held as a ratio, so that 1 % is 0.01
    Percent,
}

macro_rules! quantities {
    ($($(#[$doc:meta])* $name:ident $unit:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(pub f64);

        impl $name {
            /// The unit of this type.
            pub const UNIT: Unit = Unit::$unit;
            /// The magnitude without its sign.
            pub fn abs(self) -> Self {
                Self(self.0.abs())
            }
            /// The smaller of two.
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }
            /// The larger of two.
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
        }
        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(&print::exact(self.0, Unit::$unit))
            }
        }
        impl std::str::FromStr for $name {
            type Err = UnitError;
            fn from_str(text: &str) -> Result<Self, UnitError> {
                parse_as(text, Unit::$unit).map(Self)
            }
        }
        impl Quantity for $name {
            const UNIT: Unit = Unit::$unit;
            fn of(value: f64) -> Self {
                Self(value)
            }
            fn value(self) -> f64 {
                self.0
            }
        }
        impl std::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }
        impl std::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }
        impl std::ops::Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }
        impl std::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, by: f64) -> Self {
                Self(self.0 * by)
            }
        }
        impl std::ops::Div<f64> for $name {
            type Output = Self;
            fn div(self, by: f64) -> Self {
                Self(self.0 / by)
            }
        }
        impl std::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 {
                self.0 / other.0
            }
        }
    )*};
}

/// A number that knows its unit by its type.
pub trait Quantity: Copy {
    /// The unit of the type.
    const UNIT: Unit;
    /// From a value in the unit without prefix (1 mA is `of(0.001)`).
    fn of(value: f64) -> Self;
    /// The value in the unit without prefix.
    fn value(self) -> f64;
}

quantities! {
    /// Electric potential difference in volts.
    Volts Volt;
    /// Electric current in amperes.
    Amperes Ampere;
    /// Resistance in ohms.
    Ohms Ohm;
    /// Capacitance in farads.
    Farads Farad;
    /// A span of bench time, or a moment counted from a run's start, in seconds.
    Seconds Second;
    /// Frequency in hertz.
    Hertz Hertz;
    /// Power in watts.
    Watts Watt;
    /// Energy in joules.
    Joules Joule;
    /// Charge in coulombs.
    Coulombs Coulomb;
    /// Charge in ampere-hours, as batteries are rated.
    AmpereHours AmpereHour;
    /// Temperature in degrees Celsius.
    Celsius Celsius;
    /// Rate of change of a voltage in volts per second.
    VoltsPerSecond VoltPerSecond;
    /// A ratio, written in percent: 1 % is `Ratio(0.01)`.
    Ratio Percent;
}

macro_rules! products {
    ($($a:ident * $b:ident = $c:ident;)*) => {$(
        impl std::ops::Mul<$b> for $a {
            type Output = $c;
            fn mul(self, by: $b) -> $c {
                $c(self.0 * by.0)
            }
        }
        impl std::ops::Div<$b> for $c {
            type Output = $a;
            fn div(self, by: $b) -> $a {
                $a(self.0 / by.0)
            }
        }
        impl std::ops::Div<$a> for $c {
            type Output = $b;
            fn div(self, by: $a) -> $b {
                $b(self.0 / by.0)
            }
        }
    )*};
}

products! {
    Amperes * Ohms = Volts;
    Volts * Amperes = Watts;
    Watts * Seconds = Joules;
    Amperes * Seconds = Coulombs;
    Farads * Volts = Coulombs;
    VoltsPerSecond * Seconds = Volts;
    Ohms * Farads = Seconds;
}

impl Seconds {
    /// As a duration for timers; negative and not-a-number become zero.
    pub fn duration(self) -> std::time::Duration {
        std::time::Duration::try_from_secs_f64(self.0).unwrap_or(if self.0 > 0.0 {
            std::time::Duration::MAX
        } else {
            std::time::Duration::ZERO
        })
    }
}

impl From<std::time::Duration> for Seconds {
    fn from(duration: std::time::Duration) -> Self {
        Self(duration.as_secs_f64())
    }
}

#[cfg(test)]
mod tests;
