//! Writing data elements, in programs and in responses.

/// A number in NR3 with as few digits as read back to the same value, e.g. `1.5E-3`.
///
/// Infinite and not-a-number become SCPI's special numbers.
pub fn number(value: f64) -> String {
    if value.is_nan() {
        return "9.91E37".into();
    }
    if value.is_infinite() {
        return if value > 0.0 { "9.9E37".into() } else { "-9.9E37".into() };
    }
    let text = format!("{value:E}");
    match text.split_once('E') {
        Some((mantissa, exponent)) if !mantissa.contains('.') => format!("{mantissa}.0E{exponent}"),
        _ => text,
    }
}

/// A string in double quotes, embedded ones doubled (IEEE 488.2 8.7.8).
pub fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// A definite-length block (IEEE 488.2 8.7.9).
pub fn block(data: &[u8]) -> Vec<u8> {
    let length = data.len().to_string();
    let mut bytes = format!("#{}{length}", length.len()).into_bytes();
    bytes.extend_from_slice(data);
    bytes
}
