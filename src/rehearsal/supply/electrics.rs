//! What a stand-in's output is like, electrically.

use crate::instrument::profile::SupplyProfile;
use crate::rehearsal::world::{Electrics, Sense};

/// That of a usual linear bench supply of these ratings.
pub fn usual(profile: &SupplyProfile) -> Electrics {
    let capacitance = 10e-6;
    Electrics {
        capacitance,
        preload: 10e3,
        resistance: 0.01,
        crossover: 200e-6,
        surge: 1.5 * profile.rated_current.0,
        recovery: 50e-6,
        // What brings its own capacitor down from the rated voltage in the time that the profile says.
        sink: capacitance * profile.rated_voltage.0 / profile.output.fall.0.max(1e-3),
        overshoot: (0.0, 0.0),
        sense: Sense::Local,
    }
}
