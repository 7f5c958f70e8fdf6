//! The scale on which levels are told apart: linear near zero, logarithmic above the
//! instrument's floor, so that states of microamperes and of amperes stand side by side.

/// A scale of currents.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    /// Amperes as they are.
    Linear,
    /// z = asinh(x / floor): x / floor near zero, ln(2 x / floor) far above.
    Asinh {
        /// The instrument's floor, in amperes.
        floor: f64,
    },
}

impl Scale {
    /// Where a value stands.
    pub fn place(&self, value: f64) -> f64 {
        match self {
            Scale::Linear => value,
            Scale::Asinh { floor } => (value / floor).asinh(),
        }
    }

    /// The value that stands there.
    pub fn value(&self, place: f64) -> f64 {
        match self {
            Scale::Linear => place,
            Scale::Asinh { floor } => floor * place.sinh(),
        }
    }

    /// dz/dx at a value.
    pub fn slope(&self, value: f64) -> f64 {
        match self {
            Scale::Linear => 1.0,
            Scale::Asinh { floor } => 1.0 / value.hypot(*floor),
        }
    }
}
