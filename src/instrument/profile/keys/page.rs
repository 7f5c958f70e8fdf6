//! The reference page of all keys, in Markdown.

use super::{Is, Key, Section, Unless, sections};
use crate::units::Unit;

/// The page. It stands in the repository as `profiles/KEYS.md`, and a test keeps it so.
pub fn page() -> String {
    let mut text = String::from(
        "# Every key of a profile\n\nMade from the tables by which profiles are read. *Quirks* are the ways in which instruments \
         differ that a key answers, by the numbers of the rows in `tests/bench/quirks/`. `rampart check --profile FILE` says what \
         is wrong with a file, and prints what would be sent; `profile.schema.json` beside this page is for editors.\n",
    );
    for (paths, section) in sections() {
        text.push_str(&format!("\n## {}\n\n", heading(&paths, section)));
        if !section.about.is_empty() {
            text.push_str(&format!("{}\n\n", section.about));
        }
        if let Some(like) = section.like {
            text.push_str(&format!("The keys of {}, and:\n\n", like.title));
        }
        text.push_str("| key | is | without it | quirks | meaning |\n| --- | --- | --- | --- | --- |\n");
        for key in section.keys {
            text.push_str(&row(key));
        }
    }
    text
}

fn heading(paths: &[String], section: &Section) -> String {
    let paths: Vec<String> = paths.iter().filter(|path| !path.is_empty()).map(|path| format!("`{path}`")).collect();
    match (paths.as_slice(), section.title) {
        ([], title) => title.to_owned(),
        ([path], title) if title == path.trim_matches('`') => path.clone(),
        (paths, title) => format!("{title}: {}", paths.join(", ")),
    }
}

fn row(key: &Key) -> String {
    let rows: Vec<String> = key.rows.iter().map(u8::to_string).collect();
    let without = match key.unless {
        Unless::Needed => "must be given".to_owned(),
        Unless::Is(value) => format!("`{}`", written(key.is, value)),
        Unless::So(words) => words.to_owned(),
    };
    format!("| `{}` | {} | {without} | {} | {} |\n", key.name, kind(key.is), rows.join(", "), key.meaning.replace('|', "\\|"))
}

/// A default as the file would have it.
fn written(is: Is, value: &str) -> String {
    match is {
        Is::Flag | Is::Count(..) => value.to_owned(),
        _ => format!("{value:?}"),
    }
}

fn kind(is: Is) -> String {
    match is {
        Is::Text => "text".into(),
        Is::Texts => "text or list of texts".into(),
        Is::Flag => "`true` or `false`".into(),
        Is::Count(least, most) => format!("{least} to {most}"),
        Is::Word(words) => words.iter().map(|word| format!("`{word:?}`")).collect::<Vec<_>>().join(", "),
        Is::Quantity(unit) => one(unit).into(),
        Is::Amount => "V, A or s".into(),
        Is::Table(section) => format!("table: {}", section.title),
        Is::Tables(section) => format!("tables: {}", section.title),
    }
}

fn one(unit: Unit) -> &'static str {
    match unit {
        Unit::Second => "time",
        Unit::Volt => "voltage",
        Unit::Ampere => "current",
        Unit::Ohm => "resistance",
        Unit::Watt => "power",
        Unit::Percent => "percent",
        other => other.described(),
    }
}
