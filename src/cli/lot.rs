//! A lot for programs: what came of it, part by part.

use crate::analysis::inspection::lot::Part;
use crate::analysis::inspection::{Charted, Outcome};
use crate::record::{MeasureRow, PartRow, RecordError, Run};
use crate::units::Unit;
use serde_json::{Value, json};

/// As `--json` prints it; null where the run inspects no lot.
pub(super) fn of(run: &Run) -> Result<Value, RecordError> {
    let Some(lot) = run.lot()? else { return Ok(Value::Null) };
    let end = run.lot_end()?;
    let (measures, trials) = (run.measures()?, run.trials()?);
    let charted = |trial: u32| measures.iter().find(|m| m.trial == trial && m.charted == Charted::Yes);
    let part = |row: &PartRow| {
        let (outcome, trial) = match row.stands {
            Part::Judged(outcome, trial) => (outcome.word(), Some(trial)),
            Part::Doubtful => ("in doubt", None),
            Part::Open => (Outcome::Void.word(), None),
        };
        let mut value = json!({
            "part": row.name,
            "position": row.position,
            "outcome": outcome,
            "trials": trials.iter().filter(|t| t.position == Some(row.position)).count(),
        });
        if let (Some(m), Some(object)) = (trial.and_then(charted), value.as_object_mut()) {
            object.insert("measure".into(), measure(m));
        }
        value
    };
    let controls: Vec<Value> = run
        .controls()?
        .iter()
        .map(|c| json!({ "control": c.name, "trial": c.trial, "value": c.value.map(|v| v.0), "state": c.state, "signals": c.signals }))
        .collect();
    Ok(json!({
        "lot": lot.number,
        "part": lot.part,
        "quantity": lot.quantity,
        "sample": lot.sample,
        "decision": end.as_ref().map(|e| e.decision.name()),
        "why": end.as_ref().map(|e| &e.why),
        "judged": end.as_ref().map(|e| e.count.judged),
        "nonconforming": end.as_ref().map(|e| e.count.nonconforming),
        "parts": run.parts()?.iter().map(part).collect::<Vec<_>>(),
        "controls": controls,
        "skipped": run.skips()?.iter().map(|s| json!({ "part": s.name, "why": s.why })).collect::<Vec<_>>(),
    }))
}

fn measure(m: &MeasureRow) -> Value {
    json!({ "what": m.what, "kind": m.seen.word(), "value": m.seen.value(), "unit": m.unit.map(Unit::symbol) })
}
