//! Values in their order.

/// The median; `None` of nothing.
pub fn median(values: &[f64]) -> Option<f64> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|v| v.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    match n {
        0 => None,
        _ if n % 2 == 1 => sorted.get(n / 2).copied(),
        _ => Some(0.5 * (sorted.get(n / 2 - 1)? + sorted.get(n / 2)?)),
    }
}
