//! A working on the screen, or as JSON.

use crate::analysis::working::Working;
use crate::view::outln;
use serde_json::{Map, Value, json};

pub(super) fn working(name: &str, working: &Working, as_json: bool) {
    if as_json {
        outln!("{}", value(name, working));
        return;
    }
    outln!("{}", working.title);
    for step in &working.steps {
        outln!("  {}\n      {}", step.name, step.equation());
    }
    outln!("\n{}", working.answer);
    for caution in &working.cautions {
        outln!("  caution: {caution}");
    }
    for source in &working.sources {
        outln!("  source: {source}");
    }
}

/// For programs: each step by its name, in the unit without prefix; a percentage as a ratio.
fn value(name: &str, working: &Working) -> Value {
    let mut results = Map::new();
    for step in &working.steps {
        let number = match step.value {
            crate::analysis::working::Value::Count(n) => json!(n),
            other => json!(other.number()),
        };
        let mut result = json!({ "value": number, "unit": step.value.symbol() });
        if let (Some((low, high)), Some(fields)) = (step.between, result.as_object_mut()) {
            fields.insert("low".into(), json!(low));
            fields.insert("high".into(), json!(high));
        }
        results.insert(key(&step.name), result);
    }
    let steps: Vec<Value> = working.steps.iter().map(|s| json!({ "name": s.name, "working": s.equation() })).collect();
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
