//! What an independent source gives over time: a constant, a pulse train, a line
//! through points, a sine; and when it has its next corner.

/// What a source gives, in volts or amperes, over the time in seconds.
#[derive(Clone, Debug, PartialEq)]
pub enum Drive {
    /// The same at all times.
    Constant(f64),
    /// A train of trapezoidal pulses, SPICE's `PULSE`.
    Pulse {
        /// Before the first pulse, and between pulses.
        low: f64,
        /// At the top.
        high: f64,
        /// When the first pulse begins to rise.
        delay: f64,
        /// How long it rises; 0 is a jump.
        rise: f64,
        /// How long it falls; 0 is a jump.
        fall: f64,
        /// How long it stays at the top.
        width: f64,
        /// From pulse to pulse; infinite for a single one.
        period: f64,
    },
    /// Straight lines between points of time and value, constant before the first
    /// and after the last, SPICE's `PWL`. The times ascend.
    Points(Vec<(f64, f64)>),
    /// The same, and after the last point again and again from the time `from` on, which is
    /// one of the points'.
    Repeated {
        /// Time and value; the times ascend.
        points: Vec<(f64, f64)>,
        /// Where each repetition begins.
        from: f64,
    },
    /// A sine that begins at `delay`, SPICE's `SIN`.
    Sine {
        /// About which it swings.
        offset: f64,
        /// By how much.
        amplitude: f64,
        /// Hertz.
        frequency: f64,
        /// Seconds until it begins.
        delay: f64,
        /// By how much it decays, in 1/s.
        damping: f64,
        /// Where in its period it begins, in degrees.
        phase: f64,
    },
}

impl Drive {
    /// The value at a time. At a jump: what it is just after.
    pub fn at(&self, time: f64) -> f64 {
        match self {
            Drive::Constant(value) => *value,
            Drive::Pulse { low, high, delay, rise, fall, width, period } => {
                let since = time - delay;
                if since < 0.0 {
                    return *low;
                }
                let (_, into) = wrap(since, *period);
                if into < *rise {
                    low + (high - low) * into / rise
                } else if into <= rise + width {
                    *high
                } else if into < rise + width + fall {
                    high + (low - high) * (into - rise - width) / fall
                } else {
                    *low
                }
            }
            Drive::Points(points) => along(points, time),
            Drive::Repeated { points, from } => along(points, lap(points, *from, time).1),
            Drive::Sine { offset, amplitude, frequency, delay, damping, phase } => {
                let since = (time - delay).max(0.0);
                let angle = std::f64::consts::TAU * frequency * since + phase.to_radians();
                offset + amplitude * (-damping * since).exp() * angle.sin()
            }
        }
    }

    /// The first moment after `time` at which its slope changes; infinite where none does.
    pub fn corner_after(&self, time: f64) -> f64 {
        // What is nearer than rounding is this corner, not the next.
        let beyond = time + time.abs() * 4.0 * f64::EPSILON;
        match self {
            Drive::Constant(_) => f64::INFINITY,
            Drive::Pulse { delay, rise, fall, width, period, .. } => {
                let (count, _) = wrap((time - delay).max(0.0), *period);
                let corners = [0.0, *rise, rise + width, rise + width + fall];
                for lap in [count, count + 1.0] {
                    let base = if lap > 0.0 { delay + lap * period } else { *delay };
                    if let Some(corner) = corners.iter().filter(|c| **c <= *period).map(|c| base + c).find(|c| *c > beyond) {
                        return corner;
                    }
                }
                f64::INFINITY
            }
            Drive::Points(points) => points.iter().map(|p| p.0).find(|t| *t > beyond).unwrap_or(f64::INFINITY),
            Drive::Repeated { points, from } => {
                let (base, _) = lap(points, *from, time);
                let next = points.iter().map(|p| base + p.0).find(|t| *t > beyond);
                next.unwrap_or(f64::INFINITY)
            }
            Drive::Sine { delay, .. } => {
                if *delay > beyond {
                    *delay
                } else {
                    f64::INFINITY
                }
            }
        }
    }

