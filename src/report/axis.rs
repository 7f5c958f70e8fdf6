//! Axes: from values to places in a picture, and the ticks between.

use crate::units::{Unit, engineering};

/// How values are spread along an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Scale {
    /// Evenly.
    Linear,
    /// Evenly in their logarithm.
    Log,
    /// Evenly in days since 1970-01-01, with dates as ticks.
    Days,
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
        let usable = |v: &f64| v.is_finite() && (scale != Scale::Log || *v > 0.0);
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
            Scale::Days => {
                // A day before and after, so that a single one stands in the middle.
                (low, high) = (low.floor() - 1.0, high.ceil() + 1.0);
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
            Scale::Linear | Scale::Days => (value - self.low) / (self.high - self.low),
            Scale::Log if value > 0.0 => (value / self.low).log10() / (self.high / self.low).log10(),
            Scale::Log => 0.0,
        };
        self.from + share.clamp(0.0, 1.0) * (self.to - self.from)
    }

    /// Places and labels of the ticks.
    pub(super) fn ticks(&self) -> Vec<(f64, String)> {
        if self.scale == Scale::Days {
            return dates(self.low, self.high).into_iter().map(|(day, label)| (self.place(day), label)).collect();
        }
        let values: Vec<f64> = match self.scale {
            Scale::Days => Vec::new(),
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
                    Scale::Log | Scale::Days => 0.0,
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

/// Days at which a date stands, at most seven: days, or beginnings of months and years.
fn dates(low: f64, high: f64) -> Vec<(f64, String)> {
    use jiff::{ToSpan, civil};
    const MOST: f64 = 6.0;
    let epoch = civil::date(1970, 1, 1);
    // What is no date makes no ticks.
    let date = |day: f64| epoch.checked_add(jiff::Span::new().try_days(day as i64)?);
    let days = |d: civil::Date| d.duration_since(epoch).as_secs() as f64 / 86_400.0;
    let (Ok(mut at), span) = (date(low.ceil()), high - low) else { return Vec::new() };
    let (step, form) = if span <= 60.0 {
        let step = [1, 2, 7, 14].into_iter().find(|step| span / f64::from(*step) <= MOST).unwrap_or(14);
        (step.days(), "%Y-%m-%d")
    } else {
        let step = [1, 2, 3, 6, 12, 24, 60, 120].into_iter().find(|m| span / 30.0 / f64::from(*m) <= MOST).unwrap_or(1200);
        (step.months(), "%Y-%m")
    };
    if form == "%Y-%m" && at.day() > 1 {
        at = at.last_of_month().tomorrow().unwrap_or(at);
    }
    let mut made = Vec::new();
    while days(at) <= high && made.len() < 20 {
        made.push((days(at), at.strftime(form).to_string()));
        match at.checked_add(step) {
            Ok(next) => at = next,
            Err(_) => break,
        }
    }
    made
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
    fn an_axis_of_days_has_dates() {
        let days = |from: f64, to: f64| labels(&Axis::over("date", None, Scale::Days, [from, to].into_iter(), 0.0, 100.0));
        // 20,000 days after 1970-01-01 is 2024-10-04.
        assert_eq!(days(20_000.5, 20_002.0), ["2024-10-03", "2024-10-04", "2024-10-05", "2024-10-06", "2024-10-07"]);
        assert_eq!(days(20_000.0, 20_150.0), ["2024-11", "2024-12", "2025-01", "2025-02", "2025-03"]);
        assert_eq!(days(20_000.0, 20_700.0).len(), 4);
    }

    #[test]
    fn nothing_at_all_still_makes_an_axis() {
        for scale in [Scale::Linear, Scale::Log, Scale::Days] {
            for values in [vec![], vec![f64::NAN], vec![3.0], vec![0.0], vec![5.0, 5.0], vec![1e300, -1e300]] {
                let axis = Axis::over("x", None, scale, values.into_iter(), 0.0, 100.0).tight();
                assert!(axis.ticks().len() < 45 && axis.place(3.0).is_finite());
            }
        }
    }
}
