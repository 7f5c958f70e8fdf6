//! Values with units on the command line.

use crate::units::{Quantity, Unit, parse_as};

/// Reads a quantity, for clap's `value_parser`: the unit is always due, and what is
/// wrong is said with a hint.
pub(in crate::cli) fn quantity<Q: Quantity>(text: &str) -> Result<Q, String> {
    parse_as(text, Q::UNIT).map(Q::of).map_err(|error| match error.hint {
        Some(hint) => format!("{}\n  hint: {hint}", error.problem),
        None => error.problem,
    })
}

/// Reads failures and starts: "4 of 500".
pub(super) fn counted(text: &str) -> Result<(u64, u64), String> {
    let expected = || format!("expected failures and starts, found {text:?}\n  hint: write it as \"4 of 500\"");
    let (failures, starts) = text.split_once(" of ").ok_or_else(expected)?;
    let number = |word: &str| word.trim().parse::<u64>().map_err(|_| expected());
    Ok((number(failures)?, number(starts)?))
}

/// What a meter shows.
const READ: [Unit; 9] =
    [Unit::Volt, Unit::Ampere, Unit::Ohm, Unit::Farad, Unit::Second, Unit::Hertz, Unit::Watt, Unit::Celsius, Unit::Coulomb];

/// Reads a quantity of any unit that a meter shows; the value is without prefix.
pub(super) fn any(text: &str) -> Result<(f64, Unit), String> {
    if let Some(found) = READ.into_iter().find_map(|unit| Some((parse_as(text, unit).ok()?, unit))) {
        return Ok(found);
    }
    let error = match parse_as(text, Unit::Volt) {
        // The mistake is the same for every unit, but for its name.
        Err(error) if error.problem.contains("bare number") || error.problem.contains("comma") => {
            error.problem.replace("a voltage", "a reading")
        }
        _ => format!("expected a value with a unit that a meter shows, found {text:?}"),
    };
    Err(format!("{error}\n  hint: write it as {}, or {}", Unit::Volt.examples(), Unit::Ampere.examples()))
}

/// Reads a count, for clap's `value_parser`.
pub(super) fn count(text: &str) -> Result<u64, String> {
    text.trim().parse().map_err(|_| format!("expected a whole number, 0 or more, found {text:?}"))
}

/// Reads a plain number.
pub(super) fn number(text: &str) -> Result<f64, String> {
    let read = text.trim().parse::<f64>().ok().filter(|x| x.is_finite());
    read.ok_or_else(|| format!("expected a number, as 1 or 2.5, found {text:?}"))
}
