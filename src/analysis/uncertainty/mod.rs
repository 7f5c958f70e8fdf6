//! Uncertainty as in the GUM (JCGM 100:2008): from what is known of each influence
//! to the expanded uncertainty of a result, and from that to a decision against a
//! limit (ILAC-G8:09/2019).
//!
//! What a maker or a certificate states becomes a standard uncertainty by
//! [`Stated`], the same way as a reading gets its own in `instrument`.

mod budget;
mod decision;
mod model;

pub use crate::units::{Stated, resolution_u as resolution};
pub use budget::{Budget, Contribution, Expanded, Repeated, judged_dof, repeated};
pub use decision::{Guard, Limit, Standing, chance_outside};
pub use model::{Propagated, correlation_of_means, propagate};

/// Coverage factor of every expanded uncertainty of a reading (about 95 %; JCGM
/// 100:2008, 6.3.3). Where the degrees of freedom are few, [`Budget::expanded`]
/// takes Student's t instead.
pub const COVERAGE: f64 = 2.0;

/// Standard uncertainty of a maker's limits of error: rectangular, a / sqrt 3
/// (JCGM 100:2008, 4.3.7).
pub fn rectangular(half_width: f64) -> f64 {
    Stated::Limits.standard(half_width)
}

/// Root of the sum of squares, for contributions that do not depend on each other.
pub fn combined(parts: &[f64]) -> f64 {
    parts.iter().fold(0.0_f64, |sum, part| sum.hypot(*part))
}
