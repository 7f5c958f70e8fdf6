//! What a `V` or `I` line says of its source.

use super::words::{Line, Word};
use super::{Reader, Scope};
use crate::rehearsal::circuit::drive::Drive;

impl Reader<'_> {
    /// `[DC] value [AC ...] [PULSE(...) | PWL(...) | SIN(...)]`
    pub(super) fn read_drive(&mut self, line: &Line, words: &[Word], scope: &Scope) -> Option<Drive> {
        let mut drive = None;
        let mut constant = None;
        // Of PWL: from when on it repeats, and by how much it comes later.
        let (mut again, mut delay) = (None, 0.0);
        let mut rest = words;
        while let Some((first, after)) = rest.split_first() {
            let end =
                after.iter().position(|w| w.text.starts_with(|c: char| c.is_alphabetic()) && !scope.values.contains_key(&w.text));
            let (numbers, next) = after.split_at(end.unwrap_or(after.len()));
            match first.text.as_str() {
                "dc" => {
                    let numbers = if numbers.first().is_some_and(|w| w.text == "=") { numbers.get(1..)? } else { numbers };
                    let Some(word) = numbers.first() else {
                        self.fail(first.span.clone(), "DC lacks its value", "DC VALUE");
                        return None;
                    };
                    constant = Some(self.value(word, scope)?);
                    rest = next;
                }
                "ac" => rest = next,
                "r" | "td" if matches!(drive, Some(Drive::Points(_))) => {
                    let [equals, word, ..] = after else {
                        self.fail(first.span.clone(), format!("{} lacks its value", first.text), "r=TIME or td=TIME");
                        return None;
                    };
                    if equals.text != "=" {
                        self.fail(equals.span.clone(), format!("{} is too much", equals.text), "r=TIME or td=TIME");
                        return None;
                    }
                    let value = self.value(word, scope)?;
                    if first.text == "r" {
                        again = Some((value, word))
                    } else {
                        delay = value
                    }
                    rest = after.get(2..)?;
                }
                "pulse" | "pwl" | "sin" => {
                    let mut values = Vec::new();
                    for word in numbers {
                        values.push((self.value(word, scope)?, word));
                    }
                    drive = Some(match first.text.as_str() {
                        "pulse" => self.pulse(first, &values)?,
                        "pwl" => self.points(first, &values)?,
                        _ => self.sine(first, &values)?,
                    });
                    rest = next;
                }
                _ if constant.is_none() && drive.is_none() => {
                    if first.text.starts_with(|c: char| c.is_alphabetic()) && !scope.values.contains_key(&first.text) {
                        self.fail(first.span.clone(), format!("{} is not covered", first.text), "DC, PULSE, PWL or SIN");
                        return None;
                    }
                    constant = Some(self.value(first, scope)?);
                    rest = after;
                }
                _ => {
                    self.fail(first.span.clone(), format!("{} is too much", first.text), "the end of the line");
                    return None;
                }
            }
        }
        if let Some(Drive::Points(points)) = &mut drive {
            points.iter_mut().for_each(|(time, _)| *time += delay);
            let (points, last) = (points.clone(), points.last().map_or(0.0, |p| p.0));
            // Below zero means not at all, as in SPICE.
            if let Some((from, word)) = again.filter(|(from, _)| *from >= 0.0) {
                let from = from + delay;
                if from >= last || !points.iter().any(|(time, _)| (time - from).abs() <= 1e-9 * last.abs()) {
                    self.fail(
                        word.span.clone(),
                        format!("PWL cannot repeat from {}", word.text),
                        "the time of one of its points but the last",
                    );
                    return None;
                }
                drive = Some(Drive::Repeated { points, from });
            }
        }
        match drive.or(constant.map(Drive::Constant)) {
            Some(drive) => Some(drive),
            None if words.is_empty() => {
                // SPICE's own default; worth a word.
                self.note(line.head(), line.span(), format!("{} has no value: taken as 0", line.head()));
                Some(Drive::Constant(0.0))
            }
            None => Some(Drive::Constant(0.0)),
        }
    }

    fn pulse(&mut self, first: &Word, values: &[(f64, &Word)]) -> Option<Drive> {
        let at = |i: usize| values.get(i).map(|(value, _)| *value);
        let (Some(low), Some(high)) = (at(0), at(1)) else {
            self.fail(first.span.clone(), "PULSE lacks its levels", "PULSE(LOW HIGH [DELAY RISE FALL WIDTH PERIOD])");
            return None;
        };
        if let Some((_, word)) = values.get(7) {
            self.fail(word.span.clone(), "PULSE has too many values", "PULSE(LOW HIGH [DELAY RISE FALL WIDTH PERIOD])");
            return None;
        }
        if let Some((_, word)) = values.iter().skip(3).find(|(value, _)| *value < 0.0) {
            self.fail(word.span.clone(), format!("PULSE: a time of {}", word.text), "a time that is not below zero");
            return None;
        }
        let (step, stop) = self.analysis.map_or((1e-9, f64::INFINITY), |a| (a.step.0, a.stop.0));
        let or = |value: Option<f64>, default: f64| value.filter(|v| *v != 0.0).unwrap_or(default);
        let (rise, fall) = (or(at(3), step), or(at(4), step));
        let (width, period) = (or(at(5), stop), or(at(6), stop));
        Some(Drive::Pulse { low, high, delay: at(2).unwrap_or(0.0), rise, fall, width, period })
    }

    fn points(&mut self, first: &Word, values: &[(f64, &Word)]) -> Option<Drive> {
        if values.is_empty() || !values.len().is_multiple_of(2) {
            let last = values.last().map_or(first, |(_, word)| word);
            self.fail(last.span.clone(), "PWL takes pairs", "PWL(TIME VALUE TIME VALUE ...)");
            return None;
        }
        let mut points: Vec<(f64, f64)> = Vec::new();
        for pair in values.chunks_exact(2) {
            let &[(time, word), (value, _)] = pair else { continue };
            if points.last().is_some_and(|(before, _)| *before >= time) {
                self.fail(
                    word.span.clone(),
                    format!("PWL: {} does not come after the time before it", word.text),
                    "ascending times",
                );
                return None;
            }
            points.push((time, value));
        }
        Some(Drive::Points(points))
    }

    fn sine(&mut self, first: &Word, values: &[(f64, &Word)]) -> Option<Drive> {
        let at = |i: usize| values.get(i).map(|(value, _)| *value);
        let (Some(offset), Some(amplitude)) = (at(0), at(1)) else {
            self.fail(first.span.clone(), "SIN lacks its values", "SIN(OFFSET AMPLITUDE FREQUENCY [DELAY DAMPING PHASE])");
            return None;
        };
        let stop = self.analysis.map_or(1.0, |a| a.stop.0);
        let frequency = at(2).filter(|f| *f != 0.0).unwrap_or(1.0 / stop);
        let (delay, damping, phase) = (at(3).unwrap_or(0.0), at(4).unwrap_or(0.0), at(5).unwrap_or(0.0));
        Some(Drive::Sine { offset, amplitude, frequency, delay, damping, phase })
    }
}
