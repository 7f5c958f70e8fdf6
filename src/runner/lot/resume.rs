//! What is known of a lot, out of the record of a run that was cut short in it.

use super::turns::{Charted, Checked, Known, Next, Turns};
use crate::analysis::inspection;
use crate::analysis::inspection::decision::{Sampling, Stops};
use crate::analysis::inspection::lot::Tried;
use crate::plan::{Inspection, Lot};
use crate::record::{RecordError, Run};
use std::collections::VecDeque;

/// The trials, controls and skips of a run so far.
pub(in crate::runner) fn known(run: &Run) -> Result<Known, RecordError> {
    let trials = run.trials()?;
    let tried = trials.iter().filter_map(|t| {
        let (number, position) = (t.number, t.position?);
        Some(Tried { number, position, outcome: t.outcome, doubted: t.doubted.is_some() })
    });
    let checked = run.controls()?.into_iter().map(|c| {
        let in_control = c.is_in_control();
        Checked { number: c.trial, name: c.name, value: c.value.map(|v| v.0), in_control }
    });
    let charted = run.measures()?.into_iter().filter(|m| m.charted == inspection::Charted::Yes);
    Ok(Known {
        tried: tried.collect(),
        checked: checked.collect(),
        skipped: run.skips()?.into_iter().map(|s| s.position).collect(),
        charted: charted.map(|m| (m.trial, Charted { what: m.what, unit: m.unit, seen: m.seen, limit: m.limit })).collect(),
        sampling: run.lot()?.map(|row| Sampling {
            sample: row.sample,
            accept: row.accept,
            reject: row.reject,
            stops: stops(&row.stops),
        }),
        begun: trials.iter().map(|t| t.number).max().unwrap_or(0),
        wanted: VecDeque::new(),
        held: None,
    })
}

fn stops(word: &str) -> Stops {
    Stops::ALL.into_iter().find(|(name, _)| *name == word).map_or(Stops::AtTheEnd, |(_, stops)| stops)
}

/// Whether the lot is the one of the record: what has been measured must mean the same.
pub(in crate::runner) fn same(run: &Run, lot: &Lot, inspection: &Inspection) -> Result<(), String> {
    let before = run.lot().map_err(|e| e.to_string())?;
    let Some(before) = before else { return Err("the run inspects no lot".into()) };
    let now = super::row(lot, inspection);
    for (what, was, is) in [
        ("lot number", &before.number, &now.number),
        ("part", &before.part, &now.part),
        ("quantity", &before.quantity.to_string(), &now.quantity.to_string()),
        ("guard band", &before.rule, &now.rule),
        ("counting of retests", &before.counting, &now.counting),
    ] {
        if was != is {
            return Err(format!("the {what} of the lot was {was} and is {is}: begin a new run"));
        }
    }
    Ok(())
}

/// Whether nothing of the lot is left to be done.
pub(in crate::runner) fn is_over(known: &Known, lot: &Lot, inspection: &Inspection, seed: u64) -> bool {
    let mut lot = lot.clone();
    lot.sampling.numbers = known.sampling.unwrap_or(lot.sampling.numbers);
    let turns = Turns::new(&lot, inspection, seed);
    // A control that failed holds the lot: that can be mended.
    turns.next(known) == Next::Over && turns.failed(known).is_none()
}

impl Known {
    /// Where it goes on, in words.
    pub(in crate::runner) fn place(&self) -> String {
        let judged = self.tried.iter().filter(|t| t.counts()).count();
        format!("with its lot after {} trials, {judged} of them of parts that count", self.begun)
    }
}
