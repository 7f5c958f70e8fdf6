//! `traffic.log`: every message in both directions, with its time.

use super::{RecordError, TRAFFIC};
use crate::clock::Clock;
use crate::instrument::Role;
use crate::link::trace::{Direction, Escaped, TrafficSink};
use crate::units::Seconds;
use std::fs::{File, OpenOptions};
use std::io::{BufWriter, Write};
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// A traffic log. One line a message: seconds, role, direction, the message with
/// control characters escaped.
pub struct TrafficLog {
    file: Mutex<BufWriter<File>>,
}

impl TrafficLog {
    /// Begins one in a run's folder.
    ///
    /// # Errors
    /// The system's; one that exists already is not written over.
    pub fn create(folder: &Path) -> Result<Self, RecordError> {
        Self::open(folder, OpenOptions::new().write(true).create_new(true))
    }

    /// Goes on with the one in a run's folder.
    ///
    /// # Errors
    /// The system's.
    pub fn append(folder: &Path) -> Result<Self, RecordError> {
        Self::open(folder, OpenOptions::new().append(true).create(true))
    }

    fn open(folder: &Path, how: &OpenOptions) -> Result<Self, RecordError> {
        let path = folder.join(TRAFFIC);
        let file = how.open(&path).map_err(RecordError::file(&path))?;
        Ok(Self { file: Mutex::new(BufWriter::with_capacity(1 << 16, file)) })
    }

    /// Notes a message.
    ///
    /// A line that cannot be written is lost; the record, which is what the
    /// findings rest on, reports a full disk by itself.
    pub fn message(&self, at: Seconds, role: &str, direction: Direction, bytes: &[u8]) {
        let mark = match direction {
            Direction::Sent => '>',
            Direction::Received => '<',
            Direction::ThrownAway => 'x',
            Direction::Failed => '!',
        };
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        // Whole microseconds are written much faster than a float of six decimals.
        let micros = (at.0 * 1e6).round().max(0.0) as u64;
        let (seconds, rest) = (micros / 1_000_000, micros % 1_000_000);
        if writeln!(file, "{seconds}.{rest:06} {role} {mark} {}", Escaped(bytes)).is_err() {
            tracing::warn!("a line of traffic.log was lost");
        }
    }

    /// Hands everything so far to the system.
    pub fn flush(&self) {
        if self.file.lock().unwrap_or_else(PoisonError::into_inner).flush().is_err() {
            tracing::warn!("traffic.log could not be written");
        }
    }
}

/// One instrument's entrance to the log: adds its role and the time.
pub struct RoleTraffic {
    /// The log.
    pub log: Arc<TrafficLog>,
    /// The run's clock.
    pub clock: Clock,
    /// Whose messages these are.
    pub role: Role,
}

impl TrafficSink for RoleTraffic {
    fn message(&self, direction: Direction, bytes: &[u8]) {
        self.log.message(self.clock.now(), self.role.name(), direction, bytes);
    }
}
