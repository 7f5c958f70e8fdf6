//! The operator's marks: a numbered line in every plot that has their moment on it, and
//! the list of what the numbers stand for.

use super::plot::Plot;
use crate::record::{RecordError, Run, StageRow};
use crate::units::Seconds;
use maud::{Markup, html};

/// More than these are not drawn one by one.
const DRAWN: usize = 30;

/// The marks of a stage, by their numbers in the list.
pub(super) struct Marks(Vec<(usize, Seconds)>);

impl Marks {
    /// Those that were made while the stage went on.
    pub(super) fn of(run: &Run, stage: &StageRow) -> Result<Self, RecordError> {
        let ended = stage.ended.unwrap_or(Seconds(f64::INFINITY));
        let numbered = (1..).zip(run.marks()?).map(|(number, mark)| (number, mark.at));
        Ok(Self(numbered.filter(|(_, at)| (stage.began..ended).contains(at)).collect()))
    }

    /// Draws each where its moment is along x, where it is anywhere.
    pub(super) fn draw(&self, plot: &mut Plot, place: impl Fn(Seconds) -> Option<f64>) {
        for (number, at) in self.0.iter().take(DRAWN) {
            if let Some(x) = place(*at) {
                plot.moment(x, &format!("m{number}"));
            }
        }
    }
}

/// The list of all marks of a run.
pub(super) fn list(run: &Run) -> Result<Markup, RecordError> {
    let marks = run.marks()?;
    let stages = run.stages()?;
    let during = |at: Seconds| stages.iter().rev().find(|s| s.began <= at).map_or("–".to_owned(), |s| s.number.to_string());
    Ok(html! {
        @if !marks.is_empty() {
            h2 { "Marks of the operator" }
            p.small { "Each as it was typed, at its moment; m1, m2, … are their places in the plots. A mark holds until the next, or for as long as it says." }
            div.wide { table {
                thead { tr { th { "mark" } th.number { "at" } th.number { "stage" } th { "what was done" } } }
                tbody { @for (number, mark) in (1..).zip(&marks) { tr {
                    td { "m" (number) }
                    td.number { (format!("{:.1} s", mark.at.0)) }
                    td.number { (during(mark.at)) }
                    td { (mark.text) }
                } } }
            } }
        }
    })
}
