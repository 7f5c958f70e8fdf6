//! Command headers in long and short form (SCPI-99 volume 1, 6.2): a pattern as
//! programming guides print it, `[:SOURce]:VOLTage[:LEVel]`, compiled once.
//!
//! A mnemonic is matched by exactly its long or exactly its short form, in
//! capitals or not; nodes in brackets may be left out; `#` (or `<n>`) behind a
//! mnemonic takes a numeric suffix, which is 1 where it is left out.
//! Leaves to others: parameters, and what a header does.
//! Holds always: a pattern matches what it emits.

mod mnemonic;
mod pattern;

pub use mnemonic::{LONGEST as LONGEST_MNEMONIC, Mnemonic};
pub use pattern::Pattern;

/// A pattern that cannot be compiled.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{pattern:?} is not a command header: {problem}")]
pub struct PatternError {
    /// As written.
    pub pattern: String,
    /// What is wrong, and what is expected.
    pub problem: &'static str,
}

#[cfg(test)]
mod tests;
