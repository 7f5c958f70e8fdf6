//! Who answers the questions: the person at the terminal, or in rehearsal nobody; and what
//! either says without being asked.

use super::typed::Typed;
use crate::analysis::marks::Mark;
use crate::rehearsal::{Remark, Rig};
use crate::runner::{Answer, Operator, Question, Said};
use crate::view::errln;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};

/// The person at the terminal.
pub(super) struct AtTerminal {
    /// Answers every question by itself, as done.
    pub(super) assume_done: bool,
    /// Where stand-ins are told what has been connected.
    pub(super) patch: Option<String>,
    unit: String,
    typed: Typed,
}

impl AtTerminal {
    pub(super) fn new(assume_done: bool, patch: Option<String>, unit: String) -> Self {
        Self { assume_done, patch, unit, typed: Typed::begin() }
    }

    async fn put(&mut self, question: &Question) -> Result<String, String> {
        let asks = !self.assume_done && self.patch.is_none();
        let typed = asks.then(|| self.typed.expect());
        errln!("\n{}", question.text);
        let answer = if let Some(typed) = typed {
            let mut keys: Vec<String> =
                question.accept.iter().map(|a| if a.is_empty() { "Enter".into() } else { a.clone() }).collect();
            keys.extend(question.also.iter().map(ToString::to_string));
            errln!("[{}]; anything else stops the run", keys.join(", "));
            typed.await?
        } else {
            let assumed = question.accept.first().cloned().unwrap_or_default();
            errln!("(taken as done, without asking)");
            assumed
        };
        if let (Some(patch), Some(what)) = (&self.patch, &question.connect) {
            tell(patch, if *what == self.unit { super::common::UNIT } else { what }).await?;
        }
        Ok(answer)
    }
}

impl Operator for AtTerminal {
    fn ask<'a>(&'a mut self, question: &'a Question) -> Answer<'a> {
        Box::pin(self.put(question))
    }

    fn says(&mut self) -> Option<Said> {
        self.typed.marks()
    }
}

/// Tells stand-ins what has been connected.
pub(super) async fn tell(patch: &str, what: &str) -> Result<(), String> {
    let failed = |error: std::io::Error| format!("the stand-ins' patch panel at {patch} does not answer: {error}");
    let mut stream = tokio::net::TcpStream::connect(patch).await.map_err(failed)?;
    stream.write_all(format!("{what}\n").as_bytes()).await.map_err(failed)?;
    let mut answer = String::new();
    BufReader::new(stream).read_line(&mut answer).await.map_err(failed)?;
    match answer.trim() {
        "ok" => Ok(()),
        other => Err(other.to_owned()),
    }
}

/// The operator of a rehearsal: does what is asked, at once.
pub(super) struct MadeUp {
    pub(super) rig: Rig,
    /// What is said beside what is asked, each once.
    pub(super) remarks: Vec<Remark>,
    /// What is said without being asked, at its time.
    pub(super) marks: Vec<Mark>,
}

impl Operator for MadeUp {
    fn ask<'a>(&'a mut self, question: &'a Question) -> Answer<'a> {
        Box::pin(async move {
            if let Some(what) = &question.connect {
                if let Some(place) = self.remarks.iter().position(|r| r.part == *what) {
                    return Ok(self.remarks.remove(place).answer);
                }
                self.rig.connect(what)?;
            }
            Ok(question.accept.first().cloned().unwrap_or_default())
        })
    }

    fn says(&mut self) -> Option<Said> {
        let (say, said) = tokio::sync::mpsc::unbounded_channel();
        let (clock, marks) = (self.rig.clock(), std::mem::take(&mut self.marks));
        tokio::spawn(async move {
            for mark in marks {
                clock.sleep_until(mark.at).await;
                if say.send(mark.text).is_err() {
                    break;
                }
            }
        });
        Some(said)
    }
}
