//! A ramp as the plan says it, and the numbers of its steps: the runner takes them, the
//! record keeps them, and the report reads them back.

use crate::analysis::ramp::Leg;
use crate::units::{Amperes, Seconds, Volts, VoltsPerSecond};

/// A ramp from zero.
#[derive(Clone, Debug)]
pub struct Ramp {
    /// The voltage at its end.
    pub to: Volts,
    /// How fast.
    pub rate: VoltsPerSecond,
    /// The supply's current limit.
    pub limit: Amperes,
    /// One step of the ramp; the runner sets, waits and reads once a step. Where the
    /// plan does not say: what is climbed in 0.2 s, but at least 10 mV.
    pub step: Volts,
    /// How long the end voltage is held and watched; 1 s where the plan does not say.
    pub hold: Seconds,
    /// Current at the end voltage that a good unit draws.
    pub expect: Option<(Amperes, Amperes)>,
    /// Up alone, or back to zero as well.
    pub way: Way,
    /// The good unit that it is compared with, or a run of one: its name, or its path.
    pub good: Option<String>,
}

impl Ramp {
    /// How many steps there are from zero to the end voltage.
    pub fn steps(&self) -> u32 {
        let steps = (self.to / self.step).ceil().clamp(1.0, 1e6);
        // In range by the clamp.
        steps as u32
    }

    /// The voltage of a step up, counted from zero volts.
    pub fn volts(&self, step: u32) -> Volts {
        if step >= self.steps() { self.to } else { self.step * f64::from(step) }
    }

    /// Which leg a step belongs to, and its voltage: up from 0 to n, then the hold, then
    /// down from n - 1 to 0.
    pub fn leg(&self, step: u32) -> (Leg, Volts) {
        let top = self.steps();
        match step.checked_sub(top + 1) {
            None => (Leg::Up, self.volts(step)),
            Some(0) => (Leg::Hold, self.to),
            Some(down) => (Leg::Down, self.volts(top.saturating_sub(down))),
        }
    }

    /// Time for all steps, and for the hold between them.
    pub fn time(&self) -> Seconds {
        let way = self.to / self.rate;
        match self.way {
            Way::Up => way + self.hold,
            Way::UpAndBack => way * 2.0 + self.hold,
        }
    }
}

/// Which way a ramp goes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Way {
    /// From zero to the end voltage.
    #[default]
    Up,
    /// And from there back to zero, at the same rate.
    UpAndBack,
}
