//! The operator's marks: what is said without having been asked is stamped into the
//! record at once, beside whatever the stages do.
//!
//! Holds always: a mark never waits for a stage, and no look at an output that is on
//! waits for a mark.

use super::{Progress, Said, Watcher};
use crate::analysis::marks::Mark;
use crate::clock::Clock;
use crate::interlock::Journal;
use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};

/// More marks than this in a stretch are somebody's pasted file.
const MOST: usize = 1000;
/// Characters of a mark that are kept.
const LONGEST: usize = 200;

/// The marks of a run so far, in their order.
#[derive(Clone, Default)]
pub(super) struct Marks(Arc<Mutex<Vec<Mark>>>);

impl Marks {
    /// From those of a run that goes on.
    pub(super) fn of(marks: Vec<Mark>) -> Self {
        Self(Arc::new(Mutex::new(marks)))
    }

    /// All so far.
    pub(super) fn all(&self) -> Vec<Mark> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn push(&self, mark: Mark) {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).push(mark);
    }
}

/// One who watches, told by the stages and by the marks.
pub(super) struct Shared<'m, 'w>(pub(super) &'m Mutex<&'w mut dyn Watcher>);

impl Watcher for Shared<'_, '_> {
    fn see(&mut self, progress: &Progress<'_>) {
        // Both tell from the same task, one after the other.
        self.0.lock().unwrap_or_else(PoisonError::into_inner).see(progress);
    }
}

/// Stamps what is said, for as long as the run goes on.
pub(super) async fn stamp(
    said: Option<Said>,
    clock: Clock,
    journal: Journal,
    marks: Marks,
    watcher: &mut dyn Watcher,
) -> Infallible {
    let Some(mut said) = said else { return std::future::pending().await };
    let mut count = 0;
    while let Some(text) = said.recv().await {
        let Some(text) = cleaned(&text) else { continue };
        let at = clock.now();
        count += 1;
        if count > MOST {
            watcher.see(&Progress::Event { at, text: &format!("not marked, after {MOST} marks: {text}") });
            continue;
        }
        let mark = Mark { at, text };
        // After a failed write the stages end by themselves.
        if journal.write(|record| record.mark(&mark)).is_ok() {
            watcher.see(&Progress::Event { at, text: &format!("marked: {}", mark.text) });
            marks.push(mark);
        }
    }
    std::future::pending().await
}

/// Without what is not text; `None`: nothing is left.
fn cleaned(text: &str) -> Option<String> {
    let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let text: String = text.trim().chars().take(LONGEST).collect();
    (!text.is_empty()).then_some(text)
}

#[cfg(test)]
mod tests {
    #[test]
    fn an_empty_line_is_no_mark_and_a_key_that_makes_no_letter_no_letter() {
        assert_eq!(super::cleaned(" \r\n"), None);
        assert_eq!(super::cleaned("flexed\u{1b}[A the corner\n").as_deref(), Some("flexed [A the corner"));
        assert_eq!(super::cleaned(&"x".repeat(1000)).map(|t| t.len()), Some(super::LONGEST));
    }
}
