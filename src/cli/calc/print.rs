//! A working on the screen, or as JSON.

use crate::analysis::working::{Step, Working};
use crate::view::outln;
use serde_json::{Map, Value, json};

pub(super) fn working(name: &str, working: &Working, as_json: bool) {
    if as_json {
        outln!("{}", value(name, working));
        return;
    }
    outln!("{}", working.title);
    for step in &working.steps {
        outln!("  {}\n      {}", step.name, equation(step));
    }
    outln!("\n{}", working.answer);
    for caution in &working.cautions {
        outln!("  caution: {caution}");
    }
    for source in &working.sources {
        outln!("  source: {source}");
    }
}

/// `t = tau ln(V0 / V) = 1 s × ln(120 V / 60 V) = 693.1 ms`
fn equation(step: &Step) -> String {
    let put_in = if step.put_in.is_empty() { String::new() } else { format!(" = {}", step.put_in) };
    format!("{}{put_in} = {}", step.formula, step.value.spoken())
}

/// For programs: each step by its name, in the unit without prefix; a percentage as a ratio.
fn value(name: &str, working: &Working) -> Value {
    let mut results = Map::new();
    for step in &working.steps {
        let number = match step.value {
            crate::analysis::working::Value::Count(n) => json!(n),
            other => json!(other.number()),
        };
        results.insert(key(&step.name), json!({ "value": number, "unit": step.value.symbol() }));
    }
    let steps: Vec<Value> = working.steps.iter().map(|s| json!({ "name": s.name, "working": equation(s) })).collect();
    json!({
        "calculation": name,
        "title": working.title,
        "results": results,
        "answer": working.answer,
        "severity": working.severity.name(),
        "steps": steps,
        "cautions": working.cautions,
        "sources": working.sources,
    })
}

/// A step's name as a key: `time to 60 V` is `time_to_60_v`.
fn key(name: &str) -> String {
    name.to_lowercase().replace(|c: char| !c.is_ascii_alphanumeric(), "_")
}
