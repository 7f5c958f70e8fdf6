//! The shape of the curve over voltage: run-away, knee, the way down, the law.

use super::{Curve, Swept, point};
use crate::analysis::finding::{Figure, Finding, Severity, three};
use crate::analysis::leakage::conduction::{CAUTION, LEAST, Law, TOO_UNCERTAIN, Verdict, rank};
use crate::analysis::leakage::sweep::{hysteresis, knee, steepness, too_steep, ways};
use crate::units::{Unit, Volts};

pub(super) fn running_away(part: &str, curve: &Curve) -> Option<Finding> {
    let (lower, upper, steep) = curve.windows(2).find_map(|pair| match pair {
        [a, b] => steepness(a, b).filter(|s| s.exponent > too_steep()).map(|s| (a, b, s)),
        _ => None,
    })?;
    let sure = steep.exponent - 2.0 * steep.u > too_steep();
    let sentence = format!(
        "{part}'s leakage rises faster than practice allows{}: from {} at {} to {} at {}, {:.1} times for {:.0} % more voltage.",
        if sure { "" } else { ", if only within the uncertainty" },
        three(lower.current.0, Unit::Ampere),
        three(lower.volts.0, Unit::Volt),
        three(upper.current.0, Unit::Ampere),
        three(upper.volts.0, Unit::Volt),
        steep.ratio,
        (upper.volts / lower.volts - 1.0) * 100.0
    );
    let severity = if sure { Severity::Anomaly } else { Severity::Undecided };
    Some(
        Finding::new("leakage-runs-away", severity, sentence)
            .advise("Do not go to a higher voltage with this part: it is near breakdown."),
    )
}

/// The way down against the way up.
pub(super) fn comes_back(swept: &Swept<'_>) -> Option<Finding> {
    let steps: Vec<(Volts, _)> = swept.steps.iter().filter_map(|s| point(s).map(|p| (s.set, p))).collect();
    let seen = hysteresis(&steps)?;
    let part = swept.part;
    let percent = format!("({:+.1} ± {:.1}) %", (seen.ratio - 1.0) * 100.0, 200.0 * seen.u * seen.ratio);
    let n = seen.voltages;
    let compared = if n == 1 { "one voltage".to_owned() } else { format!("{n} voltages") };
    let (code, severity, sentence, advice) = match seen.is_seen() {
        false => (
            "leakage-comes-back",
            Severity::Note,
            format!("On the way down {part} leaks what it leaked on the way up: {percent} at {compared}."),
            "",
        ),
        true if seen.ratio > 1.0 => (
            "leakage-stays-higher",
            Severity::Anomaly,
            format!(
                "On the way down {part} leaks more than on the way up, {percent} at {compared}: the higher voltage has changed it."
            ),
            "It may be near breakdown: do not go higher. Repeat the sweep after a rest to see whether it recovers.",
        ),
        true => (
            "leakage-stays-lower",
            Severity::Note,
            format!("On the way down {part} leaks less than on the way up, {percent} at {compared}."),
            "It forms under bias, or gives back absorbed charge: a longer electrification makes the two alike.",
        ),
    };
    let figure = Figure::quantity("way down against way up", seen.ratio - 1.0, Unit::Percent, Some(2.0 * seen.u * seen.ratio));
    let made = Finding::new(code, severity, sentence).figure(figure);
    Some(if advice.is_empty() { made } else { made.advise(advice) })
}

/// The law that the curve follows, as far as it can be told, and a knee in it.
pub(super) fn law(swept: &Swept<'_>, curve: &Curve) -> Option<Finding> {
    let part = swept.part;
    let steps: Vec<(Volts, ())> = swept.steps.iter().map(|s| (s.set, ())).collect();
    let all = ways(&steps).0.len();
    let Some(ranking) = rank(curve) else {
        let sentence = format!(
            "The laws of conduction were not compared for {part}: too few of its {all} voltages have a leakage above its uncertainty."
        );
        let least = format!(
            "At least {LEAST} voltages are needed, each with a leakage whose standard uncertainty is {:.0} % of it or less: use a lower range or a longer electrification.",
            TOO_UNCERTAIN * 100.0
        );
        return (all >= LEAST).then(|| Finding::new("leakage-law", Severity::Note, sentence).advise(least));
    };
    let best = ranking.fits.first()?;
    let bend = knee(curve, Some(best.chi_square));
    let bent = bend.map_or(String::new(), |k| {
        format!(
            " It bends at {}: the current goes with the voltage to the power of {:.2} ± {:.2} below and {:.2} ± {:.2} above.",
            three(k.volts.0, Unit::Volt),
            k.below.0,
            2.0 * k.below.1,
            k.above.0,
            2.0 * k.above.1
        )
    });
    let used = ranking.points;
    let n = if used < all { format!("{used} of {all}") } else { used.to_string() };
    let left = if used < all {
        format!(" The others have no leakage above zero, or a standard uncertainty above {:.0} % of it.", TOO_UNCERTAIN * 100.0)
    } else {
        String::new()
    };
    let power = ranking.fits.iter().find(|f| f.law == Law::Power).map_or(String::new(), |f| {
        format!(
            " Over all of it, the current goes with the voltage to the power of {:.2} ± {:.2}.",
            f.b,
            2.0 * f.u_b * ranking.widened.sqrt()
        )
    });
    let sentence = match &ranking.verdict {
        Verdict::One(law) => format!(
            "Over {n} voltages {part}'s leakage follows the {} law best; the others are told apart by their fit.",
            law.name()
        ),
        Verdict::NotApart(laws) => {
            let names: Vec<&str> = laws.iter().map(|l| l.name()).collect();
            format!(
                "Over {n} voltages {part}'s leakage follows a law that is not distinguishable here: {}, the best first.",
                names.join("; ")
            )
        }
        Verdict::None(law) => format!(
            "None of the laws of conduction describes {part}'s leakage over {n} voltages within its uncertainty; the nearest is {}.",
            law.name()
        ),
    };
    let mut finding = Finding::new("leakage-law", Severity::Note, format!("{sentence}{left}{power}{bent}")).advise(format!(
        "Compared by AICc; below a difference of 4 two laws are not told apart (Burnham and Anderson 2002). {CAUTION}"
    ));
    for fit in ranking.fits.iter().filter(|f| f.delta.is_finite() && f.delta > 0.0).take(3) {
        let name = format!("AICc of {} above the best", fit.law.name());
        finding =
            finding.figure(Figure { name, value: (fit.delta * 10.0).round() / 10.0, unit: None, expanded: None, interval: None });
    }
    Some(finding)
}
