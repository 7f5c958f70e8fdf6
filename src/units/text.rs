//! Reading quantities: `"4.7 uF"` to 4.7e-6. Strict, and helpful when it refuses.

use super::Unit;

/// Why a text is not a quantity of the unit that is due.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{problem}")]
pub struct UnitError {
    /// What is wrong, in words for the person who wrote the text.
    pub problem: String,
    /// What to write instead, where that can be said.
    pub hint: Option<String>,
}

impl Unit {
    /// The symbol that is printed: `V`, `ohm`, `degC`, `%`.
    pub fn symbol(self) -> &'static str {
        self.spellings()[0]
    }

    /// The unit that is printed with this symbol.
    pub fn from_symbol(symbol: &str) -> Option<Self> {
        ALL.into_iter().find(|u| u.symbol() == symbol)
    }

    /// Every symbol that is read, the printed one first.
    fn spellings(self) -> &'static [&'static str] {
        match self {
            Unit::Volt => &["V"],
            Unit::Ampere => &["A"],
            Unit::Ohm => &["ohm", "Ω", "Ω"],
            Unit::Farad => &["F"],
            Unit::Second => &["s"],
            Unit::Hertz => &["Hz"],
            Unit::Watt => &["W"],
            Unit::Joule => &["J"],
            Unit::Coulomb => &["C"],
            Unit::AmpereHour => &["Ah"],
            Unit::Celsius => &["degC", "°C"],
            Unit::VoltPerSecond => &["V/s"],
            Unit::Percent => &["%"],
        }
    }

    /// Other units of the same quantity, without prefixes, with their factor.
    fn multiples(self) -> &'static [(&'static str, f64)] {
        match self {
            Unit::Second => &[("min", 60.0), ("h", 3600.0), ("d", 86400.0)],
            Unit::VoltPerSecond => &[("V/min", 1.0 / 60.0)],
            _ => &[],
        }
    }

    /// The unit's name in a sentence: "a voltage".
    pub fn described(self) -> &'static str {
        match self {
            Unit::Volt => "a voltage",
            Unit::Ampere => "a current",
            Unit::Ohm => "a resistance",
            Unit::Farad => "a capacitance",
            Unit::Second => "a time",
            Unit::Hertz => "a frequency",
            Unit::Watt => "a power",
            Unit::Joule => "an energy",
            Unit::Coulomb => "a charge",
            Unit::AmpereHour => "a charge in ampere-hours",
            Unit::Celsius => "a temperature",
            Unit::VoltPerSecond => "a rate in volts per second",
            Unit::Percent => "a percentage",
        }
    }

    /// Two values as they are written, for messages.
    pub fn examples(self) -> &'static str {
        match self {
            Unit::Volt => "\"9 V\" or \"250 mV\"",
            Unit::Ampere => "\"100 mA\" or \"65 uA\"",
            Unit::Ohm => "\"470 kohm\" or \"80 mohm\"",
            Unit::Farad => "\"4.7 uF\" or \"100 nF\"",
            Unit::Second => "\"1.5 s\", \"100 ms\" or \"2 min\"",
            Unit::Hertz => "\"50 Hz\" or \"1 kHz\"",
            Unit::Watt => "\"1 W\" or \"250 mW\"",
            Unit::Joule => "\"2 J\" or \"50 mJ\"",
            Unit::Coulomb => "\"1 C\" or \"20 uC\"",
            Unit::AmpereHour => "\"2 Ah\" or \"225 mAh\"",
            Unit::Celsius => "\"25 degC\" or \"-40 degC\"",
            Unit::VoltPerSecond => "\"0.5 V/s\" or \"0.5 V/min\"",
            Unit::Percent => "\"1 %\" or \"0.05 %\"",
        }
    }

    fn takes_prefix(self) -> bool {
        !matches!(self, Unit::Celsius | Unit::Percent)
    }
}

/// The SI prefixes that are read, each with its power of ten.
pub(super) const PREFIXES: [(&str, i32); 10] = [
    ("f", -15),
    ("p", -12),
    ("n", -9),
    ("u", -6),
    ("µ", -6), // U+00B5, micro sign
    ("μ", -6), // U+03BC, Greek small letter mu
    ("m", -3),
    ("k", 3),
    ("M", 6),
    ("G", 9),
];

const ALL: [Unit; 13] = [
    Unit::Volt,
    Unit::Ampere,
    Unit::Ohm,
    Unit::Farad,
    Unit::Second,
    Unit::Hertz,
    Unit::Watt,
    Unit::Joule,
    Unit::Coulomb,
    Unit::AmpereHour,
    Unit::Celsius,
    Unit::VoltPerSecond,
    Unit::Percent,
];

enum Scale {
    Power(i32),
    Factor(f64),
}

