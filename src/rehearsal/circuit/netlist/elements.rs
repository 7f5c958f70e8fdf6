//! Element lines: a letter for the kind, a name, nodes, a value or a model.

use super::controls::Model;
use super::words::{Line, Word};
use super::{Reader, Scope};
use crate::rehearsal::circuit::parts::{Contact, Kind, Node};

impl Reader<'_> {
    /// All elements among the lines.
    pub(super) fn read_elements(&mut self, lines: &[Line], scope: &Scope) {
        for line in lines.iter().filter(|l| !l.head().starts_with('.')) {
            let name = line.head();
            let letter = name.chars().next().unwrap_or(' ');
            // As ngspice names what is inside a subcircuit: r.x1.r1.
            let full = if scope.path.is_empty() { name.to_owned() } else { format!("{letter}.{}.{name}", scope.path) };
            if !self.names.insert(full.clone()) {
                self.fail(line.span(), format!("there are two {name}"), "a name of its own");
                continue;
            }
            match letter {
                'r' | 'c' | 'l' => self.passive(letter, &full, line, scope),
                'v' | 'i' => self.source(letter, &full, line, scope),
                'd' => self.diode(&full, line, scope),
                's' => self.switch(&full, line, scope),
                'e' | 'g' => self.controlled(letter, &full, line, scope),
                'x' => self.read_instance(line, scope),
                _ => {
                    let span = line.words.first().map_or(0..0, |w| w.span.clone());
                    let title = format!("{name}: elements of type {} are not covered", letter.to_uppercase());
                    self.fail(span, title, "R C L V I D S E G or X");
                }
            }
        }
    }

    /// The first `count` nodes of an element and the words after them.
    fn nodes<'l>(&mut self, line: &'l Line, count: usize, form: &str, scope: &Scope) -> Option<(Vec<Node>, &'l [Word])> {
        let words = line.words.get(1..).unwrap_or_default();
        if words.len() < count || words.iter().take(count).any(|w| w.text == "=") {
            self.fail(line.end(), format!("{} lacks nodes", line.head()), form);
            return None;
        }
        let (nodes, rest) = words.split_at(count);
        Some((nodes.iter().map(|w| self.node(w, scope)).collect(), rest))
    }

    fn passive(&mut self, letter: char, full: &str, line: &Line, scope: &Scope) {
        let form = format!("{} NODE NODE VALUE", line.head().to_uppercase());
        let Some((nodes, rest)) = self.nodes(line, 2, &form, scope) else { return };
        let (plain, found) = self.assignments(rest);
        let named = found.iter().find(|(name, _)| matches!(name.text.as_str(), "r" | "c" | "l")).map(|(_, word)| *word);
        let Some(word) = plain.first().or(named) else {
            self.fail(line.end(), format!("{} lacks its value", line.head()), form);
            return;
        };
        if let Some(more) = plain.get(1) {
            self.fail(more.span.clone(), format!("{} is too much", more.text), "the end of the line, or IC=");
            return;
        }
        let Some(mut value) = self.value(word, scope) else { return };
        let mut initial = None;
        for (name, word) in found {
            match name.text.as_str() {
                "ic" if letter != 'r' => initial = self.value(word, scope),
                "r" | "c" | "l" => {}
                "tc" | "tc1" | "tc2" | "ac" | "temp" | "dtemp" => {
                    let title = format!("{}: {} has no effect at 27 degC", line.head(), name.text.to_uppercase());
                    self.note(&name.text, name.span.clone(), title);
                }
                _ => {
                    self.fail(name.span.clone(), format!("{} is not covered", name.text), "IC=");
                    return;
                }
            }
        }
        if letter == 'r' && value == 0.0 {
            self.note("r = 0", word.span.clone(), format!("{}: a resistance of 0 is taken as 1 mohm", line.head()));
            value = 1e-3;
        }
        if letter != 'r' && value <= 0.0 {
            self.fail(word.span.clone(), format!("{} cannot be {}", line.head(), word.text), "a value above zero");
            return;
        }
        let kind = match letter {
            'r' => Kind::Resistor(value),
            'c' => Kind::Capacitor(value, initial),
            _ => Kind::Inductor(value, initial),
        };
        self.circuit.add(full, kind, &nodes);
    }

    fn source(&mut self, letter: char, full: &str, line: &Line, scope: &Scope) {
        let form = format!("{} NODE NODE [DC] VALUE, PULSE(...), PWL(...) or SIN(...)", line.head().to_uppercase());
        let Some((nodes, rest)) = self.nodes(line, 2, &form, scope) else { return };
        let Some(drive) = self.read_drive(line, rest, scope) else { return };
        let kind = if letter == 'v' { Kind::Voltage(drive) } else { Kind::Current(drive) };
        self.circuit.add(full, kind, &nodes);
    }

    fn diode(&mut self, full: &str, line: &Line, scope: &Scope) {
        let form = format!("{} ANODE CATHODE MODEL [AREA]", line.head().to_uppercase());
        let Some((nodes, rest)) = self.nodes(line, 2, &form, scope) else { return };
        let Some((model, more)) = rest.split_first() else {
            self.fail(line.end(), format!("{} lacks its model", line.head()), form);
            return;
        };
        let pick = |model| if let Model::Diode(diode) = model { Some(diode) } else { None };
        let Some(mut diode) = self.model(model, "D", pick) else { return };
        let (plain, found) = self.assignments(more);
        let named = found.iter().find(|(name, _)| name.text == "area").map(|(_, word)| *word);
        if let Some((name, _)) = found.iter().find(|(name, _)| name.text != "area") {
            let title = format!("{}: {} is not covered", line.head(), name.text.to_uppercase());
            self.note(&format!("d {}", name.text), name.span.clone(), title);
        }
        if let Some(word) = plain.iter().find(|w| w.text != "off").or(named) {
            let Some(area) = self.value(word, scope) else { return };
            if area <= 0.0 {
                self.fail(word.span.clone(), format!("an area of {}", word.text), "a value above zero");
                return;
            }
            diode = diode.times(area);
        }
        self.circuit.add(full, Kind::Diode(diode), &nodes);
    }

    fn switch(&mut self, full: &str, line: &Line, scope: &Scope) {
        let form = format!("{} NODE NODE CONTROL CONTROL MODEL [ON|OFF]", line.head().to_uppercase());
        let Some((nodes, rest)) = self.nodes(line, 4, &form, scope) else { return };
        let Some(model) = rest.first() else {
            self.fail(line.end(), format!("{} lacks its model", line.head()), form);
            return;
        };
        let pick = |model| if let Model::Switch(switch) = model { Some(switch) } else { None };
        let Some(switch) = self.model(model, "SW", pick) else { return };
        let contact = match rest.get(1) {
            Some(word) if word.text == "on" => Contact::Closed,
            Some(word) if word.text != "off" => {
                self.fail(word.span.clone(), format!("{} is not covered", word.text), "ON or OFF");
                return;
            }
            _ => Contact::Open,
        };
        self.circuit.add(full, Kind::Switch(switch, contact), &nodes);
    }

    fn controlled(&mut self, letter: char, full: &str, line: &Line, scope: &Scope) {
        let form = format!("{} NODE NODE CONTROL CONTROL VALUE", line.head().to_uppercase());
        let Some((nodes, rest)) = self.nodes(line, 4, &form, scope) else { return };
        let [word] = rest else {
            let span = rest.get(1).map_or(line.end(), |w| w.span.clone());
            self.fail(span, format!("{}: only a constant gain is covered", line.head()), form);
            return;
        };
        let Some(value) = self.value(word, scope) else { return };
        let kind = if letter == 'e' { Kind::Amplifier(value) } else { Kind::Transconductor(value) };
        self.circuit.add(full, kind, &nodes);
    }
}
