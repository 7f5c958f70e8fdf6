//! Values with units on the command line.

use crate::units::{Quantity, parse_as};

/// Reads a quantity, for clap's `value_parser`: the unit is always due, and what is
/// wrong is said with a hint.
pub(super) fn quantity<Q: Quantity>(text: &str) -> Result<Q, String> {
    parse_as(text, Q::UNIT).map(Q::of).map_err(|error| match error.hint {
        Some(hint) => format!("{}\n  hint: {hint}", error.problem),
        None => error.problem,
    })
}
