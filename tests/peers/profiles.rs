//! The JSON Schema of a profile against an independent validator: it is a schema, it takes
//! every profile that our reader takes, and it refuses a key that is unknown, one that is
//! missing, and a value of another kind.

use crate::support::python;
use rampart::document::Document;
use rampart::instrument::profile::{Profile, SHIPPED, keys};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

/// A profile with one line of it changed, and whether that makes it wrong by its form alone.
fn changed(text: &str, random: &mut ChaCha8Rng) -> (String, bool) {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let plain: Vec<usize> =
        lines.iter().enumerate().filter(|(_, l)| l.contains(" = ") && !l.contains('{')).map(|(i, _)| i).collect();
    let at = plain[random.random_range(0..plain.len())];
    let (key, value) = lines[at].split_once('=').map(|(k, v)| (k.trim().to_owned(), v.trim().to_owned())).unwrap();
    let wrong = match random.random_range(0..4) {
        0 => {
            lines.insert(at, format!("{key}_of = {value}"));
            true
        }
        1 => {
            lines[at] = format!("{key} = 3.5");
            true
        }
        2 => {
            lines.remove(at);
            false
        }
        _ => {
            lines[at] = format!("{key} = [[{value}]]");
            true
        }
    };
    (lines.join("\n"), wrong)
}

#[test]
fn the_schema_takes_what_the_reader_takes_and_refuses_what_is_wrong_in_form() {
    let mut cases: Vec<(String, bool)> = SHIPPED.iter().map(|(_, text)| ((*text).to_owned(), false)).collect();
    for seed in 0..600 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let (_, text) = SHIPPED[random.random_range(0..SHIPPED.len())];
        cases.push(changed(text, &mut random));
    }
    let texts: Vec<&str> = cases.iter().map(|(text, _)| text.as_str()).collect();
    let Some(theirs) = python("profiles.py", &json!({ "schema": keys::schema(), "profiles": texts })) else { return };
    let (mut taken, mut refused) = (0, 0);
    for ((text, wrong), valid) in cases.iter().zip(theirs.as_array().unwrap()) {
        let valid = valid.as_bool().unwrap();
        let read = Profile::read("case", Document::new("case.toml", text.clone()));
        let why = read.as_ref().err().map(ToString::to_string).unwrap_or_default();
        assert!(valid || read.is_err(), "the schema refuses what the reader takes:\n{text}");
        assert!(!wrong || (!valid && read.is_err()), "wrong in form; the schema says {valid}, the reader {why:?}:\n{text}");
        // What the reader finds missing the schema does, but for what hangs on another key.
        let by_another = ["\"bleeder\"", "\"voltage\"", "\"resolution\"", "rates", "ranges", "\"read\""];
        if why.contains("lacks") && !by_another.iter().any(|key| why.contains(key)) {
            assert!(!valid, "the reader misses a key that the schema does not: {why}\n{text}");
        }
        if valid { taken += 1 } else { refused += 1 }
    }
    assert!(taken > 50 && refused > 300, "{taken} {refused}");
}
