//! The page: what stands where.

use super::lot::Lot;
use super::{STYLE, stages};
use crate::analysis::energy;
use crate::plan::{Plan, StageKind};
use crate::record::{FindingRow, GUARD, InstrumentRow, PreflightRow, RecordError, Run, StageRow};
use crate::runner::Exit;
use crate::runner::past::plan_of;
use crate::units::{Unit, Volts, engineering, spell};
use maud::{DOCTYPE, Markup, PreEscaped, html};

pub(super) fn page(run: &Run) -> Result<Markup, RecordError> {
    // The whole chain is walked beside the drawing: of a long run either takes seconds.
    let folder = run.folder().to_owned();
    let verifying = std::thread::spawn(move || crate::record::verify(&folder));
    let plan = plan_of(run)?;
    let lot = Lot::of(run)?;
    // Of a lot, the stages of what is odd; the rest stands in its tables.
    let rows: Vec<StageRow> = run.stages()?.into_iter().filter(|row| lot.as_ref().is_none_or(|lot| lot.is_drawn(row))).collect();
    let about_a_part = |f: &FindingRow| lot.is_some() && f.stage.is_some() && f.code != "control-out" && f.code != "tripped";
    let (odd, findings): (Vec<FindingRow>, Vec<FindingRow>) = run.findings()?.into_iter().partition(about_a_part);
    let mut sections = Vec::new();
    for row in &rows {
        let number = lot.as_ref().map_or(row.number, |lot| lot.plan_stage(row.number));
        let drawn = stages::stage(run, row, number, plan.as_ref())?;
        let of = lot.as_ref().and_then(|lot| lot.name_of(row.number)).map_or(String::new(), |name| format!(": {name}"));
        let taken = row.ended.map_or("cut off".to_owned(), |e| spell(e - row.began));
        let how = row.how.clone().unwrap_or_else(|| "cut off".into());
        sections.push(html! {
            section.stage {
                h3 { (row.number) ". " (row.kind) (of) }
                p { (row.what) ". " @if how == "done" { "Took " (taken) "." } @else { strong { "Ended: " (how) "." } } }
                (drawn)
            }
        });
    }
    let damage = match verifying.join() {
        Ok(Ok(seen)) => seen.damage,
        Ok(Err(error)) => vec![error.to_string()],
        Err(_) => vec!["it could not be verified".into()],
    };
    Ok(html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (run.title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (head(run, &damage)?)
                h2 { "Findings" }
                @if findings.is_empty() { p { "None." } }
                @for finding in &findings { (self::finding(finding)) }
                @if let Some(lot) = &lot { (lot.section(run)?) (odd_parts(lot, &odd)) }
                h2 { "What was done, and by which instruments" }
                (done(run, plan.as_ref())?)
                h2 { @if lot.is_some() { "Parts that do not conform, stage by stage" } @else { "Stage by stage" } }
                @if sections.is_empty() { p { "None." } }
                @for section in &sections { (section) }
                (super::marks::list(run)?)
                (preflight(run)?)
                (settings(run, lot.is_some())?)
                (events(run, lot.is_some())?)
                (cautions(plan.as_ref()))
                (working())
                (files(run)?)
            }
        }
    })
}

fn head(run: &Run, damage: &[String]) -> Result<Markup, RecordError> {
    let meaning = run.exit_code.and_then(|c| Exit::ALL.into_iter().find(|e| e.code() == c)).map(Exit::meaning);
    let how = run.how.clone().unwrap_or_else(|| "the run was cut off: what had been committed is here".into());
    let name = run.folder().file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let length = run.ended.map(spell);
    let fingerprint = run.fingerprint()?;
    let resumed = run.resumed()?;
    Ok(html! {
        header {
            @if run.is_rehearsal() {
                p.rehearsal { "REHEARSAL on stand-in instruments and a made-up unit. Nothing real was measured." }
            }
            h1 { (run.title) }
            p { strong { (run.unit) } }
            p.outcome { "Ended: " (how) @if let Some(meaning) = meaning { " — " (meaning) } "." }
            p.small {
                @if run.is_rehearsal() { "Virtual time" } @else { "Began " (run.began) }
                @if let Some(length) = length { ", took " (length) }
                "; " (run.tool) "; seed " (run.seed) "; record " (name)
            }
            @for again in &resumed {
                p.small {
                    "Taken up again at " (spell(again.at)) ", " (spell(again.gap)) " after its last row (" (again.wall) ", " (again.tool) ")"
                    @if !again.differs.is_empty() { "; different from before: " (again.differs) }
                    "."
                }
            }
            @if let Some(first) = damage.first() {
                p.outcome { strong { "This record is NOT as it was written: " (first) ". `rampart verify` names all." } }
            }
            p.small.fingerprint { "Fingerprint of the record: " (fingerprint) }
            @if !run.cautions.is_empty() { details { summary { "Warnings of the check, before power" } pre { (run.cautions) } } }
        }
    })
}