    /// The longest step over which its curve is still followed, in seconds.
    pub fn longest_step(&self) -> f64 {
        match self {
            Drive::Sine { frequency, damping, .. } => (0.05 / frequency).min(0.3 / damping.abs()),
            _ => f64::INFINITY,
        }
    }
}

/// Straight lines between points, constant beyond them.
fn along(points: &[(f64, f64)], time: f64) -> f64 {
    let after = points.partition_point(|(t, _)| *t <= time);
    match (after.checked_sub(1).and_then(|i| points.get(i)), points.get(after)) {
        (Some((t0, v0)), Some((t1, v1))) => v0 + (v1 - v0) * (time - t0) / (t1 - t0),
        (Some((_, value)), None) | (None, Some((_, value))) => *value,
        (None, None) => 0.0,
    }
}

/// When the points' own time 0 was for the lap that a time lies in, and the time in it.
fn lap(points: &[(f64, f64)], from: f64, time: f64) -> (f64, f64) {
    let last = points.last().map_or(0.0, |p| p.0);
    if time < last * (1.0 - 4.0 * f64::EPSILON) || last <= from {
        return (0.0, time);
    }
    let (count, into) = wrap(time - from, last - from);
    (count * (last - from), from + into)
}

/// Whole periods in `since`, and the rest of it.
fn wrap(since: f64, period: f64) -> (f64, f64) {
    if !(period > 0.0 && period.is_finite()) {
        return (0.0, since);
    }
    let mut count = (since / period).floor();
    // A corner that was computed as delay + count * period must be found at the beginning of its period.
    if (count + 1.0) * period - since <= since.abs() * 4.0 * f64::EPSILON {
        count += 1.0;
    }
    (count, (since - count * period).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pulse_train_visits_its_corners_in_order_and_for_ever() {
        let train = Drive::Pulse { low: 0.0, high: 5.0, delay: 1e-3, rise: 1e-6, fall: 2e-6, width: 1e-4, period: 1e-3 };
        let (mut time, mut corners) = (0.0, Vec::new());
        for _ in 0..4000 {
            time = train.corner_after(time);
            corners.push(time);
        }
        for (i, corner) in corners.iter().enumerate() {
            let lap = f64::from(u32::try_from(i / 4).unwrap());
            let wanted = 1e-3 + lap * 1e-3 + [0.0, 1e-6, 1.01e-4, 1.03e-4][i % 4];
            assert!((corner - wanted).abs() < 1e-12 * wanted.max(1e-3), "{i}: {corner} for {wanted}");
            let value = [0.0, 5.0, 5.0, 0.0][i % 4];
            assert!((train.at(*corner) - value).abs() < 1e-6, "{i}: {} for {value}", train.at(*corner));
        }
    }

    #[test]
    fn repeated_points_begin_again_where_they_are_told_to() {
        let saw = Drive::Repeated { points: vec![(0.0, 0.0), (1.0, 1.0), (3.0, 5.0)], from: 1.0 };
        for (time, value) in [(0.5, 0.5), (2.0, 3.0), (2.9, 4.8), (3.0, 1.0), (4.0, 3.0), (5.0, 1.0), (6.5, 4.0)] {
            assert!((saw.at(time) - value).abs() < 1e-12, "{time}: {}", saw.at(time));
        }
        let mut corners = vec![0.0];
        for _ in 0..5 {
            corners.push(saw.corner_after(corners[corners.len() - 1]));
        }
        assert_eq!(corners, [0.0, 1.0, 3.0, 5.0, 7.0, 9.0]);
    }

    #[test]
    fn a_line_through_points_is_constant_outside_them() {
        let line = Drive::Points(vec![(1.0, 2.0), (2.0, 4.0), (4.0, 0.0)]);
        for (time, value) in [(0.0, 2.0), (1.0, 2.0), (1.5, 3.0), (3.0, 2.0), (4.0, 0.0), (9.0, 0.0)] {
            assert!((line.at(time) - value).abs() < 1e-15);
        }
        assert_eq!(line.corner_after(1.0), 2.0);
        assert_eq!(line.corner_after(4.0), f64::INFINITY);
    }
}
