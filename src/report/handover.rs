//! The record that goes with a lot or a repair to whoever gets it: one sheet of A4, and
//! all the rest as annex.
//!
//! It says who tested what, when, with which instruments and by which rule, what came of
//! it, and what it is not: nothing of it is an accredited laboratory's word, and its values
//! reach as far as the calibration of the instruments does, which is the user's.

mod annex;
mod results;

use crate::record::{RecordError, Run, verify};
use crate::scpi::response::Identity;
use crate::units::spell;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");

/// Who hands over, and to whom.
#[derive(Clone, Debug, Default)]
pub struct Parties {
    /// Who tested.
    pub by: Option<String>,
    /// Who gets it.
    pub to: Option<String>,
}

/// The page of a run; with `before` a repair: what the same unit did before it.
///
/// # Errors
/// The records'.
pub fn render(run: &Run, before: Option<&Run>, parties: &Parties) -> Result<String, RecordError> {
    let lot = run.lot()?;
    let title = match (&lot, before) {
        (Some(lot), _) => format!("Test record of lot {}", lot.number),
        (None, Some(_)) => "Test record after repair".to_owned(),
        (None, None) => "Test record".to_owned(),
    };
    let runs: Vec<&Run> = before.into_iter().chain([run]).collect();
    let mut sources = Vec::new();
    for run in &runs {
        sources.push(Source::of(run)?);
    }
    let by = parties.by.clone().or_else(|| lot.as_ref().map(|l| l.operator.clone()));
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                section.sheet {
                    @if runs.iter().any(|r| r.is_rehearsal()) {
                        p.rehearsal { "REHEARSAL on stand-in instruments and made-up parts. Nothing real was measured: this sheet is for nobody." }
                    }
                    h1 { (title) }
                    (what(run, before, lot.as_ref(), &sources, by.as_deref(), parties.to.as_deref()))
                    (instruments(&sources))
                    (results::results(run, before, lot.as_ref())?)
                    (reach(&sources))
                    (signatures(by.as_deref()))
                }
                (annex::annex(&runs)?)
            }
        }
    };
    Ok(page.into_string())
}

/// A run as the sheet names it.
struct Source {
    name: String,
    when: String,
    plan: Option<(String, String)>,
    instruments: Vec<Tool>,
    fingerprint: String,
    /// The first damage.
    damage: Option<String>,
    ended: bool,
}

/// An instrument.
#[derive(PartialEq)]
struct Tool {
    role: String,
    what: String,
    serial: String,
    due: String,
    overdue: bool,
}

impl Source {
    fn of(run: &Run) -> Result<Self, RecordError> {
        // Calibrations are judged by the day on which it began.
        let day: String = run.began.chars().take(10).collect();
        let mut instruments: Vec<Tool> = Vec::new();
        for i in run.instruments()? {
            let identity = i.identity.as_deref().and_then(|text| Identity::parse(text.as_bytes()).ok());
            let named = identity.as_ref().map(|id| format!("{} {}", id.maker, id.model)).or(i.identity);
            let tool = Tool {
                role: i.role,
                what: named.unwrap_or_else(|| format!("cannot be asked who it is; profile {}", i.profile)),
                serial: identity.and_then(|id| id.serial).unwrap_or_else(|| "not known".into()),
                // Dates in this form follow one another as their texts do.
                overdue: i.calibration_due.as_ref().is_some_and(|due| *due < day),
                due: i.calibration_due.unwrap_or_else(|| "not stated".into()),
            };
            if !instruments.contains(&tool) {
                instruments.push(tool);
            }
        }
        let plan = run.files()?.into_iter().rfind(|f| f.kind == "plan");
        let length = run.ended.map_or_else(|| "has no end".to_owned(), |e| format!("took {}", spell(e)));
        Ok(Self {
            name: run.folder().file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default(),
            when: format!("{}, {length}", run.began),
            plan: plan.map(|f| (f.name, crate::record::sha256(&f.text))),
            instruments,
            fingerprint: run.fingerprint()?,
            damage: verify(run.folder()).map_or_else(|e| Some(e.to_string()), |seen| seen.damage.into_iter().next()),
            ended: run.ended.is_some(),
        })
    }
}

