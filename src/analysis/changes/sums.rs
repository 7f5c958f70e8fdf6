//! Sums from the first reading to each, kept as a number and what its rounding lost,
//! so that the difference of two far down a long log is as good as a sum of its own.

/// A sum and its rounding.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Pair {
    high: f64,
    low: f64,
}

impl Pair {
    fn plus(self, value: f64) -> Self {
        // Knuth's two-sum: `high + lost` is exact (TAOCP 2, 4.2.2, theorem B).
        let high = self.high + value;
        let part = high - self.high;
        let lost = (self.high - (high - part)) + (value - part);
        Self { high, low: self.low + lost }
    }

    pub(super) fn less(self, other: Self) -> f64 {
        (self.high - other.high) + (self.low - other.low)
    }
}

/// Count, sum and sum of squares up to a reading, the values taken from their mean.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    pub(super) count: f64,
    pub(super) sum: Pair,
    pub(super) squares: Pair,
}

impl Moments {
    /// Before the first reading and after each.
    pub(super) fn along(values: &[f64]) -> Vec<Moments> {
        let middle = values.iter().sum::<f64>() / values.len().max(1) as f64;
        // Where the sum overflows nothing is taken off.
        let middle = if middle.is_finite() { middle } else { 0.0 };
        let mut at = Moments::default();
        let mut made = Vec::with_capacity(values.len() + 1);
        made.push(at);
        for value in values {
            let value = value - middle;
            at = Moments { count: at.count + 1.0, sum: at.sum.plus(value), squares: at.squares.plus(value * value) };
            made.push(at);
        }
        made
    }

    /// Count, mean and sum of squares about it, of what lies between `from` and here.
    #[inline]
    pub(super) fn since(&self, from: &Moments) -> (f64, f64, f64) {
        let count = self.count - from.count;
        let sum = self.sum.less(from.sum);
        let mean = sum / count;
        (count, mean, (self.squares.less(from.squares) - sum * mean).max(0.0))
    }
}
