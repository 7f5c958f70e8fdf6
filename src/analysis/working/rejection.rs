//! What integration over line cycles leaves of hum.

use super::{Refusal, Value, Working, not_negative, positive, shown};
use crate::analysis::rejection::{decibels, left_of, worst_left_of};
use crate::units::{Hertz, Ratio, Seconds, Volts};

/// How long a meter integrates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Window {
    /// So long.
    Lasting(Seconds),
    /// So many cycles of a line of this frequency.
    Cycles(f64, Hertz),
}

/// Normal-mode rejection of an ideal integrating window, at the hum's frequency and
/// at the worst within its tolerance; with the hum's amplitude, what is left of it.
///
/// # Errors
/// A value that is not above zero, or a tolerance of a tenth or more.
pub fn rejection(window: Window, hum: Hertz, tolerance: Ratio, amplitude: Option<Volts>) -> Result<Working, Refusal> {
    let hum = positive("frequency of the hum", hum)?;
    let mut working = Working::new("Hum on an integrating meter");
    let window = match window {
        Window::Lasting(time) => positive("window", time)?,
        Window::Cycles(cycles, line) => {
            let line = positive("frequency of the line", line)?;
            if !(cycles > 0.0 && cycles.is_finite()) {
                return Err(Refusal::new(format!("the line cycles: expected more than 0, found {cycles}")));
            }
            let time = Seconds(cycles / line.0);
            working = working.step("window", "T = line cycles / line frequency", format!("{cycles} / {line}"), time);
            time
        }
    };
    let tolerance = not_negative("tolerance", tolerance)?;
    if tolerance.0 >= 0.1 {
        return Err(Refusal::new(format!("the tolerance: expected less than 10 %, found {tolerance}"))
            .hint("mains keep within 1 % of their frequency"));
    }
    let exact = left_of(hum, window);
    let worst = worst_left_of(hum, window, tolerance.0);
    let periods = hum.0 * window.0;
    working =
        working.step("periods in the window", "n = f T", format!("{hum} × {}", shown(window)), Value::Number(periods, "")).step(
            "share left",
            "|sin(pi n) / (pi n)|",
            format!("|sin(pi × {0}) / (pi × {0})|", shown(Value::Number(periods, ""))),
            Ratio(exact),
        );
    let mut answer = match decibels(exact) {
        Some(db) => {
            working = working.step(
                "rejection",
                "-20 log10(share)",
                format!("-20 log10({})", shown(Ratio(exact))),
                Value::Number(db, "dB"),
            );
            format!("{} of rejection at {hum}", shown(Value::Number(db, "dB")))
        }
        None => format!("Hum of exactly {hum} averages out whole"),
    };
    if tolerance.0 > 0.0 {
        working = working.step(
            "share left at worst",
            "the largest within the tolerance of f",
            format!("at {hum} ± {tolerance}"),
            Ratio(worst),
        );
        if let Some(db) = decibels(worst) {
            working = working.step(
                "rejection at worst",
                "-20 log10(share)",
                format!("-20 log10({})", shown(Ratio(worst))),
                Value::Number(db, "dB"),
            );
            answer.push_str(&format!("; {} where it is off by {tolerance}", shown(Value::Number(db, "dB"))));
        }
    }
    answer.push('.');
    if let Some(amplitude) = amplitude {
        let left = not_negative("amplitude", amplitude)? * worst;
        working =
            working.step("error left at worst", "amplitude × share", format!("{amplitude} × {}", shown(Ratio(worst))), left);
        answer.push_str(&format!(" Of {amplitude} at most {} stay in a reading.", shown(left)));
    }
    if periods < 1.0 {
        working = working
            .caution("A window shorter than one period rejects next to nothing: makers promise rejection from 1 line cycle on.");
    }
    working
        .caution("An ideal window; a meter promises less (60 dB at 1, 10 and 100 line cycles is usual), and nothing where hum overloads its input.")
        .source("rectangular window, |sinc(f T)|; NMR = 20 log10(Vin / Verr), handbooks of low-level measurement")
        .conclude(answer)
}
