//! The uncertainty of a reading from its instrument's accuracy, and how it stands to
//! a limit.

use super::{Refusal, Value, Working, not_negative, proper, shown};
use crate::analysis::finding::Severity;
use crate::analysis::uncertainty::{Budget, Contribution, Guard, Limit, Standing, Stated, chance_outside};
use crate::units::{Ratio, Unit, exact, with_uncertainty};

/// A reading and what is stated of its error; values in `unit` without prefix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Read {
    /// The unit of all of it.
    pub unit: Unit,
    /// The reading, or the mean of several.
    pub value: f64,
    /// The range that it was read on, for the part that is stated of it.
    pub range: f64,
    /// Stated of the reading.
    pub of_reading: Ratio,
    /// Stated of the range.
    pub of_range: Ratio,
    /// Stated in digits.
    pub digits: f64,
    /// One digit: the last place of the display.
    pub step: f64,
    /// What the statement means.
    pub stated: Stated,
    /// Standard deviation and number of repeated readings.
    pub repeated: Option<(f64, u64)>,
    /// Level of confidence of the expanded uncertainty.
    pub level: Ratio,
}

/// The expanded uncertainty, and with a limit the verdict.
///
/// # Errors
/// A value that cannot be, nothing stated at all, or too few repeated readings.
pub fn uncertainty(read: &Read, limit: Option<(Limit, Guard)>) -> Result<Working, Refusal> {
    let q = |x: f64| Value::Quantity(x, read.unit);
    not_negative("share of the reading", read.of_reading)?;
    not_negative("share of the range", read.of_range)?;
    for (what, x) in [("range", read.range), ("digits", read.digits), ("step of the display", read.step)] {
        if !(x >= 0.0 && x.is_finite()) {
            return Err(Refusal::new(format!("the {what}: expected 0 or more, found {x}")));
        }
    }
    if read.of_range.0 > 0.0 && read.range == 0.0 {
        return Err(Refusal::new("a share of the range is stated, but no range is given"));
    }
    if read.digits > 0.0 && read.step == 0.0 {
        return Err(Refusal::new("digits are stated, but not what one of them is worth"));
    }
    let level = proper("level of confidence", read.level)?.0;
    let half = read.of_reading.0 * read.value.abs() + read.of_range.0 * read.range + read.digits * read.step;
    let terms = [
        (read.of_reading.0 > 0.0, format!("{} × {}", read.of_reading, exact(read.value.abs(), read.unit))),
        (read.of_range.0 > 0.0, format!("{} × {}", read.of_range, exact(read.range, read.unit))),
        (read.digits > 0.0, format!("{} × {}", read.digits, exact(read.step, read.unit))),
    ];
    let terms: Vec<String> = terms.into_iter().filter(|(given, _)| *given).map(|(_, text)| text).collect();
    let mut lines = Vec::new();
    let mut working = Working::new("Uncertainty of a reading");
    if half > 0.0 {
        let line = Contribution::stated("accuracy", half, read.stated);
        working = working.step("limits of error", "a = of reading + of range + digits", terms.join(" + "), q(half)).step(
            "standard uncertainty of the accuracy",
            format!("a / {} ({})", plain(line.divisor), line.distribution),
            "",
            q(line.u()),
        );
        lines.push(line);
    }
    if read.step > 0.0 {
        let line = Contribution::resolution("resolution", read.step);
        working = working.step(
            "standard uncertainty of the resolution",
            "d / sqrt 12",
            format!("{} / 3.464", exact(read.step, read.unit)),
            q(line.u()),
        );
        lines.push(line);
    }
    if let Some((deviation, n)) = read.repeated {
        if n < 2 {
            return Err(Refusal::new(format!("the repeated readings: expected 2 or more, found {n}")));
        }
        if !(deviation >= 0.0 && deviation.is_finite()) {
            return Err(Refusal::new(format!("the spread: expected 0 or more, found {deviation}")));
        }
        let count = Value::from(n).number();
        let u = deviation / count.sqrt();
        working = working.step(
            "standard uncertainty of the mean",
            "s / sqrt n",
            format!("{} / sqrt {n}", exact(deviation, read.unit)),
            q(u),
        );
        lines.push(Contribution::standard("repeatability", u).with_dof(count - 1.0));
    }
    if lines.is_empty() {
        return Err(Refusal::new("nothing is stated of the reading's error")
            .hint("give --of-reading, --of-range, --digits with --step, or --spread with --readings"));
    }
    let expanded = Budget::of(lines).expanded(level).ok_or_else(|| {
        Refusal::new("the contributions cannot be combined: fewer than 1 effective degree of freedom, or a value that is none")
    })?;
    working = working.step("combined standard uncertainty", "root of the sum of squares", "", q(expanded.u));
    if expanded.dof.is_finite() {
        working = working.step("effective degrees of freedom", "u^4 / sum(u_i^4 / v_i)", "", Value::Number(expanded.dof, ""));
    }
    working = working
        .step("coverage factor", format!("Student's t for {} both sides", read.level), "", Value::Number(expanded.k, ""))
        .step(
            "expanded uncertainty",
            "U = k u",
            format!("{} × {}", shown(Value::Number(expanded.k, "")), shown(q(expanded.u))),
            q(expanded.expanded),
        );
    let mut answer =
        format!("{} (k = {}).", with_uncertainty(read.value, expanded.expanded, read.unit), shown(Value::Number(expanded.k, "")));
    if let Some((limit, guard)) = limit {
        let (judged, words) = against(working, read, (expanded.u, expanded.expanded), limit, guard);
        working = judged;
        answer = format!("{answer} {words}");
    }
    working
        .caution(
            "Take the accuracy for the time since calibration and the temperature in use; leads, burden and offset come on top.",
        )
        .source("JCGM 100:2008 (GUM), 4.3 and G.4")
        .conclude(answer)
}

