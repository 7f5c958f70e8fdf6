//! `rampart handover`: the record that goes with a lot or a repair.

use super::common::complaint;
use crate::record::{self, RecordError, Run};
use crate::report::handover::{Parties, render};
use crate::runner::Exit;
use crate::view::outln;
use std::path::PathBuf;

/// Arguments of `handover`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// A folder's name, its unambiguous beginning, a path, or `last`
    run: String,
    /// The run before the repair
    #[arg(long, value_name = "RUN")]
    before: Option<String>,
    /// Who tested; of a lot its operator where it is left out
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// Who gets it
    #[arg(long = "for", value_name = "NAME")]
    to: Option<String>,
    /// The page; it is written over
    #[arg(long, value_name = "FILE", default_value = "handover.html")]
    out: PathBuf,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
}

pub(super) fn main(a: &Arguments) -> Exit {
    let open = |name: &String| record::find(&a.logs, name).and_then(|folder| Run::open(&folder));
    let made = || -> Result<String, RecordError> {
        let before = a.before.as_ref().map(open).transpose()?;
        render(&open(&a.run)?, before.as_ref(), &Parties { by: a.by.clone(), to: a.to.clone() })
    };
    let written = made()
        .map_err(|e| e.to_string())
        .and_then(|page| std::fs::write(&a.out, page).map_err(|e| format!("{}: {e}", a.out.display())));
    match written {
        Ok(()) => {
            outln!("{}", a.out.display());
            Exit::Within
        }
        Err(why) => complaint(&why),
    }
}
