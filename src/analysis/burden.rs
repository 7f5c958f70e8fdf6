//! What an instrument does to what it measures: the shunt's burden, the loading by
//! an input's resistance, the time that a source takes to settle.

use crate::units::{Amperes, Farads, Ohms, Ratio, Seconds, Volts};

/// Current through a load with a shunt in series: I = V / (R + Rs).
pub fn with_shunt(supply: Volts, load: Ohms, shunt: Ohms) -> Amperes {
    supply / (load + shunt)
}

/// Relative error of the current that a burden voltage makes in a resistive circuit:
/// -Vb / Vs (handbooks of low-level measurement).
pub fn burden_error(burden: Volts, supply: Volts) -> Ratio {
    Ratio(-(burden / supply))
}

/// Relative error of a voltage read through a source resistance by an input of
/// finite resistance: -Rs / (Rs + Ri) (handbooks of low-level measurement).
pub fn loading_error(source: Ohms, input: Ohms) -> Ratio {
    Ratio(-(source / (source + input)))
}

/// Time until a first-order settling is within `within` of its end: R C ln(1 / within).
pub fn settling_time(resistance: Ohms, capacitance: Farads, within: Ratio) -> Seconds {
    resistance * capacitance * -within.0.ln()
}
