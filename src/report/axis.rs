//! Axes: from values to places in a picture, and the ticks between.

use crate::units::{Unit, engineering};

/// How values are spread along an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scale {
    /// Evenly.
    Linear,
    /// Evenly in their logarithm.
    Log,
}

/// One axis.
#[derive(Clone, Debug)]
pub(super) struct Axis {
    pub(super) label: String,
    scale: Scale,
    unit: Option<Unit>,
    low: f64,
    high: f64,
    /// The values' own ends.
    least: f64,
    most: f64,
    from: f64,
    to: f64,
}

impl Axis {
    /// From `from` to `to` in picture units, over all of `values`.
    pub(super) fn over(
        label: &str,
        unit: Option<Unit>,
        scale: Scale,
        values: impl Iterator<Item = f64>,
        from: f64,
        to: f64,
    ) -> Self {
        let usable = |v: &f64| v.is_finite() && (scale == Scale::Linear || *v > 0.0);
        let (mut low, mut high) =
            values.filter(usable).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        if low > high {
            (low, high) = if scale == Scale::Log { (1e-6, 1e-3) } else { (0.0, 1.0) };
        }
        let most = high;
        let least = if low > 0.0 && low < 0.8 * high { 0.0 } else { low };
        match scale {
            Scale::Linear => {
                // Zero belongs on the axis unless the values lie far from it.
                if low > 0.0 && low < 0.8 * high {
                    low = 0.0;
                }
                let step = step((high - low).max(high.abs() * 1e-3).max(1e-15));
                low = (low / step).floor() * step;
                high = (high / step).ceil() * step;
                if high <= low {
                    high = low + step;
                }
            }
            Scale::Log => {
                low = 10f64.powf(low.log10().floor());
                high = 10f64.powf(high.log10().ceil());
                if high <= low {
                    high = low * 10.0;
                }
            }
        }
        Self { label: label.to_owned(), scale, unit, low, high, least, most, from, to }
    }

    /// Ends where the values end, not at a tick: for what runs along time or number.
    pub(super) fn tight(mut self) -> Self {
        if self.scale == Scale::Linear && self.most > self.least {
            (self.low, self.high) = (self.least, self.most);
        }
        self
    }

    /// The lowest and the highest value on it.
    pub(super) fn ends(&self) -> (f64, f64) {
        (self.low, self.high)
    }

    /// Where a value stands; what is off the axis stands at its end.
    pub(super) fn place(&self, value: f64) -> f64 {
        let share = match self.scale {
            Scale::Linear => (value - self.low) / (self.high - self.low),
            Scale::Log if value > 0.0 => (value / self.low).log10() / (self.high / self.low).log10(),
            Scale::Log => 0.0,
        };
        self.from + share.clamp(0.0, 1.0) * (self.to - self.from)
    }

    /// Places and labels of the ticks.
    pub(super) fn ticks(&self) -> Vec<(f64, String)> {
        let values: Vec<f64> = match self.scale {
            Scale::Linear => {
                let step = step(self.high - self.low);
                let first = (self.low / step - 1e-9).ceil() * step;
                (0..=20).map(|i| first + f64::from(i) * step).take_while(|v| *v <= self.high + step * 1e-9).collect()
            }
            Scale::Log => {
                let (first, last) = (self.low.log10().round(), self.high.log10().round());
                let stride = ((last - first) / 8.0).ceil().max(1.0);
                (0..40).map(|i| first + f64::from(i) * stride).take_while(|e| *e <= last).map(|e| 10f64.powf(e)).collect()
            }
        };
        values.into_iter().map(|v| (self.place(v), self.spell(v))).collect()
    }

    fn spell(&self, value: f64) -> String {
        // Steps of 1, 2 and 5 leave at most a few digits; what is beyond is rounding.
        let rounded = if value.abs() < (self.high - self.low).abs() * 1e-9 { 0.0 } else { value };
        match self.unit {
            Some(unit) => {
                // As many digits as tell neighbouring ticks apart.
                let apart = match self.scale {
                    Scale::Linear => (rounded.abs() / step(self.high - self.low)).log10().ceil().clamp(0.0, 12.0),
                    Scale::Log => 0.0,
                };
                let text = engineering(rounded, unit, (apart as usize + 1).max(4));
                let (number, symbol) = text.split_once(' ').unwrap_or((&text, ""));
                let number = if number.contains('.') { number.trim_end_matches('0').trim_end_matches('.') } else { number };
                format!("{number} {symbol}")
            }
            None => format!("{rounded:.0}"),
        }
    }
}

/// A step of 1, 2 or 5 times a power of ten that makes about five ticks.
fn step(span: f64) -> f64 {
    let raw = span / 5.0;
    let power = 10f64.powf(raw.log10().floor());
    let share = raw / power;
    power
        * if share <= 1.0 {
            1.0
        } else if share <= 2.0 {
            2.0
        } else if share <= 5.0 {
            5.0
        } else {
            10.0
        }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<String> {
        axis.ticks().into_iter().map(|(_, label)| label).collect()
    }

    #[test]
    fn ticks_are_round_and_lie_where_their_values_do() {
        let axis = Axis::over("current", Some(Unit::Ampere), Scale::Linear, [0.0, 12.3e-3].into_iter(), 0.0, 100.0);
        assert_eq!(labels(&axis), ["0 A", "5 mA", "10 mA", "15 mA"]);
        assert_eq!((axis.place(0.0), axis.place(7.5e-3), axis.place(15e-3)), (0.0, 50.0, 100.0));
    }

    #[test]
    fn ticks_close_together_are_told_apart() {
        let axis = Axis::over("current", Some(Unit::Ampere), Scale::Linear, [11.9991e-3, 12.0012e-3].into_iter(), 0.0, 100.0);
        assert_eq!(labels(&axis), ["11.996 mA", "11.998 mA", "12 mA", "12.002 mA", "12.004 mA"]);
    }

    #[test]
    fn a_logarithmic_axis_has_decades() {
        let axis = Axis::over("current", Some(Unit::Ampere), Scale::Log, [2e-6, 0.0, -1.0, 3e-3].into_iter(), 0.0, 80.0);
        assert_eq!(labels(&axis), ["1 uA", "10 uA", "100 uA", "1 mA", "10 mA"]);
        assert!((axis.place(1e-4) - 40.0).abs() < 1e-9);
        assert_eq!((axis.place(0.0), axis.place(1.0)), (0.0, 80.0), "what is off the axis stands at its end");
    }

    #[test]
    fn nothing_at_all_still_makes_an_axis() {
        for scale in [Scale::Linear, Scale::Log] {
            for values in [vec![], vec![f64::NAN], vec![3.0], vec![0.0], vec![5.0, 5.0], vec![1e300, -1e300]] {
                let axis = Axis::over("x", None, scale, values.into_iter(), 0.0, 100.0).tight();
                assert!(axis.ticks().len() < 45 && axis.place(3.0).is_finite());
            }
        }
    }
}
