//! `rampart report`: the report of a run, written again.

use super::common::complaint;
use crate::record;
use crate::runner::Exit;
use crate::view::outln;
use std::path::PathBuf;

/// Arguments of `report`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    /// A folder's name, its unambiguous beginning, a path, or `last`
    run: String,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let written = record::find(&arguments.logs, &arguments.run)
        .map_err(|e| e.to_string())
        .and_then(|folder| crate::report::write(&folder).map_err(|e| e.to_string()));
    match written {
        Ok(path) => {
            outln!("{}", path.display());
            Exit::Within
        }
        Err(why) => complaint(&why),
    }
}
