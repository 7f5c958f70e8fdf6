//! Several commands or questions in one message, where the dialect takes that.
//!
//! Holds always: what is too long, or has more questions than the dialect answers, goes in
//! messages of its own.

use super::{Session, no_entry};
use crate::instrument::error::Fault;
use crate::scpi::error_queue::ErrorReport;

impl Session {
    /// As one message; `None` where it may not be one.
    fn joined(&self, parts: &[&str], questions: usize) -> Option<String> {
        let with = self.wire.join.as_deref().filter(|_| questions <= self.wire.queries)?;
        let mut message = String::new();
        for part in parts {
            let from_root = part.starts_with([':', '*']);
            match with.strip_suffix(':') {
                _ if message.is_empty() => {}
                Some(short) if from_root => message.push_str(short),
                _ => message.push_str(with),
            }
            message.push_str(part);
        }
        (self.wire.longest.is_none_or(|longest| message.len() <= longest)).then_some(message)
    }

    /// A command, and behind it the question what was wrong with it.
    pub(super) fn joined_with_errors(&self, message: &str) -> Option<String> {
        self.joined(&[message, self.errors.ask.as_deref()?], 1)
    }

    pub(super) async fn command_joined(&mut self, message: &str, joined: &str) -> Result<(), Fault> {
        let ask = self.errors.ask.clone().unwrap_or_default();
        let reply = self.query(joined).await?;
        match ErrorReport::parse(reply.as_bytes()) {
            Ok(report) if report.is_none() => Ok(()),
            Ok(report) => self.errors_after(message, ask, vec![report.to_string()]).await,
            Err(_) => {
                self.doubt(joined);
                Err(no_entry(ask, reply))
            }
        }
    }

    /// Asks several questions, behind a command where there is one, in one message; `None`
    /// where the dialect does not take that.
    ///
    /// # Errors
    /// Those of a query; an answer that has not as many parts as were asked for.
    pub async fn query_joined(&mut self, command: Option<&str>, questions: &[&str]) -> Result<Option<Vec<String>>, Fault> {
        let parts: Vec<&str> = command.into_iter().chain(questions.iter().copied()).collect();
        let Some(message) = self.joined(&parts, questions.len()) else { return Ok(None) };
        let reply = self.query(&message).await?;
        let answers: Vec<String> = reply.split(';').map(|part| part.trim().to_owned()).collect();
        if answers.len() == questions.len() {
            return Ok(Some(answers));
        }
        self.doubt(&message);
        let expected = format!("{} answers with semicolons between", questions.len());
        Err(Fault::Garbled { command: message, reply, expected })
    }
}
