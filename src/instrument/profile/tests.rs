//! Shipped profiles read without a mistake; mistakes are pointed at.

use super::*;

#[test]
fn every_shipped_profile_reads() {
    for (name, text) in SHIPPED {
        let read = Profile::read(name, Document::new(name, text));
        match read {
            Ok(profile) => assert_eq!(profile.supply().is_some(), name.starts_with("supply")),
            Err(problems) => panic!("{name}:\n{problems}"),
        }
    }
}

#[test]
fn every_profile_in_the_folder_is_shipped() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("profiles");
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .map(|p| p.file_stem().unwrap().to_string_lossy().into_owned())
        .collect();
    names.sort();
    let mut shipped: Vec<&str> = SHIPPED.iter().map(|(n, _)| *n).collect();
    shipped.sort_unstable();
    assert_eq!(names, shipped);
}

#[test]
fn a_profile_whose_on_and_off_are_the_same_is_refused() {
    let (name, text) = SHIPPED[0];
    let text = text.replace("\"OUTP OFF,(@{channel})\"", "\"OUTP ON,(@{channel})\"");
    let problems = Profile::read(name, Document::new("mine.toml", text)).unwrap_err().to_string();
    assert!(problems.contains("on and off send the same message"), "{problems}");
    assert!(problems.contains("mine.toml:"), "{problems}");
}

#[test]
fn an_answer_cannot_mean_both_on_and_off() {
    let (name, text) = SHIPPED[0];
    let text = text.replace("reads_off = [\"0\"]", "reads_off = [\"0\", \"1\"]");
    let problems = Profile::read(name, Document::new("mine.toml", text)).unwrap_err().to_string();
    assert!(problems.contains("would mean both on and off"), "{problems}");
}

#[test]
fn patterns_fit_as_written() {
    for (pattern, text, fit) in [
        ("*", "", true),
        ("E*", "E04", true),
        ("E*", "1.0E4", false),
        ("*local mode*", "supply is in LOCAL mode now", true),
        ("A,*,C", "a,b,c", true),
        ("A,*,C", "a,c", false),
        ("OK", "ok", true),
        ("OK", "oks", false),
        ("a*b*b", "ab", false),
    ] {
        assert_eq!(fits(pattern, text), fit, "{pattern} {text}");
    }
}
