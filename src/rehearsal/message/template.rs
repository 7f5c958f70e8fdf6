//! A dialect's own messages, `SET {voltage},{current}` against `SET 9.00,0.06`: for
//! what is no header with parameters after the standard.

use super::order::Filled;
use crate::instrument::profile::SentForm;
use crate::scpi::program::Numeric;

/// A message with its placeholders, cut into pieces once.
#[derive(Clone, Debug)]
pub struct Template {
    /// Each with what follows it; nothing after the last.
    pieces: Vec<(String, Option<Place>)>,
    sent: Sent,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Place {
    Channel,
    First,
    Second,
    Word,
}

/// How the first and the second number are sent.
pub type Sent = [SentForm; 2];

impl Template {
    /// Cuts a template.
    pub fn new(text: &str, sent: Sent) -> Self {
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
        Self { pieces, sent }
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
            let form = match place {
                Place::First => self.sent[0],
                Place::Second => self.sent[1],
                _ => SentForm::default(),
            };
            let end = match form.digits {
                Some(digits) => digits,
                None if next.is_empty() => tail.len(),
                None => find(tail, next)?,
            };
            let value = tail.get(..end)?.trim();
            text = tail.get(end..)?;
            match place {
                Place::Channel => filled.channels = vec![value.parse().ok()?],
                Place::First => filled.first = Some(Numeric::Value(number(value, form)?)),
                Place::Second => filled.second = Some(Numeric::Value(number(value, form)?)),
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

/// A decimal number, or digits alone where it is sent so; `inf` and `NaN`, which Rust would
/// read, are none.
fn number(text: &str, form: SentForm) -> Option<f64> {
    let plain = match form.digits {
        Some(_) => text.bytes().all(|c| c.is_ascii_digit()),
        None => text.bytes().all(|c| c.is_ascii_digit() || b"+-.eE".contains(&c)),
    };
    text.parse().ok().filter(|n: &f64| plain && n.is_finite()).map(|n| n * form.scale.unwrap_or(1.0))
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
        Template::new(template, Sent::default()).matches(&tidy(message))
    }

    #[test]
    fn digits_without_a_point_are_taken_by_their_count() {
        let three = |scale| SentForm { scale: Some(scale), digits: Some(3) };
        let both = Template::new("SOUT{voltage}{current}", [three(0.1), three(0.01)]);
        let filled = both.matches("SOUT180200").unwrap();
        assert_eq!((filled.first, filled.second), (value(18.0), value(2.0)));
        for wrong in ["SOUT18020", "SOUT1802000", "SOUT18.200", "SOUT"] {
            assert_eq!(both.matches(wrong), None, "{wrong}");
        }
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
