//! What failures hang on, in a sentence: how strongly, how sure, and what else it may be.

use super::power::spelled;
use super::{Figure, Finding, Severity};
use crate::analysis::dependence::{Along, Beside, Dependence, End, FALSE_ALARM, FEWEST, Looked};
use crate::analysis::starts::{HOUR, LEFT, LIMITING, OFF_TIME, ORDER};
use crate::units::Unit;

/// Below this chance a dependence is told without reserve.
const SURE: f64 = 0.01;

/// An upper limit of an odds ratio beyond this is not told.
const WIDEST: f64 = 1000.0;

/// The strongest dependence, or that none is to be seen; and clusters in the order.
pub(super) fn dependence(looked: &Looked, failed: u64, counted: u64) -> Vec<Finding> {
    let mut made = Vec::new();
    let strongest = looked.dependences.iter().find(|d| !is_mark(d)).filter(|d| d.adjusted < FALSE_ALARM);
    if let Some(strongest) = strongest {
        made.push(depends(strongest, looked));
    }
    let clusters = looked.runs.filter(|(_, adjusted)| *adjusted < FALSE_ALARM);
    if let Some((runs, adjusted)) = clusters {
        let sentence = format!(
            "The failed starts come in clusters: {} runs of failed and of good starts one after the other, where {:.0} are to be expected; {}.",
            runs.runs,
            runs.expected,
            chance(adjusted)
        );
        made.push(
            Finding::new("starts-cluster", Severity::Note, sentence)
                .advise("Something that lasts longer than one start goes with it: warming up, a state that outlives the off-time, a contact that moves. Compare the times of the clusters with what happened around the bench.")
                .figure(Figure::count("runs", runs.runs))
                .figure(plain("expected runs", runs.expected))
                .figure(plain("chance", adjusted)),
        );
    }
    if made.is_empty() {
        made.extend(none(looked, failed, counted));
    }
    made.extend(looked.dependences.iter().filter(|d| is_mark(d)).filter_map(|d| marked(d, looked)));
    made
}

fn is_mark(dependence: &Dependence) -> bool {
    matches!(dependence.along, Along::Held { .. })
}

/// What a mark of the operator's has changed, or that nothing is to be seen of it.
fn marked(mark: &Dependence, looked: &Looked) -> Option<Finding> {
    let (without, with) = mark.ends?;
    let told = |end: End| {
        let (low, high) = (spelled(end.rate.low.0, Unit::Percent), spelled(end.rate.high.0, Unit::Percent));
        format!("{} of {} failed ({low} to {high})", end.failed, end.counted)
    };
    let (inside, outside) = match mark.along {
        Along::Held { for_good: true } => ("after", "before it"),
        _ => ("under", "otherwise"),
    };
    let rates = format!("{inside} the {} {}, {outside} {}", mark.on, told(with), told(without));
    let found = mark.adjusted < FALSE_ALARM;
    let (verb, advice) = match (found, mark.adjusted < SURE) {
        (true, true) => ("", CONFIRM),
        (true, false) => (" It is not sure yet.", CONFIRM),
        (false, _) => (" So much of a difference chance makes often: nothing is to be seen of it.", ""),
    };
    let together = mark.beside.as_ref().map_or(String::new(), |b| entangled(&mark.on, b));
    let sentence = format!("{}. {}.{verb}{together}", capital(&rates), capital(&chance(mark.adjusted)));
    let mut made = Finding::new(if found { "starts-mark" } else { "starts-mark-nothing" }, Severity::Note, sentence)
        .figure(plain("chance", mark.adjusted))
        .figure(plain("tests", (looked.dependences.len() + usize::from(looked.runs.is_some())) as f64));
    if !advice.is_empty() {
        made = made.advise(advice);
    }
    for (name, end) in [("failing rate with it", with), ("failing rate without it", without)] {
        let figure = Figure::quantity(name, end.failed as f64 / end.counted.max(1) as f64, Unit::Percent, None);
        made = made.figure(figure.within(end.rate.low.0, end.rate.high.0, end.rate.confidence));
    }
    Some(made)
}

/// What a single mark has changed may have come with time.
const CONFIRM: &str = "Undo what was done there and see whether the failures come back, two or three times to and fro, with a mark each time: what followed one mark alone may have come with the time.";

