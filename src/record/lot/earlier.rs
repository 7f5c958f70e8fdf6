//! Earlier lots of a part, out of the records beside a run.

use super::read::MeasureRow;
use crate::analysis::inspection::Charted;
use crate::analysis::inspection::decision::Decision;
use crate::analysis::inspection::lot::Part;
use crate::record::{FILE, RecordError, Run};
use std::path::{Path, PathBuf};

/// An earlier lot.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierLot {
    /// Its number.
    pub number: String,
    /// Who sent it.
    pub supplier: Option<String>,
    /// How many parts it had.
    pub quantity: u32,
    /// Nonconforming parts that were found.
    pub nonconforming: u32,
    /// Wall clock at its beginning.
    pub began: String,
    /// What came of it; `None`: it was cut off.
    pub decision: Option<Decision>,
    /// The quantity that is compared.
    pub what: String,
    /// That of each part, by the trial that counts, as far as it has a value.
    pub values: Vec<f64>,
    /// The same of the control parts that were in control: name and value, in their order.
    pub controls: Vec<(String, f64)>,
}

/// So many earlier lots are enough, out of so many records.
const ENOUGH: usize = 20;
const LOOKED_AT: usize = 2000;

/// Lots of `part` that were inspected by the same plan (by its title) before the run in
/// `folder`, the oldest first: the latest twenty in the newest two thousand records beside
/// it. A rehearsal is compared with rehearsals, a run with runs.
///
/// # Errors
/// The system's. A record that cannot be read is passed over.
pub fn earlier_lots(folder: &Path, kind: &str, title: &str, part: &str) -> Result<Vec<EarlierLot>, RecordError> {
    let Some(logs) = folder.parent() else { return Ok(Vec::new()) };
    let mut found = Vec::new();
    for path in before(logs, folder)?.into_iter().rev().take(LOOKED_AT) {
        let Ok(run) = Run::open(&path) else { continue };
        if run.kind != kind || run.title != title {
            continue;
        }
        if let Ok(Some(lot)) = one(&run, part) {
            found.push(lot);
        }
        if found.len() == ENOUGH {
            break;
        }
    }
    found.reverse();
    Ok(found)
}

/// The folders of records that are older than this one, by their names.
fn before(logs: &Path, folder: &Path) -> Result<Vec<PathBuf>, RecordError> {
    let entries = match std::fs::read_dir(logs) {
        Ok(entries) => entries,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(RecordError::file(logs)(error)),
    };
    let mut paths: Vec<PathBuf> = entries
        .filter_map(Result::ok)
        .map(|entry| entry.path())
        .filter(|path| path.file_name() < folder.file_name() && path.join(FILE).is_file())
        .collect();
    paths.sort();
    Ok(paths)
}

fn one(run: &Run, name: &str) -> Result<Option<EarlierLot>, RecordError> {
    let Some(lot) = run.lot()?.filter(|lot| lot.part == name) else { return Ok(None) };
    let measures = run.measures()?;
    let charted = |trial: u32| measures.iter().find(|m| m.trial == trial && m.charted == Charted::Yes);
    let counted = run.parts()?.into_iter().filter_map(|part| match part.stands {
        Part::Judged(_, trial) => charted(trial),
        Part::Open | Part::Doubtful => None,
    });
    let counted: Vec<&MeasureRow> = counted.collect();
    let controls = run.controls()?.into_iter().filter(|c| c.is_in_control());
    let end = run.lot_end()?;
    Ok(Some(EarlierLot {
        number: lot.number,
        supplier: lot.supplier,
        quantity: lot.quantity,
        nonconforming: end.as_ref().map_or(0, |end| end.count.nonconforming),
        began: run.began.clone(),
        decision: end.map(|end| end.decision),
        what: counted.first().map_or(String::new(), |m| m.what.clone()),
        values: counted.iter().filter_map(|m| m.seen.value()).collect(),
        controls: controls.filter_map(|c| Some((c.name, c.value?.0))).collect(),
    }))
}
