//! Numbers of a netlist, and arithmetic in braces.
//!
//! A number may end in a scale factor of Berkeley SPICE (`t g meg k mil m u n p f`,
//! in any case: `M` is milli, `MEG` is mega), and then in letters that mean nothing,
//! as the unit in `10uF`.

use std::collections::BTreeMap;

/// Named values, in lower case.
pub type Values = BTreeMap<String, f64>;

const FACTORS: [(&str, f64); 12] = [
    ("meg", 1e6),
    ("mil", 25.4e-6),
    ("t", 1e12),
    ("g", 1e9),
    ("k", 1e3),
    ("m", 1e-3),
    ("u", 1e-6),
    ("µ", 1e-6),
    ("n", 1e-9),
    ("p", 1e-12),
    ("f", 1e-15),
    ("a", 1e-18),
];

/// A number, whole.
pub fn number(text: &str) -> Option<f64> {
    let (value, rest) = leading(text)?;
    rest.is_empty().then_some(value)
}

/// A number at the beginning, with its factor and unit, and the rest.
fn leading(text: &str) -> Option<(f64, &str)> {
    let bytes = text.as_bytes();
    let digits = |mut at: usize| {
        while bytes.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let mut end = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let first = end;
    end = digits(end);
    let mut count = end - first;
    if bytes.get(end) == Some(&b'.') {
        let fraction = digits(end + 1);
        count += fraction - end - 1;
        end = fraction;
    }
    if count == 0 {
        return None;
    }
    if bytes.get(end) == Some(&b'e') {
        let sign = end + 1 + usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits(sign);
        if exponent > sign {
            end = exponent;
        }
    }
    let value: f64 = text.get(..end)?.parse().ok()?;
    let rest = text.get(end..)?;
    let (factor, rest) =
        FACTORS.iter().find_map(|(name, factor)| rest.strip_prefix(name).map(|rest| (*factor, rest))).unwrap_or((1.0, rest));
    let unit = rest.find(|c: char| !c.is_alphabetic() && c != '%').unwrap_or(rest.len());
    let rest = rest.get(unit..)?;
    // `1k5` and `4u7` mean other things to other people.
    if rest.starts_with(|c: char| c.is_ascii_digit() || c == '_' || c == '.') {
        return None;
    }
    Some((value * factor, rest))
}

/// A number, or arithmetic in braces or single quotes over named values.
///
/// # Errors
/// In words: what was expected.
pub fn value(text: &str, values: &Values) -> Result<f64, String> {
    let inner = text.strip_prefix('{').and_then(|t| t.strip_suffix('}'));
    let inner = inner.or_else(|| text.strip_prefix('\'').and_then(|t| t.strip_suffix('\'')));
    let Some(inner) = inner else {
        // A bare name may stand for a value as well.
        return number(text).or_else(|| values.get(text).copied()).ok_or_else(|| "a number".to_owned());
    };
    let mut reader = Reader { rest: inner, values, depth: 0 };
    let found = reader.sum()?;
    reader.blanks();
    if reader.rest.is_empty() { Ok(found) } else { Err(format!("an operator before {:?}", reader.rest)) }
}

struct Reader<'a> {
    rest: &'a str,
    values: &'a Values,
    depth: usize,
}

