//! A lot: what it is and what came of it, how its parts are distributed, the charts of
//! its control parts, and every part with all of its results, the worst first.

mod chart;
mod parts;
mod spread;

use crate::analysis::inspection::{Charted, Outcome};
use crate::record::{EarlierLot, LotRow, MeasureRow, PartRow, RecordError, Run, SkipRow, StageRow, TrialRow, earlier_lots};
use crate::units::spell;
use maud::{Markup, html};

/// Everything that a record says of its lot.
pub(super) struct Lot {
    row: LotRow,
    trials: Vec<TrialRow>,
    measures: Vec<MeasureRow>,
    parts: Vec<PartRow>,
    skips: Vec<SkipRow>,
    earlier: Vec<EarlierLot>,
}

/// The stages of so many nonconforming parts are drawn one by one.
const DRAWN: usize = 6;

impl Lot {
    /// `None` of a run without one.
    pub(super) fn of(run: &Run) -> Result<Option<Self>, RecordError> {
        let Some(row) = run.lot()? else { return Ok(None) };
        let earlier = earlier_lots(run.folder(), &run.kind, &run.title, &row.part)?;
        let (trials, measures, parts, skips) = (run.trials()?, run.measures()?, run.parts()?, run.skips()?);
        Ok(Some(Self { row, trials, measures, parts, skips, earlier }))
    }

    fn charted(&self, trial: u32) -> Option<&MeasureRow> {
        self.measures.iter().find(|m| m.trial == trial && m.charted == Charted::Yes)
    }

    /// The trials of one part, in their order.
    fn trials_of(&self, position: u32) -> impl Iterator<Item = &TrialRow> {
        self.trials.iter().filter(move |t| t.position == Some(position))
    }

    /// The part or control whose trial a stage belongs to.
    pub(super) fn name_of(&self, stage: u32) -> Option<String> {
        let trial = self.trials.iter().find(|t| (t.stages.0..=t.stages.1).contains(&stage))?;
        let word = if trial.position.is_some() { "part" } else { trial.kind.as_str() };
        Some(format!("{word} {}", trial.name))
    }

    /// The number in the plan of a stage of the record.
    pub(super) fn plan_stage(&self, stage: u32) -> u32 {
        let trial = self.trials.iter().find(|t| (t.stages.0..=t.stages.1).contains(&stage));
        trial.map_or(stage, |t| stage - t.stages.0 + 1)
    }

    /// Whether a stage is drawn by itself: it is of one of the first parts that are
    /// nonconforming, or of the trial in which the run ended.
    pub(super) fn is_drawn(&self, row: &StageRow) -> bool {
        let bad = self.trials.iter().filter(|t| t.position.is_some() && t.doubted.is_none() && t.outcome.is_nonconforming());
        let last = self.trials.last().filter(|t| t.ended.is_none() || t.outcome == Outcome::Void);
        bad.take(DRAWN).chain(last).any(|t| (t.stages.0..=t.stages.1).contains(&row.number))
    }

    /// The whole section.
    pub(super) fn section(&self, run: &Run) -> Result<Markup, RecordError> {
        let end = run.lot_end()?;
        let controls = run.controls()?;
        let stopped = "the run ended before the lot was decided".to_owned();
        Ok(html! {
            section.lot {
                h2 { "The lot" }
                p.outcome { "Lot " (self.row.number) " is " @match &end {
                    Some(end) => { strong { (end.decision.name()) } ": " (end.why) }
                    None => { strong { "on hold" } ": " (stopped) }
                } "." }
                (self.facts())
                (spread::distribution(self))
                (spread::in_order(self))
                (chart::charts(&controls))
                (spread::earlier(self))
                (parts::table(self))
                (self.left_out())
            }
        })
    }

    fn facts(&self) -> Markup {
        let row = &self.row;
        let whole = row.sample >= row.quantity;
        let taken = if whole { "every part".to_owned() } else { format!("{} of them, drawn with the run's seed", row.sample) };
        let mut facts: Vec<(&str, String)> = vec![("part", row.part.clone()), ("quantity", row.quantity.to_string())];
        facts.extend(row.supplier.clone().map(|s| ("supplier", s)));
        facts.extend(row.date_code.clone().map(|s| ("date code", s)));
        facts.push(("inspected by", row.operator.clone()));
        facts.extend(row.fixture.clone().map(|s| ("fixture", s)));
        facts.push((
            "taken",
            format!("{taken}; accepted with up to {} nonconforming, refused from {} on: {}", row.accept, row.reject, row.sampled),
        ));
        facts.push((
            "rule",
            format!(
                "guard band {}, U with k = 2 (ILAC-G8:09/2019): inside by w pass, inside by less conditional pass, outside by up to w conditional fail, beyond fail; of several results of a part the {} counts",
                row.rule, row.counting
            ),
        ));
        html! {
            @if let Some(why) = &row.overdue {
                p.outcome { strong { "A calibration has expired, and was let pass: " (why) "." } }
            }
            div.wide { table { tbody { @for (what, value) in &facts { tr { th { (what) } td { (value) } } } } } }
        }
    }

    fn left_out(&self) -> Markup {
        html! {
            @if !self.skips.is_empty() {
                table {
                    caption { "Left out" }
                    thead { tr { th { "part" } th.number { "position" } th.number { "at" } th { "why" } } }
                    tbody { @for s in &self.skips { tr { td { (s.name) } td.number { (s.position) } td.number { (spell(s.at)) } td { (s.why) } } } }
                }
            }
        }
    }
}
