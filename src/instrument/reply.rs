//! From the text of an answer to what it says of a measurand.
//!
//! Strict: a number is NR1, NR2 or NR3 of IEEE 488.2 with nothing around it but
//! what the profile allows. Anything else is garbled, and garbled is no number.

use super::profile::{Accuracy, Numbers, Packed, ReplyForm, UnitInReply, fits};
use super::reading::Sample;
use crate::scpi::response::{Datum, Special, parse_one};
use crate::units::Unit;
use std::borrow::Cow;

/// What an answer says, before accuracy and floor are applied.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Said {
    /// A number in the measurand's unit.
    Number(f64),
    /// Beyond the range.
    Overload,
    /// The special "not a number".
    NotANumber,
    /// Something else.
    Garbled,
}

/// Reads an answer by the profile's form. `prefix` is the form's prefix with its
/// placeholders filled in; `overload` are the dialect's words for it.
pub fn said(reply: &str, form: &ReplyForm, prefix: &str, of: Unit, overload: &[String]) -> Said {
    let Numbers { fields, .. } = form.numbers;
    // A decimal comma must not cut a number short.
    if form.field == 0 && form.numbers.group != Some(fields) && form.numbers.decimal != fields && reply.contains(fields) {
        return Said::Garbled;
    }
    let field = if form.field == 0 { Some(reply) } else { reply.split(fields).nth(form.field - 1) };
    let Some(mut text) = field.map(str::trim) else { return Said::Garbled };
    if !prefix.trim().is_empty() {
        match text.strip_prefix(prefix.trim()) {
            Some(rest) => text = rest.trim_start(),
            None => return Said::Garbled,
        }
    }
    if overload.iter().any(|word| fits(word, text)) {
        return Said::Overload;
    }
    let scale = form.scale.unwrap_or(1.0);
    if let Some(packed) = &form.packed {
        return unpacked(text, packed).map_or(Said::Garbled, |count| Said::Number(count * scale));
    }
    let (digits, suffix) = split_unit(text, form.numbers);
    let factor = match (form.unit, suffix) {
        (_, "") => scale,
        (UnitInReply::None, _) => return Said::Garbled,
        (UnitInReply::Checked, suffix) => match unit_factor(suffix, of) {
            Some(factor) => factor * scale,
            None => return Said::Garbled,
        },
    };
    let Some(digits) = pointed(digits, form.numbers) else { return Said::Garbled };
    match parse_one(digits.as_bytes()) {
        Ok(Datum::Special(Special::NotANumber)) => Said::NotANumber,
        Ok(Datum::Special(_)) => Said::Overload,
        Ok(datum) => datum.reading().map_or(Said::Garbled, |value| Said::Number(value * factor)),
        Err(_) => Said::Garbled,
    }
}

/// Digits at their place in an answer that is digits alone, and as many as it should have.
fn unpacked(text: &str, packed: &Packed) -> Option<f64> {
    if text.len() != packed.width || !text.bytes().all(|b| b.is_ascii_digit()) {
        return None;
    }
    text.get(packed.at - 1..packed.at - 1 + packed.digits)?.parse().ok()
}

/// A number with a point before its decimals and nothing between its digits, from one that
/// is written in the dialect's way; `None` where it is not.
fn pointed(text: &str, numbers: Numbers) -> Option<Cow<'_, str>> {
    if numbers.decimal == '.' && numbers.group.is_none() {
        return Some(Cow::Borrowed(text));
    }
    let (mantissa, exponent) = text.split_at(text.find(['e', 'E']).unwrap_or(text.len()));
    let (whole, decimals) = match mantissa.split_once(numbers.decimal) {
        Some((whole, decimals)) => (whole, Some(decimals)),
        None => (mantissa, None),
    };
    let is_digits = |text: &str| text.bytes().all(|b| b.is_ascii_digit());
    let bare = whole.strip_prefix(['+', '-']).unwrap_or(whole);
    if let Some(group) = numbers.group.filter(|group| bare.contains(*group)) {
        let mut groups = bare.split(group);
        let first = groups.next()?;
        if !(1..=3).contains(&first.len()) || !is_digits(first) || !groups.all(|g| g.len() == 3 && is_digits(g)) {
            return None;
        }
    } else if !is_digits(bare) {
        return None;
    }
    if !decimals.is_none_or(is_digits) {
        return None;
    }
    let whole = numbers.group.map_or_else(|| whole.to_owned(), |group| whole.replace(group, ""));
    Some(Cow::Owned(match decimals {
        Some(decimals) => format!("{whole}.{decimals}{exponent}"),
        None => whole + exponent,
    }))
}

