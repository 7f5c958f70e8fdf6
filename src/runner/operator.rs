//! Whoever is asked when hands are needed: the person at the terminal, or in
//! rehearsal the one who is made up.

use std::future::Future;
use std::pin::Pin;

/// A question to the operator.
#[derive(Clone, Debug)]
pub struct Question {
    /// What to do or to answer.
    pub text: String,
    /// Answers that let the run go on; an empty one stands for Enter.
    pub accept: Vec<String>,
    /// Other answers that are understood, as they are shown: `skip REASON`.
    pub also: Vec<&'static str>,
    /// What is connected once it is answered: the unit's name or a part's.
    pub connect: Option<String>,
}

impl Question {
    /// Something to be done, acknowledged by Enter.
    pub fn done(text: String, connect: Option<String>) -> Self {
        Self {
            text,
            accept: vec![String::new(), "y".into(), "yes".into(), "ok".into(), "done".into()],
            also: Vec::new(),
            connect,
        }
    }

    /// With other answers that are understood.
    #[must_use]
    pub fn or(mut self, also: &[&'static str]) -> Self {
        self.also = also.to_vec();
        self
    }

    /// What an answer says after the first word of one of the others: `("skip", REASON)`.
    pub fn understands(&self, answer: &str) -> Option<(&'static str, String)> {
        let (word, rest) = answer.trim().split_once(char::is_whitespace).unwrap_or((answer.trim(), ""));
        let known = self.also.iter().filter_map(|shown| shown.split(' ').next());
        known.into_iter().find(|known| known.eq_ignore_ascii_case(word)).map(|known| (known, rest.trim().to_owned()))
    }

    /// Whether an answer lets the run go on.
    pub fn accepts(&self, answer: &str) -> bool {
        self.accept.iter().any(|a| a.eq_ignore_ascii_case(answer.trim()))
    }
}

/// An answer that takes its time, or the reason why there is none.
pub type Answer<'a> = Pin<Box<dyn Future<Output = Result<String, String>> + Send + 'a>>;

/// What an operator says without having been asked, as it comes.
pub type Said = tokio::sync::mpsc::UnboundedReceiver<String>;

/// Whoever is asked.
pub trait Operator: Send {
    /// Asks, and waits for the answer.
    fn ask<'a>(&'a mut self, question: &'a Question) -> Answer<'a>;

    /// What is said beside the answers: marks. Given once; `None`: nothing will be said.
    fn says(&mut self) -> Option<Said> {
        None
    }
}
