//! The JSON Schema (draft 2020-12) of a profile, for editors.

use super::{Is, Key, ROOT, Section, Unless, sections};
use serde_json::{Map, Value, json};

/// A number, a blank where one likes, and a unit, as text.
const QUANTITY: &str = r"^\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*\D+$";

/// The schema. It stands in the repository as `profiles/profile.schema.json`, and a test keeps it so.
pub fn schema() -> String {
    let mut defs = Map::new();
    for (_, section) in sections() {
        defs.insert(name(section), table(section));
    }
    let mut root = table(&ROOT);
    let needs = |kind: &str| json!({ "if": { "properties": { "kind": { "const": kind } } }, "then": { "required": [kind] } });
    if let Value::Object(root) = &mut root {
        root.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        root.insert("title".into(), json!("a profile: how an instrument speaks, and how well it measures"));
        root.insert("allOf".into(), json!([needs("supply"), needs("meter")]));
        defs.remove(&name(&ROOT));
        root.insert("$defs".into(), Value::Object(defs));
    }
    let mut text = serde_json::to_string_pretty(&root).unwrap_or_default();
    text.push('\n');
    text
}

/// Titles are unlike each other; a test looks.
fn name(section: &Section) -> String {
    section.title.to_owned()
}

fn table(section: &Section) -> Value {
    let properties: Map<String, Value> = section.all().map(|key| (key.name.to_owned(), property(key))).collect();
    let required: Vec<&str> = section.all().filter(|key| key.unless == Unless::Needed).map(|key| key.name).collect();
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

fn property(key: &Key) -> Value {
    let mut value = match key.is {
        Is::Text => json!({ "type": "string" }),
        Is::Texts => json!({ "anyOf": [{ "type": "string" }, { "type": "array", "items": { "type": "string" } }] }),
        Is::Flag => json!({ "type": "boolean" }),
        Is::Count(least, most) => json!({ "type": "integer", "minimum": least, "maximum": most }),
        Is::Word(words) => json!({ "enum": words }),
        Is::Quantity(_) | Is::Amount => json!({ "type": "string", "pattern": QUANTITY }),
        Is::Table(section) => json!({ "$ref": reference(section) }),
        Is::Tables(section) => json!({ "type": "array", "minItems": 1, "items": { "$ref": reference(section) } }),
    };
    if let Value::Object(value) = &mut value {
        let mut words = key.meaning.to_owned();
        match key.unless {
            Unless::Needed => {}
            Unless::Is(default) => words.push_str(&format!("; {default:?} where left out")),
            Unless::So(so) => words.push_str(&format!("; left out: {so}")),
        }
        value.insert("description".into(), json!(words));
    }
    value
}

/// A JSON pointer in a fragment (RFC 6901, 6).
fn reference(section: &Section) -> String {
    format!("#/$defs/{}", name(section).replace(' ', "%20").replace(':', "%3A"))
}
