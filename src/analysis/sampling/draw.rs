//! Which positions of a lot to pull: drawn at random, the same for one seed on every
//! machine and in every later version.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::BTreeSet;

/// `sample` of the positions 1 to `lot`, in rising order, each set as likely as any
/// other (Floyd's algorithm; Bentley and Floyd 1987). All of them where the sample
/// is not smaller than the lot.
pub fn positions(lot: u64, sample: u64, seed: u64) -> Vec<u64> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut drawn = BTreeSet::new();
    for last in lot.saturating_sub(sample) + 1..=lot {
        let position = 1 + below(last, &mut random);
        if !drawn.insert(position) {
            drawn.insert(last);
        }
    }
    drawn.into_iter().collect()
}

/// Evenly from 0 to `bound` - 1: what would favour the first ones is drawn again.
fn below(bound: u64, random: &mut ChaCha8Rng) -> u64 {
    let even = u64::MAX - u64::MAX % bound;
    loop {
        let word = random.next_u64();
        if word < even {
            return word % bound;
        }
    }
}
