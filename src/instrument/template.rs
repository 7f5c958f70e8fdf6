//! Filling the placeholders of a profile's messages, and the numbers in them.

use super::error::Fault;
use super::profile::Setting;

/// Fills `{name}` by the given pairs; what is not given stays.
pub fn fill(template: &str, values: &[(&str, &str)]) -> String {
    let mut text = String::with_capacity(template.len() + 16);
    let mut rest = template;
    while let Some((before, after)) = rest.split_once('{') {
        text.push_str(before);
        let named = after.split_once('}').and_then(|(name, behind)| Some((values.iter().find(|v| v.0 == name)?.1, behind)));
        rest = match named {
            Some((value, behind)) => {
                text.push_str(value);
                behind
            }
            None => {
                text.push('{');
                after
            }
        };
    }
    text.push_str(rest);
    text
}

/// A value as instruments of every dialect take it: fixed point, as many
/// decimals as the resolution has, rounded towards zero to a step of it, so that
/// a limit is never set higher than it was meant.
pub fn number(value: f64, resolution: f64) -> String {
    if !(resolution > 0.0 && resolution.is_finite()) {
        return format!("{value}");
    }
    let steps = (value / resolution + 1e-6 * value.signum()).trunc();
    let decimals = (0..12)
        .find(|d| (resolution * 10f64.powi(*d)).fract().abs() < 1e-9 || (resolution * 10f64.powi(*d)).fract() > 1.0 - 1e-9);
    let decimals = usize::try_from(decimals.unwrap_or(12)).unwrap_or(12);
    format!("{:.decimals$}", steps * resolution)
}

/// A value as a setting's message holds it, and what that is in the quantity's unit.
///
/// # Errors
/// [`Fault::Order`] for a value that its digits cannot say.
pub fn sent(value: f64, setting: &Setting) -> Result<(String, f64), Fault> {
    let scale = setting.form.scale.unwrap_or(1.0);
    let text = number(value / scale, setting.resolution / scale);
    let counted: f64 = text.parse().unwrap_or(f64::NAN);
    let Some(digits) = setting.form.digits else { return Ok((text, counted * scale)) };
    let text = format!("{counted:0digits$.0}");
    if text.len() > digits || counted < 0.0 {
        return Err(Fault::Order(format!("{value} cannot be said in {digits} digits of {scale}: {:?}", setting.set)));
    }
    Ok((text, counted * scale))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn placeholders_are_filled() {
        assert_eq!(fill("VOLT {value},(@{channel})", &[("value", "9.000"), ("channel", "2")]), "VOLT 9.000,(@2)");
        assert_eq!(fill("OUTP?", &[("channel", "2")]), "OUTP?");
    }

    #[test]
    fn a_setting_counts_in_its_scale_and_fills_its_digits() {
        use crate::instrument::profile::{OutOfRange, ReplyForm, SentForm};
        let setting = |resolution, scale, digits| Setting {
            set: "X {value}".into(),
            ask: None,
            resolution,
            accuracy: None,
            out_of_range: OutOfRange::Refuses,
            form: SentForm { scale, digits },
            reply: ReplyForm::default(),
        };
        // QUIRKS row 34: 18.0 V as 180, 2.00 A as 200.
        assert_eq!(sent(18.0, &setting(0.1, Some(0.1), Some(3))).unwrap().0, "180");
        assert_eq!(sent(2.0, &setting(0.01, Some(0.01), Some(3))).unwrap().0, "200");
        let (text, value) = sent(0.0609, &setting(0.01, Some(0.01), Some(3))).unwrap();
        assert_eq!((text.as_str(), value), ("006", 0.06));
        assert!(sent(100.0, &setting(0.1, Some(0.1), Some(3))).is_err());
        assert!(sent(-0.1, &setting(0.1, Some(0.1), Some(3))).is_err());
        // Row 17: a delay in milliseconds.
        assert_eq!(sent(0.05, &setting(0.001, Some(0.001), None)).unwrap().0, "50");
        assert_eq!(sent(9.0, &setting(0.001, None, None)).unwrap(), ("9.000".into(), 9.0));
    }

    #[test]
    fn numbers_have_the_decimals_of_the_resolution_and_never_exceed_the_value() {
        for (value, resolution, text) in [
            (9.0, 0.001, "9.000"),
            (0.0605, 0.001, "0.060"),
            (0.06, 0.001, "0.060"),
            (0.3, 0.1, "0.3"),
            (0.12, 0.01, "0.12"),
            (7.0, 5.0, "5"),
            (2.55, 0.05, "2.55"),
            (0.0, 0.001, "0.000"),
            (1e-6, 0.001, "0.000"),
        ] {
            assert_eq!(number(value, resolution), text);
        }
    }
}
