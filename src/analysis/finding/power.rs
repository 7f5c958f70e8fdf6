//! What a log says, in sentences.

use super::{Figure, Finding, Severity, three};
use crate::analysis::Level;
use crate::analysis::series::{self, Point};
use crate::units::{Amperes, Seconds, Unit, engineering, with_uncertainty};

pub(super) type Band = (Amperes, Amperes);

pub(super) fn band(expect: Band) -> String {
    format!("{} to {}", expect.0, expect.1)
}

/// How a current stands to what is expected.
pub(super) fn stands(level: Level, expect: Band) -> Severity {
    match level {
        Level::Known { value, u } if value.0 - 2.0 * u.0 > expect.1.0 || value.0 + 2.0 * u.0 < expect.0.0 => Severity::Anomaly,
        Level::Known { value, u } if value.0 - 2.0 * u.0 >= expect.0.0 && value.0 + 2.0 * u.0 <= expect.1.0 => Severity::Note,
        Level::Known { .. } => Severity::Undecided,
        Level::BelowFloor { floor } if floor <= expect.0 => Severity::Anomaly,
        Level::BelowFloor { .. } | Level::Missing => Severity::Undecided,
        Level::Overload => Severity::Anomaly,
    }
}

/// Of a log: the mean and its spread, what was outside, what was missing.
pub fn log(points: &[Point], expect: Option<Band>, length: Seconds) -> Vec<Finding> {
    let summary = series::summarise(points);
    let mut made = Vec::new();
    let all = points.len();
    if summary.missing * 10 > all || all == 0 {
        let sentence = format!("{} of {all} readings of the log are missing.", summary.missing);
        made.push(
            Finding::new("log-gaps", Severity::Undecided, sentence)
                .advise("Look at traffic.log for late or garbled answers; widen the profile's gap or time-out."),
        );
    }
    let outside = expect.map_or(0, |e| series::outside(points, e));
    match (summary.mean, summary.u) {
        (Some(mean), Some(u)) if summary.values >= 2 => {
            let sd = summary.deviation.unwrap_or(Amperes(0.0));
            let expanded = 2.0 * u.0.hypot(sd.0 / (summary.values as f64).sqrt());
            let (least, most) = (summary.least.map_or(mean, |l| l.0), summary.most.map_or(mean, |m| m.0));
            let severity = if outside > 0 { Severity::Anomaly } else { Severity::Note };
            let judged = match expect {
                Some(e) if outside == 0 => format!(", all within the expected {}", band(e)),
                Some(e) => format!("; {outside} of {all} readings lie outside the expected {}", band(e)),
                None => String::new(),
            };
            let sentence = format!(
                "Over {length} the unit drew {} on average (least {}, most {}){judged}.",
                with_uncertainty(mean.0, expanded, Unit::Ampere),
                three(least.0, Unit::Ampere),
                three(most.0, Unit::Ampere)
            );
            let code = if outside > 0 { "log-outside" } else { "log-current" };
            let mut finding = Finding::new(code, severity, sentence)
                .figure(Figure::quantity("mean current", mean.0, Unit::Ampere, Some(expanded)))
                .figure(Figure::quantity("standard deviation", sd.0, Unit::Ampere, None))
                .figure(Figure::quantity("charge", summary.charge.0, Unit::Coulomb, None))
                .figure(Figure::count("readings", summary.values as u64));
            if outside > 0 {
                finding = finding
                    .advise("Look at the plot for when: a step, a burst that repeats, or a slow rise point to different causes.");
            }
            made.push(finding);
        }
        _ if summary.below_floor * 2 > all => {
            let floor = points.iter().find_map(|p| match p.current {
                Level::BelowFloor { floor } => Some(floor),
                _ => None,
            });
            let floor = floor.map_or("its floor".into(), |f| f.to_string());
            let severity = if expect.is_some() { Severity::Anomaly } else { Severity::Undecided };
            let sentence = format!(
                "In {} of {all} readings the current is below {floor} and cannot be told from zero with this instrument: the unit may be asleep or without power.",
                summary.below_floor
            );
            made.push(Finding::new("log-below-floor", severity, sentence).advise(
                "Put a meter in series on a low range, or measure a regulator's output with the meter in volts, to tell asleep from dead.",
            ));
        }
        _ => {}
    }
    if summary.overload > 0 {
        let sentence = format!("{} of {all} readings are beyond the meter's range.", summary.overload);
        made.push(
            Finding::new("log-overload", Severity::Anomaly, sentence).figure(Figure::count("overload", summary.overload as u64)),
        );
    }
    made
}

/// Used by the start findings, too.
pub(super) fn spelled(value: f64, unit: Unit) -> String {
    engineering(value, unit, 3)
}
