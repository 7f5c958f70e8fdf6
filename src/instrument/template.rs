//! Filling the placeholders of a profile's messages, and the numbers in them.

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn placeholders_are_filled() {
        assert_eq!(fill("VOLT {value},(@{channel})", &[("value", "9.000"), ("channel", "2")]), "VOLT 9.000,(@2)");
        assert_eq!(fill("OUTP?", &[("channel", "2")]), "OUTP?");
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
