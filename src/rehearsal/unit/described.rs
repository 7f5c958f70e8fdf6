//! A unit that is described by a netlist, with what a netlist cannot say beside it:
//! capacitors that leak, and loads with states.

use super::states;
use crate::document::{Document, Problems, Span, Table};
use crate::rehearsal::circuit::{Circuit, FirstLine, Gate, GateKind, Load, Netlist, Node, Solid, State};
use crate::units::Ohms;
use std::collections::BTreeMap;

/// A unit by its netlist.
#[derive(Clone, Debug)]
pub struct Described {
    /// The node that the supply's plus feeds; its minus is ground.
    input: String,
    netlist: (Document, Span),
    /// Capacitors between two nodes.
    parts: Vec<(String, Solid, [String; 2])>,
    /// Loads: the node that each draws from, its ground, and nodes that it looks at.
    loads: Vec<(String, Vec<String>, Vec<State>)>,
    /// Gates: supply, ground and output, then the inputs.
    gates: Vec<(String, Vec<String>, Gate)>,
}

impl Described {
    /// Reads `input`, `netlist`, `[load.NAME]` and `[gate.NAME]`; the parts have been read.
    pub fn read(
        root: &mut Table<'_>,
        parts: &BTreeMap<String, (Solid, Ohms)>,
        nodes: &BTreeMap<String, Vec<String>>,
    ) -> Option<Self> {
        let (input, text) = (root.need_text("input"), root.need_text("netlist"));
        let netlist = (root.document().clone(), inside(root.document(), root.places().of("netlist")));
        let mut loads = Vec::new();
        if let Some(mut table) = root.table("load") {
            for name in table.keys() {
                let Some(mut inner) = table.table(&name) else { continue };
                inner.rename(format!("[load.{name}]"));
                let nodes = inner.texts("nodes").unwrap_or_default();
                if nodes.len() < 2 {
                    inner.problem(
                        "nodes",
                        "a load lies between two nodes, and may look at others",
                        "two nodes at least",
                        Some("write nodes = [\"in\", \"0\"]".into()),
                    );
                }
                let states = states::read(&mut inner, &nodes);
                inner.finish();
                loads.push((name, nodes, states?));
            }
            table.finish();
        }
        let gates = gates(root)?;
        let mut placed = Vec::new();
        for (name, between) in nodes {
            let (solid, _) = parts.get(name)?;
            placed.push((name.clone(), solid.clone(), [between.first()?.clone(), between.get(1)?.clone()]));
        }
        text?;
        Some(Self { input: input?, netlist, parts: placed, loads, gates })
    }

    /// The netlist's own circuit.
    ///
    /// # Errors
    /// Its mistakes, with their places; a node that is named beside it and not in it.
    pub fn circuit(&self) -> Result<Circuit, Problems> {
        let (document, span) = &self.netlist;
        Ok(Netlist::read_part(document, span.clone(), FirstLine::Line)?.circuit)
    }

    /// The node that the supply's plus feeds.
    pub fn input(&self) -> &str {
        &self.input
    }

    /// Puts what stands beside the netlist into its circuit.
    pub fn place(&self, circuit: &mut Circuit) {
        for (name, solid, [a, b]) in &self.parts {
            let (a, b) = (circuit.node(a), circuit.node(b));
            solid.place(circuit, &format!("part.{name}"), a, b);
        }
        for (name, nodes, gate) in &self.gates {
            let nodes: Vec<Node> = nodes.iter().map(|node| circuit.node(node)).collect();
            circuit.device(&format!("gate.{name}"), &nodes, gate.clone());
        }
        for (name, nodes, states) in &self.loads {
            let nodes: Vec<Node> = nodes.iter().map(|node| circuit.node(node)).collect();
            circuit.device(&format!("load.{name}"), &nodes, Load::new(states.clone()));
        }
    }
}

/// All `[gate.NAME]`.
fn gates(root: &mut Table<'_>) -> Option<Vec<(String, Vec<String>, Gate)>> {
    let mut made = Vec::new();
    let Some(mut table) = root.table("gate") else { return Some(made) };
    for name in table.keys() {
        let Some(mut inner) = table.table(&name) else { continue };
        inner.rename(format!("[gate.{name}]"));
        let nodes = inner.texts("nodes").unwrap_or_default();
        if nodes.len() <= GATE {
            inner.problem(
                "nodes",
                "a gate has a supply, a ground, an output and its inputs",
                "four nodes at least",
                Some("write nodes = [\"in\", \"0\", \"out\", \"a\"]".into()),
            );
        }
        let gate = GateKind::read(&mut inner).map(|kind| Gate::new(kind, nodes.len().saturating_sub(GATE)));
        if let Some(Err(why)) = &gate {
            inner.problem("family", why.clone(), "no levels for it", None);
        }
        inner.finish();
        made.push((name, nodes, gate?.ok()?));
    }
    table.finish();
    Some(made)
}

/// Supply, ground and output.
const GATE: usize = 3;

/// The text between a string's quotes.
fn inside(document: &Document, whole: Span) -> Span {
    let text = document.text.get(whole.clone()).unwrap_or_default();
    let quotes = if text.starts_with("\"\"\"") || text.starts_with("'''") { 3 } else { 1 };
    let end = whole.end.saturating_sub(quotes);
    (whole.start + quotes).min(end)..end
}
