//! The binary, run as a person runs it: in a folder of its own, with files by name.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use tempfile::TempDir;

pub const ALARM: &str = include_str!("../../scripts/frost-alarm.toml");

/// A plan that is over in seconds of bench time.
pub const SHORT: &str = r#"title = "Gate opener"

[unit]
name    = "gate opener"
ceiling = { voltage = "10 V", current = "120 mA", power = "1.2 W" }

[[stage]]
do     = "ramp"
to     = "5 V"
rate   = "5 V/s"
step   = "1 V"
limit  = "60 mA"

[[stage]]
do     = "log"
for    = "5 s"
every  = "200 ms"
expect = { current = ["8 mA", "20 mA"] }

[[stage]]
do      = "start"
voltage = "9 V"
limit   = { starting = "100 mA", running = "40 mA", after = "300 ms" }
times   = 10
off     = "500 ms"
watch   = "1.5 s"
states  = { running = ["8 mA", "20 mA"] }
"#;

/// A unit that starts at once and draws 12 mA; `more` adds to its [board].
pub fn unit(more: &str) -> String {
    format!("cause = \"none\"\n[board]\ninput = \"10 uF\"\ndropout = \"2 V\"\nrunning = \"12 mA\"\nasleep = \"50 uA\"\n{more}\n")
}

/// A folder with the shipped plans in it.
pub struct Place {
    folder: TempDir,
}

/// What the binary said.
pub struct Said {
    pub code: Option<i32>,
    pub out: String,
    pub err: String,
}

impl Place {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("scripts");
        for entry in std::fs::read_dir(scripts).unwrap() {
            let path = entry.unwrap().path();
            std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
        }
        Self { folder }
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn write(&self, name: &str, text: &str) -> &Self {
        std::fs::write(self.folder.path().join(name), text).unwrap();
        self
    }

    pub fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_rampart"));
        command.args(arguments).current_dir(self.folder.path()).env("COLUMNS", "100").env_remove("RAMPART_LOG");
        command
    }

    pub fn run(&self, arguments: &[&str]) -> Said {
        said(self.command(arguments).output().unwrap())
    }

    /// The folder of the only run.
    pub fn only_run(&self) -> PathBuf {
        let all = std::fs::read_dir(self.folder.path().join("logs")).unwrap().map(|e| e.unwrap().path());
        // The catalogue's index lies beside the runs.
        let mut runs = all.filter(|path| path.is_dir());
        let run = runs.next().unwrap();
        assert!(runs.next().is_none(), "one run and no more");
        run
    }
}

pub fn said(output: Output) -> Said {
    Said {
        code: output.status.code(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

impl Said {
    /// Code, output and errors as one text, without what changes from run to run.
    pub fn shown(&self) -> String {
        let code = self.code.map_or("killed".to_owned(), |c| c.to_string());
        steady(&format!("exit code {code}\n--- output\n{}--- errors\n{}", self.out, self.err))
    }
}

/// Replaces dates of folders (20261125T150157) and fingerprints by a word.
pub fn steady(text: &str) -> String {
    let is_hash = |word: &&str| word.len() == 64 && word.bytes().all(|b| b.is_ascii_hexdigit());
    let hashes: Vec<&str> = text.split_whitespace().filter(is_hash).collect();
    let text = &hashes.iter().fold(text.to_owned(), |text, hash| text.replace(hash, "<fingerprint>"));
    let bytes = text.as_bytes();
    let is_moment = |at: usize| {
        bytes
            .get(at..at + 15)
            .is_some_and(|w| w.iter().enumerate().all(|(i, b)| if i == 8 { *b == b'T' } else { b.is_ascii_digit() }))
    };
    let mut steady = String::new();
    let mut at = 0;
    while let Some(c) = text[at..].chars().next() {
        if is_moment(at) {
            steady.push_str("<moment>");
            at += 15;
        } else {
            steady.push(c);
            at += c.len_utf8();
        }
    }
    // Two that began within the same second are told apart by a number.
    steady.replace("gate-opener-2", "gate-opener").replace("gate-opener-3", "gate-opener")
}
