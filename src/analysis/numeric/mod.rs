//! The arithmetic under the findings: distributions, stable sums, least squares.
//!
//! Nothing here answers NaN: where a figure does not exist, `None` or a typed
//! error says so. Held against scipy (tests/peers) and NIST's certified sets
//! (StRD, tests/data/nist-strd).

pub mod distribution;
pub mod least_squares;
mod qr;
pub mod sums;
