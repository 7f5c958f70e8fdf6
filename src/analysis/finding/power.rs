//! What a ramp and a log say, in sentences.

use super::{Figure, Finding, Severity, three};
use crate::analysis::series::{self, Point};
use crate::analysis::{Level, ramp};
use crate::units::{Amperes, Seconds, Unit, Volts, engineering, with_uncertainty};

type Band = (Amperes, Amperes);

fn band(expect: Band) -> String {
    format!("{} to {}", expect.0, expect.1)
}

/// How a current stands to what is expected.
fn stands(level: Level, expect: Band) -> Severity {
    match level {
        Level::Known { value, u } if value.0 - 2.0 * u.0 > expect.1.0 || value.0 + 2.0 * u.0 < expect.0.0 => Severity::Anomaly,
        Level::Known { value, u } if value.0 - 2.0 * u.0 >= expect.0.0 && value.0 + 2.0 * u.0 <= expect.1.0 => Severity::Note,
        Level::Known { .. } => Severity::Undecided,
        Level::BelowFloor { floor } if floor <= expect.0 => Severity::Anomaly,
        Level::BelowFloor { .. } | Level::Missing => Severity::Undecided,
        Level::Overload => Severity::Anomaly,
    }
}

/// Of a ramp: the current at its end against what is expected, limiting, jumps.
/// `at_end` is the current while the end voltage was held.
pub fn ramp(summary: &ramp::Summary, at_end: Level, to: Volts, limit: Amperes, expect: Option<Band>) -> Vec<Finding> {
    let mut made = Vec::new();
    if let Some(at) = summary.limited_at {
        let sentence = format!("During the ramp the supply limited the current at {limit}, from {} on.", three(at.0, Unit::Volt));
        made.push(Finding::new("ramp-limited", Severity::Anomaly, sentence).advise(
            "A short or a near-short draws from zero volts on: look for heat, and do not raise the limit to make it go away. A switching converter may stick under a slow ramp: try a plain start with a limit of two to three times its running current.",
        ));
    }
    let first = summary.first_current.map_or("no current that can be told from zero was seen".into(), |v| {
        format!("current can be told from zero from {} on", three(v.0, Unit::Volt))
    });
    let (severity, judged) = match expect {
        Some(expect) => {
            let severity = stands(at_end, expect);
            let words = match severity {
                Severity::Note => "within the expected",
                Severity::Anomaly => "outside the expected",
                Severity::Undecided => "cannot be decided against the expected",
            };
            (severity, format!(", {words} {}", band(expect)))
        }
        None => (Severity::Note, String::new()),
    };
    let code = match severity {
        Severity::Note => "ramp-current",
        Severity::Anomaly => "ramp-unexpected",
        Severity::Undecided => "ramp-undecided",
    };
    let mut finding =
        Finding::new(code, severity, format!("At {to}, the end of the ramp, the unit draws {at_end}{judged}; {first}."));
    if let Level::Known { value, u } = at_end {
        finding = finding.figure(Figure::quantity("current at the end", value.0, Unit::Ampere, Some(2.0 * u.0)));
    }
    if let Some(v) = summary.first_current {
        finding = finding.figure(Figure::quantity("first current at", v.0, Unit::Volt, None));
    }
    if severity == Severity::Anomaly {
        finding =
            finding.advise("Compare with a good unit in the same order, rail by rail: the first difference brackets the fault.");
    }
    made.push(finding);
    let notable = |j: &ramp::Jump| j.to.0 - j.from.unwrap_or_default().0 > 0.3 * summary.most.map_or(f64::INFINITY, |(m, _)| m.0);
    if let Some(jump) = summary.jump.filter(notable) {
        let from = jump.from.map_or("what cannot be told from zero".into(), |from| three(from.0, Unit::Ampere));
        let sentence = format!(
            "The current rises at once near {}, from {from} to {}: there the unit, or a part of it, starts.",
            three(jump.at.0, Unit::Volt),
            three(jump.to.0, Unit::Ampere)
        );
        made.push(Finding::new("ramp-jump", Severity::Note, sentence).figure(Figure::quantity(
            "jump at",
            jump.at.0,
            Unit::Volt,
            None,
        )));
    }
    made
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
