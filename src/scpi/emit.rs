//! What a controller puts into a command (IEEE 488.2 7.7): numbers, strings,
//! blocks, channel lists.
//!
//! Leaves to others: headers ([`super::header`]) and units; a number goes out
//! in the unit's base without a suffix, since some instruments reject any.
//! Holds always: what cannot be sent as it is meant is refused, not bent.

use super::response;

/// Why something cannot be put into a command.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum EmitError {
    /// Infinite, not a number, or at least 9.9E37, which means infinity in SCPI.
    #[error("{0} cannot be sent as a number")]
    NotANumber(f64),
    /// A string with a character that no string of a message may hold.
    #[error("{0:?} cannot be sent in a string: only printable ASCII can")]
    Character(char),
    /// More bytes than the header of a block can announce.
    #[error("a block of {0} bytes is too long: at most 999999999")]
    BlockTooLong(usize),
}

/// A number, shortest that reads back equal: plain where that is short (`0.05`, `12`), else with an
/// exponent (`6.5E-5`).
///
/// At most 17 digits and an exponent of at most 3, far within the 255 and 32000 of
/// IEEE 488.2 7.7.2.4.1.
///
/// # Errors
/// [`EmitError::NotANumber`].
pub fn number(value: f64) -> Result<String, EmitError> {
    if response::Special::of(value).is_some() {
        return Err(EmitError::NotANumber(value));
    }
    Ok(match value.abs() {
        0.0 => "0".into(),
        1e-3..1e9 => value.to_string(),
        _ => format!("{value:E}"),
    })
}

/// A string in double quotes, quotes inside doubled (IEEE 488.2 7.7.5).
///
/// # Errors
/// [`EmitError::Character`] for anything but printable ASCII.
pub fn string(text: &str) -> Result<String, EmitError> {
    match text.chars().find(|c| !matches!(c, ' '..='~')) {
        Some(odd) => Err(EmitError::Character(odd)),
        None => Ok(format!("\"{}\"", text.replace('"', "\"\""))),
    }
}

/// A definite-length block (IEEE 488.2 7.7.6): `#213` and 13 bytes.
///
/// # Errors
/// [`EmitError::BlockTooLong`].
pub fn block(bytes: &[u8]) -> Result<Vec<u8>, EmitError> {
    match bytes.len() {
        0..=999_999_999 => Ok(response::emit_list(&[response::Datum::Block(bytes.to_vec())])),
        length => Err(EmitError::BlockTooLong(length)),
    }
}

/// A channel list (SCPI-99 volume 1, 8.3.2): `(@1,3)`. Every channel is named, since not every
/// instrument takes ranges.
pub fn channel_list(channels: &[u32]) -> String {
    let names: Vec<String> = channels.iter().map(u32::to_string).collect();
    format!("(@{})", names.join(","))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scpi::response::{Datum, parse_one};

    #[test]
    fn numbers_are_short_and_exact() {
        // common practice
        let pairs = [
            (0.0, "0"),
            (-0.0, "0"),
            (9.0, "9"),
            (0.05, "0.05"),
            (-12.5, "-12.5"),
            (6.5e-5, "6.5E-5"),
            (1e9, "1E9"),
            (0.1 + 0.2, "0.30000000000000004"),
        ];
        for (value, text) in pairs {
            assert_eq!(number(value).unwrap(), text);
            assert_eq!(parse_one(text.as_bytes()).unwrap().reading().unwrap(), value);
        }
    }

    #[test]
    fn what_means_infinity_is_not_sent_as_a_number() {
        // CHECKS 1.2 rows 5 and 6
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 9.9e37, -9.9e37, 9.91e37, 1e40] {
            assert!(number(value).is_err(), "{value}");
        }
        assert_eq!(number(9.8e37).unwrap(), "9.8E37");
    }

    #[test]
    fn strings_double_their_quotes_and_stay_on_one_line() {
        // IEEE 488.2 7.7.5; CHECKS 1.2 rows 9 and 10
        let text = r#"one double quote inside brackets: ["]"#;
        assert_eq!(string(text).unwrap(), r#""one double quote inside brackets: [""]""#);
        assert_eq!(string("two\nlines"), Err(EmitError::Character('\n')));
        assert_eq!(string("5 µA"), Err(EmitError::Character('µ')));
    }

    #[test]
    fn blocks_announce_their_length() {
        // IEEE 488.2 7.7.6; CHECKS 1.2 row 12
        assert_eq!(block(b"Hello, world!").unwrap(), b"#213Hello, world!");
        assert!(block(&[7; 4000]).unwrap().starts_with(b"#44000"));
        assert_eq!(parse_one(&block(b"a\nb").unwrap()).unwrap(), Datum::Block(b"a\nb".to_vec()));
    }

    #[test]
    fn channel_lists_name_every_channel() {
        // SCPI-99 volume 1, 8.3.2
        assert_eq!(channel_list(&[1]), "(@1)");
        assert_eq!(channel_list(&[1, 3, 4]), "(@1,3,4)");
    }
}