fn finding(finding: &FindingRow) -> Markup {
    let word = match finding.severity.as_str() {
        "anomaly" => "Anomaly",
        "undecided" => "Undecided",
        _ => "Note",
    };
    html! {
        article class=(finding.severity) {
            p { strong.mark { (word) } " " (finding.sentence) }
            @if let Some(advice) = &finding.advice { p.advice { "→ " (advice) } }
            @if !finding.figures.is_empty() {
                p.small { @for (i, (name, value)) in finding.figures.iter().enumerate() { @if i > 0 { "; " } (name) ": " (value) } "." }
            }
        }
    }
}

fn done(run: &Run, plan: Option<&Plan>) -> Result<Markup, RecordError> {
    // Opened again when the run was taken up, they stand here once.
    let mut instruments: Vec<InstrumentRow> = Vec::new();
    for instrument in run.instruments()? {
        if !instruments.contains(&instrument) {
            instruments.push(instrument);
        }
    }
    Ok(html! {
        @if let Some(plan) = plan {
            p {
                "No stage may ask the unit for more than " (plan.unit.ceiling.voltage) ", " (plan.unit.ceiling.current) " and " (plan.unit.ceiling.power)
                ". The interlock allows " (plan.interlock.in_limit) " in current limiting and " (plan.interlock.no_reading) " of silence."
            }
        }
        ul { @for i in &instruments { li {
            strong { (i.role) } ": " (i.identity.as_deref().unwrap_or("identity cannot be asked"))
            "; profile " (i.profile) "; " (i.address.as_deref().unwrap_or("in memory"))
            "; calibration due " (i.calibration_due.as_deref().unwrap_or("not stated"))
        } } }
    })
}

/// A stage's number; what comes before the first is the self-check.
fn named(stage: u32) -> String {
    if stage == 0 { "self-check".into() } else { stage.to_string() }
}

/// Numbers in ranges: `1 to 4, 7`.
fn in_ranges(numbers: &[u32]) -> String {
    let runs = numbers.chunk_by(|a, b| a + 1 == *b);
    let word = |run: &[u32]| match run {
        [first, _, .., last] if *first > 0 => format!("{first} to {last}"),
        _ => run.iter().map(|s| named(*s)).collect::<Vec<_>>().join(", "),
    };
    runs.map(word).collect::<Vec<_>>().join(", ")
}

/// What is odd about single parts beside their limits.
fn odd_parts(lot: &Lot, odd: &[FindingRow]) -> Markup {
    html! {
        @if !odd.is_empty() {
            details {
                summary { "What is odd about single trials, beside the outcome (" (odd.len()) ")" }
                ul.small { @for f in odd { li { @if let Some(name) = f.stage.and_then(|s| lot.name_of(s)) { strong { (name) } ": " } (f.sentence) } } }
            }
        }
    }
}

fn preflight(run: &Run) -> Result<Markup, RecordError> {
    let lines = run.preflight()?;
    // What was found alike before every stage stands once; time and room as they were first.
    let mut told: Vec<(Vec<u32>, &PreflightRow)> = Vec::new();
    for line in &lines {
        let alike = |l: &PreflightRow| {
            l.what == line.what && (l.found == line.found || (l.what.starts_with("computer") && l.good && line.good))
        };
        match told.iter_mut().find(|(_, l)| alike(l)) {
            Some((stages, _)) if stages.contains(&line.stage) => {}
            Some((stages, _)) => stages.push(line.stage),
            None => told.push((vec![line.stage], line)),
        }
    }
    Ok(html! {
        @if !told.is_empty() {
            h2 { "Made sure of before power" }
            div.wide { table {
                thead { tr { th { "stage" } th { "what" } th { "found" } } }
                tbody { @for (stages, line) in &told { tr {
                    td { (in_ranges(stages)) }
                    td { (line.what) }
                    td { @if line.good { (line.found) } @else { strong { "NOT GOOD: " (line.found) } } }
                } } }
            } }
        }
    })
}

