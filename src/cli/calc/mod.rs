//! `rampart calc`: calculations by hand, with the working shown. One file a
//! calculation holds its options; the calculation itself is `analysis::working`.

mod discharge;
mod options;
mod print;

use super::common::complaint;
use crate::analysis::finding::Severity;
use crate::analysis::working::{Refusal, Working};
use crate::runner::Exit;
use clap::Subcommand;

/// Arguments of `calc`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    #[command(subcommand)]
    what: What,
    /// Print as JSON
    #[arg(long, global = true)]
    json: bool,
}

#[derive(Subcommand)]
#[command(disable_help_subcommand = true)]
enum What {
    /// How long a charged capacitor takes to fall, through a resistor or at a current, and what it holds
    #[command(
        after_help = "Example: rampart calc discharge --capacitance \"1000 uF\" --from \"60 V\" --to \"2 V\" --resistance \"1 kohm\""
    )]
    Discharge(discharge::Arguments),
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let (name, working) = match &arguments.what {
        What::Discharge(a) => ("discharge", a.working()),
    };
    finish(name, working, arguments.json)
}

/// Prints a working, or why there is none, and gives the exit code.
fn finish(name: &str, working: Result<Working, Refusal>, json: bool) -> Exit {
    match working {
        Ok(working) => {
            print::working(name, &working, json);
            match working.severity {
                Severity::Note => Exit::Within,
                Severity::Undecided => Exit::Undecided,
                Severity::Anomaly => Exit::Anomaly,
            }
        }
        Err(Refusal { problem, hint: None }) => complaint(&problem),
        Err(Refusal { problem, hint: Some(hint) }) => complaint(&format!("{problem}\n  hint: {hint}")),
    }
}
