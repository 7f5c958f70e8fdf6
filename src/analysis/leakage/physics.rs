//! Constants and equations of conduction through insulators. SI units; constants of
//! CODATA 2018.

/// Elementary charge in coulombs.
pub const E: f64 = 1.602_176_634e-19;
/// Boltzmann's constant in J/K.
pub const K: f64 = 1.380_649e-23;
/// Planck's constant in J s.
pub const H: f64 = 6.626_070_15e-34;
/// Electric constant in F/m.
pub const EPSILON_0: f64 = 8.854_187_812_8e-12;
/// Mass of the electron in kg.
pub const ELECTRON: f64 = 9.109_383_701_5e-31;

use std::f64::consts::PI;

/// Poole and Frenkel's constant in eV (m/V)^1/2 for a relative permittivity:
/// sqrt(e / (pi eps0 eps)).
pub fn poole_frenkel_beta(permittivity: f64) -> f64 {
    (E / (PI * EPSILON_0 * permittivity)).sqrt()
}

/// Schottky's constant in eV (m/V)^1/2: half of Poole and Frenkel's.
pub fn schottky_beta(permittivity: f64) -> f64 {
    poole_frenkel_beta(permittivity) / 2.0
}

/// The slope of ln J over sqrt E, in (m/V)^1/2, of a constant in eV (m/V)^1/2 at a
/// temperature in kelvin.
pub fn field_slope(beta: f64, kelvin: f64) -> f64 {
    beta * E / (K * kelvin)
}

/// The relative permittivity that a slope of ln I over sqrt V would mean for a
/// dielectric of a thickness in metres; `beta_of_one` is [`poole_frenkel_beta`] or
/// [`schottky_beta`] of 1. Below 1 or far above the material's it is unphysical: then
/// the straight line was no proof.
pub fn permittivity_from_slope(slope: f64, kelvin: f64, thickness: f64, beta_of_one: f64) -> f64 {
    let beta = slope * thickness.sqrt() * K * kelvin / E;
    (beta_of_one / beta).powi(2)
}

/// Richardson's constant in A m^-2 K^-2: 4 pi m k^2 e / h^3.
pub fn richardson() -> f64 {
    4.0 * PI * ELECTRON * K * K * E / H.powi(3)
}

/// Schottky emission in A/m2: A* T^2 exp(-(phi - beta sqrt E) / kT); phi in eV, field in V/m.
pub fn schottky(barrier: f64, permittivity: f64, field: f64, kelvin: f64) -> f64 {
    let lowered = barrier - schottky_beta(permittivity) * field.sqrt();
    richardson() * kelvin * kelvin * (-lowered * E / (K * kelvin)).exp()
}

/// Poole and Frenkel's current in A/m2 for a conductivity q mu n in S/m:
/// sigma E exp(-(phi - beta sqrt E) / kT).
pub fn poole_frenkel(conductivity: f64, barrier: f64, permittivity: f64, field: f64, kelvin: f64) -> f64 {
    let lowered = barrier - poole_frenkel_beta(permittivity) * field.sqrt();
    conductivity * field * (-lowered * E / (K * kelvin)).exp()
}

/// Fowler and Nordheim's first constant in A eV V^-2: e^3 / (8 pi h), per eV.
pub fn fowler_nordheim_a() -> f64 {
    E * E / (8.0 * PI * H)
}

/// Their second in eV^-3/2 V/m: 8 pi sqrt(2 m) / (3 e h), per eV^3/2.
pub fn fowler_nordheim_b() -> f64 {
    8.0 * PI * (2.0 * ELECTRON).sqrt() / (3.0 * E * H) * E.powf(1.5)
}

/// The scaled barrier field f of a field in V/m and a barrier in eV, and the image
/// factor v(f) = 1 - f + (f/6) ln f (Forbes 2006).
pub fn image_factor(field: f64, barrier: f64) -> (f64, f64) {
    let f = E / (4.0 * PI * EPSILON_0) * field / (barrier * barrier);
    (f, 1.0 - f + f / 6.0 * f.ln())
}

/// The oxide's form J = A E^2 exp(-B / E): A in A/V2 and B in V/m, for an effective
/// mass in electron masses and a barrier in eV.
pub fn fowler_nordheim_oxide(mass: f64, barrier: f64) -> (f64, f64) {
    let hbar = H / (2.0 * PI);
    let a = E * E / (16.0 * PI * PI * hbar * mass * barrier);
    let b = 4.0 / 3.0 * (2.0 * mass * ELECTRON).sqrt() * (barrier * E).powf(1.5) / (E * hbar);
    (a, b)
}

/// Mott and Gurney's space-charge-limited current in A/m2: 9/8 eps mu V^2 / d^3.
pub fn mott_gurney(permittivity: f64, mobility: f64, volts: f64, thickness: f64) -> f64 {
    9.0 / 8.0 * permittivity * EPSILON_0 * mobility * volts * volts / thickness.powi(3)
}

/// Curie and von Schweidler's fall of the absorption current from one time to
/// another: (t2 / t1)^-m.
pub fn absorption_ratio(exponent: f64, from: f64, to: f64) -> f64 {
    (to / from).powf(-exponent)
}
