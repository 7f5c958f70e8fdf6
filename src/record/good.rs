//! The ramp of a good unit, out of the record of its run.

use super::{RecordError, Run, find};
use crate::analysis::Level;
use crate::analysis::ramp::compare::Good;
use crate::units::Volts;
use std::path::Path;

/// How far the highest voltages of two ramps to the same end may be apart.
const SAME_END: f64 = 0.05;

/// The way up of the first ramp to `to` in a run: every current with its voltage.
///
/// # Errors
/// There is no such run, or no such ramp in it.
pub fn good_ramp(logs: &Path, name: &str, to: Volts) -> Result<Vec<Good>, RecordError> {
    let run = Run::open(&find(logs, name)?)?;
    for stage in run.stages()?.iter().filter(|s| s.kind == "ramp") {
        let points = run.currents(stage.number)?;
        let seen = points.iter().filter_map(|p| Some((p.step?, p.volts?, p.current)));
        let seen: Vec<(u32, Volts, Level)> = seen.collect();
        let top = seen.iter().map(|s| s.1).fold(Volts(0.0), Volts::max);
        if (top.0 / to.0 - 1.0).abs() > SAME_END {
            continue;
        }
        // Up to the first step that reached the end; the hold and the way back follow it.
        let reached = |volts: Volts| volts.0 >= top.0 * (1.0 - 0.2 * SAME_END);
        let last = seen.iter().find(|s| reached(s.1)).map_or(u32::MAX, |s| s.0);
        return Ok(seen.into_iter().filter(|s| s.0 <= last).map(|(_, volts, current)| Good { volts, current }).collect());
    }
    Err(RecordError::NoRun(format!("the run {name:?}, which the plan names as good, has no ramp to {to}")))
}
