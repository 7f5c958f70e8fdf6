//! Printing quantities in engineering form: exactly, with a count of digits, or
//! with as many as their uncertainty deserves.

use super::{Seconds, Unit};

/// Exactly: as few digits as read back to the same value.
pub fn exact(value: f64, unit: Unit) -> String {
    if unit == Unit::Percent {
        return join(&percent_digits(value), "", unit);
    }
    if !value.is_finite() {
        return join(&value.to_string(), "", unit);
    }
    let scientific = format!("{value:e}");
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let (prefix, power) = prefix_for(value, exponent, unit);
    join(&shift_point(mantissa, exponent - power), prefix, unit)
}

/// In engineering form with `digits` significant digits (at least one).
///
/// `engineering(0.012345, Unit::Ampere, 3)` is `12.3 mA`.
pub fn engineering(value: f64, unit: Unit, digits: usize) -> String {
    if !value.is_finite() || value == 0.0 {
        return exact(value, unit);
    }
    let digits = digits.clamp(1, 17);
    let scaled = if unit == Unit::Percent { value * 100.0 } else { value };
    let scientific = format!("{scaled:.*e}", digits - 1);
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    let exponent: i32 = exponent.parse().unwrap_or(0);
    let (prefix, power) = prefix_for(scaled, exponent, unit);
    join(&shift_point(mantissa, exponent - power), prefix, unit)
}

/// A value with its expanded uncertainty, both rounded to the second significant
/// digit of the uncertainty: `(64.90 ± 0.81) uA`.
///
/// Two digits of uncertainty: JCGM 100:2008, 7.2.6. An uncertainty that is zero,
/// negative or not finite leaves the value at three digits without a claim.
pub fn with_uncertainty(value: f64, expanded: f64, unit: Unit) -> String {
    if !(expanded.is_finite() && expanded > 0.0 && value.is_finite()) {
        return engineering(value, unit, 3);
    }
    let factor = if unit == Unit::Percent { 100.0 } else { 1.0 };
    let (value, expanded) = (value * factor, expanded * factor);
    let exponent_of = |x: f64| format!("{x:.1e}").split_once('e').and_then(|(_, e)| e.parse::<i32>().ok()).unwrap_or(0);
    let last = exponent_of(expanded) - 1;
    let leading = if value == 0.0 { last } else { exponent_of(value).max(last) };
    let (prefix, power) = prefix_for(value, leading.max(exponent_of(expanded)), unit);
    let decimals = usize::try_from(power - last).unwrap_or(0);
    let scale = 10f64.powi(power);
    // Digits left of the point that the uncertainty does not deserve are rounded to zero.
    let coarse = if last > power { 10f64.powi(last - power) } else { 1.0 };
    let round = |x: f64| (x / scale / coarse).round() * coarse;
    let text = if last > power {
        format!("({:.0} ± {:.0})", round(value), round(expanded))
    } else {
        format!("({:.decimals$} ± {:.decimals$})", value / scale, expanded / scale)
    };
    join(&text, prefix, unit)
}

/// A span as a person says it: 1 d 3 h, 29 min 5 s, 12.3 s.
pub fn spell(span: Seconds) -> String {
    let whole = span.0.max(0.0).round();
    let (days, hours, minutes, seconds) =
        ((whole / 86_400.0).floor(), (whole / 3600.0).floor() % 24.0, (whole / 60.0).floor() % 60.0, whole % 60.0);
    if days > 0.0 {
        format!("{days} d {hours} h")
    } else if hours > 0.0 {
        format!("{hours} h {minutes} min")
    } else if minutes > 0.0 {
        format!("{minutes} min {seconds} s")
    } else {
        engineering(span.0, Unit::Second, 3)
    }
}

/// A value alone, to the place that its expanded uncertainty deserves: where there is no
/// room for more, as on a live line.
pub fn deserved(value: f64, expanded: f64, unit: Unit) -> String {
    if !(expanded.is_finite() && expanded > 0.0 && value.is_finite() && value != 0.0) {
        return engineering(value, unit, 3);
    }
    let places = (value.abs().log10().floor() - expanded.log10().floor()) as i32 + 2;
    engineering(value, unit, usize::try_from(places).unwrap_or(1))
}

fn join(number: &str, prefix: &str, unit: Unit) -> String {
    format!("{number} {prefix}{}", unit.symbol())
}

/// The prefix for a value whose leading digit stands at 10^exponent.
fn prefix_for(value: f64, exponent: i32, unit: Unit) -> (&'static str, i32) {
    if value == 0.0 || matches!(unit, Unit::Celsius | Unit::Percent) {
        return ("", 0);
    }
    let wanted = exponent.div_euclid(3) * 3;
    // Seconds stay seconds above one: nobody reads 1.2 ks.
    let highest = if unit == Unit::Second { 0 } else { 9 };
    match wanted.clamp(-15, highest) {
        -15 => ("f", -15),
        -12 => ("p", -12),
        -9 => ("n", -9),
        -6 => ("u", -6),
        -3 => ("m", -3),
        3 => ("k", 3),
        6 => ("M", 6),
        9 => ("G", 9),
        _ => ("", 0),
    }
}

/// Moves the decimal point of `mantissa` ("-6.49") right by `places`, left if negative.
fn shift_point(mantissa: &str, places: i32) -> String {
    let (sign, digits) = match mantissa.strip_prefix('-') {
        Some(rest) => ("-", rest),
        None => ("", mantissa),
    };
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let all = format!("{whole}{fraction}");
    let length = i32::try_from(all.len()).unwrap_or(i32::MAX);
    let point = i32::try_from(whole.len()).unwrap_or(1).saturating_add(places);
    let text = if point <= 0 {
        format!("0.{}{all}", "0".repeat(usize::try_from(-point).unwrap_or(0)))
    } else if point >= length {
        format!("{all}{}", "0".repeat(usize::try_from(point - length).unwrap_or(0)))
    } else {
        let (left, right) = all.split_at(usize::try_from(point).unwrap_or(1));
        format!("{left}.{right}")
    };
    format!("{sign}{text}")
}

/// A ratio in percent, with the digits that read back to the same ratio.
fn percent_digits(ratio: f64) -> String {
    if ratio == 0.0 {
        return "0".into();
    }
    let scientific = format!("{ratio:e}");
    match scientific.split_once('e') {
        Some((mantissa, exponent)) => match exponent.parse::<i32>() {
            Ok(e) => shift_point(mantissa, e + 2),
            Err(_) => scientific,
        },
        None => scientific,
    }
}