fn against(working: Working, read: &Read, (u, expanded): (f64, f64), limit: Limit, guard: Guard) -> (Working, String) {
    let q = |x: f64| Value::Quantity(x, read.unit);
    let given = |x: f64| exact(x, read.unit);
    let band = guard.multiple() * expanded;
    // To the second digit of the uncertainty.
    let fine = |x: f64| Value::DownTo(x, read.unit, 10f64.powf(expanded.log10().floor() - 1.0));
    let standing = Standing::against(read.value, expanded, limit, guard);
    let mut working = working
        .step("guard band", format!("w = {} U", guard.multiple()), "", q(band))
        .source("ILAC-G8:09/2019, 4.2.3 and table 1")
        .weigh(match standing {
            Standing::Pass => Severity::Note,
            Standing::Fail => Severity::Anomaly,
            _ => Severity::Undecided,
        });
    working = match limit {
        Limit::Upper(high) => {
            working.step("largest accepted", "limit - w", format!("{} - {}", given(high), shown(q(band))), fine(high - band))
        }
        Limit::Lower(low) => {
            working.step("least accepted", "limit + w", format!("{} + {}", given(low), shown(q(band))), fine(low + band))
        }
        Limit::Between(low, high) => working
            .step("least accepted", "lower limit + w", format!("{} + {}", given(low), shown(q(band))), fine(low + band))
            .step("largest accepted", "upper limit - w", format!("{} - {}", given(high), shown(q(band))), fine(high - band)),
    };
    if let Some(chance) = chance_outside(read.value, u, limit).filter(|chance| *chance > 1e-9) {
        working = working.step("chance that the true value is outside", "tail of the normal distribution", "", Ratio(chance));
    }
    if guard == Guard::None {
        working = working.caution("Simple acceptance: at the limit itself every second decision is wrong.");
    }
    let name = match limit {
        Limit::Upper(high) => format!("at most {}", given(high)),
        Limit::Lower(low) => format!("at least {}", given(low)),
        Limit::Between(low, high) => format!("from {} to {}", given(low), given(high)),
    };
    (working, format!("Against {name}: {}.", standing.name()))
}

fn plain(x: f64) -> String {
    Value::Number(x, "").to_string()
}