fn what(
    run: &Run,
    before: Option<&Run>,
    lot: Option<&crate::record::LotRow>,
    sources: &[Source],
    by: Option<&str>,
    to: Option<&str>,
) -> Markup {
    let or_blank = |text: Option<&str>| text.map_or_else(|| "\u{a0}".to_owned(), str::to_owned);
    let line = |name: &str, value: String| html! { tr { th { (name) } td { (value) } } };
    let stated = |text: &Option<String>| text.clone().unwrap_or_else(|| "not stated".into());
    html! {
        table.facts { tbody {
            @if let Some(lot) = lot {
                (line("Part", lot.part.clone()))
                (line("Supplier, date code", format!("{}, {}", stated(&lot.supplier), stated(&lot.date_code))))
                (line("Quantity", format!("{} in the lot, {} to be judged", lot.quantity, lot.sample)))
                @if let Some(fixture) = &lot.fixture { (line("Fixture", fixture.clone())) }
            } @else {
                (line("Unit", run.unit.clone()))
            }
            (line("Tested by", or_blank(by)))
            (line("For", or_blank(to)))
            (line("Plan", run.title.clone()))
            @for (place, source) in sources.iter().enumerate() {
                @let side = match (before, place) { (Some(_), 0) => "Before (UTC)", (Some(_), _) => "After (UTC)", _ => "Began (UTC)" };
                (line(side, source.when.clone()))
            }
        } }
    }
}

fn instruments(sources: &[Source]) -> Markup {
    let mut tools: Vec<&Tool> = Vec::new();
    for tool in sources.iter().flat_map(|s| &s.instruments) {
        if !tools.contains(&tool) {
            tools.push(tool);
        }
    }
    html! {
        table {
            caption { "Instruments" }
            thead { tr { th { "as" } th { "maker, model" } th { "serial number" } th { "calibration due" } } }
            tbody { @for tool in tools { tr {
                td { (tool.role) } td { (tool.what) } td { (tool.serial) }
                td { @if tool.overdue { strong { (tool.due) ": OVERDUE on the day of the test" } } @else { (tool.due) } }
            } } }
        }
    }
}

/// How far it reaches, and what it is not.
fn reach(sources: &[Source]) -> Markup {
    let overdue = sources.iter().flat_map(|s| &s.instruments).any(|t| t.overdue);
    let unstated = sources.iter().flat_map(|s| &s.instruments).any(|t| t.due == "not stated");
    html! {
        section.cautions {
            h2 { "How far this reaches" }
            ul {
                @if overdue { li { strong { "The calibration of an instrument was overdue: no value above is more than an indication." } } }
                @if unstated { li { "Of an instrument no date of calibration is stated: its values are traceable to nothing." } }
                li { "Uncertainties are expanded with k = 2 (about 95 %), from the makers' limits of error as the profiles of the instruments state them. They hold, and the values are traceable to the units, only as far as these instruments' calibration goes; that is in the care of whoever tested." }
                li { "This is a record of tests by whoever signs it. It is not the document of an accredited laboratory, and says nothing beyond the parts that were tested, the day, and the conditions in the annex." }
                li { "Capacitors keep their charge, and it comes back: discharge and measure before touching. Polarised parts go in the right way round." }
            }
            @for source in sources {
                p.small {
                    "Record " (source.name) @if let Some((name, hash)) = &source.plan { ", plan " (name) " (SHA-256 " (hash.get(..16).unwrap_or_default()) "…)" }
                    @if !source.ended { strong { ". The run has no end: it was cut off" } }
                    ". Fingerprint: " span.fingerprint { (source.fingerprint) }
                    @if let Some(damage) = &source.damage { " " strong { "This record is NOT as it was written: " (damage) "." } }
                }
            }
            p.small { "`rampart verify` with a record and its fingerprint says whether it is as it was written." }
        }
    }
}

fn signatures(by: Option<&str>) -> Markup {
    html! {
        table.signatures { tbody { tr {
            td { "Tested by" @if let Some(by) = by { " (" (by) ")" } ", date, signature" }
            td { "Released by, date, signature" }
        } } }
    }
}
