//! Noise at a supply's terminals, drawn only where somebody looks.
//!
//! White noise of rms s over the bandwidth B is told by 2 B values a second; its mean
//! over a span T has the rms s / sqrt(2 B T) (Nyquist's sampling theorem, and the
//! variance of a mean). So the circuit is given the noise in levels that become longer,
//! sixteenfold each, the longer ago they are, each the mean over its span: what is seen now
//! has the whole noise, a mean over a while has what is left of it, and an hour at which
//! nobody looked costs half a dozen levels.
//!
//! Holds always: one seed and one sequence of looks give one noise.

use super::electrics::Noise;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Each level is as many times as long as the one after it.
const COARSER: f64 = 16.0;

/// The noise of an output.
#[derive(Debug)]
pub struct Hiss {
    rms: f64,
    /// How long a value lasts at the full bandwidth.
    span: f64,
    random: ChaCha8Rng,
    /// Since when the present level is there.
    drawn: f64,
}

impl Hiss {
    pub fn new(noise: Noise, seed: u64) -> Self {
        let random = ChaCha8Rng::seed_from_u64(seed);
        Self { rms: noise.rms, span: 0.5 / noise.bandwidth, random, drawn: f64::NEG_INFINITY }
    }

    /// The levels between two looks: from when each is there, and its volts. None where
    /// the last one lasts.
    pub fn levels(&mut self, from: f64, to: f64) -> Vec<(f64, f64)> {
        let from = from.max(self.drawn + self.span);
        let mut edges = Vec::new();
        let (mut at, mut length) = (to, self.span);
        while at > from {
            let begins = (at - length).max(from);
            edges.push((begins, (at - begins).max(self.span)));
            (at, length) = (begins, length * COARSER);
        }
        // The level that is there lasts until the first of them.
        self.drawn = edges.first().map_or(self.drawn, |(at, _)| *at);
        edges.into_iter().rev().map(|(at, length)| (at, self.rms * (self.span / length).sqrt() * self.normal())).collect()
    }

    /// A standard normal value, by the polar method (Knuth, "The Art of Computer
    /// Programming", volume 2, 3.4.1 C, algorithm P).
    fn normal(&mut self) -> f64 {
        loop {
            let (a, b): (f64, f64) = (self.random.random_range(-1.0..1.0), self.random.random_range(-1.0..1.0));
            let s = a * a + b * b;
            if s > 0.0 && s < 1.0 {
                return a * (-2.0 * s.ln() / s).sqrt();
            }
        }
    }
}
