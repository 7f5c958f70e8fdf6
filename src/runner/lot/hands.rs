//! What the operator does between parts: puts one in, leaves one out, wants one again.
//! Everything that is acknowledged goes into the record with its answer.

use super::Work;
use crate::analysis::inspection::Outcome;
use crate::interlock::Halt;
use crate::plan::{Often, StageKind};
use crate::runner::{Bench, Question};

/// What the operator did.
pub(super) enum Hands {
    /// The part is in; what was acknowledged, and how.
    In(Vec<(&'static str, String)>),
    /// It is left out, for a reason.
    Skip(String),
    /// Another part is wanted again, for a reason.
    Again(u32, String),
    /// No further part, for a reason.
    Hold(String),
}

/// Others than Enter, where a part is asked for.
const ALSO: [&str; 3] = ["skip REASON", "again PART REASON", "hold REASON"];

/// What the parts are, as far as their handling hangs on it.
fn is_polar(bench: &Bench<'_>) -> bool {
    let polar = |kind: &StageKind| matches!(kind, StageKind::Leakage(sweep) if sweep.part.kind.is_polar());
    bench.passed.plan().stages.iter().any(|s| polar(&s.kind))
}

fn holds_charge(bench: &Bench<'_>) -> bool {
    bench.passed.plan().stages.iter().any(|s| matches!(s.kind, StageKind::Leakage(_)))
}

fn fixture(work: &Work<'_>) -> String {
    work.lot.fixture.clone().unwrap_or_else(|| "the fixture".into())
}

/// What is acknowledged once for all parts.
pub(super) async fn once(bench: &mut Bench<'_>, work: &Work<'_>) -> Result<(), Halt> {
    let inspection = work.turns.inspection;
    let mut asked = Vec::new();
    if inspection.discharge == Often::Once && holds_charge(bench) {
        asked.push(("discharged", format!("no part comes into {} that is charged", fixture(work))));
    }
    if inspection.polarity == Often::Once && is_polar(bench) {
        asked.push((
            "polarity",
            format!("{} takes every part with its positive lead to the supply's plus, and no other way", fixture(work)),
        ));
    }
    if asked.is_empty() {
        return Ok(());
    }
    let words: Vec<&str> = asked.iter().map(|(_, words)| words.as_str()).collect();
    let question = Question::done(format!("For all parts of this lot: {}. Is that so?", words.join("; ")), None);
    let answer = put(bench, &question).await?;
    let now = bench.station.clock().now();
    bench.journal.write(|r| asked.iter().try_for_each(|(what, _)| r.acknowledged(None, what, &answer, now)))?;
    Ok(())
}

/// Asks for a part of the lot.
pub(super) async fn part(
    bench: &mut Bench<'_>,
    work: &Work<'_>,
    what: &str,
    position: u32,
    why: Option<&str>,
) -> Result<Hands, Halt> {
    let mut head = what.to_owned();
    if let Some(first) = head.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    if let Some(why) = why {
        head.push_str(&format!(" ({why})"));
    }
    let mut complaint = String::new();
    loop {
        let question = insertion(bench, work, &format!("{complaint}{head}"), position.to_string()).or(&ALSO);
        let answer = ask(bench, &question).await?;
        if question.accepts(&answer) {
            return Ok(Hands::In(connected(bench, work, &question, shown(&answer))?));
        }
        complaint = match question.understands(&answer) {
            Some(("skip", reason)) if !reason.is_empty() => return Ok(Hands::Skip(reason)),
            Some(("hold", reason)) if !reason.is_empty() => return Ok(Hands::Hold(reason)),
            Some(("again", rest)) => match again(work, &rest) {
                Ok((position, reason)) => return Ok(Hands::Again(position, reason)),
                Err(why) => format!("{why} "),
            },
            Some((word, _)) => format!("Say why: {word} REASON. "),
            None => return Err(Halt::Stopped(format!(": the answer to {:?} was {answer:?}", question.text))),
        };
    }
}

/// Asks for a control part. It can be neither left out nor exchanged.
pub(super) async fn control(
    bench: &mut Bench<'_>,
    work: &Work<'_>,
    what: &str,
    name: &str,
) -> Result<Vec<(&'static str, String)>, Halt> {
    let question = insertion(bench, work, what, name.to_owned());
    let answer = put(bench, &question).await?;
    connected(bench, work, &question, answer)
}

/// `again 7 poor contact`: which part, and why.
fn again(work: &Work<'_>, rest: &str) -> Result<(u32, String), String> {
    let (name, reason) = rest.split_once(char::is_whitespace).unwrap_or((rest, ""));
    let tried = work.known.tried.iter().filter(|t| t.outcome != Outcome::Void);
    let position = tried.map(|t| t.position).find(|p| work.lot.name(*p) == name);
    match position {
        None => Err(format!("{name:?} is no part that was measured: again PART REASON.")),
        Some(_) if reason.trim().is_empty() => Err("Say why: again PART REASON.".into()),
        Some(position) => Ok((position, reason.trim().to_owned())),
    }
}

fn insertion(bench: &Bench<'_>, work: &Work<'_>, head: &str, connect: String) -> Question {
    let inspection = work.turns.inspection;
    let discharged = inspection.discharge == Often::EachPart && holds_charge(bench);
    let discharge = if discharged { "discharge it through a resistor, then " } else { "" };
    let round =
        if inspection.polarity == Often::EachPart && is_polar(bench) { ", its positive lead to the supply's plus" } else { "" };
    Question::done(format!("{head}: {discharge}put it into {}{round}. Then Enter.", fixture(work)), Some(connect))
}

/// A part is in: it has rested, and what that means for each thing to acknowledge.
fn connected(
    bench: &mut Bench<'_>,
    work: &Work<'_>,
    question: &Question,
    answer: String,
) -> Result<Vec<(&'static str, String)>, Halt> {
    let inspection = work.turns.inspection;
    let mut made = Vec::new();
    if inspection.discharge == Often::EachPart && holds_charge(bench) {
        made.push(("discharged", answer.clone()));
    }
    if inspection.polarity == Often::EachPart && is_polar(bench) {
        made.push(("polarity", answer.clone()));
    }
    made.push(("inserted", answer));
    if let Some(what) = &question.connect {
        bench.journal.event("connected", what)?;
    }
    (bench.swapped, bench.rested_since, bench.in_place) = (true, bench.station.clock().now(), None);
    Ok(made)
}

/// An answer as the record keeps it.
fn shown(answer: &str) -> String {
    if answer.is_empty() { "(Enter)".to_owned() } else { answer.to_owned() }
}

async fn ask(bench: &mut Bench<'_>, question: &Question) -> Result<String, Halt> {
    bench.journal.event("question", &question.text)?;
    let answer = bench.operator.ask(question).await;
    let words = answer.as_ref().map_or_else(Clone::clone, |a| shown(a));
    bench.journal.event("answer", &words)?;
    answer.map_err(|why| Halt::Stopped(format!(": {why}")))
}

/// Asks something that can only be agreed to.
pub(super) async fn put(bench: &mut Bench<'_>, question: &Question) -> Result<String, Halt> {
    let answer = ask(bench, question).await?;
    if question.accepts(&answer) {
        return Ok(shown(&answer));
    }
    Err(Halt::Stopped(format!(": the answer to {:?} was {answer:?}", question.text)))
}