/// Reads `text` as a quantity in `unit` and returns its value without prefix.
///
/// # Errors
/// A missing or wrong unit, a decimal comma, a prefix without its unit, or a
/// number that is none; each with a hint.
pub fn parse_as(text: &str, unit: Unit) -> Result<f64, UnitError> {
    let trimmed = text.trim();
    let end = number_end(trimmed);
    let (digits, rest) = trimmed.split_at(end);
    let suffix = rest.trim_start_matches([' ', '\u{a0}', '\u{202f}']);
    if digits.is_empty() {
        return Err(wrong(
            format!("expected {}, found {text:?}", unit.described()),
            Some(format!("write it with its unit, as {}", unit.examples())),
        ));
    }
    if rest.starts_with(',') {
        return Err(wrong(
            format!("{text:?} has a comma"),
            Some("the decimal mark is a point, and digits are not grouped: \"1.5\", not \"1,5\"".into()),
        ));
    }
    if suffix.is_empty() {
        return Err(wrong(
            format!("{digits} is a bare number; {} needs its unit", unit.described()),
            Some(format!("write it as {}", unit.examples())),
        ));
    }
    let Some(scale) = scale_of(suffix, unit) else {
        return Err(refuse_suffix(text, digits, suffix, unit));
    };
    let value = match scale {
        Scale::Power(power) => shifted(digits, power),
        Scale::Factor(factor) => digits.parse::<f64>().ok().map(|v| v * factor),
    };
    match value {
        Some(v) if v.is_finite() => Ok(v),
        _ => Err(wrong(format!("{text:?} is not a number that can be held"), None)),
    }
}

fn wrong(problem: String, hint: Option<String>) -> UnitError {
    UnitError { problem, hint }
}

fn scale_of(suffix: &str, unit: Unit) -> Option<Scale> {
    if unit == Unit::Percent {
        return (suffix == "%").then_some(Scale::Power(-2));
    }
    for symbol in unit.spellings() {
        if suffix == *symbol {
            return Some(Scale::Power(0));
        }
        if unit.takes_prefix() {
            for (prefix, power) in PREFIXES {
                if suffix.strip_prefix(prefix) == Some(symbol) {
                    return Some(Scale::Power(power));
                }
            }
        }
    }
    unit.multiples().iter().find(|(symbol, _)| suffix == *symbol).map(|(_, factor)| Scale::Factor(*factor))
}

fn refuse_suffix(text: &str, digits: &str, suffix: &str, unit: Unit) -> UnitError {
    let symbol = unit.symbol();
    if let Some((prefix, _)) = PREFIXES.iter().find(|(p, _)| *p == suffix) {
        let hint = match *prefix {
            "m" | "M" if unit.takes_prefix() => {
                format!("m is milli (0.001) and M is mega (1000000): write \"{digits} m{symbol}\" or \"{digits} M{symbol}\"")
            }
            _ if unit.takes_prefix() => format!("write \"{digits} {prefix}{symbol}\""),
            _ => format!("write it as {}", unit.examples()),
        };
        return wrong(format!("{text:?} has a prefix but no unit"), Some(hint));
    }
    if let Some(other) = ALL.iter().find(|u| **u != unit && scale_of(suffix, **u).is_some()) {
        return wrong(
            format!("{text:?} is {}; expected {}", other.described(), unit.described()),
            Some(format!("write it as {}", unit.examples())),
        );
    }
    let lower = suffix.to_lowercase();
    let near = unit
        .spellings()
        .iter()
        .flat_map(|s| std::iter::once((*s).to_owned()).chain(PREFIXES.iter().map(move |(p, _)| format!("{p}{s}"))))
        .find(|candidate| candidate.to_lowercase() == lower);
    wrong(
        format!("{suffix:?} is not a unit of {}", unit.described()),
        Some(match near {
            Some(candidate) => format!("capitals matter: did you mean \"{digits} {candidate}\"?"),
            None => format!("write it as {}", unit.examples()),
        }),
    )
}

/// Where the number at the start of `text` ends: sign, digits, point, exponent.
fn number_end(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |mut i: usize| {
        while bytes.get(i).is_some_and(u8::is_ascii_digit) {
            i += 1;
        }
        i
    };
    let start = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let mut end = digits(start);
    let whole = end - start;
    let mut fraction = 0;
    if bytes.get(end) == Some(&b'.') {
        let stop = digits(end + 1);
        fraction = stop - end - 1;
        if fraction > 0 {
            end = stop;
        }
    }
    if whole == 0 && fraction == 0 {
        return 0;
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let sign = end + 1 + usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let stop = digits(sign);
        if stop > sign {
            end = stop;
        }
    }
    end
}

/// `digits` times a power of ten, rounded once: "64.9" and -6 give exactly 64.9e-6.
fn shifted(digits: &str, power: i32) -> Option<f64> {
    let (mantissa, exponent) = match digits.split_once(['e', 'E']) {
        Some((m, e)) => (m, e.parse::<i32>().ok()?),
        None => (digits, 0),
    };
    format!("{mantissa}e{}", exponent.checked_add(power)?).parse().ok()
}
