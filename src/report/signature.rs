//! How starts went, reading by reading: the envelope of good ones, and failing ones over it.

use super::axis::Scale;
use super::plot::{Plot, Shape};
use super::stages::along;
use crate::analysis::Level;
use crate::analysis::signature::envelope::{Alignment, Envelope};
use crate::analysis::signature::kept::Kept;
use crate::record::{RecordError, Run, StageRow, StartRow};
use crate::units::Unit;
use maud::{Markup, html};

/// Failing starts that are drawn: more hide each other.
const DRAWN: usize = 12;

/// The plot, where there are good starts enough for an envelope.
pub(super) fn courses(run: &Run, row: &StageRow, starts: &[StartRow]) -> Result<Markup, RecordError> {
    let (mut good, mut failed) = (Kept::default(), Kept::at_most(DRAWN));
    run.each_course(row.number, |number, looks| {
        let counts =
            starts.binary_search_by_key(&number, |s| s.number).ok().and_then(|i| starts.get(i)).map(|s| s.counts.as_str());
        match counts {
            Some("good") => good.add(number, looks.iter().copied()),
            Some("failed") => failed.add(number, looks.iter().copied()),
            _ => {}
        }
    })?;
    let Some(envelope) = Envelope::of(&good.courses(), Alignment::SwitchOn) else { return Ok(html! {}) };
    let value = |level: Level| level.value().map(|v| v.0).filter(|v| *v > 0.0);
    let crosses: Vec<(f64, f64)> =
        failed.courses().into_iter().flatten().filter_map(|l| Some((l.at.0, value(l.current)?))).collect();
    let below: Vec<(f64, f64)> = failed
        .courses()
        .into_iter()
        .flatten()
        .filter_map(|l| match l.current {
            Level::BelowFloor { floor } => Some((l.at.0, floor.0)),
            _ => None,
        })
        .collect();
    let shown: Vec<_> = envelope.moments.iter().filter(|m| m.high.0 > 0.0).collect();
    let least =
        shown.iter().map(|m| m.median.0).chain(crosses.iter().map(|c| c.1)).filter(|v| *v > 0.0).fold(f64::INFINITY, f64::min);
    let area: Vec<(f64, f64, f64)> = shown.iter().map(|m| (m.at.0, m.low.0.max(least), m.high.0.max(least))).collect();
    let times: Vec<f64> = shown.iter().map(|m| m.at.0).chain(crosses.iter().map(|c| c.0)).collect();
    let currents: Vec<f64> = area.iter().flat_map(|a| [a.1, a.2]).chain(crosses.iter().map(|c| c.1)).collect();
    let title = format!(
        "Current after switching on: the envelope of {} good starts, with their median, and {} of {} failing ones",
        envelope.starts,
        failed.numbers().count(),
        failed.come()
    );
    let mut plot = Plot::new(
        title,
        along("time after switching on", Unit::Second, Scale::Linear, times),
        along("current", Unit::Ampere, Scale::Log, currents),
    );
    plot.area(&area, "good starts");
    plot.line(&shown.iter().map(|m| (m.at.0, Some(m.median.0).filter(|v| *v > 0.0))).collect::<Vec<_>>());
    plot.dots(Shape::Cross, &crosses, "failing starts");
    plot.dots(Shape::Below, &below, "failing, below the instrument's floor");
    Ok(plot.draw())
}
