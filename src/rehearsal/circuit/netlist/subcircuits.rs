//! Subcircuits: their definitions, and what an `X` line makes of them. Also what
//! is no part of the circuit at all: what stands after `.end` or between `.control`
//! and `.endc`.

use super::controls::Model;
use super::words::{Line, Word};
use super::{Reader, Scope};
use std::collections::BTreeMap;

/// Subcircuits in subcircuits, at most.
const DEEPEST: usize = 20;

/// A `.subckt`.
#[derive(Clone, Debug)]
pub struct Subcircuit {
    ports: Vec<Word>,
    defaults: Vec<(Word, Word)>,
    body: Vec<Line>,
}

/// The command `tran ...` as the line `.tran ...`.
fn as_control(mut line: Line) -> Option<Line> {
    line.words.first_mut()?.text.insert(0, '.');
    Some(line)
}

impl Reader<'_> {
    /// Puts definitions of subcircuits aside and returns the lines of the top.
    pub(super) fn sort_out(&mut self, lines: Vec<Line>) -> Vec<Line> {
        let mut top = Vec::new();
        let mut open: Vec<(String, Line, Subcircuit)> = Vec::new();
        let mut commands = false;
        for line in lines {
            match line.head() {
                ".control" => {
                    commands = true;
                    self.note(".control", line.span(), ".control: commands to the simulator are not carried out");
                }
                ".endc" => commands = false,
                // A command that is an analysis as well.
                "tran" if commands => top.extend(as_control(line)),
                _ if commands => {}
                ".end" => break,
                ".subckt" => {
                    let rest = line.words.get(1..).unwrap_or_default();
                    let (plain, found) = self.assignments(rest);
                    let defaults = found.into_iter().map(|(a, b)| (a.clone(), b.clone())).collect();
                    let Some((name, ports)) = plain.split_first() else {
                        self.fail(line.end(), ".subckt lacks its name", ".subckt NAME NODE ...");
                        continue;
                    };
                    let ports = ports.iter().filter(|w| !matches!(w.text.as_str(), "params:" | "params")).cloned().collect();
                    let made = Subcircuit { ports, defaults, body: Vec::new() };
                    open.push((name.text.clone(), line.clone(), made));
                }
                ".ends" | ".eom" => match open.pop() {
                    Some((name, _, made)) => {
                        self.subcircuits.insert(name, made);
                    }
                    None => self.fail(line.span(), ".ends without .subckt", ".subckt before it"),
                },
                _ => match open.last_mut() {
                    Some((_, _, made)) => made.body.push(line),
                    None => top.push(line),
                },
            }
        }
        for (name, line, _) in open {
            self.fail(line.span(), format!(".subckt {name} has no .ends"), ".ends after it");
        }
        top
    }

    /// `Xname node ... subcircuit [PARAMETER=VALUE ...]`
    pub(super) fn read_instance(&mut self, line: &Line, scope: &Scope) {
        let (plain, found) = self.assignments(&line.words);
        let [own, nodes @ .., name] = plain else {
            self.fail(line.end(), format!("{} lacks its subcircuit", line.head()), "NODE ... SUBCIRCUIT");
            return;
        };
        let nodes: Vec<&Word> = nodes.iter().filter(|w| w.text != "params:").collect();
        let Some(kind) = self.subcircuits.get(&name.text).cloned() else {
            let known: Vec<&str> = self.subcircuits.keys().map(String::as_str).collect();
            let expected = if known.is_empty() { "a .subckt of this netlist".into() } else { known.join(", ") };
            self.fail(name.span.clone(), format!("there is no subcircuit {}", name.text), expected);
            return;
        };
        if kind.ports.len() != nodes.len() {
            let title = format!("{} has {} nodes, {} has {}", own.text, nodes.len(), name.text, kind.ports.len());
            self.fail(line.span(), title, format!("{} nodes", kind.ports.len()));
            return;
        }
        if scope.open.contains(&name.text) || scope.open.len() >= DEEPEST {
            self.fail(name.span.clone(), format!("{} contains itself", name.text), "a subcircuit without itself in it");
            return;
        }
        let path = if scope.path.is_empty() { own.text.clone() } else { format!("{}.{}", scope.path, own.text) };
        let mut ports = BTreeMap::new();
        for (port, node) in kind.ports.iter().zip(nodes) {
            let node = self.node(node, scope);
            ports.insert(port.text.clone(), node);
        }
        let mut values = scope.values.clone();
        for (parameter, word) in &kind.defaults {
            if let Some(value) = self.value(word, scope) {
                values.insert(parameter.text.clone(), value);
            }
        }
        for (parameter, word) in found {
            if let Some(value) = self.value(word, scope) {
                values.insert(parameter.text.clone(), value);
            }
        }
        let mut open = scope.open.clone();
        open.push(name.text.clone());
        let mut inner = Scope { path, ports, values, open };
        self.read_values(&kind.body, &mut inner);
        // Models inside count inside only.
        let outer = self.models.clone();
        for model in kind.body.iter().filter(|l| l.head() == ".model") {
            if let Some((name, model)) = self.read_model(model, &inner) {
                self.models.insert(name, model);
            }
        }
        self.read_elements(&kind.body, &inner);
        self.models = outer;
    }

    /// The model of a name, of the kind that `pick` takes.
    pub(super) fn model<T>(&mut self, word: &Word, kind: &str, pick: fn(Model) -> Option<T>) -> Option<T> {
        let found = self.models.get(&word.text).copied().and_then(pick);
        if found.is_none() {
            self.fail(
                word.span.clone(),
                format!("there is no .model {} {}", word.text, kind.to_uppercase()),
                format!("a .model of type {kind}"),
            );
        }
        found
    }
}
