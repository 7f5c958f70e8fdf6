//! Response data as a device writes them (IEEE 488.2 8.7).
//!
//! Holds always: what [`emit_list`] writes, `parse_list` reads as the same
//! data, bit for bit, as long as a word is a word and an indefinite block is
//! not wanted (blocks are written with their length).

use super::{Datum, Form, Radix, Special};

/// Writes data with commas between them, without a terminator.
pub fn emit_list(data: &[Datum]) -> Vec<u8> {
    let mut out = Vec::new();
    for (index, datum) in data.iter().enumerate() {
        if index > 0 {
            out.push(b',');
        }
        datum.emit(&mut out);
    }
    out
}

impl Datum {
    /// A number as the shortest NR3 that reads back equal; the special numbers for
    /// those that are none.
    pub fn number(value: f64) -> Datum {
        match Special::of(value) {
            Some(special) => Datum::Special(special),
            None => Datum::Decimal { value, form: Form::Nr3 },
        }
    }

    /// A Boolean, always `0` or `1` (SCPI-99 7.3).
    pub fn switch(on: bool) -> Datum {
        Datum::Integer(i64::from(on))
    }

    /// Appends the datum as it is sent.
    pub fn emit(&self, out: &mut Vec<u8>) {
        match self {
            Datum::Integer(value) => out.extend_from_slice(value.to_string().as_bytes()),
            Datum::Decimal { value, form: Form::Nr1 } => out.extend_from_slice(format!("{value:.0}").as_bytes()),
            Datum::Decimal { value, form: Form::Nr2 } => {
                let text = value.to_string();
                out.extend_from_slice(text.as_bytes());
                if !text.contains('.') {
                    out.extend_from_slice(b".0");
                }
            }
            Datum::Decimal { value, form: Form::Nr3 } => out.extend_from_slice(scientific(*value).as_bytes()),
            Datum::Special(special) => out.extend_from_slice(special.text().as_bytes()),
            Datum::NonDecimal { radix: Radix::Hexadecimal, value } => out.extend_from_slice(format!("#H{value:X}").as_bytes()),
            Datum::NonDecimal { radix: Radix::Octal, value } => out.extend_from_slice(format!("#Q{value:o}").as_bytes()),
            Datum::NonDecimal { radix: Radix::Binary, value } => out.extend_from_slice(format!("#B{value:b}").as_bytes()),
            Datum::Text(text) => quoted(text, out),
            Datum::Word(word) => out.extend_from_slice(word.as_bytes()),
            Datum::Block(bytes) => {
                let length = bytes.len().to_string();
                out.extend_from_slice(format!("#{}{length}", length.len()).as_bytes());
                out.extend_from_slice(bytes);
            }
        }
    }
}

impl Special {
    fn text(self) -> &'static str {
        match self {
            Special::Infinity => "9.9E+37",
            Special::NegativeInfinity => "-9.9E+37",
            Special::NotANumber => "9.91E+37",
        }
    }
}

/// A string in double quotes, quotes inside doubled (IEEE 488.2 8.7.8). A line break
/// would end the message, so it becomes a blank.
pub(in crate::scpi) fn quoted(text: &str, out: &mut Vec<u8>) {
    out.push(b'"');
    for byte in text.bytes() {
        match byte {
            b'"' => out.extend_from_slice(b"\"\""),
            b'\n' | b'\r' => out.push(b' '),
            other => out.push(other),
        }
    }
    out.push(b'"');
}

/// NR3 with a point and a signed exponent, shortest that reads back equal: `1.5E-3`.
fn scientific(value: f64) -> String {
    let text = format!("{value:E}");
    let (mantissa, exponent) = text.split_once('E').unwrap_or((&text, "0"));
    let point = if mantissa.contains('.') { "" } else { ".0" };
    let plus = if exponent.starts_with('-') { "" } else { "+" };
    format!("{mantissa}{point}E{plus}{exponent}")
}

/// A number as instruments with a fixed resolution send it: NR2 with so many decimals,
/// `12.500`. A number that is none gives the special text.
pub fn nr2(value: f64, decimals: usize) -> String {
    match Special::of(value) {
        Some(special) => special.text().into(),
        None => format!("{value:.*}", decimals.min(17)),
    }
}

/// A number as meters send it: sign, one digit, point, `digits - 1` digits, `E`, sign
/// and two digits, as `+1.23456789E-03` for nine digits. A number that is none gives the special
/// text.
pub fn nr3(value: f64, digits: usize) -> String {
    if let Some(special) = Special::of(value) {
        return special.text().into();
    }
    let text = format!("{value:+.*E}", digits.clamp(2, 17) - 1);
    let (mantissa, exponent) = text.split_once('E').unwrap_or((&text, "0"));
    let (sign, magnitude) = match exponent.strip_prefix('-') {
        Some(magnitude) => ('-', magnitude),
        None => ('+', exponent),
    };
    format!("{mantissa}E{sign}{magnitude:0>2}")
}
