//! Our figures against reference libraries of other people: Python's scipy,
//! statsmodels, scikit-learn, ruptures, pyarrow and jsonschema, and the circuit simulator ngspice.
//!
//! Each module draws its cases from seeds, computes them with the crate, and has a
//! script beside it compute them anew. Where a peer is not installed a test says so
//! and returns; `tests/all` installs them, and names what it could not.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a test that cannot go on stops, and says what it left out"
)]

mod support;
mod trend;

mod changes;
mod circuit;
mod compared;
mod dependence;
mod distributions;
mod export;
mod leakage;
mod least_squares;
mod lots;
mod numerics;
mod pages;
mod profiles;
mod rates;
mod sampling;
mod states;
