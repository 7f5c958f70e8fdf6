//! Matching what a controller sends against a profile's templates, from the
//! device's side: `VOLT {value},(@{channel})` against `VOLT 9.000,(@1)`.

/// What stood in the placeholders.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Filled {
    /// `{channel}`.
    pub channel: Option<u32>,
    /// `{value}`, `{voltage}`.
    pub first: Option<f64>,
    /// `{current}`.
    pub second: Option<f64>,
    /// `{range}`, `{rate}`.
    pub word: Option<String>,
}

/// Matches a message; case and the amount of white space do not matter.
pub fn matches(template: &str, message: &str) -> Option<Filled> {
    // Nearly every template is another message's: its header alone tells, and costs little.
    let header = template.trim_start().as_bytes().split(|b| b" \t\r\n,{".contains(b)).next().unwrap_or(&[]);
    if !message.trim_start().as_bytes().get(..header.len()).is_some_and(|head| head.eq_ignore_ascii_case(header)) {
        return None;
    }
    let (template, message) = (tidy(template), tidy(message));
    let mut filled = Filled::default();
    let (mut pattern, mut text) = (template.as_str(), message.as_str());
    loop {
        let Some(open) = pattern.find('{') else {
            return text.eq_ignore_ascii_case(pattern).then_some(filled);
        };
        let close = open + pattern.get(open..)?.find('}')?;
        let (literal, name) = (pattern.get(..open)?, pattern.get(open + 1..close)?);
        let head = text.get(..literal.len())?;
        if !head.eq_ignore_ascii_case(literal) {
            return None;
        }
        text = text.get(literal.len()..)?;
        pattern = pattern.get(close + 1..)?;
        // The value goes on until the next literal begins, or to the end.
        let next = pattern.split('{').next().unwrap_or("");
        let end = if next.is_empty() { text.len() } else { text.to_ascii_uppercase().find(&next.to_ascii_uppercase())? };
        let value = text.get(..end)?.trim();
        text = text.get(end..)?;
        match name {
            "channel" => filled.channel = Some(value.parse().ok()?),
            "value" | "voltage" => filled.first = Some(number(value)?),
            "current" => filled.second = Some(number(value)?),
            _ if value.is_empty() => return None,
            _ => filled.word = Some(value.to_owned()),
        }
    }
}

/// A decimal number; `inf` and `NaN`, which Rust would read, are none.
fn number(text: &str) -> Option<f64> {
    let plain = text.chars().all(|c| c.is_ascii_digit() || "+-.eE".contains(c));
    text.parse().ok().filter(|n: &f64| plain && n.is_finite())
}

fn tidy(text: &str) -> String {
    let mut tidied = String::with_capacity(text.len());
    for word in text.split_whitespace() {
        // One blank between words, and none beside a comma.
        if !tidied.is_empty() && !tidied.ends_with(',') && !word.starts_with(',') {
            tidied.push(' ');
        }
        tidied.push_str(word);
    }
    tidied
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_match_their_templates() {
        let list = matches("VOLT {value},(@{channel})", "volt  9.000,(@2)").unwrap();
        assert_eq!((list.first, list.channel), (Some(9.0), Some(2)));
        let index = matches("V{channel} {value}", "V1 5.00").unwrap();
        assert_eq!((index.first, index.channel), (Some(5.0), Some(1)));
        assert_eq!(matches("V{channel}?", "V1O?"), None);
        assert!(matches("V{channel}O?", "V1O?").is_some());
        assert_eq!(matches("VOLT {value}", "VOLT:PROT 10"), None);
        assert_eq!(matches("VOLT {value}", "VOLT ten"), None);
        let both = matches("SET {voltage},{current}", "SET 9.00,0.06").unwrap();
        assert_eq!((both.first, both.second), (Some(9.0), Some(0.06)));
        assert_eq!(matches("CONF:CURR:DC {range}", "CONF:CURR:DC 1.0E-1").unwrap().word.as_deref(), Some("1.0E-1"));
        assert_eq!(matches("OUTP?", "OUTP"), None);
        assert!(matches("VOLT {value},(@{channel})", " VOLT  9 ,  (@1) ").is_some());
        for none in ["NaN", "inf", "1e999", ""] {
            assert_eq!(matches("VOLT {value}", &format!("VOLT {none}")), None, "{none}");
        }
    }
}
