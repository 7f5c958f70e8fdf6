//! What a change must explain to be one: the noise, and a multiple of log n.
//!
//! The noise is taken from differences of neighbouring readings by medians, so that
//! changes of level, as long as fewer than a quarter of the readings stand beside one,
//! do not count as noise. Readings that hang together (hum, ripple, averaging in the
//! meter) wander in runs that look like levels: the penalty then grows with the variance
//! of a mean over a long time, and not with that of one reading.

/// The noise of a series of readings, apart from its changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Standard deviation of one reading, in the values' unit.
    pub deviation: f64,
    /// Correlation of neighbouring readings (AR(1)), from 0 to [`MOST`].
    pub correlation: f64,
}

/// The largest correlation that is reckoned with: beyond, noise and change cannot be
/// told apart by readings so close together.
pub const MOST: f64 = 0.95;

/// So many times log n is the penalty of one change, in variances of the noise. Two, for
/// a place and a level, is Schwarz's criterion (Yao, Statist. Probab. Lett. 6, 1988);
/// three keeps false changes rare for short series too.
pub const TIMES_LOG: f64 = 3.0;

/// A difference of neighbours of so many standard deviations of such differences.
const CERTAIN: f64 = 15.0;

/// Median of a normal distribution's absolute value, in standard deviations.
const MEDIAN_OF_NORMAL: f64 = 0.674_489_750_196_081_7;

impl Noise {
    /// Variance that the mean of n readings has, times n: (1 + r) / (1 - r) times the
    /// variance of one (AR(1); Box, Jenkins and Reinsel, Time Series Analysis).
    pub fn long_run_variance(&self) -> f64 {
        self.deviation * self.deviation * (1.0 + self.correlation) / (1.0 - self.correlation)
    }
}

/// The noise, by medians of differences at distance one and two (Chakar, Lebarbier,
/// Levy-Leduc and Robin, Bernoulli 23, 2017): the second over the first, squared, is
/// 1 + r. `floor` is the standard deviation that the instrument's resolution alone makes.
/// A correlation that so few readings cannot tell from none counts as none.
/// `None` for fewer than four readings.
pub fn noise(values: &[f64], floor: f64) -> Option<Noise> {
    if values.len() < 4 {
        return None;
    }
    let spread = |mut differences: Vec<f64>| -> f64 {
        let middle = differences.len() / 2;
        if middle == 0 {
            return 0.0;
        }
        let (_, median, _) = differences.select_nth_unstable_by(middle, f64::total_cmp);
        (*median / MEDIAN_OF_NORMAL).max(2f64.sqrt() * floor)
    };
    let one = spread(values.windows(2).map(|w| (w[1] - w[0]).abs()).collect());
    // A neighbour so far away is a change for certain, and no noise: across one nothing is
    // learnt of how readings hang together.
    let near = |a: f64, b: f64| (b - a).abs() <= CERTAIN * one;
    let two = spread(values.windows(3).filter(|w| near(w[0], w[1]) && near(w[1], w[2])).map(|w| (w[2] - w[0]).abs()).collect());
    if one <= 0.0 {
        return Some(Noise { deviation: floor.max(0.0), correlation: 0.0 });
    }
    let correlation = ((two / one).powi(2) - 1.0).clamp(0.0, MOST);
    Some(Noise { deviation: one / (2.0 * (1.0 - correlation)).sqrt(), correlation })
}

/// The penalty for a change of the mean in a series of so many readings.
pub fn penalty(noise: &Noise, length: usize) -> f64 {
    TIMES_LOG * noise.long_run_variance() * (length.max(2) as f64).ln()
}
