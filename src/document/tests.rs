//! Mistakes as a person makes them.

use super::*;
use crate::units::Volts;

fn problems_of(text: &str) -> String {
    let document = Document::new("plan.toml", text);
    let result = document.read(|root| {
        root.text("title");
        root.quantity::<Volts>("voltage");
        root.band::<Volts>("band");
        root.count("times", 1, 10);
        root.choice("wired", &[("in series", 1), ("across", 2)]);
        if let Some(table) = root.table("unit") {
            table.finish();
        }
        Some(())
    });
    result.map_or_else(|p| p.to_string(), |()| String::new())
}

#[test]
fn a_bare_number_is_pointed_at_with_line_and_column() {
    let text = problems_of("title = \"x\"\nvoltage = 9\n");
    assert!(text.contains("9 is a bare number; a voltage needs its unit"), "{text}");
    assert!(text.contains("plan.toml:2:11"), "{text}");
    assert!(text.contains("^"), "{text}");
    assert!(text.contains("\"9 V\" or \"250 mV\""), "{text}");
}

#[test]
fn an_unknown_key_gets_the_nearest_known_one() {
    let text = problems_of("voltag = \"9 V\"\n");
    assert!(text.contains("no key \"voltag\""), "{text}");
    assert!(text.contains("did you mean \"voltage\"?"), "{text}");
    assert!(text.contains("plan.toml:1:1"), "{text}");
}

#[test]
fn every_mistake_is_found_in_one_reading() {
    let text = problems_of("voltage = \"9 A\"\nband = [\"2 V\", \"1 V\"]\ntimes = 11\nwired = \"in serie\"\nunit = 3\n");
    for part in [
        "is a current; expected a voltage",
        "the lower first",
        "a whole number from 1 to 10",
        "did you mean \"in series\"?",
        "expected a table",
    ] {
        assert!(text.contains(part), "{part} not in {text}");
    }
}

#[test]
fn what_is_not_toml_says_where() {
    let text = problems_of("title = \n");
    assert!(text.contains("not TOML"), "{text}");
    assert!(text.contains("plan.toml:1:"), "{text}");
}

#[test]
fn inner_values_are_pointed_at_by_their_path() {
    let document = Document::new(
        "plan.toml",
        "limit = { starting = \"2 A\", running = \"1 A\" }\nvoltages = [\"1 V\", \"2 V\"]\noff = \"2 s\"\n",
    );
    let places = document
        .read(|root| {
            for key in root.keys() {
                root.ignore(&key);
            }
            Some(root.places())
        })
        .unwrap();
    let at = |key: &str| Problem::at(&document, places.of(key), "").line_column().unwrap();
    assert_eq!(at("limit.running"), (1, 39));
    assert_eq!(at("voltages.1"), (2, 20));
    // Where the inner value is not there, the nearest that is.
    assert_eq!(at("off.from"), at("off"));
    assert_eq!(at("limit.after"), at("limit"));
    assert_eq!(at("nothing.at.all"), (1, 1));
}

proptest::proptest! {
    #[test]
    fn no_text_makes_the_reader_panic(text in "\\PC{0,80}(\n\\PC{0,40}){0,4}") {
        problems_of(&text);
    }
}
