//! The history of a unit, a part or a kind of part: what each run says, over its date.
//! The same tables as a page with plots, and as text.

use super::axis::Scale;
use super::plot::{Along, Plot, Shape};
use super::stages::along;
use crate::analysis::Level;
use crate::analysis::proportion::clopper_pearson;
use crate::analysis::uncertainty::COVERAGE;
use crate::record::history::{LeakageSeen, Visit};
use crate::units::{Unit, Volts, engineering, with_uncertainty};
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("style.css");
/// Confidence of the intervals of failing rates.
const CONFIDENCE: f64 = 0.95;

/// Cells up to so many letters are not broken.
const SHORT: usize = 24;

/// A history that is to be shown.
pub struct History<'h> {
    /// Of what, in words.
    pub what: String,
    /// What the runs say, oldest first.
    pub visits: &'h [Visit],
    /// Runs that say nothing, and why.
    pub left: &'h [(String, String)],
    /// At which voltage leakages are shown; `None`: the one that most runs have, among
    /// equals the highest.
    pub at: Option<Volts>,
    /// Whether it is of rehearsals.
    pub rehearsed: bool,
}

/// A table of it.
pub struct Table {
    /// What it shows.
    pub title: String,
    /// Names of the columns.
    pub head: Vec<&'static str>,
    /// A row a run, or more.
    pub rows: Vec<Vec<String>>,
}

impl Table {
    /// As lines, columns side by side.
    pub fn lines(&self) -> Vec<String> {
        let head: Vec<String> = self.head.iter().map(|h| (*h).to_owned()).collect();
        let all: Vec<&Vec<String>> = [&head].into_iter().chain(&self.rows).collect();
        let width = |column: usize| all.iter().filter_map(|r| r.get(column)).map(|c| c.chars().count()).max().unwrap_or(0);
        let widths: Vec<usize> = (0..head.len()).map(width).collect();
        let line = |row: &&Vec<String>| {
            let cells = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}"));
            format!("  {}", cells.collect::<Vec<_>>().join("  ").trim_end())
        };
        [self.title.clone()].into_iter().chain(all.iter().map(line)).collect()
    }
}

/// Days since 1970-01-01, for an axis.
fn day(visit: &Visit) -> Option<f64> {
    visit.moment.parse::<jiff::Timestamp>().ok().map(|at| at.as_second() as f64 / 86_400.0)
}

fn date(visit: &Visit) -> String {
    visit.moment.chars().take(10).collect()
}

fn percent(share: f64) -> String {
    engineering(share, Unit::Percent, 3)
}

