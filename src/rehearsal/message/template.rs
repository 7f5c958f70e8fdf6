//! A dialect's own messages, `SET {voltage},{current}` against `SET 9.00,0.06`: for
//! what is no header with parameters after the standard.

use super::order::Filled;
use crate::scpi::program::Numeric;

/// A message with its placeholders, cut into pieces once.
#[derive(Clone, Debug)]
pub struct Template {
    /// Each with what follows it; nothing after the last.
    pieces: Vec<(String, Option<Place>)>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Channel,
    First,
    Second,
    Word,
}

impl Template {
    /// Cuts a template.
    pub fn new(text: &str) -> Self {
        let text = tidy(text);
        let mut pieces = Vec::new();
        let mut rest = text.as_str();
        while let Some((literal, (name, tail))) = rest.split_once('{').and_then(|(l, r)| Some((l, r.split_once('}')?))) {
            let place = match name {
                "channel" => Place::Channel,
                "value" | "voltage" => Place::First,
                "current" => Place::Second,
                _ => Place::Word,
            };
            pieces.push((literal.to_owned(), Some(place)));
            rest = tail;
        }
        pieces.push((rest.to_owned(), None));
        Self { pieces }
    }

    /// What stood in the places, if a message (tidied) is this one. Case does not matter.
    pub fn matches(&self, message: &str) -> Option<Filled> {
        let mut filled = Filled::default();
        let mut text = message;
        let mut pieces = self.pieces.iter().peekable();
        while let Some((literal, place)) = pieces.next() {
            let (head, tail) = text.split_at_checked(literal.len())?;
            if !head.eq_ignore_ascii_case(literal) {
                return None;
            }
            let Some(place) = place else { return tail.is_empty().then_some(filled) };
            // The value goes on until the next literal begins, or to the end.
            let next = pieces.peek().map_or("", |(literal, _)| literal);
            let end = if next.is_empty() { tail.len() } else { find(tail, next)? };
            let value = tail.get(..end)?.trim();
            text = tail.get(end..)?;
            match place {
                Place::Channel => filled.channels = vec![value.parse().ok()?],
                Place::First => filled.first = Some(Numeric::Value(number(value)?)),
                Place::Second => filled.second = Some(Numeric::Value(number(value)?)),
                Place::Word if value.is_empty() => return None,
                Place::Word => filled.word = Some(value.to_owned()),
            }
        }
        None
    }
}

fn find(text: &str, word: &str) -> Option<usize> {
    text.as_bytes().windows(word.len()).position(|w| w.eq_ignore_ascii_case(word.as_bytes()))
}

/// A decimal number; `inf` and `NaN`, which Rust would read, are none.
fn number(text: &str) -> Option<f64> {
    let plain = text.bytes().all(|c| c.is_ascii_digit() || b"+-.eE".contains(&c));
    text.parse().ok().filter(|n: &f64| plain && n.is_finite())
}

/// One blank between words, and none beside a comma.
pub fn tidy(text: &str) -> String {
    let mut tidied = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        if !tidied.is_empty() && !tidied.ends_with(',') && !word.starts_with(',') {
            tidied.push(' ');
        }
        tidied.push_str(word);
    }
    tidied
}

#[cfg(test)]
mod tests {
    use super::*;

    fn matches(template: &str, message: &str) -> Option<Filled> {
        Template::new(template).matches(&tidy(message))
    }

    fn value(number: f64) -> Option<Numeric> {
        Some(Numeric::Value(number))
    }

    #[test]
    fn messages_match_their_templates() {
        let list = matches("VOLT {value},(@{channel})", "volt  9.000,(@2)").unwrap();
        assert_eq!((list.first, list.channels), (value(9.0), vec![2]));
        let index = matches("V{channel} {value}", "V1 5.00").unwrap();
        assert_eq!((index.first, index.channels), (value(5.0), vec![1]));
        assert_eq!(matches("V{channel}?", "V1O?"), None);
        assert!(matches("V{channel}O?", "V1O?").is_some());
        assert_eq!(matches("VOLT {value}", "VOLT:PROT 10"), None);
        assert_eq!(matches("VOLT {value}", "VOLT ten"), None);
        let both = matches("SET {voltage},{current}", "SET 9.00,0.06").unwrap();
        assert_eq!((both.first, both.second), (value(9.0), value(0.06)));
        assert_eq!(matches("CONF:CURR:DC {range}", "CONF:CURR:DC 1.0E-1").unwrap().word.as_deref(), Some("1.0E-1"));
        assert_eq!(matches("OUTP?", "OUTP"), None);
        assert!(matches("VOLT {value},(@{channel})", " VOLT  9 ,  (@1) ").is_some());
        for none in ["NaN", "inf", "1e999", "", "µ", "9\u{fffd}"] {
            assert_eq!(matches("VOLT {value}", &format!("VOLT {none}")), None, "{none}");
        }
    }
}
