//! Netlists in the syntax of Berkeley SPICE, as far as `scripts/NETLISTS.md` says.
//!
//! Every mistake of a netlist is found in one reading, with its line and column.
//! What SPICE would do and this does not is either a mistake or, where the figures
//! do not hang on it, noted in one line each.

mod controls;
mod elements;
mod number;
mod sources;
mod subcircuits;
#[cfg(test)]
mod tests;
mod words;

use super::parts::{Circuit, Node};
use super::transient::Start;
use crate::document::{Document, Problem, Problems, Span};
use crate::units::Seconds;
use controls::Model;
use number::Values;
use std::collections::{BTreeMap, BTreeSet};
use subcircuits::Subcircuit;
use words::{Line, Word};

/// What a netlist's first line is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FirstLine {
    /// A title, as in every file of Berkeley SPICE.
    Title,
    /// A line like the others, as where the netlist stands in another file.
    Line,
}

/// A `.tran`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Analysis {
    /// From one printed moment to the next.
    pub step: Seconds,
    /// The last moment.
    pub stop: Seconds,
    /// The first moment that is printed.
    pub start: Seconds,
    /// The longest step of the integration, where it is given.
    pub longest: Option<Seconds>,
    /// How the circuit begins.
    pub begins: Start,
}

/// A netlist as read.
#[derive(Debug)]
pub struct Netlist {
    /// Its title; empty where it has none.
    pub title: String,
    /// The circuit.
    pub circuit: Circuit,
    /// Its `.tran`, if it has one.
    pub analysis: Option<Analysis>,
    /// What was left out, one warning each.
    pub notes: Problems,
}

impl Netlist {
    /// Reads a netlist that fills a document: its first line is the title.
    ///
    /// # Errors
    /// Every mistake, with its place.
    pub fn read(document: &Document) -> Result<Self, Problems> {
        Self::read_part(document, 0..document.text.len(), FirstLine::Title)
    }

    /// Reads a netlist that is a part of a document, as in a unit file.
    ///
    /// # Errors
    /// Every mistake, with its place in the document.
    pub fn read_part(document: &Document, part: Span, first: FirstLine) -> Result<Self, Problems> {
        let text = document.text.get(part.clone()).unwrap_or_default();
        let (title, body) = match first {
            FirstLine::Title => text.split_once('\n').unwrap_or((text, "")),
            FirstLine::Line => ("", text),
        };
        let offset = part.start + text.len() - body.len();
        let mut reader = Reader::new(document);
        let lines = reader.sort_out(words::lines(body, offset));
        reader.read(&lines);
        let Reader { circuit, analysis, problems, notes, .. } = reader;
        if problems.any_errors() {
            return Err(problems);
        }
        Ok(Self { title: title.trim().to_owned(), circuit, analysis, notes })
    }
}

/// Where elements are being read: at the top, or inside a subcircuit.
#[derive(Clone, Debug, Default)]
struct Scope {
    /// What names inside are prefixed with; empty at the top.
    path: String,
    /// The nodes that the subcircuit's ports are.
    ports: BTreeMap<String, Node>,
    values: Values,
    /// The subcircuits that are open, from the outside in.
    open: Vec<String>,
}

struct Reader<'d> {
    document: &'d Document,
    problems: Problems,
    notes: Problems,
    circuit: Circuit,
    names: BTreeSet<String>,
    models: BTreeMap<String, Model>,
    subcircuits: BTreeMap<String, Subcircuit>,
    globals: BTreeSet<String>,
    analysis: Option<Analysis>,
    /// What `.ic` says, for when all nodes are known.
    initial: Vec<(Word, f64)>,
    noted: BTreeSet<String>,
}

impl<'d> Reader<'d> {
    fn new(document: &'d Document) -> Self {
        Self {
            document,
            problems: Problems::default(),
            notes: Problems::default(),
            circuit: Circuit::new(),
            names: BTreeSet::new(),
            models: BTreeMap::new(),
            subcircuits: BTreeMap::new(),
            globals: BTreeSet::new(),
            analysis: None,
            initial: Vec::new(),
            noted: BTreeSet::new(),
        }
    }

    fn read(&mut self, lines: &[Line]) {
        let mut scope = Scope::default();
        self.read_values(lines, &mut scope);
        for line in lines {
            self.read_control(line, &scope);
        }
        self.read_elements(lines, &scope);
        for (node, value) in std::mem::take(&mut self.initial) {
            match self.circuit.find(&node.text) {
                Some(node) => self.circuit.begin_with(node, crate::units::Volts(value)),
                None => self.fail(node.span, format!("there is no node {}", node.text), "a node of this circuit"),
            }
        }
        if self.circuit.parts().next().is_none() && !self.problems.any_errors() {
            self.problems.push(Problem::of_file(&self.document.name, "the netlist has no elements".into()));
        }
    }

    fn fail(&mut self, span: Span, title: impl Into<String>, expected: impl std::fmt::Display) {
        self.problems.push(Problem::at(self.document, span, title).label(format!("expected {expected}")));
    }

    /// Notes once what is left out.
    fn note(&mut self, what: &str, span: Span, title: impl Into<String>) {
        if self.noted.insert(what.to_owned()) {
            self.notes.push(Problem::at(self.document, span, title).label("left out").warning());
        }
    }

    /// The value of a word, or a mistake.
    fn value(&mut self, word: &Word, scope: &Scope) -> Option<f64> {
        match number::value(&word.text, &scope.values) {
            Ok(value) if value.is_finite() => Some(value),
            Ok(_) => {
                self.fail(word.span.clone(), format!("{} is no number", word.text), "a finite number");
                None
            }
            Err(expected) => {
                self.fail(word.span.clone(), format!("{} is not understood", word.text), expected);
                None
            }
        }
    }

    /// The node of a word, as seen from inside a subcircuit.
    fn node(&mut self, word: &Word, scope: &Scope) -> Node {
        if let Some(node) = scope.ports.get(&word.text) {
            return *node;
        }
        let outside = scope.path.is_empty() || matches!(word.text.as_str(), "0" | "gnd") || self.globals.contains(&word.text);
        if outside { self.circuit.node(&word.text) } else { self.circuit.node(&format!("{}.{}", scope.path, word.text)) }
    }

    /// Assignments `name = value` among words, and the words before the first of them.
    fn assignments<'w>(&mut self, words: &'w [Word]) -> (&'w [Word], Vec<(&'w Word, &'w Word)>) {
        let first = words.iter().position(|w| w.text == "=").map_or(words.len(), |i| i.saturating_sub(1));
        let (plain, mut rest) = words.split_at(first);
        let mut found = Vec::new();
        while let Some(name) = rest.first() {
            match rest {
                [_, equals, value, ..] if equals.text == "=" && value.text != "=" => {
                    found.push((name, value));
                    rest = rest.get(3..).unwrap_or_default();
                }
                _ => {
                    self.fail(name.span.clone(), format!("{} stands alone", name.text), "NAME=VALUE");
                    break;
                }
            }
        }
        (plain, found)
    }
}
