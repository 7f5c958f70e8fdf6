//! The queue of errors as a device keeps it: first in, first out, of a fixed depth.
//!
//! Holds always: when it is full the newest entry gives way to -350 "Queue
//! overflow", and the older ones stay (SCPI-99 volume 2, 21.8.1).

use super::{ErrorReport, codes};
use std::collections::VecDeque;

/// A device's error queue.
#[derive(Clone, Debug)]
pub struct ErrorQueue {
    depth: usize,
    entries: VecDeque<ErrorReport>,
}

impl ErrorQueue {
    /// A queue for at most `depth` entries; at least one.
    pub fn new(depth: usize) -> ErrorQueue {
        ErrorQueue { depth: depth.max(1), entries: VecDeque::new() }
    }

    /// Adds an entry, or notes that there was no room for it.
    pub fn push(&mut self, report: ErrorReport) {
        if self.entries.len() < self.depth {
            self.entries.push_back(report);
        } else if let Some(newest) = self.entries.back_mut() {
            *newest = ErrorReport::standard(codes::QUEUE_OVERFLOW);
        }
    }

    /// Takes the oldest entry, or 0 "No error".
    pub fn pop(&mut self) -> ErrorReport {
        self.entries.pop_front().unwrap_or_else(|| ErrorReport::standard(codes::NO_ERROR))
    }

    /// Forgets everything, as `*CLS` does.
    pub fn clear(&mut self) {
        self.entries.clear();
    }

    /// How many entries wait.
    pub fn len(&self) -> usize {
        self.entries.len()
    }

    /// Whether none waits.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }
}
