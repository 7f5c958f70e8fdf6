//! A part among those of its lot, where a plan sweeps several of one kind.

use crate::analysis::finding::{Figure, Finding, Severity, three};
use crate::analysis::leakage::lot::{Told, standing};
use crate::units::{Amperes, Unit, Volts};

/// A part of a lot: its name, and its leakage at the voltage that all were measured at.
#[derive(Clone, Debug, PartialEq)]
pub struct LotPart {
    /// As the plan names it.
    pub name: String,
    /// At the common voltage and time.
    pub leakage: Amperes,
}

/// How the part that leaks most stands among the others, at the voltage `at`. `None`
/// with fewer than three parts.
pub fn lot(parts: &[LotPart], at: Volts) -> Option<Finding> {
    if parts.len() < 3 {
        return None;
    }
    let values: Vec<Amperes> = parts.iter().map(|p| p.leakage).collect();
    let standings: Vec<_> = (0..parts.len()).filter_map(|i| standing(&values, i).map(|s| (i, s))).collect();
    let outliers: Vec<&str> = standings
        .iter()
        .filter(|(_, s)| s.told == Told::Outlier)
        .filter_map(|(i, _)| parts.get(*i).map(|p| p.name.as_str()))
        .collect();
    let (first, worst) = standings.iter().min_by_key(|(_, s)| s.rank)?;
    let worst_name = &parts.get(*first)?.name;
    let n = parts.len();
    let times = format!("{:.1} times the median of the other {}", worst.ratio, n - 1);
    let leak = three(values.get(*first)?.0, Unit::Ampere);
    let expected = format!("up to {:.1} times is expected of the worst of such a lot", worst.expected);
    let (code, severity, sentence, advice) = match (outliers.as_slice(), worst.told) {
        ([_, .., _], _) => (
            "lot-outliers",
            Severity::Anomaly,
            format!(
                "Of {n} parts measured alike at {at}, {} leak more than the others let expect; most {worst_name} with {leak}, {times}.",
                outliers.join(", ")
            ),
            format!("Replace them: {expected} (95 %)."),
        ),
        ([_], _) => (
            "lot-outlier",
            Severity::Anomaly,
            format!("Of {n} parts measured alike at {at}, {worst_name} stands out: it leaks {leak}, {times}."),
            format!("Replace it: {expected} (95 %)."),
        ),
        (_, Told::TooFew) => (
            "lot-too-small",
            Severity::Note,
            format!("Of {n} parts measured alike at {at}, {worst_name} leaks most: {leak}, {times}."),
            format!(
                "One of {n} is always the worst, and the chance that it is a given one is {:.0} % without any fault: measure five or more to tell an outlier.",
                100.0 / n as f64
            ),
        ),
        _ => (
            "lot-alike",
            Severity::Note,
            format!(
                "{n} parts measured alike at {at} do not stand out from each other; most leaks {worst_name} with {leak}, {times}."
            ),
            format!("Among so many {expected} (95 %)."),
        ),
    };
    let mut finding = Finding::new(code, severity, sentence)
        .advise(format!("{advice} By median and median absolute deviation of the logarithm (Iglewicz and Hoaglin 1993)."))
        .figure(Figure::count("parts", n as u64));
    if let Some(z) = worst.z {
        finding = finding.figure(Figure {
            name: "modified z-score".into(),
            value: (z * 10.0).round() / 10.0,
            unit: None,
            expanded: None,
            interval: None,
        });
    }
    Some(finding)
}