fn settings(run: &Run, of_a_lot: bool) -> Result<Markup, RecordError> {
    let mut settings = run.settings()?;
    // Every trial has the same: those of the first stand for all.
    let first = run.trials()?.first().map_or(u32::MAX, |t| t.stages.1);
    settings.retain(|s| s.stage <= first);
    let unit = |symbol: &str| Unit::from_symbol(symbol).unwrap_or(Unit::Volt);
    Ok(html! {
        h2 { "Settings, as read back" }
        p.small { "Each setting of a stage once, at its first time." @if of_a_lot { " Those of the first trial; the record has all." } }
        div.wide { table {
            thead { tr { th.number { "stage" } th { "what" } th.number { "set" } th.number { "read back" } } }
            tbody { @for s in &settings { tr {
                td.number { (named(s.stage)) }
                td { (s.what) }
                td.number { (engineering(s.wanted, unit(&s.unit), 4)) }
                td.number { (s.read_back.map_or("cannot be asked".to_owned(), |v| engineering(v, unit(&s.unit), 4))) }
            } } }
        } }
    })
}

/// What comes with every part of a lot.
const EVERY_TIME: [&str; 6] = ["question", "answer", "connected", "permit", "discharge", "off"];

fn events(run: &Run, of_a_lot: bool) -> Result<Markup, RecordError> {
    let mut events = run.events()?;
    if of_a_lot {
        events.retain(|e| !EVERY_TIME.contains(&e.kind.as_str()));
    }
    let guard = std::fs::read_to_string(run.folder().join(GUARD)).ok();
    Ok(html! {
        h2 { @if of_a_lot { "Events" } @else { "Events, questions and answers" } }
        @if of_a_lot { p.small { "Without the questions, answers and switchings of each part: the record has them." } }
        div.wide { table {
            thead { tr { th.number { "at" } th { "what" } th {} } }
            tbody { @for e in events.iter().take(200) { tr { td.number { (format!("{:.2} s", e.at.0)) } td { (e.kind) } td { (e.text) } } } }
        } }
        @if events.len() > 200 { p.small { (events.len() - 200) " more in the record." } }
        @if let Some(guard) = &guard { p { strong { "The run died, and its guard acted (wall clock, UTC):" } } pre { (guard) } }
    })
}

fn cautions(plan: Option<&Plan>) -> Markup {
    let stored = plan.and_then(|p| {
        let capacitance = p.unit.capacitance?;
        let energy = energy::stored(capacitance, p.unit.ceiling.voltage);
        let word = energy::caution(energy).unwrap_or("below 0.1 J");
        Some(format!(
            "At its ceiling the unit's input of {capacitance} holds {} ({word}).",
            engineering(energy.0, Unit::Joule, 3)
        ))
    });
    let part = plan.is_some_and(|p| p.stages.iter().any(|s| matches!(s.kind, StageKind::Leakage(_))));
    html! {
        section.cautions {
            h2 { "Cautions" }
            ul {
                li { "Output off does not mean without charge: discharge through a resistor, never by a short, and measure before touching. A capacitor's voltage comes back." @if let Some(stored) = &stored { " " (stored) } }
                @if part { li { "Polarised parts are biased the right way round only, through a resistor, never above their rating; solid tantalum can ignite." } }
                li { "What is powered without anyone near belongs on a clear, non-combustible bench with a detector; a fuse, the supply's own limits and protections come before any software." }
                li { "This is software. It switches off and verifies; it replaces neither a mains switch within reach nor a safety device." }
                li { "Above " (Volts(60.0)) " d.c., and wherever local codes say so, work is for licensed or competent persons." }
            }
        }
    }
}

fn working() -> Markup {
    html! {
        h2 { "How it was computed" }
        ul.small {
            li { "Uncertainties: the makers' limits of error as rectangular unless the profile says otherwise, with the resolution, combined as in JCGM 100:2008; expanded with k = 2. The voltage of an event on a ramp lies between two steps: their distance counts as limits of error, too." }
            li { "Regions of a ramp: the straight pieces that cost least, with a penalty for each border; then the exponent of the current over the voltage. A good unit is compared step by step, within the uncertainties of both and 10 %." }
            li { "A current below the instrument's floor is not distinguishable from zero with it; it is neither 0 nor a sign of a dead unit." }
            li { "Failing rate: exact interval of Clopper and Pearson, or, where starts went on until a claim was decided, one that allows for such a stop; void starts do not count. What failures hang on: logistic regression with Firth's penalty, and clusters by the runs test, corrected after Holm for the number of conditions tried." }
            li { "Leakage: mean of the last readings before the electrification time; what is still absorption in it by a constant and a power of time (Curie and von Schweidler) fitted to the readings after the charging current has gone; laws of conduction compared by AICc (Burnham and Anderson 2002); limits as named with the finding; judged with a guard band of the expanded uncertainty (ILAC-G8:09/2019)." }
        }
    }
}

fn files(run: &Run) -> Result<Markup, RecordError> {
    let files = run.files()?;
    Ok(html! {
        h2 { "What the run followed" }
        @for file in &files {
            details open[file.kind == "plan"] { summary { (file.kind) ": " (file.name) } pre { (file.text) } }
        }
    })
}
