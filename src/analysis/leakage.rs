//! Leakage of a capacitor: the reading at the electrification time and what is still
//! absorption in it, the voltage really at the part, whether it wanders; the law that
//! it follows over voltage; what it may be; how the part stands in its lot.

pub mod conduction;
pub mod decay;
pub mod limits;
pub mod lot;
pub mod physics;
pub mod reform;
mod soak;
pub mod sweep;
pub mod wander;

pub use soak::{Drift, Moment, SETTLED, Setting, Soak, charged, charged_values, summarise};

/// Kinds of part with a limit in the handbooks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dielectric {
    /// Solid tantalum.
    SolidTantalum,
    /// Aluminium with wet electrolyte.
    Aluminium,
    /// Ceramic, class 2.
    Ceramic,
    /// Plastic film.
    Film,
}
