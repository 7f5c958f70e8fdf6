//! Lines that begin with a full stop.

use super::words::{Line, Word};
use super::{Analysis, Reader, Scope};
use crate::rehearsal::circuit::diode::Diode;
use crate::rehearsal::circuit::parts::Switch;
use crate::rehearsal::circuit::transient::Start;
use crate::units::Seconds;

/// A `.model`.
#[derive(Clone, Copy, Debug)]
pub enum Model {
    Diode(Diode),
    Switch(Switch),
}

impl Reader<'_> {
    /// All `.param` lines of a scope, in order.
    pub(super) fn read_values(&mut self, lines: &[Line], scope: &mut Scope) {
        for line in lines.iter().filter(|l| matches!(l.head(), ".param" | ".params")) {
            let (plain, found) = self.assignments(line.words.get(1..).unwrap_or_default());
            if let Some(word) = plain.first() {
                self.fail(word.span.clone(), format!("{} stands alone", word.text), "NAME=VALUE");
            }
            for (name, value) in found {
                if let Some(value) = self.value(value, scope) {
                    scope.values.insert(name.text.clone(), value);
                }
            }
        }
    }

    /// A line of the top that is no element; elements are passed over.
    pub(super) fn read_control(&mut self, line: &Line, scope: &Scope) {
        let rest = line.words.get(1..).unwrap_or_default();
        match line.head() {
            ".tran" => self.read_tran(line, rest, scope),
            ".ic" => self.read_initial(rest, scope),
            ".model" => {
                if let Some((name, model)) = self.read_model(line, scope) {
                    self.models.insert(name, model);
                }
            }
            ".temp" => {
                if let Some(word) = rest.first() {
                    self.need_27(word, scope);
                }
            }
            ".options" | ".option" | ".opt" => {
                if let Some(at) = rest.iter().position(|w| matches!(w.text.as_str(), "temp" | "tnom"))
                    && let Some(word) = rest.get(at + 2)
                {
                    let word = word.clone();
                    self.need_27(&word, scope);
                }
                self.note(".options", line.span(), ".options: the solver has tolerances of its own");
            }
            ".global" => self.globals.extend(rest.iter().map(|w| w.text.clone())),
            ".param" | ".params" | ".title" => {}
            ".print" | ".plot" | ".probe" | ".save" | ".width" => {}
            ".nodeset" => self.note(".nodeset", line.span(), ".nodeset: the operating point is found without"),
            ".op" | ".dc" | ".ac" | ".noise" | ".tf" | ".disto" | ".pz" | ".sens" | ".four" | ".meas" | ".measure" => {
                self.note(line.head(), line.span(), format!("{}: only .tran is carried out", line.head()));
            }
            head if head.starts_with('.') => {
                let (span, head) = (line.words.first().map_or(0..0, |w| w.span.clone()), head.to_owned());
                self.fail(span, format!("{head} is not covered"), ".tran .ic .model .param .subckt .ends .global .options .end");
            }
            _ => {}
        }
    }

    fn need_27(&mut self, word: &Word, scope: &Scope) {
        if self.value(word, scope).is_some_and(|celsius| celsius != 27.0) {
            self.fail(word.span.clone(), "the solver works at 27 degC", "27");
        }
    }

    fn read_tran(&mut self, line: &Line, rest: &[Word], scope: &Scope) {
        let mut begins = Start::OperatingPoint;
        let mut numbers = Vec::new();
        for word in rest {
            if word.text == "uic" {
                begins = Start::Given;
            } else if let Some(value) = self.value(word, scope) {
                numbers.push((value, word));
            } else {
                return;
            }
        }
        let at = |i: usize| numbers.get(i).map(|(value, _)| *value);
        let (Some(step), Some(stop)) = (at(0), at(1)) else {
            self.fail(line.end(), ".tran lacks its times", ".tran STEP STOP [START [LONGEST]] [UIC]");
            return;
        };
        let start = at(2).unwrap_or(0.0);
        for (i, (value, word)) in numbers.iter().enumerate() {
            let (lowest, wanted) = match i {
                1 => (start.max(0.0), "a stop after the start"),
                2 => (-f64::MIN_POSITIVE, "a start that is not below zero"),
                3 if *value == 0.0 => continue,
                _ => (0.0, "a time above zero"),
            };
            if *value <= lowest {
                self.fail(word.span.clone(), format!(".tran: {} will not do", word.text), wanted);
                return;
            }
        }
        let longest = at(3).filter(|longest| *longest > 0.0).map(Seconds);
        self.analysis = Some(Analysis { step: Seconds(step), stop: Seconds(stop), start: Seconds(start), longest, begins });
    }

    /// `.ic v(node)=value ...`
    fn read_initial(&mut self, mut rest: &[Word], scope: &Scope) {
        while let Some(first) = rest.first() {
            match rest {
                [v, node, equals, value, ..] if v.text == "v" && equals.text == "=" => {
                    if let Some(value) = self.value(value, scope) {
                        self.initial.push((node.clone(), value));
                    }
                    rest = rest.get(4..).unwrap_or_default();
                }
                _ => {
                    self.fail(first.span.clone(), ".ic is not understood", "V(NODE)=VALUE");
                    return;
                }
            }
        }
    }

    /// `.model NAME TYPE (PARAMETER=VALUE ...)`
    pub(super) fn read_model(&mut self, line: &Line, scope: &Scope) -> Option<(String, Model)> {
        let (plain, found) = self.assignments(line.words.get(1..).unwrap_or_default());
        let [name, kind, ..] = plain else {
            self.fail(line.end(), ".model lacks its name or type", ".model NAME D(...) or .model NAME SW(...)");
            return None;
        };
        let mut model = match kind.text.as_str() {
            "d" => Model::Diode(Diode::default()),
            "sw" => Model::Switch(Switch::default()),
            _ => {
                self.fail(kind.span.clone(), format!(".model {}: type {} is not covered", name.text, kind.text), "D or SW");
                return None;
            }
        };
        for (parameter, word) in found {
            let Some((mut place, fits)) = parameter_of(&mut model, &parameter.text) else {
                let silent = ["level", "eg", "xti", "kf", "af", "tnom"];
                if !silent.contains(&parameter.text.as_str()) {
                    let key = format!(".model {}", parameter.text);
                    let title = format!(".model {}: {} is not covered", name.text, parameter.text.to_uppercase());
                    self.note(&key, parameter.span.clone(), title);
                }
                continue;
            };
            let value = self.value(word, scope)?;
            if fits(value) {
                place(value);
            } else {
                let title = format!(".model {}: {} cannot be {}", name.text, parameter.text.to_uppercase(), word.text);
                self.fail(word.span.clone(), title, "a value that such a part can have");
                return None;
            }
        }
        Some((name.text.clone(), model))
    }
}

