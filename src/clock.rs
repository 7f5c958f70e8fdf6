//! Bench time: seconds since the run began, and waiting in it.
//!
//! All waiting and all timing goes through here and so through `tokio::time`:
//! with the runtime's clock paused, hours pass in seconds. Against stand-ins
//! over real sockets a pace may make bench time run faster than real time;
//! deadlines on answers stay in real time, since the kernel does not hurry.

use crate::units::Seconds;
use tokio::time::{Duration, Instant};

/// The clock of a run. Copies tell the same time.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    start: Instant,
    /// Bench time at `start`.
    origin: Seconds,
    pace: f64,
}

impl Clock {
    /// Starts at zero, now. `pace` is how many seconds of bench time pass in a
    /// second; anything but a number above zero counts as 1.
    pub fn start(pace: f64) -> Self {
        Self::start_at(Seconds(0.0), pace)
    }

    /// Starts at `origin`, now: for a run that goes on.
    pub fn start_at(origin: Seconds, pace: f64) -> Self {
        let pace = if pace.is_finite() && pace > 0.0 { pace } else { 1.0 };
        Self { start: Instant::now(), origin, pace }
    }

    /// Seconds since the start.
    pub fn now(&self) -> Seconds {
        self.origin + Seconds(self.start.elapsed().as_secs_f64() * self.pace)
    }

    /// Waits for a span of bench time.
    pub async fn sleep(&self, span: Seconds) {
        if span.0 > 0.0 {
            tokio::time::sleep(self.real(span)).await;
        }
    }

    /// Waits until a moment of bench time; returns at once if it has passed.
    pub async fn sleep_until(&self, moment: Seconds) {
        tokio::time::sleep_until(self.start + self.real(moment - self.origin)).await;
    }

    /// The real span that a span of bench time takes.
    pub fn real(&self, span: Seconds) -> Duration {
        Seconds(span.0 / self.pace).duration()
    }

    /// The deadline for an answer that may take `timeout`.
    pub fn deadline(&self, timeout: Seconds) -> Instant {
        Instant::now() + timeout.duration()
    }
}
