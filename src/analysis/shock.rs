//! Published limits of what may be touched: direct voltages, and what a capacitor holds.
//!
//! Editions differ; each row names its own. What is said from memory says so.

use crate::units::{Coulombs, Farads, Joules, Volts};

/// A limit of a direct voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoltageLimit {
    /// Standard and what the limit is of.
    pub name: &'static str,
    /// The limit.
    pub limit: Volts,
}

/// Limits of direct voltages, from the lowest. All are for dry skin and ripple-free,
/// but for what says otherwise. An older text of IEC 60335-1 (8.1.4) has 42.4 V for
/// direct voltage, too, where later ones have 60 V: the later is taken, the older named.
pub const DIRECT: [VoltageLimit; 7] = [
    VoltageLimit { name: "IEC 61010-1:2010 normal condition, wet (from memory)", limit: Volts(35.0) },
    VoltageLimit { name: "IEC 60335-1 8.1.4, older editions", limit: Volts(42.4) },
    VoltageLimit { name: "IEC 61140 touchable; IEC 60335-1:2010; IEC 60598-1:2008; IEC 61010-1:2010", limit: Volts(60.0) },
    VoltageLimit { name: "IEC 61010-1:2001 normal condition (from memory)", limit: Volts(70.0) },
    VoltageLimit { name: "laboratory practice, shock from 40 mA on", limit: Volts(100.0) },
    VoltageLimit { name: "IEC 61140 and IEC 61558-1 extra-low voltage", limit: Volts(120.0) },
    VoltageLimit { name: "IEC 61558-1 peak with ripple", limit: Volts(140.0) },
];

/// Above this, direct voltage is not to be touched: IEC 61140.
pub const TOUCHABLE: Volts = Volts(60.0);

/// How long a machine's capacitors may stay above [`TOUCHABLE`] (NFPA 79 6.5.1), in seconds.
pub const MACHINE_SECONDS: f64 = 5.0;
/// Up to this charge that rule does not apply (NFPA 79 6.5.1).
pub const MACHINE_EXEMPT: Coulombs = Coulombs(60e-6);

/// A limit of what a charged capacitor may hold where it can be touched
/// (IEC 60335-1 8.1.4): of its capacitance, its charge or its energy, by its voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Held {
    /// Up to 42.4 V: none.
    Free,
    /// Above 42.4 V to 450 V: C up to 0.1 uF.
    Capacitance(Farads),
    /// Above 450 V to 15 kV: Q up to 45 uC.
    Charge(Coulombs),
    /// Above 15 kV: E up to 350 mJ.
    Energy(Joules),
}

/// The limit at a voltage.
pub fn held_at(voltage: Volts) -> Held {
    match voltage.0.abs() {
        v if v <= 42.4 => Held::Free,
        v if v <= 450.0 => Held::Capacitance(Farads(0.1e-6)),
        v if v <= 15e3 => Held::Charge(Coulombs(45e-6)),
        _ => Held::Energy(Joules(0.35)),
    }
}

/// How a capacitor counts by laboratory practice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hazard {
    /// Neither.
    None,
    /// 100 V or more and 10 J or more: shock.
    Shock,
    /// Below 100 V and more than 100 J: burns and arcs.
    Thermal,
}

/// The class of a capacitor's hazard.
pub fn hazard(voltage: Volts, energy: Joules) -> Hazard {
    match (voltage.0.abs() >= 100.0, energy.0) {
        (true, e) if e >= 10.0 => Hazard::Shock,
        (false, e) if e > 100.0 => Hazard::Thermal,
        _ => Hazard::None,
    }
}
