//! To come.
pub mod finding;