/// The number and what follows it. An exponent belongs to the number.
fn split_unit(text: &str, numbers: Numbers) -> (&str, &str) {
    let rest = |at: usize| text.get(at..).unwrap_or("");
    let is_exponent = |at: usize| {
        let tail = rest(at + 1);
        tail.strip_prefix(['+', '-']).unwrap_or(tail).starts_with(|c: char| c.is_ascii_digit())
    };
    // A blank may stand between groups; behind the last it stands before the unit.
    let is_group =
        |at: usize, c: char| numbers.group == Some(c) && rest(at + c.len_utf8()).starts_with(|c: char| c.is_ascii_digit());
    let end = text
        .char_indices()
        .find(|(at, c)| match c {
            '0'..='9' | '+' | '-' | '.' => false,
            'e' | 'E' => !is_exponent(*at),
            _ => *c != numbers.decimal && !is_group(*at, *c),
        })
        .map_or(text.len(), |(at, _)| at);
    let (digits, suffix) = text.split_at(end);
    (digits, suffix.trim())
}

/// The factor of a unit in an answer: `A`, `mA`, `V DC`; `None` for another quantity.
fn unit_factor(suffix: &str, of: Unit) -> Option<f64> {
    let mut words = suffix.split_whitespace();
    let word = words.next()?;
    // `AC`, or a second unit, is another quantity.
    if words.any(|more| !more.eq_ignore_ascii_case("DC")) {
        return None;
    }
    let symbol = of.symbol();
    let prefix = word.strip_suffix(symbol).or_else(|| word.strip_suffix(&symbol.to_lowercase()))?;
    match prefix {
        "" => Some(1.0),
        "n" | "N" => Some(1e-9),
        "u" | "U" | "µ" | "μ" => Some(1e-6),
        // In answers as in commands M is milli: IEEE 488.2 7.7.3 (only MOHM and MHZ are mega).
        "m" | "M" => Some(1e-3),
        "k" | "K" => Some(1e3),
        _ => None,
    }
}

