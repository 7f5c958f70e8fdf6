//! The crate's structure, kept by a test: imports run one way, files stay short,
//! only two places speak to the person, and power has one door.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::print_stderr,
    reason = "a test that cannot go on stops"
)]

use std::path::{Path, PathBuf};

/// Layers from top to bottom; a line may import what stands on a lower line.
const LAYERS: [&[&str]; 10] = [
    &["cli"],
    &["view", "report"],
    &["runner"],
    &["rehearsal"],
    &["interlock"],
    &["plan", "record"],
    &["analysis"],
    &["instrument"],
    &["link", "scpi"],
    &["document", "clock", "units", "sys"],
];

/// Within a line nothing is imported, but for these.
const WITHIN: [(&str, &str); 2] = [("document", "units"), ("clock", "units")];

/// These know neither tokio nor files.
const PURE: [&str; 3] = ["analysis", "units", "scpi"];

fn sources() -> Vec<(String, PathBuf, String)> {
    fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                walk(&path, found);
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push(path);
            }
        }
    }
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    walk(&root, &mut found);
    found.sort();
    assert!(found.len() > 50, "the sources were not found");
    found
        .into_iter()
        .map(|path| {
            let inside = path.strip_prefix(&root).unwrap();
            let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
            let module = first.trim_end_matches(".rs").to_owned();
            let text = std::fs::read_to_string(&path).unwrap();
            (module, path, text)
        })
        .collect()
}

fn is_test(path: &Path) -> bool {
    path.components().any(|c| {
        let name = c.as_os_str().to_string_lossy();
        name == "tests.rs" || name == "tests"
    })
}

fn layer(module: &str) -> Option<usize> {
    LAYERS.iter().position(|l| l.contains(&module))
}

/// The modules of this crate that a text names.
fn imports(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for part in text.split("crate::").skip(1) {
        let name: String = part.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
        if layer(&name).is_some() {
            found.push(name);
        }
    }
    found
}

#[test]
fn imports_run_one_way() {
    let mut seen = 0;
    for (module, path, text) in sources() {
        if is_test(&path) || layer(&module).is_none() {
            continue;
        }
        let own = layer(&module).unwrap();
        for other in imports(&text) {
            let theirs = layer(&other).unwrap();
            seen += 1;
            let within = WITHIN.contains(&(module.as_str(), other.as_str()));
            assert!(
                other == module || theirs > own || within,
                "{} imports {other}, which does not stand below {module}",
                path.display()
            );
        }
    }
    assert!(seen > 100, "no imports were found: the test does not look");
}

#[test]
fn every_module_has_its_layer() {
    for (module, path, _) in sources() {
        assert!(layer(&module).is_some() || module == "main" || module == "lib", "{}", path.display());
    }
}

#[test]
fn pure_modules_know_neither_tokio_nor_files() {
    for (module, path, text) in sources() {
        if PURE.contains(&module.as_str()) && !is_test(&path) {
            for word in ["tokio", "std::fs", "std::net", "std::time::Instant", "SystemTime", "async "] {
                assert!(!text.contains(word), "{} knows {word}", path.display());
            }
        }
    }
}

#[test]
fn stand_ins_share_no_code_with_the_drivers() {
    for (module, path, text) in sources() {
        if module == "rehearsal" && !is_test(&path) {
            for part in text.split("crate::instrument").skip(1) {
                let allowed = part.starts_with("::profile") || part.starts_with("::Role;");
                assert!(allowed, "{} uses a driver: instrument{}", path.display(), part.lines().next().unwrap_or(""));
            }
        }
    }
}

#[test]
fn files_stay_short() {
    for (_, path, text) in sources() {
        let lines = text.lines().count();
        assert!(lines <= 500, "{} has {lines} lines", path.display());
    }
}

#[test]
fn every_file_says_what_it_is() {
    for (_, path, text) in sources() {
        assert!(text.starts_with("//!"), "{}", path.display());
    }
}

#[test]
fn only_cli_and_view_speak_to_the_person() {
    // Tests in the sources say what they measured; the tool never runs them.
    for (module, path, text) in sources().into_iter().filter(|(_, path, _)| !is_test(path)) {
        let speaks =
            ["println!", "print!(", "dbg!", "outln!", "errln!", "io::stdout", "io::stderr"].iter().any(|w| text.contains(w));
        assert!(!speaks || module == "cli" || module == "view", "{}", path.display());
    }
}

#[test]
fn power_has_one_door() {
    let mut doors = Vec::new();
    for (module, path, text) in sources() {
        // The only place that calls the supply's switch_on with a permit, and the only one that makes a permit.
        if text.contains("Permit { _made_by_the_interlock") {
            let door = path.ends_with("src/interlock/station/prepared.rs");
            // Elsewhere it stands in an example that must not compile.
            assert!(door || text.contains("pub struct Permit"), "{} makes a permit", path.display());
        }
        if text.contains(".switch_on(&energised.permit)") {
            doors.push(path.clone());
        }
        // Nobody else drives a supply with a key of its own.
        let own_key = text.contains("instrument::Supply<") || text.contains("use crate::instrument::Supply");
        assert!(!own_key || module == "interlock", "{}", path.display());
    }
    assert_eq!(doors.len(), 1, "{doors:?}");
    assert!(doors[0].ends_with("src/interlock/station/energised.rs"));
}
