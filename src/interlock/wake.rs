//! Noticing that the computer slept, or that its clock was set: the wall clock, the
//! monotonic clock and the boot clock are compared at every look.

use crate::sys::Times;
use crate::units::Seconds;
use std::sync::Arc;

/// Clocks that disagree by less than this were merely read one after the other.
const SLEPT: f64 = 0.5;
/// A wall clock that is moved by less is being kept in time.
const SET: f64 = 2.0;

/// Where the clocks are read: the computer's, or a test's.
pub type Clocks = Arc<dyn Fn() -> Times + Send + Sync>;

/// Compares the clocks.
pub struct Wake {
    clocks: Clocks,
    last: Times,
    slept: Seconds,
}

/// What the clocks show since the last time that they were compared.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Shown {
    /// The computer slept for so long.
    pub slept: Option<Seconds>,
    /// The wall clock was moved by so much.
    pub set: Option<Seconds>,
}

impl Wake {
    /// Begins now.
    pub fn new(clocks: Clocks) -> Self {
        let last = clocks();
        Self { clocks, last, slept: Seconds(0.0) }
    }

    /// Compares them.
    pub fn look(&mut self) -> Shown {
        let now = (self.clocks)();
        let passed = |clock: fn(&Times) -> f64| clock(&now) - clock(&self.last);
        let (monotonic, boot, wall) = (passed(|t| t.monotonic), passed(|t| t.boot), passed(|t| t.wall));
        self.last = now;
        // To a tenth: the clocks are read one after the other.
        let tenths = |seconds: f64| Seconds((seconds * 10.0).round() / 10.0);
        let slept = Some(tenths(boot - monotonic)).filter(|s| s.0 > SLEPT);
        self.slept = self.slept + slept.unwrap_or_default();
        Shown { slept, set: Some(tenths(wall - boot)).filter(|s| s.0.abs() > SET) }
    }

    /// How long it has slept in all, as far as has been seen.
    pub fn slept(&self) -> Seconds {
        self.slept
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    #[test]
    fn sleep_and_a_clock_that_is_set_are_told_apart() {
        let now = Arc::new(Mutex::new(Times { monotonic: 0.0, boot: 1000.0, wall: 1e9 }));
        let read = now.clone();
        let mut wake = Wake::new(Arc::new(move || *read.lock().unwrap()));
        let mut after = |monotonic: f64, boot: f64, wall: f64| {
            let mut t = now.lock().unwrap();
            *t = Times { monotonic: t.monotonic + monotonic, boot: t.boot + boot, wall: t.wall + wall };
            drop(t);
            wake.look()
        };
        assert_eq!(after(10.0, 10.0, 10.0), Shown::default());
        assert_eq!(after(1.0, 1.001, 1.4), Shown::default(), "a clock that is kept in time");
        assert_eq!(after(1.0, 61.0, 61.0), Shown { slept: Some(Seconds(60.0)), set: None });
        assert_eq!(after(1.0, 1.0, -3599.0), Shown { slept: None, set: Some(Seconds(-3600.0)) });
        assert_eq!(after(1.0, 11.0, 3611.0), Shown { slept: Some(Seconds(10.0)), set: Some(Seconds(3600.0)) });
        assert_eq!(wake.slept(), Seconds(70.0));
    }
}
