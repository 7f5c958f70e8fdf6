//! `rampart verify`: whether a record is as it was written.

use super::common::{complaint, whether};
use crate::record::{self, RecordError};
use crate::runner::Exit;
use crate::view::{errln, outln};
use std::path::PathBuf;

/// Arguments of `verify`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// A folder's name, its unambiguous beginning, a path, or `last`
    run: String,
    /// The fingerprint that was noted when the run ended, or its first characters
    #[arg(long, value_parser = hexadecimal)]
    fingerprint: Option<String>,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
    /// Print as JSON
    #[arg(long)]
    json: bool,
}

fn hexadecimal(text: &str) -> Result<String, String> {
    let text = text.to_lowercase();
    if (8..=64).contains(&text.len()) && text.chars().all(|c| c.is_ascii_hexdigit()) {
        return Ok(text);
    }
    Err("expected 8 to 64 hexadecimal digits".into())
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let folder = match record::find(&arguments.logs, &arguments.run) {
        Ok(folder) => folder,
        Err(why) => return complaint(&why.to_string()),
    };
    let seen = match record::verify(&folder) {
        Ok(seen) => seen,
        Err(RecordError::NoRun(why)) => return complaint(&why),
        Err(why) => {
            if arguments.json {
                let folder = folder.display().to_string();
                outln!("{}", serde_json::json!({ "folder": folder, "whole": false, "damage": [why.to_string()] }));
            } else {
                errln!("{why}");
            }
            return Exit::Anomaly;
        }
    };
    let ended = record::Run::open(&folder).is_ok_and(|run| run.ended.is_some());
    let mut damage = seen.damage.clone();
    let fingerprint = seen.fingerprint();
    let mut since = None;
    if let Some(noted) = &arguments.fingerprint {
        match record::batches_since(&folder, noted) {
            Ok(Some(batches)) => since = Some(batches).filter(|n| *n > 0),
            Ok(None) | Err(_) => damage.push(format!(
                "its fingerprint is {fingerprint}, not {noted}: rows were cut off at its end, or the whole was made anew"
            )),
        }
    }
    if arguments.json {
        outln!(
            "{}",
            serde_json::json!({
                "folder": folder.display().to_string(),
                "whole": damage.is_empty(),
                "rows": seen.rows,
                "batches": seen.batches,
                "fingerprint": fingerprint,
                "damage": damage,
            })
        );
        return whether(damage.is_empty());
    }
    if damage.is_empty() {
        outln!("{}: as it was written, {} rows in {} batches", folder.display(), seen.rows, seen.batches);
        outln!("Fingerprint: {fingerprint}");
        if let Some(since) = since {
            outln!("The one that was noted stood there {since} batches ago: the record has been gone on with since.");
        }
        if !ended {
            outln!("The run has no end: it was cut off, or what follows is.");
        }
        if arguments.fingerprint.is_none() {
            outln!("Compare it with the one that was noted when the run ended: a record that was");
            outln!("shortened at its end, or made anew as a whole, is told by that alone.");
        }
    } else {
        outln!("{}: NOT as it was written", folder.display());
        for what in &damage {
            outln!("  {what}");
        }
    }
    whether(damage.is_empty())
}