/// A figure without a unit.
fn plain(name: &str, value: f64) -> Figure {
    Figure { name: name.into(), value, unit: None, expanded: None, interval: None }
}

fn chance(adjusted: f64) -> String {
    let p = if adjusted < 1e-4 { "less than 0.0001".to_owned() } else { format!("{adjusted:.4}") };
    format!("were there nothing in it, the chance of it among all that was looked at would be {p}")
}

fn depends(strongest: &Dependence, looked: &Looked) -> Finding {
    let may = if strongest.adjusted < SURE { "hang" } else { "may hang" };
    let rates = strongest.ends.map_or(String::new(), |(low, high)| {
        let of = |end: End, edge: &str| {
            format!(
                "{edge} {} of {} failed ({} to {})",
                end.failed,
                end.counted,
                spelled(end.rate.low.0, Unit::Percent),
                spelled(end.rate.high.0, Unit::Percent)
            )
        };
        match &*strongest.on {
            LIMITING => format!(": {}; {}", of(low, "without it"), of(high, "with it")),
            _ => {
                let edge = |value: f64| strongest.unit.map_or_else(|| format!("{value:.0}"), |unit| spelled(value, unit));
                format!(
                    ": {}; {}; in brackets 95 % intervals",
                    of(low, &format!("up to {}", edge(low.edge))),
                    of(high, &format!("from {} on", edge(high.edge)))
                )
            }
        }
    });
    let odds = match (strongest.along, strongest.odds) {
        (Along::Doubling, Some((factor, low, high))) => {
            // Beyond that the fit says that it separates them, not by how much.
            if high > WIDEST || !high.is_finite() {
                if factor > 1.0 && low > 1.0 {
                    format!(
                        " Each doubling multiplies the odds of failing by at least {low:.2}: it all but separates failed from good starts."
                    )
                } else {
                    String::new()
                }
            } else {
                format!(" Each doubling multiplies the odds of failing by {factor:.2} ({low:.2} to {high:.2}).")
            }
        }
        _ => String::new(),
    };
    let together = strongest.beside.as_ref().map_or(String::new(), |b| entangled(&strongest.on, b));
    let sentence =
        format!("The failures {may} on the {}{rates}.{odds} {}.{together}", strongest.on, capital(&chance(strongest.adjusted)));
    let more = strongest.odds.is_some_and(|(factor, ..)| factor > 1.0);
    let reserve =
        if strongest.adjusted < SURE { "" } else { " It is not sure yet: make more starts before anything is concluded." };
    let mut made = Finding::new("starts-depend", Severity::Note, sentence)
        .advise(format!("{}{reserve}", advice(&strongest.on, more)))
        .figure(plain("chance", strongest.adjusted));
    if let Some((factor, low, high)) = strongest.odds.filter(|(.., high)| *high <= WIDEST) {
        let name =
            if strongest.along == Along::Doubling { "odds ratio of a doubling" } else { "odds ratio, lower to upper third" };
        made = made.figure(plain(name, factor).within(low, high, 0.95));
    }
    if let Some((low, high)) = strongest.ends {
        for (name, end) in [("failing rate, lower end", low), ("failing rate, upper end", high)] {
            let observed = end.failed as f64 / end.counted.max(1) as f64;
            let figure = Figure::quantity(name, observed, Unit::Percent, None);
            made = made.figure(figure.within(end.rate.low.0, end.rate.high.0, end.rate.confidence));
        }
    }
    let others: Vec<&Dependence> =
        looked.dependences.iter().filter(|d| d.on != strongest.on && d.adjusted < FALSE_ALARM).collect();
    if let Some(beside) = strongest.beside.as_ref().filter(|b| others.iter().any(|d| d.on == b.name)) {
        made = made.figure(plain(&format!("rank correlation with {}", beside.name), beside.correlation));
    }
    made
}

