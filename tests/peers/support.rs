//! Running a peer: a Python script that reads JSON and answers JSON, or a program.

use serde_json::Value;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// The Python that has the reference libraries: `RAMPART_PEERS`, or the one that
/// `tests/all` has set up. `None`, said aloud, where there is neither.
fn interpreter() -> Option<PathBuf> {
    let named = std::env::var_os("RAMPART_PEERS").map(PathBuf::from);
    let own = || Path::new(env!("CARGO_MANIFEST_DIR")).join("target/peers/bin/python");
    let python = named.unwrap_or_else(own);
    if python.exists() {
        return Some(python);
    }
    eprintln!("NOT RUN: the reference libraries are not installed (`sh tests/all` installs them)");
    None
}

/// Gives `input` to the script `tests/peers/NAME` and returns its answer; `None`
/// where the reference libraries are not installed.
pub fn python(name: &str, input: &Value) -> Option<Value> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers").join(name);
    let mut child = Command::new(interpreter()?)
        .arg(&script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the interpreter starts");
    // Written from a thread of its own: both pipes may fill up.
    let mut pipe = child.stdin.take().expect("a pipe");
    let bytes = serde_json::to_vec(input).expect("JSON");
    let writer = std::thread::spawn(move || pipe.write_all(&bytes));
    let done = child.wait_with_output().expect("the script ends");
    writer.join().expect("the writer ends").expect("the script reads its input");
    assert!(done.status.success(), "{name}: {}", String::from_utf8_lossy(&done.stderr));
    Some(serde_json::from_slice(&done.stdout).unwrap_or_else(|e| panic!("{name} answers no JSON: {e}")))
}

/// Whether a program is there to be run; said aloud where it is not.
#[allow(dead_code, reason = "for the modules that run a program")]
pub fn has(program: &str) -> bool {
    let found = Command::new(program).arg("--version").stdin(Stdio::null()).output().is_ok();
    if !found {
        eprintln!("NOT RUN: {program} is not installed (`sh tests/all` installs it)");
    }
    found
}

/// Asserts that two figures agree to a relative (or, near zero, absolute) tolerance.
#[track_caller]
pub fn close(ours: f64, theirs: f64, tolerance: f64, what: &str) {
    let scale = theirs.abs().max(1.0e-300);
    let agrees = (ours - theirs).abs() <= tolerance * scale || (ours - theirs).abs() <= tolerance * 1e-12 || ours == theirs;
    assert!(agrees, "{what}: ours {ours:e}, theirs {theirs:e}");
}
