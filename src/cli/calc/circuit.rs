//! `rampart calc circuit`

use crate::cli::common::{complain, complaint};
use crate::document::Document;
use crate::rehearsal::circuit::{Unrun, Waveforms, run};
use crate::runner::Exit;
use std::fmt::Write;
use std::path::PathBuf;

/// Options of `calc circuit`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// The netlist, a file in the syntax of Berkeley SPICE with a `.tran`
    file: PathBuf,
    /// Print only this: a node's name, or `i(NAME)` for the current of a source or
    /// inductor; may be given more than once
    #[arg(long = "node", value_name = "NAME")]
    nodes: Vec<String>,
}

pub(super) fn main(arguments: &Arguments, json: bool) -> Exit {
    let ran = Document::open(&arguments.file).map_err(Unrun::from).and_then(|document| run(&document));
    let mut waves = match ran {
        Ok(waves) => waves,
        Err(Unrun::Netlist(problems)) => {
            complain(&problems);
            return Exit::Wrong;
        }
        Err(Unrun::Circuit(failure)) => return complaint(&failure.to_string()),
    };
    if !waves.notes.is_empty() {
        complain(&waves.notes);
    }
    if let Err(why) = choose(&mut waves, &arguments.nodes) {
        return complaint(&why);
    }
    let text = if json { as_json(&waves) } else { as_table(&waves) };
    crate::view::say(std::io::stdout().lock(), format_args!("{text}"));
    Exit::Within
}

/// Keeps the curves that were asked for, in that order.
fn choose(waves: &mut Waveforms, names: &[String]) -> Result<(), String> {
    if names.is_empty() {
        return Ok(());
    }
    let mut kept = Vec::new();
    for name in names {
        let (plain, wrapped) = (name.to_ascii_lowercase(), format!("v({})", name.to_ascii_lowercase()));
        match waves.curves.iter().find(|(curve, _)| *curve == plain || *curve == wrapped) {
            Some(curve) => kept.push(curve.clone()),
            None => {
                let known: Vec<&str> = waves.curves.iter().map(|(curve, _)| curve.as_str()).collect();
                return Err(format!("the netlist has no {name:?}; it has {}", known.join(", ")));
            }
        }
    }
    waves.curves = kept;
    Ok(())
}

/// Comma-separated values: a line of names, then one for each moment.
fn as_table(waves: &Waveforms) -> String {
    let mut text = String::from("time");
    for (name, _) in &waves.curves {
        text.push(',');
        text.push_str(name);
    }
    text.push('\n');
    for (row, time) in waves.times.iter().enumerate() {
        // Writing into a text cannot fail.
        write!(text, "{time:e}").unwrap_or_default();
        for value in waves.curves.iter().filter_map(|(_, values)| values.get(row)) {
            write!(text, ",{value:e}").unwrap_or_default();
        }
        text.push('\n');
    }
    text
}

fn as_json(waves: &Waveforms) -> String {
    let curves: serde_json::Map<String, serde_json::Value> =
        waves.curves.iter().map(|(name, values)| (name.clone(), values.as_slice().into())).collect();
    let mut text = serde_json::json!({
        "calculation": "circuit",
        "title": waves.title,
        "time": waves.times,
        "curves": curves,
    })
    .to_string();
    text.push('\n');
    text
}
