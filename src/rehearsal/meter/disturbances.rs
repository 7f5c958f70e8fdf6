//! What comes on top of what a meter measures: hum, noise, the drift of its zero.
//!
//! Holds always: hum is integrated over the very time of the measurement; nothing here
//! knows how much of it a line cycle takes out.

use super::MeterDevice;
use crate::instrument::profile::{LINE_CYCLE, Range};
use crate::plan::Hum;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::f64::consts::TAU;

/// Periods of the parts that a drift is made of, in seconds: slow, and none a multiple of another.
const SLOW: [f64; 4] = [311.0, 907.0, 2711.0, 7919.0];

/// What was drawn once and for all.
#[derive(Clone, Debug)]
pub struct Disturbances {
    /// Where in its period the hum was at time 0, in radians.
    hum: f64,
    drift: [f64; 4],
}

impl Disturbances {
    /// Draws phases.
    pub fn drawn(seed: u64) -> Self {
        // Of its own, so that a hum does not change the noise.
        let mut random = ChaCha8Rng::seed_from_u64(seed ^ 0x0048_554D);
        let mut phase = || random.random_range(0.0..TAU);
        Self { hum: phase(), drift: std::array::from_fn(|_| phase()) }
    }

    /// The mean of the hum from one moment to another, as a share of its peak: the integral
    /// of the sine over that time, divided by it.
    fn hum_mean(&self, hum: &Hum, from: f64, to: f64) -> f64 {
        let omega = TAU * hum.frequency.0 * (1.0 + hum.off_by.0);
        let angle = |time: f64| omega * time + self.hum;
        (angle(from).cos() - angle(to).cos()) / (omega * (to - from))
    }

    /// Where the zero has drifted to, between -1 and 1.
    fn drift(&self, time: f64) -> f64 {
        let parts = self.drift.iter().zip(SLOW);
        parts.map(|(phase, period)| (TAU * time / period + phase).sin()).sum::<f64>() / SLOW.len() as f64
    }
}

impl MeterDevice {
    /// The hum's mean over a measurement, in the unit of what is measured.
    pub(super) fn hum(&self, from: f64, to: f64) -> f64 {
        let Some(hum) = self.quirks.hum.filter(|_| to > from) else { return 0.0 };
        let peak = if self.measures_voltage { hum.voltage.0 } else { hum.current.0 };
        peak * self.disturbances.hum_mean(&hum, from, to)
    }

    /// What it shows for nothing at its input, on a range.
    pub(super) fn zero(&self, range: &Range, time: f64) -> f64 {
        self.quirks.zero.drift.0 * range.full * self.disturbances.drift(time)
    }

    /// The noise of one measurement: white, so that it falls with the root of the time.
    pub(super) fn noise(&mut self, range: &Range) -> f64 {
        let share = (LINE_CYCLE.0 / self.aperture()).sqrt();
        match self.quirks.noise.0 {
            rms if rms > 0.0 => rms * range.full * share * self.normal(),
            _ => self.random.random_range(-1.0..1.0) * 0.2 * range.accuracy.half_width(0.0, range.full) * share,
        }
    }

    /// A draw from the standard normal distribution (Box and Muller).
    fn normal(&mut self) -> f64 {
        let (radius, angle): (f64, f64) = (self.random.random_range(f64::MIN_POSITIVE..1.0), self.random.random_range(0.0..TAU));
        (-2.0 * radius.ln()).sqrt() * angle.cos()
    }
}
