//! Reports and comparisons as a browser lays them out: nothing is cut, nothing has to be
//! scrolled sideways, and no two texts of a plot lie over each other, at the width of a phone,
//! of A4 and of a screen.
//!
//! The page measures itself by a script that is put at its end, and hands over what it found.

use std::path::{Path, PathBuf};
use std::process::Command;

const BROWSERS: [&str; 3] = ["chromium", "chromium-browser", "google-chrome"];

/// A phone, A4 without its margins at 96 dots an inch, a screen.
const WIDTHS: [u32; 3] = [420, 680, 1000];

/// Replaced by the width; a browser's own window may not become so narrow.
const LOOK: &str = include_str!("pages.html");

/// What is wrong with a page at a width; `None` where no browser is installed.
fn look(page: &Path, width: u32, folder: &Path) -> Option<Vec<String>> {
    let browser = BROWSERS.into_iter().find(|b| Command::new(b).arg("--version").output().is_ok_and(|o| o.status.success()))?;
    let html = std::fs::read_to_string(page)
        .unwrap()
        .replace("</body>", &format!("{}</body>", LOOK.replace("WIDTH", &width.to_string())));
    let copy = folder.join(format!("page-{width}.html"));
    std::fs::write(&copy, html).unwrap();
    let output = Command::new(browser)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
        ])
        .arg(format!("--user-data-dir={}", folder.join("browser").display()))
        .arg(format!("--window-size={width},2000"))
        .arg("--dump-dom")
        .arg(format!("file://{}", copy.display()))
        .output()
        .unwrap();
    let laid_out = String::from_utf8_lossy(&output.stdout);
    let told = laid_out.split("<title>LOOKED ").nth(1).and_then(|t| t.split("</title>").next());
    let told = told.unwrap_or_else(|| panic!("{} was not laid out: {}", page.display(), String::from_utf8_lossy(&output.stderr)));
    let told = told.replace("&quot;", "\"").replace("&gt;", ">").replace("&lt;", "<").replace("&amp;", "&");
    Some(serde_json::from_str(&told).unwrap_or_else(|e| panic!("{e}: {told}")))
}

fn rampart(folder: &Path, arguments: &[&str]) {
    let output = Command::new(env!("CARGO_BIN_EXE_rampart")).args(arguments).current_dir(folder).output().unwrap();
    // A rehearsal may trip, and a comparison find a difference: their pages are looked at all the same.
    assert!(output.status.code().is_some_and(|c| c != 2), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
}

/// The runs, oldest first.
fn runs(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder.join("logs")).unwrap().map(|e| e.unwrap().path());
    let mut runs: Vec<PathBuf> = entries.filter(|p| p.join("run.sqlite").is_file()).collect();
    runs.sort();
    runs
}

#[test]
fn pages_are_whole_and_legible_at_every_width() {
    let folder = tempfile::tempdir().unwrap();
    let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts");
    for entry in std::fs::read_dir(scripts).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    let frost = std::fs::read_to_string(folder.path().join("frost-alarm.toml")).unwrap();
    std::fs::write(folder.path().join("frost-alarm.toml"), frost.replace("times     = 300", "times     = 40")).unwrap();
    let one = |plan: &str, unit: &str, seed: &str| rampart(folder.path(), &["rehearse", plan, "--unit", unit, "--seed", seed]);
    one("frost-alarm.toml", "frost-alarm.unit.toml", "3");
    one("frost-alarm.toml", "frost-alarm-repaired.unit.toml", "4");
    one("rain-gauge.toml", "rain-gauge.unit.toml", "3");
    one("rain-gauge.toml", "rain-gauge-good.unit.toml", "4");
    one("vent-opener.toml", "vent-opener.unit.toml", "3");
    one("beehive-scale.toml", "beehive-scale.unit.toml", "3");
    one("beehive-scale.toml", "beehive-scale.unit.toml", "4");
    one("capacitor-lot.toml", "capacitor-lot.unit.toml", "3");
    let runs = runs(folder.path());
    let name = |i: usize| runs[i].file_name().unwrap().to_str().unwrap();
    let scales: Vec<usize> = (0..runs.len()).filter(|i| name(*i).contains("beehive-scale")).collect();
    for (a, b, page) in [(0, 1, "frost.html"), (2, 3, "rain.html"), (scales[0], scales[1], "scale.html")] {
        rampart(folder.path(), &["compare", name(a), name(b), "--page", page]);
    }
    let mut pages: Vec<PathBuf> = runs.iter().map(|r| r.join("report.html")).collect();
    pages.extend(["frost.html", "rain.html", "scale.html"].map(|p| folder.path().join(p)));
    for page in &pages {
        for width in WIDTHS {
            let Some(wrong) = look(page, width, folder.path()) else {
                eprintln!("NOT LOOKED AT: no browser is installed ({})", BROWSERS.join(", "));
                return;
            };
            assert!(wrong.is_empty(), "{} at {width}: {wrong:#?}", page.display());
        }
    }
}
