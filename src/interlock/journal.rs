//! The record, shared by those who write into it during a run, and committed in
//! time: 50 ms after a row was written (a rehearsal: 100 ms), even when nothing else
//! happens meanwhile.

use crate::clock::Clock;
use crate::record::{Durability, Record, RecordError, TrafficLog};
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::Notify;

/// Longest that a row stays uncommitted in a run: half of what is promised, since a disk
/// takes its time; and in a rehearsal, whose time stands still while the disk does.
const COMMIT_AFTER: [std::time::Duration; 2] = [std::time::Duration::from_millis(50), std::time::Duration::from_millis(100)];

/// A handle on the record; copies write into the same.
#[derive(Clone)]
pub struct Journal {
    record: Arc<Mutex<Record>>,
    traffic: Arc<TrafficLog>,
    written: Arc<Notify>,
    clock: Clock,
    /// Commits beside the run's own thread: it must not wait for a disk while a reading
    /// may come that switches off. In virtual time nothing waits.
    aside: bool,
}

impl Journal {
    /// Shares a record and the traffic log beside it.
    pub fn new(record: Record, traffic: Arc<TrafficLog>, clock: Clock) -> Self {
        let aside = record.durability() == Durability::Full;
        Self { record: Arc::new(Mutex::new(record)), traffic, written: Arc::new(Notify::new()), clock, aside }
    }

    /// Writes through `write`.
    ///
    /// # Errors
    /// The record's; after one, every later call gives it again.
    pub fn write<T>(&self, write: impl FnOnce(&mut Record) -> Result<T, RecordError>) -> Result<T, RecordError> {
        // A panic while writing leaves SQLite's transaction whole: what it holds is still true.
        let mut record = self.record.lock().unwrap_or_else(PoisonError::into_inner);
        let result = write(&mut record);
        drop(record);
        self.written.notify_one();
        result
    }

    /// Notes an event, with the time that it is now.
    ///
    /// # Errors
    /// The record's.
    pub fn event(&self, kind: &str, text: &str) -> Result<(), RecordError> {
        let now = self.clock.now();
        self.write(|record| record.event(now, kind, text))
    }

    /// Commits whenever something has been written and its time has passed. Never
    /// returns; run it beside the work.
    pub async fn keep_committed(self) {
        let after = if self.aside { COMMIT_AFTER[0] } else { COMMIT_AFTER[1] };
        loop {
            self.written.notified().await;
            tokio::time::sleep(after).await;
            let committed = if self.aside {
                let journal = self.clone();
                // A thread that is gone has committed nothing; the next writer finds out why.
                tokio::task::spawn_blocking(move || journal.commit()).await.unwrap_or(Ok(()))
            } else {
                self.traffic.flush();
                self.record.lock().unwrap_or_else(PoisonError::into_inner).commit_soon()
            };
            // An error latches in the record: the next writer gets it and stops the run.
            if committed.is_err() {
                return;
            }
        }
    }

    /// Commits now, the traffic log with it.
    ///
    /// # Errors
    /// The record's.
    pub fn commit(&self) -> Result<(), RecordError> {
        self.traffic.flush();
        self.record.lock().unwrap_or_else(PoisonError::into_inner).commit()
    }
}
