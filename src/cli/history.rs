//! `rampart history`: what many runs say of one unit, part or kind of part.

use super::calc::quantity;
use super::common::complaint;
use super::runs::Asked;
use crate::record::history::history;
use crate::report::History;
use crate::runner::Exit;
use crate::units::Volts;
use crate::view::outln;
use std::path::PathBuf;

/// Arguments of `history`.
#[derive(clap::Args)]
pub(super) struct Arguments {
    #[command(flatten)]
    asked: Asked,
    /// At which voltage leakages are shown; the one that most runs have where it is left out
    #[arg(long, value_name = "VOLTAGE", value_parser = quantity::<Volts>)]
    at: Option<Volts>,
    /// The page, with plots; it is written over
    #[arg(long, value_name = "FILE", default_value = "history.html")]
    out: PathBuf,
    /// Where the folders of runs are
    #[arg(long, default_value = "logs")]
    logs: PathBuf,
}

pub(super) fn main(arguments: &Arguments) -> Exit {
    let filter = arguments.asked.of_one_kind();
    let found = match history(&arguments.logs, &filter) {
        Ok(found) => found,
        Err(error) => return complaint(&error.to_string()),
    };
    let what = arguments.asked.words();
    let rehearsed = filter.kind.as_deref() == Some("rehearsal");
    let told = History { what, visits: &found.visits, left: &found.left, at: arguments.at, rehearsed };
    let tables = told.tables();
    if tables.is_empty() {
        let hint = if rehearsed { "" } else { " Of rehearsals with --kind rehearsal." };
        return complaint(&format!("no run in {} has anything to say of {}.{hint}", arguments.logs.display(), told.what));
    }
    for table in &tables {
        table.lines().iter().for_each(|line| outln!("{line}"));
        outln!("");
    }
    told.cautions().iter().for_each(|caution| outln!("{caution}"));
    match std::fs::write(&arguments.out, told.page()) {
        Ok(()) => {
            outln!("Page: {}", arguments.out.display());
            Exit::Within
        }
        Err(error) => complaint(&format!("{}: {error}", arguments.out.display())),
    }
}