type Parameter<'m> = (Box<dyn FnMut(f64) + 'm>, fn(f64) -> bool);

/// Where a parameter goes, and what it may be.
fn parameter_of<'m>(model: &'m mut Model, name: &str) -> Option<Parameter<'m>> {
    fn into<'m>(place: &'m mut f64, fits: fn(f64) -> bool) -> Option<Parameter<'m>> {
        Some((Box::new(move |value| *place = value), fits))
    }
    let above: fn(f64) -> bool = |v| v > 0.0;
    let not_below: fn(f64) -> bool = |v| v >= 0.0;
    let share: fn(f64) -> bool = |v| (0.0..1.0).contains(&v);
    match model {
        Model::Diode(d) => match name {
            "is" | "js" => into(&mut d.saturation, above),
            "n" => into(&mut d.emission, above),
            "rs" => into(&mut d.series, not_below),
            "cjo" | "cj0" | "cj" => into(&mut d.depletion, not_below),
            "vj" | "pb" => into(&mut d.potential, above),
            "m" | "mj" => into(&mut d.grading, share),
            "fc" => into(&mut d.forward, share),
            "tt" => into(&mut d.transit, not_below),
            "ibv" => into(&mut d.knee, above),
            // SPICE takes the size of it, whatever its sign.
            "bv" => Some((Box::new(|value: f64| d.breakdown = Some(value.abs())), |v| v != 0.0)),
            _ => None,
        },
        Model::Switch(s) => match name {
            "vt" => into(&mut s.threshold, |_| true),
            "vh" => into(&mut s.hysteresis, not_below),
            "ron" => into(&mut s.closed, above),
            "roff" => into(&mut s.open, above),
            _ => None,
        },
    }
}
