//! The `ask` stage, and every other question to the operator: asked, answered,
//! recorded.

use super::{Bench, Question};
use crate::interlock::Halt;
use crate::plan::{Ask, Stage, StageKind};

pub(super) async fn run(bench: &mut Bench<'_>, ask: &Ask) -> Result<(), Halt> {
    put(bench, &Question { text: ask.say.clone(), accept: ask.accept.clone(), also: Vec::new(), connect: ask.connect.clone() })
        .await
}

/// Where a part was left in place of the unit: the unit again.
pub(super) async fn for_the_unit(bench: &mut Bench<'_>) -> Result<(), Halt> {
    let Some(part) = bench.in_place.clone() else { return Ok(()) };
    let unit = bench.passed.plan().unit.name.clone();
    let text = format!("Take {part} off, discharge it before you touch it, and connect {unit} to the supply again. Done?");
    put(bench, &Question::done(text, Some(unit))).await
}

/// Before anything is energised: what the supply cannot be asked, once.
pub(super) async fn for_a_look(bench: &mut Bench<'_>) -> Result<(), Halt> {
    let energises = |s: &Stage| !matches!(s.kind, StageKind::Ask(_));
    let seat = &bench.passed.bench().supply;
    let look = seat.to_look_at();
    if look.is_empty() || !bench.passed.plan().stages.iter().any(energises) {
        return Ok(());
    }
    let wanted: Vec<&str> = look.iter().map(|asked| asked.wanted(seat.remote_sense)).collect();
    let text = format!("The supply cannot be asked for everything. Look at it: {}. Is that so?", wanted.join("; "));
    put(bench, &Question::done(text, None)).await
}

/// Asks, records question and answer, and goes on only with an accepted one.
pub(super) async fn put(bench: &mut Bench<'_>, question: &Question) -> Result<(), Halt> {
    bench.journal.event("question", &question.text)?;
    let answer = bench.operator.ask(question).await;
    let words = match &answer {
        Ok(answer) if answer.is_empty() => "(Enter)".to_owned(),
        Ok(answer) => answer.clone(),
        Err(why) => why.clone(),
    };
    bench.journal.event("answer", &words)?;
    match answer {
        Ok(answer) if question.accepts(&answer) => {
            if let Some(what) = &question.connect {
                bench.journal.event("connected", what)?;
                (bench.swapped, bench.rested_since) = (true, bench.station.clock().now());
                let plan = bench.passed.plan();
                let part = |stage: &Stage| matches!(&stage.kind, StageKind::Leakage(sweep) if sweep.part.name == *what);
                let load = plan.self_check.as_ref().is_some_and(|check| check.name == *what);
                bench.in_place = (load || plan.stages.iter().any(part)).then(|| what.clone());
            }
            Ok(())
        }
        Ok(answer) => Err(Halt::Stopped(format!(": the answer to {:?} was {answer:?}", question.text))),
        Err(why) => Err(Halt::Stopped(format!(": {why}"))),
    }
}