impl Reader<'_> {
    fn blanks(&mut self) {
        self.rest = self.rest.trim_start();
    }

    fn eat(&mut self, token: &str) -> bool {
        self.blanks();
        match self.rest.strip_prefix(token) {
            Some(rest) => {
                self.rest = rest;
                true
            }
            None => false,
        }
    }

    fn sum(&mut self) -> Result<f64, String> {
        self.depth += 1;
        if self.depth > 50 {
            return Err("fewer nested parentheses".into());
        }
        let mut total = self.product()?;
        loop {
            if self.eat("+") {
                total += self.product()?;
            } else if self.eat("-") {
                total -= self.product()?;
            } else {
                self.depth -= 1;
                return Ok(total);
            }
        }
    }

    fn product(&mut self) -> Result<f64, String> {
        let mut total = self.power()?;
        loop {
            self.blanks();
            if self.rest.starts_with("**") {
                return Ok(total);
            }
            if self.eat("*") {
                total *= self.power()?;
            } else if self.eat("/") {
                total /= self.power()?;
            } else {
                return Ok(total);
            }
        }
    }

    fn power(&mut self) -> Result<f64, String> {
        if self.eat("-") {
            return Ok(-self.power()?);
        }
        if self.eat("+") {
            return self.power();
        }
        let base = self.atom()?;
        if self.eat("**") || self.eat("^") { Ok(base.powf(self.power()?)) } else { Ok(base) }
    }

    fn atom(&mut self) -> Result<f64, String> {
        if self.eat("(") {
            let found = self.sum()?;
            return if self.eat(")") { Ok(found) } else { Err("a closing parenthesis".into()) };
        }
        self.blanks();
        if let Some((found, rest)) = leading(self.rest) {
            self.rest = rest;
            return Ok(found);
        }
        let end = self.rest.find(|c: char| !c.is_alphanumeric() && c != '_').unwrap_or(self.rest.len());
        let (name, rest) = self.rest.split_at(end);
        if name.is_empty() {
            return Err("a number or a name".into());
        }
        self.rest = rest;
        if self.eat("(") {
            let first = self.sum()?;
            let second = if self.eat(",") { Some(self.sum()?) } else { None };
            if !self.eat(")") {
                return Err("a closing parenthesis".into());
            }
            return match (name, second) {
                ("sqrt", None) => Ok(first.sqrt()),
                ("exp", None) => Ok(first.exp()),
                ("ln" | "log", None) => Ok(first.ln()),
                ("log10", None) => Ok(first.log10()),
                ("abs", None) => Ok(first.abs()),
                ("sin", None) => Ok(first.sin()),
                ("cos", None) => Ok(first.cos()),
                ("min", Some(second)) => Ok(first.min(second)),
                ("max", Some(second)) => Ok(first.max(second)),
                ("pow", Some(second)) => Ok(first.powf(second)),
                _ => Err("one of sqrt exp ln log log10 abs sin cos min max pow".into()),
            };
        }
        if name == "pi" {
            return Ok(std::f64::consts::PI);
        }
        self.values.get(name).copied().ok_or_else(|| format!("a .param {name}, which there is not"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Factors of Berkeley SPICE, user's guide, section on number fields.
    #[test]
    fn factors_are_those_of_berkeley_spice() {
        for (text, wanted) in [
            ("1", 1.0),
            ("-2.5e-3", -2.5e-3),
            (".5", 0.5),
            ("10uf", 1e-5),
            ("1meg", 1e6),
            ("1megohm", 1e6),
            ("1mohm", 1e-3),
            ("3mil", 7.62e-5),
            ("2g", 2e9),
            ("5v", 5.0),
            ("1e3k", 1e6),
            ("47p", 4.7e-11),
            ("1t", 1e12),
            ("1fs", 1e-15),
        ] {
            let found = number(text).unwrap();
            assert!((found / wanted - 1.0).abs() < 1e-12, "{text}: {found}");
        }
        for text in ["", "k", "1k5", "4u7", "-", "1.2.3", "e3", "--1"] {
            assert_eq!(number(text), None, "{text}");
        }
    }

    #[test]
    fn arithmetic_goes_by_the_usual_precedence() {
        let values: Values = [("x".to_owned(), 3.0), ("rload".to_owned(), 1e3)].into();
        for (text, wanted) in [
            ("{1+2*x}", 7.0),
            ("{(1+2)*x}", 9.0),
            ("'-x^2'", -9.0),
            ("{2**3**1}", 8.0),
            ("{rload/2k}", 0.5),
            ("{sqrt(x*x) - min(1, 2)}", 2.0),
            ("{ 1meg * 1u }", 1.0),
            ("x", 3.0),
        ] {
            assert!((value(text, &values).unwrap() - wanted).abs() < 1e-12, "{text}");
        }
        for text in ["{1+}", "{y}", "{(1}", "{1 2}", "{foo(1)}", "{", "{((((((((((((((((((((((((((((((((((((((((((((((((((((((1"]
        {
            assert!(value(text, &values).is_err(), "{text}");
        }
    }
}