/// The reading's sample: with its standard uncertainty, or below the floor.
///
/// The uncertainty is [`Accuracy::standard`].
pub fn sample(said: Said, accuracy: &Accuracy, range: f64, resolution: f64, floor: f64) -> Sample {
    match said {
        Said::Number(value) if value.abs() < floor => Sample::BelowFloor { floor },
        Said::Number(value) => Sample::Value { value, u: accuracy.standard(value, range, resolution) },
        Said::Overload => Sample::Overload,
        Said::NotANumber => Sample::NotANumber,
        Said::Garbled => Sample::Garbled,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn form(field: usize, prefix: &str, unit: UnitInReply) -> ReplyForm {
        ReplyForm { field, prefix: prefix.into(), unit, ..ReplyForm::default() }
    }

    #[test]
    fn answers_are_read_as_the_dialect_writes_them() {
        let plain = form(1, "", UnitInReply::None);
        let units = form(1, "", UnitInReply::Checked);
        let overload = ["OL".to_owned(), "OVFLOW".to_owned()];
        // QUIRKS rows 31 to 35.
        let cases = [
            ("1.5", &plain, Said::Number(1.5)),
            ("+1.50000000E-03", &plain, Said::Number(1.5e-3)),
            ("9.9E+37", &plain, Said::Overload),
            ("-9.90000000E+37", &plain, Said::Overload),
            ("9.91E+37", &plain, Said::NotANumber),
            ("1.234A", &plain, Said::Garbled),
            ("1.234A", &units, Said::Number(1.234)),
            ("101.2e-3 A DC", &units, Said::Number(0.1012)),
            ("12.5 mA", &units, Said::Number(12.5 * 1e-3)),
            ("65 uA", &units, Said::Number(65.0 * 1e-6)),
            ("101.2e-3 V DC", &units, Said::Garbled),
            ("101.2e-3 A AC", &units, Said::Garbled),
            ("101.2e-3 A DC V", &units, Said::Garbled),
            ("1.5", &units, Said::Number(1.5)),
            ("OL", &units, Said::Overload),
            ("ovflow", &plain, Said::Overload),
            ("", &plain, Said::Garbled),
            ("nan", &plain, Said::Garbled),
            ("inf", &plain, Said::Garbled),
            ("1.2.3", &plain, Said::Garbled),
            ("E04", &plain, Said::Garbled),
        ];
        for (reply, form, expected) in cases {
            assert_eq!(said(reply, form, "", Unit::Ampere, &overload), expected, "{reply}");
        }
    }

    #[test]
    fn the_named_field_and_prefix_are_taken() {
        let second = form(2, "", UnitInReply::None);
        assert_eq!(said("9.00,0.012", &second, "", Unit::Ampere, &[]), Said::Number(0.012));
        assert_eq!(said("9.00", &second, "", Unit::Ampere, &[]), Said::Garbled);
        let named = form(1, "V{channel} ", UnitInReply::None);
        assert_eq!(said("V1 12.00", &named, "V1 ", Unit::Volt, &[]), Said::Number(12.0));
        assert_eq!(said("V2 12.00", &named, "V1 ", Unit::Volt, &[]), Said::Garbled);
    }

    #[test]
    fn a_decimal_comma_is_never_read_as_a_number_a_hundred_times_larger() {
        // QUIRKS row 35: "9,99" read as 999.
        let plain = form(1, "", UnitInReply::None);
        assert_ne!(said("9,99", &plain, "", Unit::Volt, &[]), Said::Number(999.0));
        // Nor cut short, where the profile does not say that there are fields.
        assert_eq!(said("9,99", &form(0, "", UnitInReply::None), "", Unit::Volt, &[]), Said::Garbled);
    }

    #[test]
    fn numbers_are_read_in_the_dialects_way_and_no_other() {
        // QUIRKS row 35; the ways of writing are common practice.
        let read = |text: &str, decimal, group, fields| {
            let numbers = Numbers { decimal, group, fields };
            said(text, &ReplyForm { numbers, unit: UnitInReply::Checked, ..ReplyForm::default() }, "", Unit::Volt, &[])
        };
        for (text, value) in [
            ("9,99", 9.99),
            ("+1,5E-03", 1.5e-3),
            ("1.234,5", 1234.5),
            ("1234,5", 1234.5),
            ("-1.234.567", -1234567.0),
            ("9,99 V", 9.99),
        ] {
            assert_eq!(read(text, ',', Some('.'), ';'), Said::Number(value), "{text}");
        }
        for text in ["9.99", "1.23.456", "12.3456,7", ".123", "1.234.5", "1,2,3", "1,234.5", "9,", "1.,5"] {
            let said = read(text, ',', Some('.'), ';');
            assert!(said == Said::Garbled || (text == "9," && said == Said::Number(9.0)), "{text}: {said:?}");
        }
        assert_eq!(read("1 234.5 V", '.', Some(' '), ','), Said::Number(1234.5));
        assert_eq!(read("1'234", '.', Some('\''), ','), Said::Number(1234.0));
        assert_eq!(read("1,234.5", '.', Some(','), ';'), Said::Number(1234.5));
        assert_eq!(read("1,23", '.', Some(','), ';'), Said::Garbled);
        assert_eq!(read("9.99", ',', None, ';'), Said::Garbled);
        assert_eq!(read("9,9E37", ',', None, ';'), Said::Overload);
    }

    #[test]
    fn digits_without_a_point_are_read_at_their_place_or_not_at_all() {
        // QUIRKS row 34: "180200" is 18.0 V and 2.00 A.
        let packed = |at, scale| ReplyForm {
            packed: Some(Packed { at, digits: 3, width: 6 }),
            scale: Some(scale),
            ..ReplyForm::default()
        };
        let near = |said, value: f64| matches!(said, Said::Number(found) if (found - value).abs() < 1e-9);
        assert!(near(said("180200", &packed(1, 0.1), "", Unit::Volt, &[]), 18.0));
        assert!(near(said("180200", &packed(4, 0.01), "", Unit::Ampere, &[]), 2.0));
        for text in ["80200", "1802000", "18020", "18.200", "18020 ", " 80200", "18020O", ""] {
            let found = said(text, &packed(1, 0.1), "", Unit::Volt, &[]);
            assert_eq!(found, Said::Garbled, "{text:?}");
        }
    }

    #[test]
    fn a_number_may_count_in_a_scale() {
        let form = ReplyForm { scale: Some(1e-3), ..ReplyForm::default() };
        assert_eq!(said("9000", &form, "", Unit::Volt, &[]), Said::Number(9.0));
    }

    #[test]
    fn uncertainty_comes_from_accuracy_and_resolution() {
        // CHECKS 6 row 11: 5 V on the 10 V range, 0.0020 % + 0.0005 % = 150 uV; rectangular 86.60 uV.
        let accuracy = Accuracy { reading: crate::units::Ratio(2e-5), range: crate::units::Ratio(5e-6), ..Accuracy::default() };
        match sample(Said::Number(5.0), &accuracy, 10.0, 0.0, 1e-6) {
            Sample::Value { value, u } => {
                assert_eq!(value, 5.0);
                assert!((u - 86.60e-6).abs() < 0.01e-6, "{u}");
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn what_cannot_be_told_from_zero_is_no_number() {
        let accuracy = Accuracy { offset: 1e-3, ..Accuracy::default() };
        assert_eq!(sample(Said::Number(0.0), &accuracy, 0.0, 1e-3, 2e-3), Sample::BelowFloor { floor: 2e-3 });
        assert_eq!(sample(Said::Number(-1.9e-3), &accuracy, 0.0, 1e-3, 2e-3), Sample::BelowFloor { floor: 2e-3 });
    }
}