/// What goes together with it, and whether these starts can tell the two apart.
fn entangled(on: &str, beside: &Beside) -> String {
    let (name, r) = (&beside.name, beside.correlation);
    match (beside.p, beside.other) {
        (Some(own), Some(other)) => match (own < FALSE_ALARM, other < FALSE_ALARM) {
            (true, false) => {
                format!(" It goes together with the {name} (rank correlation {r:.2}), which explains nothing beside it.")
            }
            (true, true) => format!(" The {name} goes with them as well, beside it (rank correlation of the two {r:.2})."),
            _ => format!(
                " It goes together with the {name} (rank correlation {r:.2}): which of the two it is, these starts cannot tell."
            ),
        },
        _ => format!(
            " The {on} and the {name} go together here (rank correlation {r:.2}): which of the two it is, these starts cannot tell."
        ),
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

fn advice(on: &str, more: bool) -> &'static str {
    match (on, more) {
        (OFF_TIME, true) => {
            "Long rests provoke it: a part that changes while it is without bias (an electrolytic or tantalum that leaks more after a rest) fits, and so does a delay that has to charge anew from nothing and lasts longer than the start was watched; a reset that is not re-armed would fail after short ones."
        }
        (OFF_TIME, false) => {
            "Short rests provoke it: a reset that is not re-armed because the rail has not fallen fits; lengthen the off-time or bleed the rail, and see whether the failures go."
        }
        (LEFT, true) => {
            "A voltage left at the unit goes with the failures: bleed the rail, take off everything that may feed it from elsewhere, and repeat."
        }
        (LEFT, false) => {
            "A unit that has fallen further fails more often: what has to be charged anew at each start is the place to look."
        }
        (ORDER, true) => {
            "It gets worse as the run goes on: warming up, or a part that ages under bias. Let the unit rest and cool, and see whether the rate falls again."
        }
        (ORDER, false) => {
            "It gets better as the run goes on: a part that reforms under bias, or a cold unit. Let the unit rest for long and repeat, before anything counts as repaired."
        }
        (LIMITING, _) => {
            "Starts in which the supply limited end otherwise than those in which it did not: repeat some with a larger limit while starting; the supply may make the fault."
        }
        (HOUR, _) => {
            "It follows the hour of the day: temperature, sun, mains, or what else runs in the building. Log the temperature beside the unit and repeat."
        }
        _ => "Hold everything else as it is, change this alone, and repeat.",
    }
}

/// That nothing is to be seen, and what would have been.
fn none(looked: &Looked, failed: u64, counted: u64) -> Option<Finding> {
    if failed < FEWEST || counted - failed < FEWEST {
        return (failed > 0 && counted > failed).then(|| {
            let (n, kind) = if failed < FEWEST { (failed, "failed") } else { (counted - failed, "good") };
            let too_few = if n == 1 { "start" } else { "starts" };
            let verb = if n == 1 { "is" } else { "are" };
            let sentence =
                format!("What the failures hang on cannot be said: {n} {kind} {too_few} of {counted} {verb} too few to compare.");
            Finding::new("starts-no-dependence", Severity::Note, sentence)
        });
    }
    let mut names: Vec<String> = looked.dependences.iter().filter(|d| !is_mark(d)).map(|d| format!("the {}", d.on)).collect();
    if looked.runs.is_some() {
        names.push("clusters in their order".into());
    }
    let last = names.pop()?;
    let tried = if names.is_empty() { last } else { format!("{} or {last}", names.join(", ")) };
    let off = looked
        .dependences
        .iter()
        .find(|d| d.along == Along::Doubling)
        .or_else(|| looked.dependences.iter().find(|d| !is_mark(d)));
    let would = off.and_then(|d| Some((d, d.visible?))).map_or(String::new(), |(d, factor)| match d.along {
        Along::Doubling => format!(
            " One that multiplies the odds of failing by {factor:.1} or more for each doubling of the {} would have been seen in four of five such stages.",
            d.on
        ),
        _ => format!(
            " One that multiplies the odds of failing by {factor:.1} or more from the lower to the upper third of the {} would have been seen in four of five such stages.",
            d.on
        ),
    });
    let sentence =
        format!("No dependence of the failures on {tried} is to be seen, with {failed} failed of {counted} starts.{would}");
    let mut made = Finding::new("starts-no-dependence", Severity::Note, sentence);
    for d in looked.dependences.iter().filter(|d| !is_mark(d)) {
        made = made.figure(plain(&format!("chance, {}", d.on), d.adjusted));
    }
    Some(made)
}
