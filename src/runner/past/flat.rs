//! A bench file as keys and values, so that two can be compared whatever stands in them.

use std::collections::BTreeMap;
use toml::{Table, Value};

/// Every key with its value as it stands there: `meter.wired`. Empty where it is no TOML.
pub(super) fn flat(text: &str) -> BTreeMap<String, String> {
    let mut made = BTreeMap::new();
    if let Ok(table) = text.parse::<Table>() {
        walk("", &table, &mut made);
    }
    made
}

fn walk(before: &str, table: &Table, made: &mut BTreeMap<String, String>) {
    for (key, value) in table {
        let name = if before.is_empty() { key.clone() } else { format!("{before}.{key}") };
        match value {
            Value::Table(inner) => walk(&name, inner, made),
            other => {
                made.insert(name, spelled(other));
            }
        }
    }
}

fn spelled(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Integer(number) => number.to_string(),
        Value::Float(number) => number.to_string(),
        Value::Boolean(flag) => flag.to_string(),
        Value::Datetime(date) => date.to_string(),
        Value::Array(list) => list.iter().map(spelled).collect::<Vec<_>>().join(", "),
        Value::Table(_) => String::new(),
    }
}