impl History<'_> {
    /// The voltage of the leakages that are shown.
    fn voltage(&self) -> Option<Volts> {
        let has = |at: Volts| self.visits.iter().filter(|v| v.leakages.iter().any(|l| same(l.set, at))).count();
        let sets = self.visits.iter().flat_map(|v| &v.leakages).map(|l| l.set);
        self.at.or_else(|| sets.max_by(|a, b| (has(*a), a.0).partial_cmp(&(has(*b), b.0)).unwrap_or(std::cmp::Ordering::Equal)))
    }

    fn leakages(&self) -> Vec<(&Visit, &LeakageSeen)> {
        let Some(at) = self.voltage() else { return Vec::new() };
        self.visits.iter().flat_map(|v| v.leakages.iter().filter(move |l| same(l.set, at)).map(move |l| (v, l))).collect()
    }

    /// What currents there are, each name once.
    fn currents(&self) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for current in self.visits.iter().flat_map(|v| &v.currents) {
            if !names.contains(&current.what) {
                names.push(current.what.clone());
            }
        }
        names
    }

    /// Its tables; those without a row are left away.
    pub fn tables(&self) -> Vec<Table> {
        let mut made = Vec::new();
        let rows = self.visits.iter().filter_map(|v| {
            let (failed, of) = v.starts?;
            let interval = clopper_pearson(failed, of, CONFIDENCE)?;
            let between = format!("{} to {}", percent(interval.low.0), percent(interval.high.0));
            Some(vec![date(v), failed.to_string(), of.to_string(), percent(failed as f64 / of as f64), between, v.run.clone()])
        });
        let head = vec!["date", "failed", "of", "rate", "95 % interval", "run"];
        made.push(Table { title: "Starts that failed".into(), head, rows: rows.collect() });
        if let Some(at) = self.voltage() {
            let rows = self.leakages().into_iter().map(|(v, l)| {
                let limit = engineering(l.limit.0, Unit::Ampere, 3);
                vec![date(v), l.part.clone(), l.leakage.to_string(), limit, v.run.clone()]
            });
            let head = vec!["date", "part", "leakage", "limit", "run"];
            made.push(Table { title: format!("Leakage at {}", engineering(at.0, Unit::Volt, 3)), head, rows: rows.collect() });
        }
        for what in self.currents() {
            let rows = self.visits.iter().flat_map(|v| v.currents.iter().filter(|c| c.what == what).map(move |c| (v, c)));
            let rows = rows.map(|(v, c)| vec![date(v), with_uncertainty(c.value.0, c.expanded.0, Unit::Ampere), v.run.clone()]);
            made.push(Table { title: capital(&what), head: vec!["date", "current", "run"], rows: rows.collect() });
        }
        made.retain(|table| !table.rows.is_empty());
        made
    }

    /// Its plots, in the tables' order.
    fn plots(&self) -> Vec<Markup> {
        let days = |label| Along { label, unit: None, scale: Scale::Days, values: self.visits.iter().filter_map(day).collect() };
        let mut made = Vec::new();
        let rates: Vec<(f64, f64, f64, f64)> = self
            .visits
            .iter()
            .filter_map(|v| {
                let (failed, of) = v.starts?;
                let interval = clopper_pearson(failed, of, CONFIDENCE)?;
                Some((day(v)?, 100.0 * failed as f64 / of as f64, 100.0 * interval.low.0, 100.0 * interval.high.0))
            })
            .collect();
        if !rates.is_empty() {
            let ys = rates.iter().map(|r| r.3).chain([0.0]).collect();
            let y = Along { label: "failing starts in %", unit: None, scale: Scale::Linear, values: ys };
            let mut plot = Plot::new("Failing starts, with 95 % intervals".into(), days("date (UTC)"), y);
            plot.spans(&rates.iter().map(|r| (r.0, r.2, r.3)).collect::<Vec<_>>());
            plot.dots(Shape::Hollow, &rates.iter().map(|r| (r.0, r.1)).collect::<Vec<_>>(), "share of the starts that failed");
            made.push(plot.draw());
        }
        made.extend(self.leakage_plot(days("date (UTC)")));
        for what in self.currents() {
            let seen: Vec<(f64, f64, f64)> = self
                .visits
                .iter()
                .filter_map(|v| Some((day(v)?, v)))
                .flat_map(|(at, v)| v.currents.iter().filter(|c| c.what == what).map(move |c| (at, c.value.0, c.expanded.0)))
                .collect();
            let ys = seen.iter().flat_map(|c| [c.1 - c.2, c.1 + c.2]).collect();
            let title = format!("{}, with expanded uncertainty", capital(&what));
            let mut plot = Plot::new(title, days("date (UTC)"), along("current", Unit::Ampere, Scale::Linear, ys));
            plot.spans(&seen.iter().map(|c| (c.0, c.1 - c.2, c.1 + c.2)).collect::<Vec<_>>());
            plot.dots(Shape::Hollow, &seen.iter().map(|c| (c.0, c.1)).collect::<Vec<_>>(), "current");
            made.push(plot.draw());
        }
        made
    }

    fn leakage_plot(&self, x: Along<'_>) -> Option<Markup> {
        let seen: Vec<(f64, &LeakageSeen)> = self.leakages().into_iter().filter_map(|(v, l)| Some((day(v)?, l))).collect();
        let at = self.voltage().filter(|_| !seen.is_empty())?;
        let known: Vec<(f64, f64, f64)> = seen
            .iter()
            .filter_map(|(day, l)| match l.leakage {
                Level::Known { value, u } => Some((*day, value.0, COVERAGE * u.0)),
                _ => None,
            })
            .collect();
        let limits: Vec<f64> = seen.iter().map(|(_, l)| l.limit.0).collect();
        let ys: Vec<f64> = known.iter().map(|k| k.1).chain(limits.iter().copied()).collect();
        let title = format!("Leakage at {}, with expanded uncertainty", engineering(at.0, Unit::Volt, 3));
        let mut plot = Plot::new(title, x, along("leakage", Unit::Ampere, Scale::Log, ys));
        // Only a limit that was the same all the time is one line.
        if let Some(limit) = limits.first().filter(|first| limits.iter().all(|l| l == *first)) {
            plot.limit(*limit, "limit");
        }
        plot.spans(&known.iter().map(|k| (k.0, k.1 - k.2, k.1 + k.2)).collect::<Vec<_>>());
        plot.dots(Shape::Hollow, &known.iter().map(|k| (k.0, k.1)).collect::<Vec<_>>(), "leakage");
        let least = known.iter().map(|k| k.1).chain(limits.iter().copied()).fold(f64::INFINITY, f64::min);
        let (mut below, mut beyond) = (Vec::new(), Vec::new());
        for (day, seen) in &seen {
            match seen.leakage {
                Level::BelowFloor { .. } => below.push((*day, least)),
                Level::Overload => beyond.push((*day, seen.limit.0)),
                Level::Known { .. } | Level::Missing => {}
            }
        }
        plot.dots(Shape::Below, &below, "below the instrument's floor");
        plot.dots(Shape::Beyond, &beyond, "beyond the range");
        Some(plot.draw())
    }

    /// What must be said beside it.
    pub fn cautions(&self) -> Vec<String> {
        let mut said = vec![
            "Each run stands for its own conditions: off-times, limits, temperature and wiring may have been others. `rampart compare` says what differs between two.".to_owned(),
        ];
        said.extend(self.left.iter().map(|(run, why)| format!("{run} is left out: {why}.")));
        said
    }

    /// The page.
    pub fn page(&self) -> String {
        let title = format!("History of {}", self.what);
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
                    @if self.rehearsed {
                        p.rehearsal { "REHEARSALS on stand-in instruments and made-up units. Nothing real was measured." }
                    }
                    h1 { (title) }
                    p { (self.visits.len()) " runs" @if let [first, .., last] = self.visits { ", from " (date(first)) " to " (date(last)) } "." }
                    @for plot in self.plots() { (plot) }
                    @for table in self.tables() {
                        h2 { (table.title) }
                        div.wide { table {
                            thead { tr { @for name in &table.head { th { (name) } } } }
                            tbody { @for row in &table.rows { tr { @for cell in row { td.plain[cell.chars().count() < SHORT] { (cell) } } } } }
                        } }
                    }
                    section.cautions { h2 { "Mind" } ul { @for caution in self.cautions() { li { (caution) } } } }
                }
            }
        };
        page.into_string()
    }
}

/// Voltages that a plan means as one.
fn same(a: Volts, b: Volts) -> bool {
    (a.0 - b.0).abs() <= 1e-6 * b.0.abs()
}

/// A current's name as a title.
fn capital(what: &str) -> String {
    match what {
        "mean current" => "Mean current of the logs".into(),
        "current at the end" => "Current at the end of the ramps".into(),
        other => other.to_owned(),
    }
}
