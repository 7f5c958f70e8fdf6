//! What the operator did to the unit meanwhile, as marks in time, and as conditions of
//! what was read under them.
//!
//! Holds always: a mark holds from its moment until the next one, whatever that says, or
//! for as long as its words say themselves at their end (`sprayed U7 cold for 30 s`).
//! Marks with the same words, in any case, are the same condition.

use crate::units::{Seconds, Unit, parse_as};

/// Something that the operator did, with its moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// Since the run began.
    pub at: Seconds,
    /// In the operator's words.
    pub text: String,
}

/// When the marks of the same words held.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// Their words, as they were written first, without for how long.
    pub text: String,
    /// From when until when, each time.
    pub spans: Vec<(Seconds, Seconds)>,
}

impl Held {
    /// Whether it held at a moment.
    pub fn at(&self, moment: Seconds) -> bool {
        self.spans.iter().any(|(from, to)| moment >= *from && moment < *to)
    }

    /// Whether it was said once, and held from then on.
    pub fn for_good(&self) -> bool {
        matches!(self.spans.as_slice(), [(_, to)] if to.0.is_infinite())
    }
}

/// What each of the marks was a condition of, in the order in which they came first.
pub fn held(marks: &[Mark]) -> Vec<Held> {
    let mut made: Vec<(String, Held)> = Vec::new();
    for (place, mark) in marks.iter().enumerate() {
        let (text, length) = taken_apart(&mark.text);
        let next = marks.get(place + 1).map_or(Seconds(f64::INFINITY), |next| next.at);
        let span = (mark.at, length.map_or(next, |length| next.min(mark.at + length)));
        let words = text.to_lowercase();
        match made.iter_mut().find(|(other, _)| *other == words) {
            // Said again at once it goes on.
            Some((_, held)) => match held.spans.last_mut() {
                Some(last) if last.1 >= span.0 => last.1 = span.1,
                _ => held.spans.push(span),
            },
            None => made.push((words, Held { text, spans: vec![span] })),
        }
    }
    made.into_iter().map(|(_, held)| held).collect()
}

/// The words, single-spaced, and for how long where their end says that.
fn taken_apart(text: &str) -> (String, Option<Seconds>) {
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = text.rsplit_once(" for ").and_then(|(words, time)| Some((words, parse_as(time, Unit::Second).ok()?)));
    match said {
        Some((words, time)) if time > 0.0 && !words.is_empty() => (words.to_owned(), Some(Seconds(time))),
        _ => (text, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(all: &[(f64, &str)]) -> Vec<Mark> {
        all.iter().map(|(at, text)| Mark { at: Seconds(*at), text: (*text).to_owned() }).collect()
    }

    #[test]
    fn a_mark_holds_until_the_next_or_as_long_as_it_says() {
        let held = held(&marks(&[
            (10.0, "sprayed U7 cold for 30 s"),
            (100.0, "lid on"),
            (200.0, "Sprayed  u7 COLD for 2 min"),
            (230.0, "lid on"),
            (240.0, "waited for rain"),
        ]));
        let spans: Vec<(&str, Vec<(f64, f64)>)> =
            held.iter().map(|h| (h.text.as_str(), h.spans.iter().map(|(a, b)| (a.0, b.0)).collect())).collect();
        assert_eq!(
            spans,
            [
                ("sprayed U7 cold", vec![(10.0, 40.0), (200.0, 230.0)]),
                ("lid on", vec![(100.0, 200.0), (230.0, 240.0)]),
                ("waited for rain", vec![(240.0, f64::INFINITY)]),
            ]
        );
        assert!(held[0].at(Seconds(10.0)) && !held[0].at(Seconds(40.0)) && held[0].at(Seconds(229.9)));
        assert!(!held[0].for_good() && held[2].for_good());
    }

    #[test]
    fn the_same_said_twice_in_a_row_goes_on() {
        let held = held(&marks(&[(1.0, "flexed"), (5.0, "flexed"), (9.0, "let go")]));
        assert_eq!(held[0].spans, [(Seconds(1.0), Seconds(9.0))]);
    }
}
