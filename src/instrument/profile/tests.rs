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

/// A shipped meter's first range with another accuracy row: the row and the resolution.
fn restated(accuracy: &str) -> (Accuracy, f64) {
    let (name, text) = SHIPPED.iter().find(|(name, _)| *name == "meter-plain").unwrap();
    let first = text.lines().position(|line| line.starts_with("accuracy")).unwrap();
    let lines = text.lines().enumerate().map(|(i, line)| if i == first { format!("accuracy = {accuracy}") } else { line.into() });
    let text = lines.collect::<Vec<String>>().join("\n");
    let profile = Profile::read(name, Document::new(*name, text)).unwrap_or_else(|p| panic!("{p}"));
    let meter = profile.meter().unwrap();
    let ranges = meter.current.iter().chain(&meter.voltage).flat_map(|f| &f.ranges);
    let found = ranges.into_iter().find(|r| r.accuracy.reading == Ratio(0.0003)).unwrap();
    (found.accuracy, found.resolution)
}

#[test]
fn digits_of_an_accuracy_row_are_counted_in_the_resolution() {
    let (accuracy, resolution) = restated("{ reading = \"0.03 %\", digits = 10 }");
    assert_eq!(accuracy.offset, 10.0 * resolution);
    // 79.999 V with 0.03 % + 10 digits of 0.001 V is 0.034 V (common practice).
    let accuracy = Accuracy { offset: 10.0 * 0.001, ..accuracy };
    assert!((accuracy.half_width(79.999, 0.0) - 0.034).abs() < 1e-5);
    // 2.000 V with 0.08 % + 2 digits lies between 1.9964 and 2.0036 V.
    let accuracy = Accuracy { reading: Ratio(0.0008), offset: 2.0 * 0.001, ..Accuracy::default() };
    assert!((accuracy.half_width(2.0, 0.0) - 0.0036).abs() < 1e-9);
}

#[test]
fn an_accuracy_row_says_what_its_interval_means() {
    // A specification is divided by sqrt 3 without another statement, by 2.58 where it
    // holds 99 % of a normal distribution (JCGM 100:2008, 4.3.7 and 4.3.4).
    let (limits, _) = restated("{ reading = \"0.03 %\" }");
    let (normal, _) = restated("{ reading = \"0.03 %\", stated = \"99 %\" }");
    assert!((limits.standard(100.0, 0.0, 0.0) - 0.03 / 3f64.sqrt()).abs() < 1e-9);
    assert!((normal.standard(100.0, 0.0, 0.0) - 0.03 / 2.5758).abs() < 1e-6);
}
