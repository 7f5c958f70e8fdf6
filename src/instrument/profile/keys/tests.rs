//! The tables hold together, the reader asks for what stands in them, and the pages that
//! are made from them are as they stand in the repository.

use super::super::Profile;
use super::*;
use crate::document::Document;
use crate::units::parse_as;

/// A value that a key could have.
fn example(key: &Key, of: Unit, path: &str) -> String {
    match key.is {
        Is::Text if key.name == "set" && path.contains("supply") && !path.contains("coupling") && !path.contains("power_on") => {
            "\"X {value}\"".into()
        }
        Is::Text => format!("\"{}\"", path.replace('.', " ")),
        Is::Texts => format!("[\"{}\"]", path.replace('.', " ")),
        Is::Flag => "true".into(),
        Is::Count(least, _) => format!("{}", least.max(1) + u64::from(path.ends_with("bits.voltage"))),
        Is::Word(words) => format!("{:?}", words[0]),
        Is::Quantity(unit) => format!("\"1 {}\"", unit.symbol()),
        Is::Amount => format!("\"1 {}\"", of.symbol()),
        Is::Table(inner) => inline(inner, amounts(path, of), path),
        Is::Tables(inner) => format!("[{}]", inline(inner, amounts(path, of), path)),
    }
}

/// In what the amounts below a path are.
fn amounts(path: &str, of: Unit) -> Unit {
    match path.rsplit('.').next() {
        Some("delay" | "watchdog") => Unit::Second,
        Some("current" | "over_current") => Unit::Ampere,
        Some("voltage" | "over_voltage") => Unit::Volt,
        _ => of,
    }
}

fn inline(section: &Section, of: Unit, path: &str) -> String {
    let keys: Vec<String> =
        section.all().map(|key| format!("{} = {}", key.name, example(key, of, &format!("{path}.{}", key.name)))).collect();
    format!("{{ {} }}", keys.join(", "))
}

/// A profile that has every key of its kind; it need not make sense.
fn everything(kind: &str) -> String {
    let mut text = format!("kind = {kind:?}\n");
    for key in ROOT.all().filter(|key| key.name != "kind" && (key.name == kind || !["supply", "meter"].contains(&key.name))) {
        text.push_str(&format!("{} = {}\n", key.name, example(key, Unit::Volt, key.name)));
    }
    text
}

#[test]
fn every_key_of_the_tables_is_read_and_no_other() {
    // A debug build stops at a key that is asked for and stands in no table, and at one that nobody asks for.
    for kind in ["supply", "meter"] {
        let text = everything(kind);
        let problems =
            Profile::read(kind, Document::new("all.toml", text.clone())).map_or_else(|p| p.to_string(), |_| String::new());
        for sign in ["has no key", "lacks", "is not known", "expected a", "not TOML"] {
            assert!(!problems.contains(sign), "{sign}:\n{problems}\n{text}");
        }
        let problems = Profile::read(kind, Document::new("all.toml", format!("{text}odd = 1\n"))).unwrap_err().to_string();
        assert!(problems.contains("has no key \"odd\""), "{problems}");
    }
}

#[test]
fn defaults_are_values_that_could_be_written() {
    for (paths, section) in sections() {
        for key in section.all() {
            let Unless::Is(default) = key.unless else { continue };
            let fine = match key.is {
                Is::Text | Is::Texts => true,
                Is::Flag => ["true", "false"].contains(&default),
                Is::Count(least, most) => default.parse::<u64>().is_ok_and(|n| (least..=most).contains(&n)),
                Is::Word(words) => words.contains(&default),
                Is::Quantity(unit) => parse_as(default, unit).is_ok(),
                Is::Amount | Is::Table(_) | Is::Tables(_) => false,
            };
            assert!(fine, "{paths:?} {}: {default:?}", key.name);
        }
    }
    // The reader's own defaults of a serial line are the table's.
    let text = "kind = \"meter\"\nabout = \"x\"\nwire = { send_end = \"a\", receive_end = \"b\", line = {} }\n";
    let read = Document::new("x", text).read(|root| {
        let wire = root.table("wire").map(|mut wire| super::super::line(&mut wire, "line", &Default::default()));
        root.keys().iter().for_each(|key| root.ignore(key));
        wire
    });
    assert!(read.is_err() || read.is_ok_and(|line| line == Default::default()));
}

#[test]
fn names_are_unlike_each_other() {
    let mut titles: Vec<&str> = sections().iter().map(|(_, section)| section.title).collect();
    titles.sort_unstable();
    let count = titles.len();
    titles.dedup();
    assert_eq!(count, titles.len());
    for (paths, section) in sections() {
        let mut names: Vec<&str> = section.all().map(|key| key.name).collect();
        names.sort_unstable();
        let count = names.len();
        names.dedup();
        assert_eq!(count, names.len(), "{paths:?}");
    }
}

/// Rows of the list of differences that no key answers, with the reason.
const NOT_BY_A_KEY: [(u8, &str); 2] = [
    (43, "one question at a time is how every conversation is held"),
    (52, "one connection is opened and kept; host and port stand in the bench file's address"),
];

#[test]
fn every_row_is_answered_by_a_key_or_needs_none() {
    let rows: Vec<u8> = sections().iter().flat_map(|(_, s)| s.all()).flat_map(|key| key.rows).copied().collect();
    assert!(rows.iter().all(|row| (1..=62).contains(row)));
    for row in 1..=62 {
        let needs_none = NOT_BY_A_KEY.iter().any(|(known, _)| *known == row);
        assert!(rows.contains(&row) != needs_none, "row {row}");
    }
}

/// `INSTA_UPDATE=always` writes them anew, as it does for the screens.
#[test]
fn the_pages_stand_in_the_repository_as_they_are_made() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    for (name, made) in [("KEYS.md", page()), ("profile.schema.json", schema())] {
        let path = folder.join(name);
        if std::env::var("INSTA_UPDATE").is_ok_and(|update| update == "always") {
            std::fs::write(&path, &made).unwrap();
        }
        let stands = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(stands == made, "{name} is not as the tables are; INSTA_UPDATE=always cargo test --lib keys:: writes it anew");
    }
}
